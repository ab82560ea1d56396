"""Prompts: what stands together in the records and is worth a look; never a diagnosis.

Each rule looks at the evidence of one system and says one sentence, or nothing, with the records it stands
on. The figures are common practice, without a source, except where said otherwise.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime, timedelta
from statistics import median

import msgspec

from rounds.core.calendar import ONE_DAY, Calendar
from rounds.core.words import day_name, plain, plural
from rounds.water.balance import Balance
from rounds.water.practice import STOP_PH
from rounds.water.programme import HOLD, LightStep

PALE = frozenset(("pale", "paler", "paling", "faded", "bleached", "bleaching", "white"))
DEAD = frozenset(("dead",))
WORSE = PALE | DEAD | frozenset(
    (
        "brown", "cyano", "gaping", "infected", "peeling", "receding", "recession", "retracted", "shedding", "shrunken",
        "slime", "stressed", "stung",
    )
)  # fmt: skip
"""Condition words that speak against going on with a change; common practice, without a source."""

LATELY = timedelta(days=14)
"""So far back a condition word still speaks of the present."""
AFTER_LIGHT = timedelta(days=21)
"""So long after a light step paling may come of it."""
PALING_BEGAN = timedelta(days=90)
"""So far back is looked for the day on which paling that still goes on began."""
TESTED = timedelta(days=21)
"""So old a test of nutrients may be."""
ACUTE = timedelta(days=3)
"""So old a sign of death, a pH, a salinity or a level may be."""
AHEAD = timedelta(days=14)
"""So far ahead alkalinity leaving its band is said."""
HEAVIER = 1.15
"""Feeding over the last 14 days against the 28 before, from which it counts as heavier."""
MUCH = 1.5
"""Use of fresh water against the usual, from which it counts as high."""
DILUTED = 0.3
"""PSU below what was usual."""
SUPPLY_FELL = 0.97
"""Of the supply before, below which the supply has changed and not only the demand."""

MOST_RECORDS = 12
MOST_NAMED = 3
_HOUR = timedelta(hours=1)


class Seen(msgspec.Struct, frozen=True):
    """An observation with condition words."""

    at: datetime
    station: str
    """Its name."""
    record: str


class Measured(msgspec.Struct, frozen=True, kw_only=True):
    """One value of a reading."""

    at: datetime
    name: str
    value: float
    """Canonical; beyond a kit's limit, that limit."""
    shown: str
    """``nitrate <0.5 mg/L``"""
    below: bool
    """Under its usual band for certain."""
    above: bool
    record: str


class Feeding(msgspec.Struct, frozen=True, kw_only=True):
    """How much was fed, a day."""

    what: str
    """``g``, ``mL``, ``pieces`` or ``feeds``."""
    lately: float
    """Over the last 14 days."""
    before: float
    """Over the 28 days before them."""
    records: tuple[str, ...]


class Missed(msgspec.Struct, frozen=True):
    """A feed that was not given."""

    title: str
    due: datetime


class Draw(msgspec.Struct, frozen=True, kw_only=True):
    """Fresh water that a reservoir gave between its last two levels."""

    name: str
    litres: float
    since: datetime
    at: datetime
    usual: float
    """Litres a day."""
    records: tuple[str, ...]

    @property
    def times(self) -> float:
        """How many times the usual."""
        return self.litres / ((self.at - self.since) / ONE_DAY) / self.usual


class Drift(msgspec.Struct, frozen=True, kw_only=True):
    """A reading that is on its way out of its band."""

    said: str
    """Value and trend in words, as the readings have them."""
    leaves_at: datetime
    """When its line leaves the band, or the latest value where it has left."""
    records: tuple[str, ...]


