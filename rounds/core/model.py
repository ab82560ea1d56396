"""The room as its keepers wrote it down: systems, stations, tasks, readings, reservoirs."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from functools import cached_property
from typing import Literal
from zoneinfo import ZoneInfo

import msgspec

from rounds.core.calendar import Calendar
from rounds.core.durations import Span
from rounds.core.recurrence import RRule

ROOM = "room"
"""The id of the system of what belongs to no water."""

IMPORTANCES = ("people", "life support", "husbandry", "upkeep")
"""From what is looked at first to what can wait."""

PROTECTING = IMPORTANCES[:2]
"""What protects people and animals."""

INSTRUMENT_KINDS = ("meter", "probe", "refractometer", "test kit")

RESERVOIR_KINDS = ("top-off", "limewater", "dosing", "salt water", "purified water", "waste")

DELIVERIES = ("float valve", "pump", "metered pump", "by hand")
"""How what is in a reservoir reaches the water; only a metered pump and a hand let in no more than they should."""

DOSED = ("alkalinity", "calcium", "magnesium")
"""What a dosing reservoir can hold a solution of."""

OFF_NORMAL_STATES = ("off", "running", "open", "shut", "muted", "on manual")
"""How equipment can be left that is not as it should be."""

STOCK_KINDS = ("spare", "salt", "resin", "reagent", "feed", "other")

PROTOCOL_PLACES = ("system", "station", "room")
"""What a protocol is called for."""

Source = Literal["task", "reading", "level", "refill", "look", "put back", "step", "release", "stock"]
"""What a task was declared as.

The last five come of records: a concern, something off normal, a protocol, a batch, stock.
"""


class AgainAfter(msgspec.Struct, frozen=True, tag="again after"):
    """Due again a span after it was last closed."""

    span: Span


class OnDates(msgspec.Struct, frozen=True, tag="rrule"):
    """Fixed in the calendar: by a rule, or on days that no rule expresses."""

    dates: RRule | tuple[date, ...]
    """Of a list, as of RFC 5545 ``RDATE``, each date a round day, in rising order."""


class Once(msgspec.Struct, frozen=True, tag="once"):
    """Due one time, until closed."""

    day: date
    """A round day; with a `clock`, the date on which the wall shows it."""
    clock: time | None = None


class Called(msgspec.Struct, frozen=True, tag="called"):
    """Comes due only through a protocol."""


Rule = AgainAfter | OnDates | Once | Called


class Shift(msgspec.Struct, frozen=True):
    """A named part of the round day."""

    name: str
    begins: time
    ends: time
    """Not after `begins`: the shift lasts until the round day ends."""
    keepers: tuple[str, ...] = ()
    """Initials of who usually has it."""


class Keeper(msgspec.Struct, frozen=True):
    """Someone who keeps the room, known by initials."""

    initials: str
    name: str


class Zone(msgspec.Struct, frozen=True):
    """A hygiene zone; the order of the file runs from clean to dirty."""

    id: str
    name: str
    tools: str
    """How the tools that stay in this zone are marked; may be empty."""


class Station(msgspec.Struct, frozen=True):
    """A place on the walk where the keeper stands."""

    system: str
    id: str
    """Empty: work of the system as a whole."""
    name: str


class Quantity(msgspec.Struct, frozen=True):
    """A number and the unit it was written with."""

    value: float
    unit: str
    canonical: float
    """In the canonical unit of its quantity; see `rounds.core.quantities`."""


class Rate(msgspec.Struct, frozen=True):
    """How much a reading may change within a span of time."""

    change: Quantity
    """A difference, above zero; its `canonical` too is a difference."""
    within: Span
    only: str = ""
    """``fall`` or ``rise``; empty: either way."""


class Instrument(msgspec.Struct, frozen=True, kw_only=True):
    """What readings of one quantity are taken with."""

    id: str
    """Full: ``<system>/<id>``."""
    system: str
    kind: str
    """One of `INSTRUMENT_KINDS`."""
    name: str
    batch: str = ""
    """Of a test kit, as printed on it."""
    opened: date | None = None
    expires: date | None = None
    """The last day on which it is good."""
    reference: str | None = None
    """Of a refractometer: the specific gravity it shows, such as ``SG 25/25``."""


class Reading(msgspec.Struct, frozen=True, kw_only=True):
    """A measured quantity at a station."""

    id: str
    """Full: ``<system>/<id>``."""
    system: str
    station: str
    name: str
    quantity: str
    """A key of `rounds.core.quantities.QUANTITIES`."""
    unit: str
    """What people see and type when they type no unit."""
    target: Quantity | None = None
    low: Quantity | None = None
    """Lower end of the usual band; None: no lower end."""
    high: Quantity | None = None
    act_low: Quantity | None = None
    """Below this, act at once."""
    act_high: Quantity | None = None
    act_steps: tuple[str, ...] = ()
    """What to do beyond an act-now limit."""
    act_low_after: int = 1
    """Tests in a row below `act_low` before it counts; above `act_high` one is enough."""
    rate: Rate | None = None
    """A change faster than this is said like a value beyond an act-now limit."""
    instrument: str | None = None
    """Full id of what it is taken with."""
    capacity: float | None = None
    """Of a reservoir's level only: litres when full, so that per cent can be read."""
    litres_per_cm: float | None = None


