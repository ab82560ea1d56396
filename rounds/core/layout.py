"""What stands where in a new room: zones and the walk through them, stations, equipment, by common practice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from rounds.core.founding import SystemAnswers
from rounds.core.model import Zone

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


def pieces(equipment: Sequence[str]) -> list[str]:
    """Each piece by its kind, numbered where there are several: ``skimmer``, ``heater 1``, ``heater 2``."""
    return [
        f"{kind} {equipment[: place + 1].count(kind)}" if equipment.count(kind) > 1 else kind
        for place, kind in enumerate(equipment)
    ]


def has_return(place: SystemAnswers) -> bool:
    """Whether its water runs through a sump and is pumped back."""
    return "return pump" in place.equipment