class Evidence(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of one system; every series has its oldest first."""

    calendar: Calendar
    now: datetime
    pale: tuple[Seen, ...] = ()
    dead: tuple[Seen, ...] = ()
    nitrate: tuple[Measured, ...] = ()
    phosphate: tuple[Measured, ...] = ()
    ammonia: tuple[Measured, ...] = ()
    ph: tuple[Measured, ...] = ()
    salinity: tuple[Measured, ...] = ()
    light: tuple[LightStep, ...] = ()
    feeding: tuple[Feeding, ...] = ()
    missed: tuple[Missed, ...] = ()
    limewater: str = ""
    """Name of the limewater reservoir; empty: none."""
    fresh: tuple[Draw, ...] = ()
    alkalinity: Drift | None = None
    balance: Balance | None = None
    earlier: Balance | None = None
    """The balance of the time before, to tell demand from supply."""
    failing: tuple[str, ...] = ()
    """What gives another dose than is set, a sentence each."""

    def day(self, at: datetime) -> str:
        return day_name(self.calendar.round_day(at), self.calendar.round_day(self.now))

    def days_ago(self, at: datetime) -> str:
        days = (self.calendar.round_day(self.now) - self.calendar.round_day(at)).days
        return "today" if days == 0 else f"{plural(days, 'day')} ago"


class Prompt(msgspec.Struct, frozen=True):
    """One sentence and what it stands on."""

    rule: str
    text: str
    records: tuple[str, ...]
    """Ids, the oldest first, the latest twelve at most."""
    water: str = ""
    """Name of the tank it speaks of, where that is another water than its system."""


Rule = Callable[[Evidence], "Prompt | None"]


def prompts(evidence: Evidence) -> list[Prompt]:
    """What the rules say, in the order of `RULES`; at most one prompt of each."""
    return [prompt for rule in RULES if (prompt := rule(evidence)) is not None]


# -- rules ---------------------------------------------------------------------------------------------


def ammonia_or_death(e: Evidence) -> Prompt | None:
    dead = _lately(e, e.dead, ACUTE)
    test = _last(e, e.ammonia, ACUTE)
    if test is not None and test.above:
        found = f"; dead seen at {_places(e, dead)}" if dead else ""
        return _prompt(
            "ammonia",
            f"{_say(e, test)} is above its band{found}: look for a dead animal, stop feeding, "
            "have a water change ready",
            [*dead, test],
        )
    if dead and (test is None or test.at < dead[-1].at):
        return _prompt(
            "death", f"Dead seen at {_places(e, dead)}, ammonia not tested since: take it out and test ammonia", dead
        )
    return None


def high_ph_with_limewater(e: Evidence) -> Prompt | None:
    last = _last(e, e.ph, ACUTE)
    if last is None or not e.limewater or not (last.value > STOP_PH or last.above):
        return None
    if last.value > STOP_PH:
        act = f"over {STOP_PH} (NBS) with {e.limewater} running: stop it and look again in an hour"
    else:
        act = f"above its band with {e.limewater} running: look at its outlet and its use today"
    return _prompt("pH with limewater", f"{_say(e, last)}, {act}", [last])


def diluted(e: Evidence) -> Prompt | None:
    last = _last(e, e.salinity, ACUTE)
    before = [each.value for each in e.salinity[-6:-1]]
    if last is None or not before or median(before) - last.value < DILUTED:
        return None
    high = [draw for draw in e.fresh if draw.times > MUCH and e.now - draw.at <= ACUTE]
    if not high:
        return None
    draw = max(high, key=lambda each: each.times)
    return _prompt(
        "diluted",
        f"{_say(e, last)}, {median(before):.1f} before, and {draw.name} gave {draw.litres:.1f} L in "
        f"{round((draw.at - draw.since) / _HOUR)} h ({draw.usual:.1f} L a day is usual): fresh water gets in; "
        "shut the tap, look at the float valve and for leaks",
        [*(_Id(id) for id in draw.records), last],
    )


def alkalinity_leaves(e: Evidence) -> Prompt | None:
    drift = e.alkalinity
    if drift is None or drift.leaves_at - e.now > AHEAD:
        return None
    text = drift.said
    if e.balance is not None:
        text += (
            f"; supply {e.balance.supply:.3f}, consumption {e.balance.consumption:.3f} ({e.balance.low:.3f} to "
            f"{e.balance.high:.3f}) dKH a day at salinity 35; {_cause(e.balance, e)}"
        )
    return _prompt("alkalinity", text, map(_Id, drift.records))


def _cause(now: Balance, e: Evidence) -> str:
    """Why supply and demand do not meet: what is seen of the supply comes before what is inferred of the demand."""
    earlier = e.earlier
    if e.failing:
        return " ".join(e.failing)
    if earlier is not None and now.supply < SUPPLY_FELL * earlier.supply:
        return f"supply was {earlier.supply:.3f} before: look at containers, heads and limewater strength first"
    if earlier is not None and now.low > earlier.high:
        return f"demand has grown from {earlier.consumption:.3f}, supply is as before: see the proposal"
    if earlier is not None and now.high < earlier.low:
        return f"demand has fallen from {earlier.consumption:.3f}: look at the animals, then see the proposal"
    return "supply and demand do not meet: see the proposal"


def pale_and_hungry(e: Evidence) -> Prompt | None:
    pale = _lately(e, e.pale, LATELY)
    tests = [test for series in (e.nitrate, e.phosphate) if (test := _last(e, series, TESTED)) is not None]
    if not pale or not tests or not all(test.below for test in tests):
        return None
    bands = "their bands" if len(tests) > 1 else "its band"
    risen = _risen(e, e.now)
    light = f"; {risen.said} {e.days_ago(risen.at)}" if risen is not None else ""
    return _prompt(
        "pale, low nutrients",
        f"Pale at {_places(e, pale)}; {' and '.join(_say(e, test) for test in tests)} below {bands}: "
        f"check feeding{light}",
        [*pale, *tests, *([risen] if risen is not None else [])],
    )


def pale_after_light(e: Evidence) -> Prompt | None:
    pale = _paling(e)
    risen = _risen(e, pale[0].at) if pale else None
    if risen is None:
        return None
    lately = _lately(e, pale, LATELY)
    return _prompt(
        "pale after light",
        f"Pale at {_places(e, lately)}; {risen.said} on {e.day(risen.at)}, {e.days_ago(risen.at)}: hold the rise "
        f"until {e.day(pale[-1].at + HOLD)} at least",
        [risen, *lately],
    )


def _paling(e: Evidence) -> list[Seen]:
    """The paling that still goes on, from the first time it was seen: no two sightings of it lie far apart."""
    found: list[Seen] = []
    for each in reversed([each for each in e.pale if each.at <= e.now]):
        if (found[0].at if found else e.now) - each.at > LATELY:
            break
        found.insert(0, each)
    return found


def overfed(e: Evidence) -> Prompt | None:
    test = _last(e, e.nitrate, TESTED)
    heavier = [each for each in e.feeding if each.before and each.lately >= HEAVIER * each.before]
    if test is None or not test.above or not heavier:
        return None
    most = max(heavier, key=lambda each: each.lately / each.before)
    return _prompt(
        "high nitrate, heavier feeding",
        f"{_say(e, test)} is above its band and feeding went from {most.before:.1f} to {most.lately:.1f} {most.what} "
        "a day in two weeks: look at what is left over, feed less before changing more water",
        [*(_Id(id) for id in most.records), test],
    )


def missed_feeds(e: Evidence) -> Prompt | None:
    if not e.missed:
        return None
    named = "; ".join(f"{each.title} on {e.day(each.due)}" for each in e.missed[-MOST_NAMED:])
    more = len(e.missed) - MOST_NAMED
    rest = f" and {more} more" if more > 0 else ""
    return _prompt("missed feeds", f"Not given: {named}{rest}; not given twice, look at appetite and condition", [])


RULES: tuple[Rule, ...] = (
    ammonia_or_death, high_ph_with_limewater, diluted, alkalinity_leaves, pale_and_hungry, pale_after_light, overfed,
    missed_feeds,
)  # fmt: skip
"""The most pressing first."""


# -- words ---------------------------------------------------------------------------------------------


class _Id(msgspec.Struct, frozen=True):
    record: str


def _prompt(rule: str, text: str, found: Iterable[object]) -> Prompt:
    ids = dict.fromkeys(id for each in found if (id := str(getattr(each, "record", ""))))
    sentence = text if text.startswith("pH") else text[0].upper() + text[1:]
    return Prompt(rule, sentence, tuple(ids)[-MOST_RECORDS:])


def _lately(e: Evidence, seen: Sequence[Seen], within: timedelta) -> list[Seen]:
    return [each for each in seen if each.at <= e.now and e.now - each.at <= within]


def _last(e: Evidence, series: Sequence[Measured], within: timedelta) -> Measured | None:
    """The latest value when it is not too old."""
    last = series[-1] if series else None
    return last if last is not None and e.now - last.at <= within else None


def _risen(e: Evidence, by: datetime) -> LightStep | None:
    """The last time up to `by` that the light rose, or became clearer, not too long ago.

    What is done so often that it comes before everything says nothing.
    """
    rises = [step for step in e.light if (step.rise is None or step.rise > 0) and not step.routine]
    found = [step for step in rises if step.at <= by and e.now - step.at <= AFTER_LIGHT]
    return found[-1] if found else None


def _places(e: Evidence, seen: Sequence[Seen]) -> str:
    """``Racks 1–3 and Racks 4–6 (Wed 4 Nov, Wed 11 Nov)``"""
    stations = list(dict.fromkeys(plain(each.station) for each in seen if each.station))
    days = list(dict.fromkeys(e.day(each.at) for each in seen))[-MOST_NAMED:]
    named = " and ".join(stations[:MOST_NAMED]) if len(stations) <= MOST_NAMED else plural(len(stations), "station")
    return f"{named or 'this system'} ({', '.join(days)})"


def _say(e: Evidence, test: Measured) -> str:
    return f"{test.shown} ({e.day(test.at)})"
