"""The forms of set-up: which fields each kind of table has, how typed text becomes a value, how a value is shown.

What a value has to be is said by the reader of the room's files alone; here text only becomes the sort of value that
the file holds.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Mapping
from datetime import date, datetime
from typing import Any

import msgspec

from rounds.core.durations import UNITS
from rounds.core.errors import CannotRead
from rounds.core.model import DELIVERIES, DOSED, IMPORTANCES, INSTRUMENT_KINDS, RESERVOIR_KINDS
from rounds.core.quantities import QUANTITIES

TEXT = "text"
CHOICE = "choice"
"""One of the choices, and nothing else."""
FLAG = "flag"
WHOLE = "whole number"
NUMBER = "number"
DAY = "day"
MOMENT = "moment"
"""A day and a time by the room's clock."""
TEXTS = "texts"
TIMES = "times"
RULE = "rule"
"""Not one key but those of a rule; see `rounds.report.rules`."""

YES, NO = "yes", "no"
BETWEEN = " | "
"""Stands between the texts of a list; within one it is written twice."""

LONGEST_ID = 40


class Field(msgspec.Struct, frozen=True, kw_only=True):
    """One line of a form."""

    key: str
    """Of the file."""
    label: str
    help: str = ""
    how: str = TEXT
    choices: tuple[str, ...] = ()
    of: str = ""
    """A list of the room's files whose ids are choices too, such as ``stations``; those of other systems in full."""
    kinds: str = ""
    """The sort of kinds of the care catalogue that are choices too: system or equipment."""
    default: bool = False
    """Of a flag: what holds where the file does not say."""
    fixed: bool = False
    """Once it is there it stays: what was recorded, or stands in other tables, names it so."""


class Form(msgspec.Struct, frozen=True, kw_only=True):
    """The fields of one kind of table."""

    kind: str
    """What a keeper calls it."""
    key: str
    """Of its list in the file; empty: the file itself."""
    fields: tuple[Field, ...]
    only_room: bool = False
    """Whether it stands in room.toml alone."""

    @property
    def naming(self) -> str:
        """The label of the field from which it has its id, or by which it is known."""
        return next(field.label for field in self.fields if field.key in ("title", "name", "initials", "kind"))

    def field(self, key: str) -> Field:
        """The field of a key; raises `StopIteration` where there is none."""
        return next(field for field in self.fields if field.key == key)


_ID = Field(key="id", label="id", help="How files and records call it; made from the name, can be changed.")
_KEPT_ID = Field(key="id", label="id", help="How files and records call it; stays once it is there.", fixed=True)
_NAME = Field(key="name", label="name")
_STATION = Field(key="station", label="station", help="Where it stands; empty: the system as a whole.", of="stations")
_SPANS = f"A number and a unit, {UNITS[0]} to weeks."

_WHEN = (
    Field(
        key="rule", label="when", how=RULE, help="Again after a time, on these days, once, or only when it is called."
    ),
    Field(
        key="make_up",
        label="made up",
        how=FLAG,
        default=True,
        help="Of what is due on days: whether a missed time is still done. A meal not given is not given twice.",
    ),
    Field(
        key="grace", label="grace", help=f"How long after it was due it is fine. {_SPANS} Empty: a quarter of the time."
    ),
    Field(key="shift", label="shift", help="Whose work it is.", of="shifts"),
    Field(key="keeper", label="keeper", help="Initials of who does it.", of="keepers"),
    Field(
        key="importance",
        label="importance",
        how=CHOICE,
        choices=IMPORTANCES,
        help="What is looked at first when much is late; empty: husbandry.",
    ),
    Field(key="minutes", label="minutes", how=WHOLE, help="How long it takes."),
    Field(key="steps", label="steps", how=TEXTS, help="What is done, one after the other."),
    Field(key="look_for", label="look for"),
    Field(key="caution", label="caution", help="What can hurt, and what protects."),
    Field(key="first_day", label="first day", how=DAY, help="Not due before."),
    Field(key="last_day", label="last day", how=DAY, help="Not due after."),
    Field(key="from", label="from", how=MOMENT, help="Of minutes and hours: when it is first due."),
    Field(key="until", label="until", how=MOMENT, help="From then on it is no more; in place of a last day."),
    Field(
        key="early",
        label="early",
        help=f"How long before it is due it counts. {_SPANS} Empty: a quarter, at most 12 hours.",
    ),
    Field(
        key="lapse",
        label="lapse",
        help=f"Of what is not made up: how long after it was due it is missed. {_SPANS} Empty: with the round day.",
    ),
    Field(key="paused", label="paused", how=FLAG, help="Not asked for until it is taken back."),
)

