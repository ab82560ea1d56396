"""The answers from which a new room is made, how a keeper types them, and what follows from them by itself."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime, time
from math import pi
from typing import TypeVar

import msgspec

from rounds.core.calendar import ONE_DAY, Calendar
from rounds.core.errors import CannotRead, Refused
from rounds.core.model import IMPORTANCES, AgainAfter, Keeper, Room, Shift, Task, Zone
from rounds.core.quantities import QUANTITIES
from rounds.core.shifts import Duty, duties_on
from rounds.core.units import find_unit

T = TypeVar("T")

USUAL_UNITS = {"temperature": "°C", "salinity": "PSU", "alkalinity": "dKH", "volume": "L"}
"""The quantities whose units are asked for, with what is meant where nothing is answered."""

WEEKS = 4
"""Over how many weeks first times are spread."""

_RARE = 5
"""Days: work that comes back more often than this is not spread."""
_URGENT_WITHIN = 7
"""Days within which what protects people and animals is done for the first time."""
_LATE_FROM = time(12)
"""From when a room without shifts begins on the next day; common practice, no source."""
_PIECES = 50
"""So many pieces of one kind a system has at the most."""
_MINUTES = 5
"""What a task is taken for that does not say how long it takes."""


class ReservoirAnswers(msgspec.Struct, frozen=True, kw_only=True):
    """A container that empties or fills."""

    name: str
    kind: str
    """One of `rounds.core.model.RESERVOIR_KINDS`."""
    capacity: str
    """``80 L``"""


class SystemAnswers(msgspec.Struct, frozen=True, kw_only=True):
    """One system, or the room as the place of what belongs to no water."""

    name: str
    kinds: tuple[str, ...]
    """Of the care catalogue."""
    volume: str = ""
    """``960 L``; empty: not said."""
    surface: str = ""
    """``1.2 m2``; empty: not said."""
    zone: str = ""
    """The name of its hygiene zone; empty: that of its kind."""
    equipment: tuple[str, ...] = ()
    """Kinds of the care catalogue; of what there are several the kind as often, one after the other."""
    reservoirs: tuple[ReservoirAnswers, ...] = ()


class Answers(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that is asked before there is a room."""

    folder: str = ""
    """Where the room is to be written."""
    name: str = ""
    timezone: str = ""
    """IANA name."""
    units: dict[str, str] = {}
    """By quantity; the usual unit of those that are missing."""
    day_begins: time = time(4)
    began: date | None = None
    """The first round day; None: `usual_first_day` of when the room is written."""
    spread: bool = True
    """Whether first times are spread over `WEEKS` weeks; else everything is due on the first day."""
    keepers: tuple[Keeper, ...] = ()
    shifts: tuple[Shift, ...] = ()
    room: SystemAnswers = SystemAnswers(name="The room", kinds=("room",))
    fittings: tuple[str, ...] = ()
    """What the room has, of `FITTINGS`."""
    systems: tuple[SystemAnswers, ...] = ()

    @property
    def places(self) -> tuple[SystemAnswers, ...]:
        """The room, then the systems."""
        return (self.room, *self.systems)

    def with_place(self, place: int, changed: SystemAnswers) -> Answers:
        """With another answer at a place of `places`."""
        if place == 0:
            return msgspec.structs.replace(self, room=changed)
        return msgspec.structs.replace(self, systems=put(self.systems, place - 1, changed))

    def unit(self, quantity: str) -> str:
        return self.units.get(quantity, USUAL_UNITS[quantity])


def put(items: tuple[T, ...], place: int | None, item: T) -> tuple[T, ...]:
    """The items with another one at a place, or with one more where no place is given."""
    if place is None:
        return (*items, item)
    return (*items[:place], item, *items[place + 1 :])


def without(items: tuple[T, ...], place: int) -> tuple[T, ...]:
    """The items without the one at a place."""
    return (*items[:place], *items[place + 1 :])


