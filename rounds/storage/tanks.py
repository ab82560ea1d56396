"""The tanks of a system that can be valved off, as its file has them."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from rounds.core.model import Tank
from rounds.core.words import quoted
from rounds.storage.tables import Table


def read_tanks(
    tables: Iterable[Table], system: str, stations: Collection[str], volume: float | None
) -> tuple[Tank, ...]:
    """The ``[[tanks]]`` of a system of `volume` litres, with a fault for each that cannot be.

    A station stands in one tank at most, and what is left of the system has to be water too.
    """
    found: dict[str, Tank] = {}
    for table in tables:
        id, holds = table.id(), table.quantity("volume", "volume", required=True)
        if f"{system}/{id}" in found:
            table.fault("id", f"the id {quoted(id)} stands twice in {system}; give one of them another id")
        tank = Tank(
            id=f"{system}/{id}",
            system=system,
            name=table.text("name") or id.replace("-", " "),
            volume=holds.canonical if holds else 0.0,
            stations=_stations(table, id, system, stations, found.values()),
        )
        if holds is not None and (wrong := _volume_fault(tank, found.values(), volume)):
            table.fault("volume", wrong)
        found[tank.id] = tank
        table.close()
    return tuple(found.values())


def _stations(table: Table, id: str, system: str, stations: Collection[str], others: Iterable[Tank]) -> tuple[str, ...]:
    named = table.texts("stations")
    if not named:
        table.fault("stations", f'no station stands in its water; write for example stations = ["{id}"]')
    taken = {station for tank in others for station in tank.stations}
    for station in named:
        if station not in stations:
            known = ", ".join(stations) or "none yet"
            table.fault(
                "stations",
                f"the station {quoted(station)} does not exist in {system} (there are: {known}); "
                "add it under [[stations]] or name another",
            )
        elif station in taken:
            table.fault("stations", f"{quoted(station)} stands in another tank already; name it once")
    return named


def _volume_fault(tank: Tank, others: Iterable[Tank], volume: float | None) -> str:
    """What is wrong with how much it holds; empty: nothing."""
    if tank.volume <= 0:
        return "a tank of no water cannot be valved off; write what it holds"
    if volume is None:
        return f'{tank.system} has no volume to part; add volume = "960 L" to its file'
    held = tank.volume + sum(other.volume for other in others)
    if held < volume:
        return ""
    return (
        f"the tanks hold {held:g} L of {volume:g} L and leave no water to the system; "
        "correct the volume of one of them or of the system"
    )
