"""The room folder's TOML files, read into the model; all faults of all files at once."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from datetime import date, time
from functools import partial
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from rounds.core.bands import parse_rate
from rounds.core.errors import NoRoom
from rounds.core.model import (
    IMPORTANCES,
    INSTRUMENT_KINDS,
    ROOM,
    Called,
    Draw,
    Equipment,
    Instrument,
    Keeper,
    Lights,
    Protocol,
    Quantity,
    Rate,
    Reading,
    Reservoir,
    Room,
    Shift,
    Source,
    Station,
    Stock,
    System,
    Task,
    Zone,
)
from rounds.core.quantities import QUANTITIES
from rounds.core.stock import ERRANDS, EXPIRES
from rounds.core.units import Seawater, find_unit, kind
from rounds.core.words import quoted
from rounds.storage.care import Kinds, guidance, program_files, read_kinds, with_care
from rounds.storage.equipment import read_equipment
from rounds.storage.faults import Fault, RoomFaults
from rounds.storage.files import ROOM_FILE, care_files, room_files
from rounds.storage.formerly import Formerly
from rounds.storage.isolation import read_isolation
from rounds.storage.lights import per_cent, read_channels
from rounds.storage.protocols import catalogue, check_step, read_protocol
from rounds.storage.references import Reference, References
from rounds.storage.reservoirs import SUCH_AS_STORE, Reservoirs, refill_of
from rounds.storage.rules import check_at, check_ends, read_rule
from rounds.storage.stock import Shelves
from rounds.storage.tables import ID, File, Table, spoken
from rounds.storage.tanks import read_tanks

_DEFAULT_DAY_BEGINS = time(4)
_REFERENCES = tuple(unit.name for unit in QUANTITIES["salinity"].units if unit.name.startswith("SG"))
_ADD_READING = "add it under [[readings]] or take it out"


def load_room(
    folder: Path, seawater: Seawater | None = None, instead: Mapping[str, bytes | None] = MappingProxyType({})
) -> Room:
    """Read the room; raise `NoRoom` where there is none and `RoomFaults` with every fault found.

    `seawater` converts bands given as specific gravity or conductivity. `instead` are contents, by path inside the
    room, that stand for those on disk; None: there is no such file.
    """
    faults: list[Fault] = []
    loader = _loader(folder, seawater, instead, faults)
    room = loader.room() if loader is not None else None
    if faults or room is None:
        raise RoomFaults(faults)
    return room


def load_references(folder: Path) -> list[Reference]:
    """Every key of the room's files that names something by its id; raises `NoRoom`. Faults are passed over."""
    loader = _loader(folder, None, {}, [])
    return loader.references() if loader is not None else []


def _loader(
    folder: Path, seawater: Seawater | None, instead: Mapping[str, bytes | None], faults: list[Fault]
) -> _Loader | None:
    """What reads the room; None where room.toml cannot be read, which is then among the faults."""
    if ROOM_FILE not in instead and not (folder / ROOM_FILE).exists():
        raise NoRoom(f"{folder} is no room: it has no {ROOM_FILE}; name the room's folder with --room")
    gone = {folder / name for name, content in instead.items() if content is None}
    paths = sorted({*room_files(folder), *(folder / name for name in instead)} - gone, key=_room_first)
    read = {path: _read(path, folder, faults, instead) for path in paths}
    head = read.pop(folder / ROOM_FILE)
    own_care = [found for path in care_files(folder) if (found := _read(path, folder, faults, instead)) is not None]
    if head is None:
        return None
    systems = {path.stem: found for path, found in read.items() if found is not None}
    kinds = read_kinds((*program_files(faults), *own_care))
    return _Loader(head, systems, [path.stem for path in read], kinds, seawater, faults)


def _room_first(path: Path) -> tuple[bool, Path]:
    return (path.name != ROOM_FILE, path)