class Stock(msgspec.Struct, frozen=True, kw_only=True):
    """What is kept on a shelf and drawn down: a spare, salt, resin, a reagent, feed."""

    id: str
    """Full: ``<system>/<id>``."""
    system: str
    station: str
    name: str
    kind: str
    """One of `STOCK_KINDS`."""
    unit: str
    """What it is counted in, in the room's own words: ``kg``, ``tests``, ``piece``."""
    minimum: float | None = None
    """In `unit`; below it is ordered. None: it may run out."""
    expires: date | None = None
    """The last day on which it is good."""
    pack: float | None = None
    """What a delivery adds where no amount is said."""


class Use(msgspec.Struct, frozen=True):
    """What a piece of work draws from stock each time it is done."""

    by: str
    """Full id of the task, reading or refill."""
    stock: str
    """Full id."""
    amount: float
    """In the unit of the stock."""


class Draw(msgspec.Struct, frozen=True):
    """What a piece of work takes out of a reservoir each time it is done."""

    reservoir: str
    """Full id."""
    litres: float


class Task(msgspec.Struct, frozen=True, kw_only=True):
    """A recurring piece of care at a station, also one that a reading or a reservoir asks for."""

    id: str
    """Full: ``<system>/<id>``."""
    system: str
    station: str
    title: str
    source: Source = "task"
    """What it was declared as; a reading or level is closed by a value."""
    rule: Rule
    times: tuple[time, ...] = ()
    """Wall times; empty: the beginning of the shift or of the round day."""
    shift: Shift | None = None
    keeper: str | None = None
    grace: timedelta | None = None
    """None: a quarter of the interval."""
    early: timedelta | None = None
    """How long before it is due it can be done; None: a quarter of the gap, at most 12 hours."""
    lapse: timedelta | None = None
    """How long after it was due it is missed; None: with its round day."""
    make_up: bool = True
    first_day: date | None = None
    last_day: date | None = None
    begins: datetime | None = None
    """The wall time of the first time it is due, where nothing was closed yet; None: with `first_day`."""
    until: datetime | None = None
    """The wall time from which on it no longer exists; None: no such time."""
    importance: str = "husbandry"
    minutes: int | None = None
    takes: tuple[str, ...] = ()
    """Full ids of the readings asked for when it is done."""
    draws: tuple[Draw, ...] = ()
    steps: tuple[str, ...] = ()
    look_for: str = ""
    feed: bool = False
    """Whether it gives feed; what and how much are its readings and its note."""
    animals_seen: bool = False
    """Whether the animals are looked over, as before a light step."""
    light_step: bool = False
    """Whether it makes the light stronger: renewed carbon, wiped lenses, new lamps."""
    light_check: str | None = None
    """Full id of the lights whose programme is looked at."""
    water_change: float | None = None
    """Litres of the system replaced by new salt water each time."""
    new_alkalinity: float | None = None
    """Of that new water at salinity 35, meq/L."""
    caution: str = ""
    basis: str = ""
    """Where its interval comes from: a published source, or common practice without one."""
    turns_off: tuple[str, ...] = ()
    """Full ids of the equipment that is off while it is done."""
    countdown: timedelta | None = None
    """For how long, at most."""
    equipment: str | None = None
    """Full id of the equipment that has to be in service for it."""
    paused: bool = False
    ref: str | None = None
    """Of what comes of a record: the id of that record."""

    @property
    def by_value(self) -> bool:
        """Whether only a value (or "not needed") closes it."""
        return self.source in ("reading", "level")


