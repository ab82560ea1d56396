"""The recipe of the demo room's past, as `demo/history.toml` has it.

Days count from the day on which the room is opened: 0 is that day, -1 the one before.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Literal

import msgspec

Happening = Literal[
    "settled", "arrived", "released", "split", "combined", "left", "counted", "seen", "found", "completed"
]


class _Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    pass


class Cover(_Part, frozen=True, kw_only=True):
    """Somebody who stands in for a shift."""

    first: int
    last: int
    shift: str
    by: str
    why: str


class Rota(_Part, frozen=True, kw_only=True):
    early: tuple[str, ...]
    """Initials, Monday to Sunday."""
    late: tuple[str, ...]
    cover: tuple[Cover, ...] = ()


class Habits(_Part, frozen=True, kw_only=True):
    """Shares of the work, 0 to 1."""

    left_for_tomorrow: float
    late: float
    late_until: int
    written_later: float
    remark: float


class Evaporation(_Part, frozen=True, kw_only=True):
    mm_per_day: float
    at_humidity: float
    """Per cent."""
    per_point: float
    """Share more for each point of humidity less."""
    humidity_sigma: float


class Valve(_Part, frozen=True, kw_only=True):
    """A float valve that stuck open overnight, and how the water was brought back."""

    day: int
    found: str
    surplus: float
    """Litres."""
    left: float
    """Litres in the barrel when found."""
    drained: int
    drained_at: str
    topped_at: str
    topped_salinity: float
    """At most; less on the day on which `topped_until` is reached."""
    topped_until: float
    topped_alkalinity: float
    """dKH at salinity 35."""
    open_again: int
    refill_to: float
    """Litres in the barrel at most from then on."""
    change_salinity: float


class Nursery(_Part, frozen=True, kw_only=True):
    volume: float
    """Litres."""
    surface: float
    """Square metres."""
    limewater: float
    """Litres a day."""
    lime_meq_per_litre: float
    lime_strength: float
    dose: float
    """Millilitres a day."""
    dose_meq_per_ml: float
    consumption: float
    """dKH a day."""
    consumption_at_opening: float
    growth_from: int
    alkalinity_at_start: float
    """dKH."""
    salinity_at_start: float
    change: float
    """Litres at each water change."""
    change_alkalinity: float
    """dKH at salinity 35."""
    change_salinity: float
    valve: Valve


class Solutions(_Part, frozen=True, kw_only=True):
    """The two dosing containers; litres."""

    alkalinity_full_days: int
    every: int
    reserve: float
    calcium_filled: int
    calcium_level: float
    noise: float
    filled_at: str


class Store(_Part, frozen=True, kw_only=True):
    litres_per_hour: float
    opens: float
    shuts: float


class Level(_Part, frozen=True, kw_only=True):
    """A reservoir; litres."""

    reservoir: str
    start: float
    noise: float
    use: float | None = None
    """Litres a day whatever the weather; negative: it fills."""
    surface: float | None = None
    """Square metres whose evaporation it makes up."""
    refill_below: float | None = None
    """Of a waste container: emptied above it."""
    refill_to: float | None = None


class Series(_Part, frozen=True, kw_only=True):
    """The truth behind a reading, in the reading's unit."""

    reading: str
    points: tuple[tuple[float, float], ...] = ()
    """(day, value); none: the truth comes from the balance of the water."""
    steps: bool = False
    """Held from one point to the next instead of going straight there."""
    noise: float = 0.0
    read_to: float
    evening: float = 0.0
    """Higher by so much after noon."""
    not_needed: str = ""
    """Why nothing is read when the value rounds to nothing."""


class Instrument(_Part, frozen=True, kw_only=True):
    """An instrument that was wrong for a time."""

    readings: tuple[str, ...]
    since: int
    until: int
    at: str
    """Wall time of both days."""
    shows: float
    """What it showed too much, in the unit of the readings."""


class Departure(_Part, frozen=True, kw_only=True):
    readings: tuple[str, ...]
    day: int
    at: str
    hours: tuple[float, ...]
    change: tuple[float, ...]


class Skipped(_Part, frozen=True, kw_only=True):
    """An occurrence that nobody did."""

    task: str
    day: int
    at: str


class Told(_Part, frozen=True, kw_only=True):
    """Something that somebody did on a day."""

    day: int
    at: str
    by: str
    """A shift or initials."""


