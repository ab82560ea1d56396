"""What is wrong with a table of the room's files, in the words of the form that it is typed in."""

from __future__ import annotations

import re

from rounds.report.fields import CHOICE, LISTED, RULE, Field, Form
from rounds.storage.faults import Fault

_RULE_WORDS = {"again_after": "again after", "rrule": "on days", "on_dates": "on dates", "called": "when it is called"}
"""What stands in the field of the rule."""

_VALUE = r"""\[[^\]]*\]|\{[^}]*\}|"[^"]*"|'[^']*'|[\w.-]+"""
_WORDS = re.compile(
    rf"""(?P<kept>'[^']*'|"[^"]*")
    |(?:(?P<ask>[Aa]dd|[Ww]rite(?:\ for\ example)?)\ )?(?P<key>[a-z_]+)\ =\ (?P<value>{_VALUE})
    |take\ (?P<emptied>\w+)\ away
    |(?P<add>add)\ (?:(?P<more>it|another)\ under\ )?\[\[[\w.]+\]\](?:\ to\ \S+)?
    |(?P<word>(?:^|(?<=\band\ ))[a-z_]+|[a-z]+(?:_[a-z]+)+)
    |(?P<file>to\ its\ file)
    |\ as\ text|\ without\ quotes(?:\ and\ offset)?""",
    re.VERBOSE,
)
"""Of a sentence about a file: what a form calls otherwise or does not need, and what was typed."""


def in_form(form: Form, key: str, fault: Fault) -> str:
    """A fault of the field `key` (inside a field as ``steps/0/grace``) by the labels of its form."""
    fields = _fields(form, key)
    if fault.missing is not None and (field := fields.get(fault.missing.key)) is not None:
        return _missing(field, fault.missing.example)
    labels = _RULE_WORDS | {each: field.label for each, field in fields.items()}
    what, _, remedy = fault.sentence.partition("; ")
    if key == RULE and remedy.startswith("write exactly one of"):
        return f"{_said(labels, what)}; choose when it is due"
    return _said(labels, fault.sentence)


def _fields(form: Form, key: str) -> dict[str, Field]:
    """Those that a fault may speak of, by their keys."""
    fields = {field.key: field for field in form.fields}
    whole, inside, _ = key.partition("/")
    if inside and whole in fields:
        fields |= {field.key: field for field in fields[whole].fields}
    return fields


def _missing(field: Field, example: str) -> str:
    """``capacity is missing; type one, such as 80 L``"""
    if field.how in LISTED:
        return f"{field.label} are missing; add a {field.one}"
    if field.how == CHOICE or field.of or field.kinds:
        return f"{field.label} is missing; choose one"
    return f"{field.label} is missing; type one{_such_as(example)}"


def _said(labels: dict[str, str], sentence: str) -> str:
    """The sentence by the labels of the fields, with values as they are typed; what was typed stays as it is."""

    def label(key: str) -> str:
        return labels.get(key, key.replace("_", " "))

    def replaced(found: re.Match[str]) -> str:
        if found["kept"]:
            return found[0]
        if found["ask"]:
            ask = "Fill in" if found["ask"][0].isupper() else "fill in"
            return f"{ask} {label(found['key'])}{_such_as(found['value'])}"
        if found["key"]:
            return f"{label(found['key'])} {_as_typed(found['value'])}"
        if found["emptied"]:
            return f"leave {label(found['emptied'])} empty"
        if found["add"]:
            return f"add {found['more'] or 'it'} in set-up"
        if found["word"]:
            return label(found["word"])
        return "in its form" if found["file"] else ""

    return _WORDS.sub(replaced, sentence)


def _such_as(value: str) -> str:
    """Nothing of a value that is no example."""
    typed = _as_typed(value)
    return f", such as {typed}" if typed not in ("", "…") else ""


def _as_typed(value: str) -> str:
    """A value of a file as it is typed in a form."""
    return re.sub(r"""[][{}"']| = """, lambda found: " " if found[0] == " = " else "", value).strip()