# -- what a keeper types -----------------------------------------------------------------------------

_SHIFT = re.compile(r"(.*?)\s+([0-9]{1,2})[:.]([0-9]{2})\s*(?:-|–|to)?\s*([0-9]{1,2})[:.]([0-9]{2})", re.ASCII)
_AMOUNT = re.compile(r"([0-9]+(?:[.,][0-9]+)?)\s*(.*)", re.ASCII)
_SIDE = r"([0-9]+(?:[.,][0-9]+)?)"
_BY = r"\s*(?:x|×|\*|by)\s*"
_BOX = re.compile(rf"{_SIDE}{_BY}{_SIDE}{_BY}{_SIDE}\s*([a-z]*)", re.ASCII | re.IGNORECASE)
_ROUND = re.compile(rf"(?:d|dia|diameter|⌀|ø)\s*{_SIDE}{_BY}{_SIDE}\s*([a-z]*)", re.IGNORECASE)


def read_name(text: str) -> str:
    """A name that is not blank; any characters but those that no terminal can show."""
    name = " ".join(text.split())
    if not name:
        raise CannotRead("a name is missing; type one")
    return name


def read_keeper(text: str) -> Keeper:
    """``TV Tibor Velsen``: initials of up to eight letters or digits, then the name, which may be missing."""
    initials, _, name = text.strip().partition(" ")
    if not 1 <= len(initials) <= 8 or not all(c.isalnum() for c in initials):
        raise CannotRead(f"{initials!r} are no initials; type up to eight letters or digits, a space and the name")
    return Keeper(initials, " ".join(name.split()))


def read_shift(text: str) -> Shift:
    """``early 07:00 13:00``: name, beginning and end."""
    found = _SHIFT.fullmatch(text.strip())
    if found is None or not found[1].strip():
        raise CannotRead(f"{text!r} is no shift; type its name, its beginning and its end, such as early 07:00 13:00")
    return Shift(read_name(found[1]), _clock(found[2], found[3]), _clock(found[4], found[5]))


def read_clock(text: str) -> time:
    """``04:00``"""
    hour, _, minute = text.strip().replace(".", ":").partition(":")
    if not (hour.isascii() and minute.isascii() and hour.isdigit() and minute.isdigit()):
        raise CannotRead(f"{text!r} is no time of day; type one such as 04:00")
    return _clock(hour, minute)


def _clock(hour: str, minute: str) -> time:
    try:
        return time(int(hour), int(minute))
    except ValueError:
        raise CannotRead(f"{hour}:{minute} is no time of day; type one from 00:00 to 23:59") from None


def read_day(text: str) -> date:
    """``2026-11-25``"""
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        raise CannotRead(f"{text!r} is no date; type one such as 2026-11-25") from None
    if not 1900 <= day.year <= 2200:
        raise CannotRead(f"{text!r} lies outside the years 1900 to 2200; type another date")
    return day


def read_pieces(text: str) -> int:
    """How many pieces of equipment there are of one kind; 0: none any more."""
    typed = text.strip()
    if not (typed.isascii() and typed.isdigit() and int(typed) <= _PIECES):
        raise CannotRead(f"{text!r} is no number of pieces; type one from 0 to {_PIECES}")
    return int(typed)


def read_amount(text: str, unit: str) -> str:
    """``80 L`` from a number with a unit of volume; `unit` where none is typed."""
    found = _AMOUNT.fullmatch(text.strip())
    if found is None:
        raise CannotRead(f"{text!r} is no volume; type a number and a unit, such as 80 {unit}")
    number, name = _number(found[1]), find_unit("volume", found[2]).name if found[2] else unit
    _, most = QUANTITIES["volume"].possible
    litres = number * _litres(name)
    if not 0 < litres <= most:
        raise CannotRead(f"{text!r} cannot be a volume; type more than nothing and at most {most:,.0f} L")
    return f"{_written(number)} {name}"