class Event(Told, frozen=True, kw_only=True):
    kind: str
    through: int | None = None
    """Last day of a daily repetition."""
    name: str = ""
    """By which other events refer to its record."""
    device: str = "walk"
    task: str = ""
    station: str = ""
    """``<system>/<station>``; empty: that of the task or the equipment."""
    values: dict[str, str] = {}
    note: str = ""
    reason: str = ""
    until: str = ""
    """Wall time."""
    until_days: int = 0
    """Days from the event to `until`."""
    ref: str = ""
    """The name of another event."""
    protocol: str = ""
    """Full id of the protocol that is called."""
    step: int = 0
    """Which step of the protocol that `ref` called, counted from 1; 0: none."""
    equipment: str = ""
    """Full id of what is off normal or put back."""
    state: str = ""
    """How the equipment stands: ``off``, ``shut``; how a protocol ended: ``completed``."""


class LightStep(Told, frozen=True, kw_only=True):
    """A step of a light programme; a rise is held where before and after are alike."""

    lights: str
    before: float
    """What the PAR reading of the programme shows, µmol/m²/s."""
    after: float
    why: str
    name: str = ""
    takes_back: str = ""
    """The name of the step that is taken back."""
    held_days: int = 0
    """Days for which a rise is held; 0: no end is set."""


class InstrumentStep(Told, frozen=True, kw_only=True):
    """A new kit batch, or without one a calibration; old and new value as an event gives them."""

    reading: str
    batch: str = ""
    old: str
    new: str
    note: str
    device: str = "bench"


class FeedStep(Told, frozen=True, kw_only=True):
    """Another amount of feed from a day on, litres."""

    task: str
    before: float
    after: float
    why: str


class BatchStep(Told, frozen=True, kw_only=True):
    """Something that happened to a batch."""

    batch: str
    """By which the recipe refers to it, and to the protocol that its arrival calls."""
    does: Happening
    """``settled`` stood there already, ``found`` is of pests, ``completed`` the protocol of its arrival."""
    count: int | None = None
    size: str = ""
    """As it is typed: ``21 mm``."""
    station: str = ""
    """``<system>/<station>`` where it stands from now on."""
    source: str = ""
    """Where it came from and what it needs, as it is typed; of a release ``<system>/<station>`` of the colonies."""
    other: str = ""
    """The batch that it is split from or combined with."""
    note: str = ""
    """What it is, what was seen, why; of what left, how and why."""


class Stocktaking(Told, frozen=True, kw_only=True):
    """Something said of stock."""

    stock: str
    what: Literal["counted", "delivered", "ordered"]
    amount: float | None = None
    """In the unit of the stock."""
    note: str = ""
    until_days: int = 0
    """Days to its last good day; of an order, until it is expected."""


class Remark(_Part, frozen=True, kw_only=True):
    task: str
    day: int
    note: str


class PostponedAll(Told, frozen=True, kw_only=True):
    """A day on which what could wait was put off."""

    reason: str
    until: str
    """Wall time of the next day."""
    ref: str


class Special(_Part, frozen=True, kw_only=True):
    day: int
    shift: str
    note: str
    accepted: bool = False
    """The reading back, not the signing."""
    asks: dict[str, str] = {}
    """What is asked at the reading back, by what the line is about."""


class Handover(_Part, frozen=True, kw_only=True):
    early: tuple[str, ...]
    late: tuple[str, ...]
    reported: int
    """Days back from which a handover holds its whole report."""
    special: tuple[Special, ...] = ()


class MonthReview(_Part, frozen=True, kw_only=True):
    """The review of the month before that of the opening, signed on its first day."""

    by: str
    at: str
    note: str


class Recipe(_Part, frozen=True, kw_only=True):
    days: int
    began: int
    """Days before the opening."""
    devices: dict[str, str]
    rota: Rota
    habits: Habits
    evaporation: Evaporation
    nursery: Nursery
    solutions: Solutions
    store: Store
    levels: tuple[Level, ...]
    draws: dict[str, float]
    """Litres that a task takes from the vat."""
    series: tuple[Series, ...]
    instruments: tuple[Instrument, ...]
    departures: tuple[Departure, ...]
    anchors: dict[str, int]
    """A day on which the task is done; it keeps its interval to the day."""
    earlier: dict[str, int]
    """The last time before the sheets begin."""
    usual: dict[str, str]
    """The wall time at which a task without one is begun."""
    held: dict[str, int]
    """Not done any more after this day."""
    skipped: tuple[Skipped, ...]
    events: tuple[Event, ...]
    light_steps: tuple[LightStep, ...]
    instrument_steps: tuple[InstrumentStep, ...]
    feed_steps: tuple[FeedStep, ...]
    batches: tuple[BatchStep, ...]
    """In the order in which it happened."""
    stock: tuple[Stocktaking, ...]
    remarks: tuple[Remark, ...]
    postponed_all: tuple[PostponedAll, ...]
    handover: Handover
    review: MonthReview
    notes: dict[str, tuple[str, ...]]


def read_recipe(path: Path) -> Recipe:
    """The recipe; a key that is not known is an error of whoever wrote it."""
    return msgspec.convert(tomllib.loads(path.read_text(encoding="utf-8")), Recipe)