SYSTEM = Form(
    kind="system",
    key="",
    fields=(
        Field(key="id", label="id", help="The name of its file; made from the name, can be changed."),
        _NAME,
        Field(key="volume", label="volume", help="Net water with its unit, such as 960 L."),
        Field(key="surface", label="surface", help="Of the open water, such as 3.9 m2."),
        Field(key="zone", label="zone", help="Which tools it is touched with.", of="zones"),
        Field(
            key="care",
            label="care",
            how=TEXTS,
            kinds="system",
            help="Its kinds in the care catalogue, which bring its tasks and readings.",
        ),
        Field(
            key="isolation",
            label="isolation",
            help="Of a quarantine: how long all that is in it stays apart, such as 45 days.",
        ),
        Field(
            key="isolation_fish",
            label="where fish are",
            help="Of a quarantine: how long where fish are or were in it; empty: 76 days, or as long as without.",
        ),
        Field(key="paused", label="paused", how=FLAG, help="Leaves only what protects people and animals."),
        Field(key="drained", label="drained", how=FLAG, help="Paused and empty: leaves nothing."),
    ),
)

STATION = Form(kind="station", key="stations", fields=(_KEPT_ID, _NAME))

TASK = Form(
    kind="task",
    key="tasks",
    fields=(
        _ID,
        Field(key="title", label="title", help="What is to be done, in a few words."),
        _STATION,
        *_WHEN,
        Field(key="takes", label="takes", how=TEXTS, help="Readings asked for when it is done.", of="readings"),
        Field(
            key="equipment",
            label="equipment",
            help="What has to be in service for it; while that is off, it waits.",
            of="equipment",
        ),
    ),
)

_BAND = " with its unit, such as 7.5 dKH."

READING = Form(
    kind="reading",
    key="readings",
    fields=(
        _ID,
        _NAME,
        Field(key="quantity", label="quantity", how=CHOICE, choices=tuple(QUANTITIES), help="What is measured."),
        Field(key="unit", label="unit", help="What is typed without one; empty: the room's."),
        _STATION,
        Field(key="target", label="target", help=f"What it should be,{_BAND}"),
        Field(key="low", label="low", help=f"Lower end of the usual band,{_BAND}"),
        Field(key="high", label="high", help=f"Upper end of the usual band,{_BAND}"),
        Field(key="act_low", label="act below", help=f"Act at once below this,{_BAND}"),
        Field(key="act_high", label="act above", help=f"Act at once above this,{_BAND}"),
        Field(key="act_steps", label="act now", how=TEXTS, help="What to do then, one after the other."),
        Field(key="act_after", label="tests", how=WHOLE, help="How many in a row have to lie beyond before it counts."),
        Field(key="rate", label="rate", help="The fastest change that is usual, such as 1.0 °C in 3 hours."),
        Field(key="instrument", label="instrument", help="What it is taken with.", of="instruments"),
        *_WHEN,
    ),
)

RESERVOIR = Form(
    kind="reservoir",
    key="reservoirs",
    fields=(
        _ID,
        _NAME,
        Field(key="kind", label="kind", how=CHOICE, choices=RESERVOIR_KINDS),
        _STATION,
        Field(key="capacity", label="capacity", help="How much it holds when full, such as 80 L."),
        Field(key="dead", label="dead", help="What cannot be drawn, such as 8 L."),
        Field(key="reserve", label="reserve", help="Refill before it falls below; waste: empty before it rises above."),
        Field(
            key="level_unit",
            label="level in",
            how=CHOICE,
            choices=("L", "%", "cm", "mL", "US gal", "UK gal"),
            help="How its level is read.",
        ),
        Field(key="litres_per_cm", label="litres a cm", how=NUMBER, help="Of a level in cm."),
        Field(key="use", label="use", help="A known use, such as 70 mL/day."),
        Field(key="fed_by", label="fed by", help="The reservoir its refills come from.", of="reservoirs"),
        Field(key="delivery", label="delivery", how=CHOICE, choices=DELIVERIES, help="How it reaches the water."),
        Field(key="makes", label="makes", help="What a purified-water unit fills into it, such as 6 L/h."),
        Field(key="doses", label="doses", how=CHOICE, choices=DOSED, help="Of a dosing container."),
        Field(key="strength", label="strength", help="Of the solution, such as 1.0 meq/mL."),
        Field(key="paired_with", label="paired with", help="What has to fall in step with it.", of="reservoirs"),
        *_WHEN,
    ),
)

EQUIPMENT = Form(
    kind="equipment",
    key="equipment",
    fields=(
        _ID,
        Field(
            key="kind",
            label="kind",
            kinds="equipment",
            help="Such as skimmer, return pump, heater; one of the care catalogue brings its tasks.",
        ),
        _NAME,
        _STATION,
        Field(
            key="care", label="brings care", how=FLAG, default=True, help="Whether its kind brings tasks and readings."
        ),
        Field(key="without", label="without", how=TEXTS, help="Ids of tasks that it does not bring."),
        Field(
            key="stops_with",
            label="stops with it",
            how=TEXTS,
            help="What has to stop when it stops: dosing, limewater, CO2, UV.",
            of="equipment",
        ),
        Field(
            key="put_back_order",
            label="back in order",
            how=TEXTS,
            help="In which order it and they are put back.",
            of="equipment",
        ),
    ),
)

