"""Times and states in plain words, and the condition words of the trade.

English throughout, whatever the machine's locale: a sheet reads the same for everyone in the room.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from rounds.core.calendar import Calendar

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

CONDITION_WORDS = frozenset(
    (
        "algae", "bleached", "bleaching", "broken", "brown", "closed", "cloudy", "crowded", "cyano",
        "darker", "dead", "detached", "extended", "fallen", "faded", "feeding", "flatworm",
        "flatworms", "gaping", "growing", "growth", "healthy", "hiding", "infected", "loose",
        "missing", "mucus", "nudibranch", "nudibranchs", "open", "overgrown", "pale", "paler",
        "paling", "parasite", "parasites", "peeling", "pest", "pests", "receding", "recession",
        "retracted", "richer", "shedding", "shrunken", "slime", "spawning", "spots", "stung",
        "stressed", "swollen", "thin", "torn", "wandering", "white",
    )
)  # fmt: skip
"""How keepers say what they see of an animal; common practice, without a source."""

PEST_WORDS = frozenset(
    ("flatworm", "flatworms", "infected", "nudibranch", "nudibranchs", "parasite", "parasites", "pest", "pests")
)
"""Condition words that say that something was found which other animals in that water can catch."""

_NO = frozenset(("0", "neither", "never", "no", "none", "nor", "not", "nothing", "without", "zero"))
"""What turns such a word into its contrary."""

_LEFT_TO_SAY = _NO | {"anywhere", "found", "here", "left", "now", "seen", "today", "yet"}
"""What alone may follow a word that is denied after it was named: "flatworms not seen", "dead: none"."""

_PART = re.compile(r"[.,;!?()]|:(?!\s*(?:no|none|nothing|0|zero)\b)|\b(?:and|but|still|with|[1-9][0-9]*)\b")
"""What begins another part of a sentence, as far as a denial reaches."""

_WORD = re.compile(r"[^\W\d_]+|\b0\b")
_FREE_OF = re.compile(r"\bfree (?:of|from)\b")


def pests_in(text: str) -> bool:
    """Whether a text says that pests were found: "no pests seen" does not, "no algae, one flatworm" does."""
    return not PEST_WORDS.isdisjoint(condition_words(text))


def condition_words(note: str) -> tuple[str, ...]:
    """The condition words of a note that nothing denies, each once, in the order in which they stand."""
    parts = (_WORD.findall(part) for part in _PART.split(_FREE_OF.sub("without", note.casefold())))
    return tuple(dict.fromkeys(
        word for words in parts for place, word in enumerate(words)
        if word in CONDITION_WORDS and not _denied(words[:place], words[place + 1 :])
    ))  # fmt: skip


def _denied(before: Sequence[str], after: Sequence[str]) -> bool:
    """Whether a word is denied by what stands before it in its part of the sentence, or by all that follows it."""
    if not _NO.isdisjoint(before) or after[:1] == ["free"]:
        return True
    return not _NO.isdisjoint(after) and _LEFT_TO_SAY.issuperset(after)


def clock(calendar: Calendar, at: datetime) -> str:
    """``07:30``"""
    local = calendar.local(at)
    return f"{local.hour:02}:{local.minute:02}"


def day_name(day: date, today: date | None = None) -> str:
    """``Wed 25 Nov``; where it is another year than that of `today`, with it: ``Mon 7 Jun 2027``."""
    year = "" if today is None or day.year == today.year else f" {day.year}"
    return f"{DAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}{year}"


def round_day_name(calendar: Calendar, at: datetime, now: datetime | None = None) -> str:
    """The same of the round day of an instant; where it is in another year than `now`, with it."""
    return day_name(calendar.round_day(at), calendar.round_day(now) if now is not None else None)


def moment(calendar: Calendar, at: datetime, now: datetime) -> str:
    """A time as said at `now`: ``22:00``, ``tomorrow 09:00``, ``Thu 10:00``, ``Wed 25 Nov 10:00``."""
    local, today = calendar.local(at), calendar.local(now).date()
    away = (local.date() - today).days
    time = clock(calendar, at)
    if away == 0:
        return time
    if away in (-1, 1):
        return f"{'tomorrow' if away == 1 else 'yesterday'} {time}"
    if 1 < away < 7:
        return f"{DAYS[local.weekday()]} {time}"
    return f"{day_name(local.date(), today)} {time}"


def full_moment(calendar: Calendar, at: datetime, now: datetime | None = None) -> str:
    """``Wed 25 Nov 10:00``, as on paper: the same whichever day it is read; of another year than `now`, with it."""
    today = calendar.local(now).date() if now is not None else None
    return f"{day_name(calendar.local(at).date(), today)} {clock(calendar, at)}"


def length(span: timedelta) -> str:
    """About how long: ``12 minutes``, ``5 hours``, ``2 days``."""
    seconds = max(0, int(span.total_seconds()))
    for size, word in ((86_400, "day"), (3600, "hour"), (60, "minute")):
        if seconds >= (2 if word == "hour" else 1) * size or (word == "hour" and seconds >= 3600):
            number = seconds // size
            return f"{number} {word}{'' if number == 1 else 's'}"
    return "less than a minute"


def plural(number: int, word: str) -> str:
    """``1 task``, ``2 tasks``"""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


_COUNTED = {
    "bag": "bags", "bottle": "bottles", "box": "boxes", "can": "cans", "capsule": "capsules", "carton": "cartons",
    "cartridge": "cartridges", "cube": "cubes", "filter": "filters", "jar": "jars", "lamp": "lamps", "pack": "packs",
    "packet": "packets", "pair": "pairs", "piece": "pieces", "roll": "rolls", "sachet": "sachets", "set": "sets",
    "sheet": "sheets", "sock": "socks", "strip": "strips", "tablet": "tablets", "test": "tests", "tin": "tins",
    "tub": "tubs", "tube": "tubes",
}  # fmt: skip
"""What keepers count by, one and many; every other unit is written as it is, whatever language it is of."""


def unit_for(number: float, unit: str) -> str:
    """A unit of what is counted as it follows a number: ``1 piece``, ``2 pieces``, ``2 kg``."""
    for one, many in _COUNTED.items():
        if unit in (one, many):
            return one if number == 1 else many
    return unit


_JOINER = "\u200d"
"""Makes one sign of several, such as a family."""


def plain(text: str) -> str:
    """Text of a user as it may be shown: control characters and direction overrides made visible."""
    if text.isprintable():  # nearly every text, a hundred times a key
        return text
    return "".join(_visible(character) for character in text)


def quoted(value: object) -> str:
    """A value as a sentence names it: a text in quotes as it was typed, what cannot be seen in it as a dot."""
    if not isinstance(value, str):
        return str(value)
    quote = '"' if "'" in value and '"' not in value else "'"
    text = "".join(each if each.isprintable() or each == _JOINER else "·" for each in plain(value))
    return f"{quote}{text}{quote}"


def _visible(character: str) -> str:
    code = ord(character)
    if character in "\n\t":
        return " "
    if code < 32 or 127 <= code < 160:
        return "·"
    if 0x202A <= code <= 0x202E or 0x2066 <= code <= 0x2069 or code in (0x200E, 0x200F, 0xFEFF):
        return "·"
    return "·" if 0xD800 <= code <= 0xDFFF else character