class Reservoir(msgspec.Struct, frozen=True, kw_only=True):
    """What empties or fills."""

    id: str
    system: str
    station: str
    name: str
    kind: str
    doses: str | None = None
    """One of `DOSED`; None: nothing that is counted."""
    strength: float | None = None
    """Of each litre: meq of alkalinity, mg of calcium or magnesium."""
    strength_reading: str | None = None
    """Full id of the conductivity reading that shows the strength of the limewater."""
    saturated: float | None = None
    """What saturated limewater shows on the room's own meter, µS/cm at 25 °C; None: the computed value."""
    capacity: float
    """Litres."""
    dead: float = 0.0
    """Litres that cannot be drawn."""
    reserve: float | None = None
    """Litres: refill before it falls below (waste: empty before it rises above)."""
    level_unit: str = "L"
    litres_per_cm: float | None = None
    use: float | None = None
    """A known use, litres a day."""
    fed_by: str | None = None
    """Full id of the reservoir its refill comes from."""
    paired_with: str | None = None
    """Full id of the dosing container that has to fall in step with it."""
    makes: float | None = None
    """Litres a day that a purified-water unit can fill into it."""
    delivery: str = ""
    """One of `DELIVERIES`; empty: not said."""


class Equipment(msgspec.Struct, frozen=True, kw_only=True):
    """A piece of equipment, named by its kind."""

    id: str
    system: str
    station: str
    kind: str
    flow: float | None = None
    """Of a CO2 reactor: litres an hour through it."""
    outlet: str | None = None
    """Full id of the alkalinity reading of what comes out of a CO2 reactor."""
    name: str
    stops_with: tuple[str, ...] = ()
    """Full ids of what must stop with it: without flow no dosing, limewater, CO2 or UV."""
    put_back_order: tuple[str, ...] = ()
    """Full ids in the order in which it and they are put back."""


class ProtocolStep(msgspec.Struct, frozen=True, kw_only=True):
    """One step of a protocol."""

    title: str
    after: timedelta = timedelta(0)
    """After the call."""
    grace: timedelta
    """How long after it came due it is not late."""
    every: Span | None = None
    """Counted from the last time it was done, `times` times; None: once."""
    times: int = 1
    task: str | None = None
    """A task of the room's files with ``called = true``; without a system in it, the task of each system called for."""
    station: str = ""
    """Of the system it is called for; empty or not there: where the protocol was called."""
    if_kind: str = ""
    """Only where there is equipment of this kind."""
    importance: str = "husbandry"
    minutes: int | None = None
    takes: tuple[str, ...] = ()
    """Readings asked for when it is done: ids without their system, or full ids."""
    steps: tuple[str, ...] = ()
    look_for: str = ""
    caution: str = ""


class Protocol(msgspec.Struct, frozen=True, kw_only=True):
    """A named list of steps that a keeper calls."""

    id: str
    """Full: ``<system>/<id>``; those of every room are ``room/<id>``."""
    name: str
    place: str = "system"
    """One of `PROTOCOL_PLACES`."""
    steps: tuple[ProtocolStep, ...]
    basis: str = ""
    """Where its steps come from."""


class Channel(msgspec.Struct, frozen=True, kw_only=True):
    """One colour of the lights and its day: dark, ramp up, plateau, ramp down, dark."""

    name: str
    peak: float
    """On the plateau, per cent of what the lamps can give."""
    begins: time
    ramp_up: timedelta
    plateau: timedelta
    ramp_down: timedelta


class Lights(msgspec.Struct, frozen=True, kw_only=True):
    """The programme of the lights over a system, by the wall clock."""

    id: str
    """Full: ``<system>/<id>``."""
    system: str
    station: str
    name: str
    channels: tuple[Channel, ...]
    measured: str | None = None
    """Full id of the light reading taken under these lights."""
    measured_at: float = 100.0
    """How much of the peaks was on when it was taken, per cent."""


class Tank(msgspec.Struct, frozen=True, kw_only=True):
    """A tank of a system that can be valved off, and is another water while it is."""

    id: str
    """Full: ``<system>/<id>``."""
    system: str
    name: str
    volume: float
    """Litres; part of the volume of its system."""
    stations: tuple[str, ...]
    """Ids of the stations that stand in its water; at least one."""


class System(msgspec.Struct, frozen=True, kw_only=True):
    """One body of water with everything plumbed into it; ``room`` has no water."""

    id: str
    name: str
    volume: float | None = None
    """Net water, litres."""
    surface: float | None = None
    """Square metres."""
    zone: str | None = None
    isolation: int | None = None
    """Days that all in this water stays apart after the last arrival or find; None: it is no quarantine."""
    isolation_fish: int = 0
    """Likewise where fish are or were."""
    stations: tuple[Station, ...] = ()
    tanks: tuple[Tank, ...] = ()
    """Those that can be valved off."""
    tasks: tuple[Task, ...] = ()
    """In round order: by station, and there tasks, readings, levels as the file has them."""
    readings: tuple[Reading, ...] = ()
    reservoirs: tuple[Reservoir, ...] = ()
    equipment: tuple[Equipment, ...] = ()
    instruments: tuple[Instrument, ...] = ()
    lights: tuple[Lights, ...] = ()
    stock: tuple[Stock, ...] = ()
    paused: bool = False
    drained: bool = False