INSTRUMENT = Form(
    kind="instrument",
    key="instruments",
    fields=(
        _KEPT_ID,
        Field(key="kind", label="kind", how=CHOICE, choices=INSTRUMENT_KINDS),
        _NAME,
        Field(key="batch", label="batch", help="As printed on it."),
        Field(key="opened", label="opened", how=DAY),
        Field(key="expires", label="expires", how=DAY, help="The last day on which it is good."),
        Field(key="reference", label="reference", help="Of a refractometer: SG 20/20, SG 25/25 or SG 60/60F."),
    ),
)

KEEPER = Form(
    kind="keeper",
    key="keepers",
    only_room=True,
    fields=(
        Field(key="initials", label="initials", help="As records have them; they stay.", fixed=True),
        _NAME,
    ),
)

ZONE = Form(
    kind="zone",
    key="zones",
    only_room=True,
    fields=(
        _KEPT_ID,
        _NAME,
        Field(key="tools", label="tools", help="How what stays in it is marked."),
    ),
)

SHIFT = Form(
    kind="shift",
    key="shifts",
    only_room=True,
    fields=(
        _NAME,
        Field(key="begins", label="begins", help="Such as 07:00."),
        Field(key="ends", label="ends", help="Such as 13:00."),
        Field(key="keepers", label="keepers", how=TEXTS, help="Initials of who usually has it.", of="keepers"),
    ),
)

FORMS = (SYSTEM, STATION, TASK, READING, RESERVOIR, EQUIPMENT, INSTRUMENT, KEEPER, ZONE, SHIFT)
BY_KEY = {form.key: form for form in FORMS}


# -- from text to value and back -----------------------------------------------------------------------


def read_text(field: Field, text: str) -> Any:
    """The value of a typed text; None: the key is left out. Raises `CannotRead`, which says what is to be typed."""
    text = text.strip()
    if not text:
        return None
    if field.how == FLAG:
        return _flag(field, text)
    if field.how == WHOLE:
        if not re.fullmatch("[0-9]{1,9}", text):
            raise CannotRead(f"{text!r} is no whole number; write one such as 5")
        return int(text)
    if field.how == NUMBER:
        if not re.fullmatch(r"[0-9]{1,9}([.,][0-9]{1,9})?", text):
            raise CannotRead(f"{text!r} is no number; write one such as 2.4")
        return float(text.replace(",", "."))
    if field.how == DAY:
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise CannotRead(f"{text!r} is no date; write year, month and day: 2026-12-01") from None
    if field.how == MOMENT:
        try:
            return datetime.fromisoformat(text)
        except ValueError:
            raise CannotRead(f"{text!r} is no day with a time; write one such as 2026-12-01 20:00") from None
    if field.how == TEXTS:
        return _texts(text, "," if field.of else "")
    if field.how == TIMES:
        times = [each.strip() for each in text.split(",") if each.strip()]
        return times[0] if len(times) == 1 else times
    if field.how == CHOICE and text not in field.choices:
        raise CannotRead(f"{text!r} is not known here; write one of: {', '.join(field.choices)}")
    return text


def shown_text(field: Field, value: Any) -> str:
    """A value as it is typed: `read_text` gives it back."""
    if field.how == FLAG:
        return YES if (field.default if value is None else value) else NO
    if value is None:
        return ""
    if isinstance(value, list):
        between = ", " if field.of or field.how == TIMES else BETWEEN
        return between.join(str(each).replace("|", "||") if between == BETWEEN else str(each) for each in value)
    return str(value)


def _flag(field: Field, text: str) -> bool | None:
    if text.casefold() not in (YES, NO):
        raise CannotRead(f"{text!r} is neither {YES} nor {NO}; write one of them")
    value = text.casefold() == YES
    return None if value == field.default else value


def _texts(text: str, separator: str) -> list[str] | None:
    if separator:
        parts = text.split(separator)
    else:
        parts = [part.replace("||", "|") for part in re.split(r"(?<!\|)\|(?!\|)", text)]
    return [part.strip() for part in parts if part.strip()] or None


# -- ids -----------------------------------------------------------------------------------------------


def make_id(name: str, taken: Collection[str], otherwise: str) -> str:
    """An id from a name, unlike those `taken`; from a name without a Latin letter or digit, `otherwise`."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    stem = re.sub("[^a-z0-9]+", "-", plain).strip("-")[:LONGEST_ID].strip("-") or otherwise
    number, id = 1, stem
    while id in taken:
        number += 1
        id = f"{stem}-{number}"
    return id


def name_of(values: Mapping[str, Any]) -> str:
    """What a table calls itself: its title or name, else its kind or id."""
    for key in ("title", "name", "kind", "id", "initials"):
        if isinstance(found := values.get(key), str) and found.strip():
            return found
    return ""