def read_water(text: str, unit: str) -> tuple[str, str]:
    """Volume and surface of a system: ``960 L``, ``200 x 60 x 50`` (length, width, height of the water in cm) or
    ``d 80 x 60`` (diameter, height). The surface is known from dimensions alone.
    """
    box, drum = _BOX.fullmatch(text.strip()), _ROUND.fullmatch(text.strip())
    if box is not None:
        long, wide, high = (_cm(box[place], box[4]) for place in (1, 2, 3))
        return _water(text, long * wide, high, unit)
    if drum is not None:
        across, high = _cm(drum[1], drum[3]), _cm(drum[2], drum[3])
        return _water(text, pi / 4 * across * across, high, unit)
    try:
        return read_amount(text, unit), ""
    except CannotRead as refused:
        raise CannotRead(f"{refused}, or length x width x height of the water in cm, or d 80 x 60") from None


def _water(text: str, square_cm: float, high: float, unit: str) -> tuple[str, str]:
    litres = square_cm * high / 1000
    if not litres:
        raise CannotRead(f"{text!r} holds nothing; type length, width and height of the water")
    number = litres / _litres(unit)
    return read_amount(_written(_figures(number, 3)), unit), f"{_written(_figures(square_cm / 10_000, 3))} m2"


def _cm(number: str, unit: str) -> float:
    factor = find_unit("length", unit or "cm").factor
    assert factor is not None  # every length has one
    return _number(number) * factor


def _litres(unit: str) -> float:
    factor = find_unit("volume", unit).factor
    assert factor is not None  # every volume has one
    return factor


def _number(text: str) -> float:
    return float(text.replace(",", "."))


def _figures(number: float, figures: int) -> float:
    return float(f"{number:.{figures}g}")


def _written(number: float) -> str:
    """The number in full, without an exponent."""
    return f"{number:.6f}".rstrip("0").rstrip(".")


def share_of(amount: str, share: float) -> str:
    """A part of an amount, in its unit: a quarter of ``80 L`` is ``20 L``."""
    number, _, unit = amount.partition(" ")
    return f"{_written(_figures(float(number) * share, 2))} {unit}"


def unlike(what: str, new: str, known: Iterable[str]) -> None:
    """Raise `Refused` where a name that has to be unique is there already."""
    if new in known:
        raise Refused(f"{what} {new} is there already; type another")


# -- what follows from them --------------------------------------------------------------------------

LIVE_FOOD, LARVAL, GROWING, QUARANTINE = "live food", "larval", "growing on", "quarantine"
ZONES = {LIVE_FOOD: "white", LARVAL: "blue", GROWING: "green", QUARANTINE: "red"}
"""From clean to dirty, with the colour of their tools; common practice, no source."""

_ZONE_OF = {"live-food culture": LIVE_FOOD, "larval rearing": LARVAL, "quarantine": QUARANTINE}
"""By kind of system; others are grown on."""


def zone_of(system: SystemAnswers) -> str:
    """The name of a system's hygiene zone: as answered, else the dirtiest of its kinds."""
    order = list(ZONES)
    found = [_ZONE_OF.get(kind, GROWING) for kind in system.kinds] or [GROWING]
    return system.zone or max(found, key=order.index)


def walked(systems: Sequence[SystemAnswers]) -> list[SystemAnswers]:
    """The systems in walking order, clean to dirty; those of one zone as they were named."""
    order = list(ZONES)
    rank = {zone: place for place, zone in enumerate(order)}
    return sorted(systems, key=lambda system: rank.get(zone_of(system), rank[GROWING] + 0.5))


def zones(systems: Sequence[SystemAnswers]) -> list[Zone]:
    """The zones that are used, from clean to dirty."""
    names = dict.fromkeys(zone_of(system) for system in walked(systems))
    return [Zone(_letters(place), name, ZONES.get(name, "")) for place, name in enumerate(names)]


