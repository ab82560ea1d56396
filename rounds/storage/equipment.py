"""Equipment, read from the tables of the room's files."""

from __future__ import annotations

from rounds.core.model import Equipment
from rounds.storage.references import References
from rounds.storage.tables import Table, spoken


def read_equipment(table: Table, system: str, station: str, names: References) -> Equipment:
    """One ``[[equipment]]`` table of a system's file."""
    id = table.id()
    flow = table.quantity("flow", "flow")
    return Equipment(
        id=f"{system}/{id}",
        system=system,
        station=station,
        kind=table.text("kind", required=True),
        name=table.text("name") or spoken(id),
        flow=flow.canonical if flow else None,
        outlet=names.measured(table, "outlet", system, "alkalinity"),
        stops_with=names.equipment_in(table, "stops_with", system),
        put_back_order=names.equipment_in(table, "put_back_order", system),
    )
