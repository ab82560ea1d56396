"""What is wrong with a table of the room's files, in the words of the form that it is typed in."""

from __future__ import annotations

import re

from rounds.report.fields import CHOICE, LISTED, RULE, Field, Form

_RULE_WORDS = {"again_after": "again after", "rrule": "on days", "on_dates": "on dates", "called": "when it is called"}
"""What stands in the field of the rule."""

_MISSING = re.compile(r"(?P<what>.+?) (?:is|are) missing; .*?(?:= (?P<example>\"[^\"]*\"|[0-9-]+))?")
_VALUE = r"""\[[^\]]*\]|\{[^}]*\}|"[^"]*"|'[^']*'|[\w.-]+"""
_WORDS = re.compile(
    rf"""(?P<typed>'[^']*')
    |(?P<ask>[Aa]dd|[Ww]rite(?:\ for\ example)?)\ (?P<asked>[a-z_]+)\ =\ (?P<wanted>{_VALUE})
    |(?P<key>[a-z_]+)\ =\ (?P<value>{_VALUE})
    |(?P<quoted>"[^"]*")
    |take\ (?P<emptied>\w+)\ away
    |add\ \[\[(?:\w|\.)+\]\]\ to\ \S+
    |(?P<add>add\ (?:it|another))\ under\ \[\[(?:\w|\.)+\]\]
    |(?P<file>to\ its\ file)
    |(?P<syntax>\ as\ text|\ without\ quotes(?:\ and\ offset)?)
    |(?P<first>^|\band\ )(?P<word>[a-z_]+)
    |(?P<bare>[a-z]+(?:_[a-z]+)+)""",
    re.VERBOSE,
)


def in_form(form: Form, key: str, sentence: str) -> str:
    """A fault of the field `key` (inside a field as ``steps/0/grace``) by the labels of its form."""
    fields = _fields(form, key)
    if key == RULE and "write exactly one of" in sentence:
        return f"{_said(fields, sentence.partition(';')[0])}; choose when it is due"
    missing = _MISSING.fullmatch(sentence)
    if missing is not None and (field := fields.get(missing["what"])) is not None:
        return _missing(field, sentence.partition(";")[0].removeprefix(missing["what"]), missing["example"])
    return _said(fields, sentence)


def _fields(form: Form, key: str) -> dict[str, Field]:
    """Those that a fault may speak of, by their keys."""
    fields = {field.key: field for field in form.fields}
    whole, inside, _ = key.partition("/")
    if inside and whole in fields:
        fields |= {field.key: field for field in fields[whole].fields}
    return fields


def _missing(field: Field, how: str, example: str | None) -> str:
    """``capacity is missing; type one, such as 80 L``"""
    if field.how in LISTED:
        remedy = f"add a {field.one}"
    elif field.how == CHOICE or field.of or field.kinds:
        remedy = "choose one"
    else:
        shown = _as_typed(example or "")
        remedy = f"type one, such as {shown}" if shown not in ("", "…") else "type one"
    return f"{field.label}{how}; {remedy}"


def _said(fields: dict[str, Field], sentence: str) -> str:
    """The sentence by the labels of the fields, with values as they are typed; what was typed stays as it is."""

    def label(key: str) -> str:
        if key in fields:
            return fields[key].label
        return _RULE_WORDS.get(key, key.replace("_", " "))

    def replaced(found: re.Match[str]) -> str:
        if found["ask"]:
            ask = "Fill in" if found["ask"][0].isupper() else "fill in"
            return f"{ask} {label(found['asked'])}, such as {_as_typed(found['wanted'])}"
        if found["key"]:
            return f"{label(found['key'])} {_as_typed(found['value'])}"
        if found["emptied"]:
            return f"leave {label(found['emptied'])} empty"
        if found["word"]:
            return f"{found['first']}{label(found['word'])}"
        if found["bare"]:
            return label(found["bare"])
        if found["add"]:
            return f"{found['add']} in set-up"
        if found["typed"] or found["quoted"]:
            return found[0]
        if found["file"]:
            return "in its form"
        return "" if found["syntax"] else "add it in set-up"

    return _WORDS.sub(replaced, sentence)


def _as_typed(value: str) -> str:
    """A value of a file as it is typed in a form."""
    return re.sub(r"""[][{}"']| = """, lambda found: " " if found[0] == " = " else "", value).strip()