def _letters(place: int) -> str:
    """A, B, … Z, AA, AB …"""
    return (_letters(place // 26 - 1) if place >= 26 else "") + chr(ord("A") + place % 26)


TANK, SUMP, PANEL, SHELF, TOP_OFF = "Tank", "Sump", "Panel", "Dosing shelf", "Top-off"
UNIT, VAT, BENCH, STORE, WHOLE = "Purified-water unit", "Salt-water vat", "Test bench", "Purified-water store", ""

STATIONS = {
    "skimmer": SUMP,
    "skimmate collector": SUMP,
    "heater": SUMP,
    "chiller or cooling fan": SUMP,
    "return pump": SUMP,
    "filter sock or floss": SUMP,
    "drum or roller filter": SUMP,
    "media reactor": SUMP,
    "UV unit": SUMP,
    "limewater reactor": SHELF,
    "CO2 reactor": SHELF,
    "dosing pump": SHELF,
    "gravity top-off": TOP_OFF,
    "pumped top-off": TOP_OFF,
    "reservoir": TOP_OFF,
    "temperature controller": PANEL,
    "pH probe": PANEL,
    "conductivity probe": PANEL,
    "redox probe": PANEL,
    "temperature probe": PANEL,
}
"""Where equipment of a system usually stands; what is not here stands at the tank."""

ROOM_STATIONS = {
    "purified-water unit": UNIT,
    "salt-water mixing": VAT,
    "reservoir": STORE,
    "refractometer": BENCH,
    "oxygen meter": BENCH,
    "pH probe": BENCH,
    "conductivity probe": BENCH,
}
"""Equipment that a room has for all its systems, with where it usually stands."""

_ROOM_ONLY = ("purified-water unit", "salt-water mixing", "refractometer")

RESERVOIR_STATIONS = {
    "top-off": TOP_OFF,
    "limewater": SHELF,
    "dosing": SHELF,
    "salt water": VAT,
    "purified water": STORE,
    "waste": SUMP,
}

FITTINGS = {
    "feed fridge and freezer": ("cold-store", "fridge", "freezer"),
    "leak sensors": ("leak-sensors",),
    "telephone alarm": ("alarm-call",),
    "battery supply": ("backup-power", "backup-runtime"),
    "CO2 alarm": ("co2-alarm",),
    "eyewash": ("eyewash",),
}
"""What not every room has, with the care that goes with it."""

OF_RETURN = ("overflow", "drain-down", "valves")
"""Care of systems that goes with a return and its plumbing, and is left out where there is none."""

ISOLATION = {"quarantine": "45 days"}
"""By kind of system: how long what arrives in it stays apart; common practice, no source."""

LEVEL_BY_RESERVOIR = {
    "top-off": {"gravity top-off": "float-level", "pumped top-off": "topoff-level"},
    "dosing": {"dosing pump": "dose-levels"},
    "waste": {"skimmate collector": "collector"},
}
"""By kind of reservoir: care of equipment that reads the same level, and is left out beside the reservoir."""


def offered(kinds: Iterable[str], *, whole_room: bool) -> list[str]:
    """The kinds of equipment to be ticked for a system, or for the room."""
    if whole_room:
        return [kind for kind in kinds if kind in ROOM_STATIONS]
    return [kind for kind in kinds if kind not in _ROOM_ONLY]


def station_of(place: SystemAnswers, kind: str, usual: Mapping[str, str]) -> str:
    """The name of the station where equipment or a reservoir of a kind stands; a system without return has no sump."""
    station = usual.get(kind, TANK)
    return TANK if station == SUMP and not has_return(place) else station


def has_return(place: SystemAnswers) -> bool:
    """Whether its water runs through a sump and is pumped back."""
    return "return pump" in place.equipment


def with_pieces(place: SystemAnswers, kind: str, number: int, order: Iterable[str]) -> SystemAnswers:
    """With so many pieces of a kind; the kinds stay in `order`."""
    have = {each: place.equipment.count(each) for each in place.equipment} | {kind: number}
    return msgspec.structs.replace(place, equipment=tuple(each for each in order for _ in range(have.get(each, 0))))


def pieces(equipment: Sequence[str]) -> list[str]:
    """Each piece by its kind, numbered where there are several: ``skimmer``, ``heater 1``, ``heater 2``."""
    return [
        f"{kind} {equipment[: place + 1].count(kind)}" if equipment.count(kind) > 1 else kind
        for place, kind in enumerate(equipment)
    ]


# -- times -------------------------------------------------------------------------------------------


def fitted_times(room: Room) -> dict[str, tuple[time, ...]]:
    """By task, its times of day where one of them has to be another for the room's shifts.

    What is late before anybody comes would be late every day: it is due when the next shift begins. A time stays
    where no shift comes after it, and where two times of a task would fall into one shift.
    """
    duties = duties_on(room, room.began) if room.shifts else []
    fitted = ((task.id, _fitted(room, task, duties)) for task in room.tasks.values() if task.grace is not None)
    return {id: times for id, times in fitted if times != room.tasks[id].times}


def _fitted(room: Room, task: Task, duties: Sequence[Duty]) -> tuple[time, ...]:
    found: list[time] = []
    used: list[Duty] = []
    for each in task.times:
        due = room.calendar.wall(room.began, each)
        duty = next((duty for duty in duties if duty.ends > due), None)
        if duty in used:
            return task.times
        if duty is not None:
            used.append(duty)
        late = duty is not None and task.grace is not None and duty.begins >= due + task.grace
        found.append(duty.shift.begins if late and duty is not None and duty.shift is not None else each)
    return tuple(found)


def usual_first_day(answers: Answers, calendar: Calendar, now: datetime) -> date:
    """The first round day where none was answered: the current one, unless its work would begin late.

    It would once the last shift has begun, and in a room without shifts from noon on.
    """
    today = calendar.round_day(now)
    begins = [calendar.wall(today, shift.begins) for shift in answers.shifts]
    late = now > max(begins) if begins else now >= calendar.wall(today, _LATE_FROM)
    return today + ONE_DAY if late else today


# -- first times -------------------------------------------------------------------------------------


def first_days(room: Room) -> dict[str, date]:
    """By task, the day on which what comes back after `_RARE` days or more is done for the first time.

    A new room knows of no last time, so that everything would be due on its first day. Each task is put on the day
    with the least work within its interval, `WEEKS` weeks at most; what protects people and animals within a week.
    """
    minutes = [0] * (WEEKS * 7)
    found = {}
    for task, every in sorted(_returning(room), key=_least_free_first):
        day = min(range(_within(task, every)), key=lambda place: minutes[place])
        for place in range(day, len(minutes), every):
            minutes[place] += task.minutes or _MINUTES
        if day:
            found[task.id] = room.began + day * ONE_DAY
    return found


def _returning(room: Room) -> Iterator[tuple[Task, int]]:
    """The tasks that come back some days after they were done, with how many."""
    for task in room.tasks.values():
        if isinstance(task.rule, AgainAfter) and task.rule.span.nominal >= ONE_DAY and task.first_day is None:
            yield task, task.rule.span.nominal // ONE_DAY


def _least_free_first(returning: tuple[Task, int]) -> tuple[int, int]:
    """What has the fewest days to go to comes first, of those the longest: the short ones fill what is left."""
    task, every = returning
    return _within(task, every), -(task.minutes or _MINUTES)


def _within(task: Task, every: int) -> int:
    """Days, one of which is the first: 1 for what is not spread."""
    if every < _RARE:
        return 1
    return min(every, _URGENT_WITHIN if task.importance in IMPORTANCES[:2] else WEEKS * 7)