class Room(msgspec.Struct, frozen=True, kw_only=True, dict=True):
    """The whole place."""

    name: str
    timezone: str
    day_begins: time
    began: date
    systems: tuple[System, ...]
    """In walking order."""
    zones: tuple[Zone, ...] = ()
    keepers: tuple[Keeper, ...] = ()
    shifts: tuple[Shift, ...] = ()
    units: dict[str, str] = {}
    """Quantity to the unit people see and type."""
    protocols: tuple[Protocol, ...] = ()
    """Those of the room's files, then those that every room has."""
    formerly: dict[str, str] = {}
    """Present ids by former ones: of systems, and full ids of what is in them."""
    on_call: tuple[str, ...] = ()
    """Initials of who is called between the shifts, first to last."""
    minutes_a_day: int | None = None
    """How long the work of a round day may take, of all keepers together; None: days are compared with one another."""
    uses: tuple[Use, ...] = ()
    """What work draws from stock."""

    @cached_property
    def calendar(self) -> Calendar:
        return Calendar(ZoneInfo(self.timezone), self.day_begins)

    @cached_property
    def tasks(self) -> dict[str, Task]:
        """Every task, also those of readings and reservoirs, by full id in walking order."""
        return {task.id: task for system in self.systems for task in system.tasks}

    @cached_property
    def readings(self) -> dict[str, Reading]:
        return {reading.id: reading for system in self.systems for reading in system.readings}

    @cached_property
    def reservoirs(self) -> dict[str, Reservoir]:
        return {tank.id: tank for system in self.systems for tank in system.reservoirs}

    @cached_property
    def instruments(self) -> dict[str, Instrument]:
        return {instrument.id: instrument for system in self.systems for instrument in system.instruments}

    @cached_property
    def stock(self) -> dict[str, Stock]:
        return {stock.id: stock for system in self.systems for stock in system.stock}

    @cached_property
    def uses_of(self) -> dict[str, tuple[Use, ...]]:
        """By stock, what draws from it."""
        return {id: tuple(use for use in self.uses if use.stock == id) for id in self.stock}

    @cached_property
    def counted(self) -> frozenset[str]:
        """Full ids of the stock and of what draws from it."""
        return frozenset((*self.stock, *(use.by for use in self.uses)))

    @cached_property
    def equipment(self) -> dict[str, Equipment]:
        return {each.id: each for system in self.systems for each in system.equipment}

    @cached_property
    def tanks(self) -> dict[str, Tank]:
        """By full id."""
        return {tank.id: tank for system in self.systems for tank in system.tanks}

    @cached_property
    def protocol(self) -> dict[str, Protocol]:
        return {protocol.id: protocol for protocol in self.protocols}

    @cached_property
    def places(self) -> dict[tuple[str, str], int]:
        """Where each (system, station) comes in walking order; station "" is the system as a whole, and comes first."""
        found = [
            key for system in self.systems for key in ((system.id, ""), *((s.system, s.id) for s in system.stations))
        ]
        return {key: place for place, key in enumerate(dict.fromkeys(found))}

    @cached_property
    def lights(self) -> dict[str, Lights]:
        return {lights.id: lights for system in self.systems for lights in system.lights}

    @cached_property
    def stations(self) -> dict[tuple[str, str], Station]:
        """By (system, station) in walking order."""
        return {(s.system, s.id): s for system in self.systems for s in system.stations}

    @cached_property
    def system(self) -> dict[str, System]:
        return {system.id: system for system in self.systems}

    @cached_property
    def served(self) -> bool:
        """Whether any task depends on equipment being in service."""
        return any(task.equipment is not None for task in self.tasks.values())

    @cached_property
    def running(self) -> tuple[Task, ...]:
        """The tasks that are asked for by themselves, in walking order; refills wait for a forecast."""
        return tuple(task for task in self.tasks.values() if task.source != "refill" and self.runs(task))

    def runs(self, task: Task) -> bool:
        """Whether the task is asked for at all: not paused, its system neither.

        A paused system keeps what protects people and animals, unless it is also drained.
        """
        system = self.system[task.system]
        if task.paused or not system.paused:
            return not task.paused
        return not system.drained and task.importance in PROTECTING