def _read(
    path: Path, folder: Path, faults: list[Fault], instead: Mapping[str, bytes | None]
) -> tuple[File, dict[str, Any]] | None:
    name = path.relative_to(folder).as_posix()
    try:
        content = instead.get(name)
        if content is None:
            content = path.read_bytes()
        text = content.decode("utf-8-sig").replace("\r\n", "\n")
        return File(name, text, faults), tomllib.loads(text)
    except OSError as error:
        sentence = f"the file cannot be read ({error.strerror or error}); make it readable"
        faults.append(Fault(file=name, sentence=sentence))
    except UnicodeDecodeError:
        faults.append(Fault(file=name, sentence="the file is not UTF-8 text; save it as UTF-8"))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        faults.append(_toml_fault(name, str(error) or "nested too deeply"))
    return None


def _toml_fault(name: str, message: str) -> Fault:
    what, _, place = message.partition(" (at ")
    line = None
    if place.startswith("line "):
        number = place[5:].split(",")[0]
        line = int(number) if number.isdigit() else None
    return Fault(file=name, line=line, sentence=f"this is not TOML 1.0: {what.lower()}; correct it there")


class _Loader:
    """One pass over all files of a room."""

    def __init__(
        self,
        head: tuple[File, dict[str, Any]],
        systems: dict[str, tuple[File, dict[str, Any]]],
        named: list[str],
        kinds: Kinds,
        seawater: Seawater | None,
        faults: list[Fault],
    ) -> None:
        self._head_file, head_data = head
        self._head_data = with_care(self._head_file, head_data, kinds, "room")
        self._kinds = kinds
        self._systems = systems
        self._named = named
        self._seawater = seawater
        self._faults = faults
        self._shifts: dict[str, Shift] = {}
        self._keepers: dict[str, Keeper] = {}
        self._zones: dict[str, Zone] = {}
        self._units: dict[str, str] = {}
        self._began = date(2000, 1, 1)
        self._readings: dict[str, Reading] = {}
        self._names = References()
        self._reservoirs = Reservoirs(self._names)
        self._shelves = Shelves(self._names)
        self._instruments: dict[str, Instrument] = {}
        self._taken_with: list[tuple[Table, Reading]] = []
        self._lights: dict[str, Lights] = {}
        self._equipped: dict[str, Equipment] = {}
        self._protocols: dict[str, Protocol] = {}
        self._called: list[tuple[Table, str]] = []
        """Table of a step, full id of a task that it calls."""
        self._formerly = Formerly()

    def room(self) -> Room | None:
        head = Table(self._head_file, self._head_data)
        name = head.text("name", required=True)
        timezone = self._timezone(head)
        day_begins = head.clock("day_begins", _DEFAULT_DAY_BEGINS)
        self._began = head.day("began", required=True) or self._began
        self._read_units(head)
        zones = [self._zone(table) for table in head.tables("zones")]
        keepers = [self._keeper(table) for table in head.tables("keepers")]
        shifts = [self._shift(table) for table in head.tables("shifts")]
        tasks: dict[str, list[Task]] = {}
        found = {ROOM: self._system(ROOM, "The room", head, tasks)}
        route = head.texts("route")
        on_call = self._keepers_in(head, "on_call")
        minutes_a_day = head.whole("minutes_a_day", 1, 14_400)
        head.close()
        for id, (file, data) in self._systems.items():
            if not ID.fullmatch(id) or id == ROOM:
                file.fault(
                    f"{quoted(id)} is no id for a system; rename the file, in lower-case letters, digits and hyphens"
                )
            table = Table(file, with_care(file, data, self._kinds, "system"))
            title = table.text("name", required=True)
            found[id] = self._system(id, title, table, tasks)
            table.close()
        self._check_route(head, route)
        known = {task.id: task for each in tasks.values() for task in each}
        self._names.check(
            {
                "reading": self._readings,
                "reservoir": self._reservoirs.found,
                "instrument": self._instruments,
                "programme of lights": self._lights,
                "equipment": self._equipped,
                "stock": self._shelves.found,
                "task": known,
            }
        )
        uses = self._shelves.uses()
        self._check_called(known)
        self._formerly.check(found, self._ids_in_use(tasks))
        self._reservoirs.check_rings()
        self._check_taken_with()
        if self._faults:
            return None
        order = [*([] if ROOM in route else [ROOM]), *route, *sorted(id for id in found if id not in (*route, ROOM))]
        return Room(
            name=name,
            timezone=timezone,
            day_begins=day_begins,
            began=self._began,
            systems=tuple(_ordered(found[id], tasks) for id in dict.fromkeys(order)),
            zones=tuple(zones),
            keepers=tuple(keepers),
            shifts=tuple(shifts),
            units=self._units,
            protocols=(*self._protocols.values(), *(p for p in catalogue() if p.id not in self._protocols)),
            formerly=self._formerly.ids,
            on_call=on_call,
            minutes_a_day=minutes_a_day,
            uses=uses,
        )

    def references(self) -> list[Reference]:
        """Everything that the files name by its id."""
        self.room()
        return self._names.all()

    def _ids_in_use(self, tasks: Mapping[str, list[Task]]) -> set[str]:
        """The full ids that records can be about."""
        named = (
            self._readings,
            self._reservoirs.found,
            self._instruments,
            self._lights,
            self._equipped,
            self._shelves.found,
        )
        return {id for each in named for id in each} | {task.id for each in tasks.values() for task in each}

    def _timezone(self, head: Table) -> str:
        name = head.text("timezone", required=True)
        if name:
            try:
                ZoneInfo(name)
            except (KeyError, ValueError, OSError):
                head.fault("timezone", f'{quoted(name)} is no IANA time zone; write one such as "Europe/Dublin"')
        return name

    def _read_units(self, head: Table) -> None:
        data = head.raw("units")
        if data is None:
            return
        if not isinstance(data, dict):
            head.fault("units", "units is no table; begin it with [units]")
            return
        table = Table(head.file, data, "units")
        for quantity in QUANTITIES:
            if table.has(quantity) and (text := table.text(quantity)):
                unit = table.read(quantity, text, partial(find_unit, quantity))
                if unit is not None:
                    self._units[quantity] = unit.name
        for quantity in QUANTITIES:
            table.raw(quantity)
        table.close()

    def _unique(self, table: Table, key: str, value: str, known: Iterable[str]) -> None:
        if value and value in known:
            table.fault(key, f"{quoted(value)} stands twice; give one of them another {key}")

    def _zone(self, table: Table) -> Zone:
        zone = Zone(table.text("id", required=True), table.text("name"), table.text("tools"))
        self._unique(table, "id", zone.id, self._zones)
        self._zones[zone.id] = zone
        table.close()
        return zone

    def _keeper(self, table: Table) -> Keeper:
        keeper = Keeper(table.text("initials", required=True), table.text("name"))
        self._unique(table, "initials", keeper.initials, self._keepers)
        if len(keeper.initials) > 8 or any(not c.isalnum() for c in keeper.initials):
            table.fault("initials", f"{quoted(keeper.initials)} are no initials; use up to eight letters or digits")
        self._keepers[keeper.initials] = keeper
        table.close()
        return keeper

    def _shift(self, table: Table) -> Shift:
        begins, ends = table.clock("begins"), table.clock("ends")
        shift = Shift(table.text("name", required=True), begins, ends, self._keepers_in(table, "keepers"))
        self._unique(table, "name", shift.name, self._shifts)
        self._shifts[shift.name] = shift
        table.close()
        return shift

    def _keepers_in(self, table: Table, key: str) -> tuple[str, ...]:
        """A list of initials."""
        found = table.texts(key)
        for initials in found:
            if initials not in self._keepers:
                table.fault(key, f"the keeper {quoted(initials)} does not exist; add [[keepers]] to {ROOM_FILE}")
        return found

    def _check_route(self, head: Table, route: tuple[str, ...]) -> None:
        for id in route:
            if id != ROOM and id not in self._named:
                head.fault(
                    "route",
                    f"the system {quoted(id)} does not exist; add systems/{id}.toml or take it out of the route",
                )
        for id in {id for id in route if route.count(id) > 1}:
            head.fault("route", f"{quoted(id)} stands twice; keep it once")

    def _system(self, id: str, name: str, table: Table, found: dict[str, list[Task]]) -> System:
        inside = id != ROOM
        volume = table.quantity("volume", "volume") if inside else None
        surface = self._surface(table) if inside else None
        zone = table.text("zone") if inside else ""
        if zone and zone not in self._zones:
            known = ", ".join(self._zones) or "none yet"
            table.fault(
                "zone", f"the zone {quoted(zone)} does not exist (there are: {known}); add [[zones]] to {ROOM_FILE}"
            )
        isolation, isolation_fish = read_isolation(table) if inside else (None, 0)
        if inside:
            self._formerly.name(table, id)
        paused, drained = (table.flag("paused"), table.flag("drained")) if inside else (False, False)
        stations: dict[str, Station] = {}
        for each in table.tables("stations"):
            station = Station(id, each.id(), each.text("name"))
            self._unique(each, "id", station.id, stations)
            stations[station.id] = station if station.name else Station(id, station.id, spoken(station.id))
            each.close()
        ids: set[str] = set()
        system = _Parts(id, stations, ids, volume.canonical if volume else None)
        tanks = read_tanks(table.tables("tanks"), id, stations, system.volume) if inside else ()
        ids.update(tank.id.partition("/")[2] for tank in tanks)
        tasks = [self._task(each, system) for each in table.tables("tasks")]
        readings = [self._reading(each, system) for each in table.tables("readings")]
        reservoirs = [self._reservoir(each, system) for each in table.tables("reservoirs")]
        equipment = tuple(self._equipment(each, system) for each in table.tables("equipment"))
        instruments = tuple(self._instrument(each, system) for each in table.tables("instruments"))
        lights = tuple(self._programme(each, system) for each in table.tables("lights"))
        stock = tuple(self._stocked(each, system) for each in table.tables("stock"))
        table.texts("care")
        table.texts("without")
        for each in table.tables("protocols"):
            self._protocol(each, system)
        found[id] = [task for task in (*tasks, *(task for _, task in readings)) if task is not None]
        found[id] += [task for _, _, both in reservoirs for task in both]
        return System(
            id=id,
            name=name or spoken(id),
            volume=volume.canonical if volume else None,
            surface=surface,
            zone=zone or None,
            isolation=isolation,
            isolation_fish=isolation_fish,
            stations=tuple(stations.values()),
            tanks=tanks,
            readings=tuple([reading for reading, _ in readings] + [level for _, level, _ in reservoirs]),
            reservoirs=tuple(reservoir for reservoir, _, _ in reservoirs),
            equipment=equipment,
            instruments=instruments,
            lights=lights,
            stock=stock,
            paused=paused,
            drained=drained,
        )

    def _surface(self, table: Table) -> float | None:
        text = table.text("surface")
        if not text:
            return None
        number, _, unit = text.strip().partition(" ")
        factor = {"m2": 1.0, "m²": 1.0, "ft2": 0.09290304, "ft²": 0.09290304}.get(unit.strip())
        try:
            value = float(number) * (factor or 0)
        except ValueError:
            value = 0.0
        if not 0 < value < 1e6:
            table.fault("surface", f'{quoted(text)} is no surface; write for example "3.9 m2"')
            return None
        return value

    def _station(self, table: Table, system: _Parts) -> str:
        station = table.text("station")
        if station and station not in system.stations:
            known = ", ".join(system.stations) or "none yet"
            table.fault(
                "station",
                f"the station {quoted(station)} does not exist in {system.id} (there are: {known}); "
                f"add it under [[stations]] or name another",
            )
        return station

    def _claim(self, table: Table, system: _Parts, *ids: str) -> None:
        for id in ids:
            if id and id in system.ids:
                table.fault("id", f"the id {quoted(id)} stands twice in {system.id}; give one of them another id")
            system.ids.add(id)

    def _task(self, table: Table, system: _Parts) -> Task | None:
        id = table.id()
        self._claim(table, system, id)
        station = self._station(table, system)
        title = table.text("title", required=True)
        takes = tuple(
            self._names.name(table, "takes", "reading", name, system.id, _ADD_READING) or ""
            for name in table.texts("takes")
        )
        effects = self._effects(table, system)
        self._formerly.name(table, f"{system.id}/{id}")
        self._shelves.read_uses(table, system.id, f"{system.id}/{id}")
        task = self._care(table, f"{system.id}/{id}", system.id, station, title, "task", required=True)
        return msgspec.structs.replace(task, takes=takes, **effects) if task is not None else None

    def _draw(self, table: Table, system: _Parts) -> Draw | None:
        written = table.text("from", required=True)
        amount = table.quantity("amount", "volume", required=True)
        table.close()
        full = self._names.name(table, "from", "reservoir", written, system.id, SUCH_AS_STORE)
        return Draw(full, amount.canonical) if full is not None and amount is not None else None

    def _effects(self, table: Table, system: _Parts) -> dict[str, Any]:
        """What doing the task does to the water, the light and the animals."""
        change = table.quantity("water_change", "volume")
        new = table.quantity("new_alkalinity", "alkalinity")
        if change and system.volume is None:
            table.fault(
                "water_change", f'{system.id} has no volume to change water of; add volume = "960 L" to its file'
            )
        elif change and system.volume and not 0 < change.canonical <= system.volume:
            table.fault("water_change", "a water change takes more than nothing and no more than the system holds")
        if new and not change:
            table.fault("new_alkalinity", 'new_alkalinity goes with water_change; add water_change = "96 L"')
        lights = self._names.name(
            table, "light_check", "programme of lights", table.text("light_check"), system.id, "add it under [[lights]]"
        )
        return {
            "draws": tuple(draw for each in table.within("draws") if (draw := self._draw(each, system)) is not None),
            "feed": table.flag("feed"),
            "animals_seen": table.flag("animals_seen"),
            "light_step": table.flag("light_step"),
            "light_check": lights,
            "water_change": change.canonical if change else None,
            "new_alkalinity": new.canonical if new else None,
        }

    def _reading(self, table: Table, system: _Parts) -> tuple[Reading, Task | None]:
        id = table.id()
        self._claim(table, system, id)
        station = self._station(table, system)
        name = table.text("name") or spoken(id)
        title = table.text("title") or f"Test {name}"
        quantity = table.text("quantity", required=True)
        if quantity and table.read("quantity", quantity, kind) is None:
            quantity = ""
        full = f"{system.id}/{id}"
        keys = ("target", "low", "high", "act_low", "act_high")
        if quantity:
            limits = {key: table.quantity(key, quantity, seawater=self._seawater) for key in keys}
        else:
            limits = {}
            for key in keys:
                table.raw(key)
        self._check_limits(table, limits)
        reading = Reading(
            id=full,
            system=system.id,
            station=station,
            name=name,
            quantity=quantity or "count",
            unit=self._unit(table, quantity, limits),
            target=limits.get("target"),
            low=limits.get("low"),
            high=limits.get("high"),
            act_low=limits.get("act_low"),
            act_high=limits.get("act_high"),
            act_steps=table.texts("act_steps"),
            act_low_after=table.whole("act_low_after", 1, 10) or 1,
            rate=self._rate(table, quantity),
            instrument=self._names.name(
                table,
                "instrument",
                "instrument",
                table.text("instrument"),
                system.id,
                'add it under [[instruments]] or write one such as "room/alkalinity-kit"',
            ),
        )
        self._readings[full] = reading
        self._formerly.name(table, full)
        self._shelves.read_uses(table, system.id, full)
        if reading.instrument is not None:
            self._taken_with.append((table, reading))
        task = self._care(table, full, system.id, station, title, "reading", required=False)
        return reading, msgspec.structs.replace(task, takes=(full,)) if task is not None else None

    def _rate(self, table: Table, quantity: str) -> Rate | None:
        text = table.text("rate")
        if not text or not quantity:
            return None
        return table.read("rate", text, lambda text: parse_rate(quantity, text))

    def _unit(self, table: Table, quantity: str, limits: dict[str, Quantity | None]) -> str:
        """What is typed without a unit: the reading's own, the room's, that of its band."""
        own = table.text("unit")
        if not quantity:
            return ""
        if own:
            unit = table.read("unit", own, lambda text: find_unit(quantity, text))
            return unit.name if unit else kind(quantity).canonical
        if quantity in self._units:
            return self._units[quantity]
        return next((limit.unit for limit in limits.values() if limit), kind(quantity).canonical)

    def _check_limits(self, table: Table, limits: dict[str, Quantity | None]) -> None:
        order = [(key, limits.get(key)) for key in ("act_low", "low", "high", "act_high")]
        given = [(key, limit) for key, limit in order if limit is not None]
        for (lower, first), (upper, second) in pairwise(given):
            if first.canonical > second.canonical:
                table.fault(upper, f"{upper} lies below {lower}; exchange or correct them")

    def _reservoir(self, table: Table, system: _Parts) -> tuple[Reservoir, Reading, list[Task]]:
        id = table.id()
        self._claim(table, system, id, f"{id}-level", f"{id}-refill")
        station = self._station(table, system)
        full = f"{system.id}/{id}"
        title = table.text("title")
        reservoir, level = self._reservoirs.read(table, full, station, self._units.get("volume", "L"))
        self._readings[level.id] = level
        self._formerly.name(table, full, ("", "-level", "-refill"))
        self._shelves.read_uses(table, system.id, f"{full}-refill")
        refilling = table.part("refill")
        refill = msgspec.structs.replace(refill_of(reservoir), **guidance(refilling))
        refilling.close()
        title = title or f"Read the {level.name}"
        read = self._care(table, level.id, system.id, station, title, "level", required=False)
        both = (read, refill)
        return reservoir, level, [msgspec.structs.replace(task, takes=(level.id,)) for task in both if task is not None]

    def _equipment(self, table: Table, system: _Parts) -> Equipment:
        equipment = read_equipment(table, system.id, self._station(table, system), self._names)
        self._unique(table, "id", equipment.id, self._equipped)
        self._claim(table, system, f"{equipment.id.partition('/')[2]}-put-back")
        self._equipped[equipment.id] = equipment
        self._formerly.name(table, equipment.id, ("", "-put-back"))
        table.flag("care", True)
        table.texts("without")
        table.close()
        return equipment

    def _protocol(self, table: Table, system: _Parts) -> None:
        protocol = read_protocol(table, system.id)
        self._unique(table, "id", protocol.id, self._protocols)
        self._protocols[protocol.id] = protocol
        for each, step in zip(table.within("steps"), protocol.steps, strict=True):
            called = check_step(each, system.id, system.stations, step, self._names)
            if called is not None:
                self._called.append((each, called))

    def _check_called(self, tasks: Mapping[str, Task]) -> None:
        """A task that a protocol calls must not come due by itself as well."""
        for table, id in self._called:
            if id in tasks and not isinstance(tasks[id].rule, Called):
                table.fault("task", f"the task {quoted(id)} has a rule of its own; write one that has called = true")

    def _instrument(self, table: Table, system: _Parts) -> Instrument:
        id = table.id()
        self._claim(table, system, id)
        what = table.choice("kind", INSTRUMENT_KINDS, None)
        self._claim(table, system, f"{id}-{EXPIRES}")
        opened, expires = table.day("opened"), table.day("expires")
        if opened and expires and expires < opened:
            table.fault("expires", "expires lies before opened; exchange or correct them")
        reference = table.choice("reference", _REFERENCES, "") if table.has("reference") else ""
        if reference and what != "refractometer":
            table.fault("reference", "only a refractometer has a reference pair; take reference away")
        instrument = Instrument(
            id=f"{system.id}/{id}", system=system.id, kind=what, name=table.text("name") or spoken(id),
            batch=table.text("batch"), opened=opened, expires=expires, reference=reference or None,
        )  # fmt: skip
        self._instruments[instrument.id] = instrument
        table.close()
        return instrument

    def _stocked(self, table: Table, system: _Parts) -> Stock:
        id = table.id()
        due = tuple(f"-{what}" for what in ERRANDS)
        self._claim(table, system, id, *(f"{id}{end}" for end in due))
        stock = self._shelves.read(table, f"{system.id}/{id}", self._station(table, system))
        self._formerly.name(table, stock.id, ("", *due))
        table.close()
        return stock

    def _check_taken_with(self) -> None:
        """An instrument serves one quantity: a step of it is a step of that alone."""
        first: dict[str, Reading] = {}
        for table, reading in self._taken_with:
            other = first.setdefault(reading.instrument or "", reading)
            if other.quantity != reading.quantity and reading.instrument in self._instruments:
                table.fault(
                    "instrument",
                    f"{reading.instrument} already serves {other.quantity} ({other.id}); add another under "
                    f"[[instruments]] for {reading.quantity}",
                )

    def _programme(self, table: Table, system: _Parts) -> Lights:
        id = table.id()
        self._claim(table, system, id)
        lights = Lights(
            id=f"{system.id}/{id}",
            system=system.id,
            station=self._station(table, system),
            name=table.text("name") or spoken(id),
            channels=read_channels(table),
            measured=self._names.measured(table, "measured", system.id, "light"),
            measured_at=per_cent(table, "measured_at", 100.0),
        )
        self._lights[lights.id] = lights
        table.close()
        return lights

    def _care(
        self, table: Table, id: str, system: str, station: str, title: str, source: Source, *, required: bool
    ) -> Task | None:
        """The task a table declares; None where a reading or reservoir has no rule, or the rule is faulty."""
        first_day, last_day = table.day("first_day"), table.day("last_day")
        if first_day and last_day and last_day < first_day:
            table.fault("last_day", "last_day lies before first_day; exchange or correct them")
        times, listed = table.clocks("at")
        rule = read_rule(table, first_day or self._began, required=required)
        check_at(table, rule, listed=listed)
        begins, until = table.wall("from"), table.wall("until")
        check_ends(table, rule, begins, until)
        shift = table.text("shift")
        if shift and shift not in self._shifts:
            known = ", ".join(self._shifts) or "none yet"
            table.fault(
                "shift", f"the shift {quoted(shift)} does not exist (there are: {known}); add [[shifts]] to {ROOM_FILE}"
            )
        keeper = table.text("keeper")
        if keeper and self._keepers and keeper not in self._keepers:
            table.fault("keeper", f"the keeper {quoted(keeper)} does not exist; add [[keepers]] to {ROOM_FILE}")
        details: dict[str, Any] = {
            "grace": table.elapsed("grace"),
            "early": table.elapsed("early"),
            "lapse": table.elapsed("lapse"),
            "make_up": table.flag("make_up", True),
            "importance": table.choice("importance", IMPORTANCES, "husbandry"),
            **guidance(table),
            "turns_off": self._names.equipment_in(table, "turns_off", system),
            "countdown": table.elapsed("countdown"),
            "equipment": self._names.equipment(table, "equipment", table.text("equipment"), system),
            "paused": table.flag("paused"),
        }
        if table.flag("dropped"):
            table.fault("dropped", "nothing of this id is brought by the care catalogue; delete the table, or pause it")
        if table.has("turns_off") != table.has("countdown"):
            table.fault(
                "turns_off",
                'turns_off and countdown go together: turns_off = ["return-pump"], countdown = "15 minutes"',
            )
        table.close()
        if rule is None:
            return None
        return Task(
            id=id, system=system, station=station, title=title, source=source, rule=rule, times=times,
            shift=self._shifts.get(shift), keeper=keeper or None, first_day=first_day, last_day=last_day, begins=begins,
            until=until, **details,
        )  # fmt: skip


class _Parts(msgspec.Struct):
    """What is known of a system while it is read."""

    id: str
    stations: dict[str, Station]
    ids: set[str]
    volume: float | None
    """Litres."""


def _ordered(system: System, tasks: dict[str, list[Task]]) -> System:
    """The system with its tasks by station, as the file has them there; first those of no station."""
    places = {"": -1, **{station.id: place for place, station in enumerate(system.stations)}}
    found = sorted(tasks.get(system.id, []), key=lambda task: places[task.station])
    stations = system.stations
    if any(not task.station for task in found) or any(not r.station for r in system.readings):
        stations = (Station(system.id, "", system.name), *stations)
    return msgspec.structs.replace(system, tasks=tuple(found), stations=stations)
