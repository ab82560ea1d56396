"""Walking back from a dirtier zone to a cleaner one is said once a shift."""

from __future__ import annotations

from datetime import datetime

from rounds.core.model import Zone
from rounds.core.walk import Stop, cleaner_than, shift_began
from rounds.core.words import plain
from rounds.storage.room import RoomFolder


class HygieneWatch:
    """Remembers which ways back were said in this shift."""

    def __init__(self) -> None:
        self._said: set[tuple[datetime, str | None, str, str]] = set()

    def crossing(self, room: RoomFolder, keeper: str | None, stop: Stop, now: datetime) -> list[str]:
        """What to say on coming to `stop`; empty when there is nothing to say, or it was said."""
        began = shift_began(room.model, now)
        zones = {zone.id: zone for zone in room.model.zones}
        entered = zones.get(stop.system.zone or "")
        dirtier = self._dirtiest(room, keeper, began, now, zones)
        if entered is None or dirtier is None or not cleaner_than(room.model, entered.id, dirtier.id):
            return []
        key = (began, keeper, dirtier.id, entered.id)
        if key in self._said:
            return []
        self._said.add(key)
        tools = f" Use only the {plain(entered.tools)} tools of zone {plain(entered.id)}." if entered.tools else ""
        return [
            f"You have worked in zone {plain(dirtier.id)} ({plain(dirtier.name)}) this shift and come to "
            f"zone {plain(entered.id)} ({plain(entered.name)}).",
            f"Wash hands and arms and rinse them well, change gloves.{tools}",
        ]

    def _dirtiest(
        self, room: RoomFolder, keeper: str | None, began: datetime, now: datetime, zones: dict[str, Zone]
    ) -> Zone | None:
        """The dirtiest zone in which the keeper has recorded work since the shift began."""
        order = list(zones)
        worked = {
            room.model.system[record.system].zone
            for record in room.recorded_since(began, now)
            if record.by == keeper and record.system in room.model.system
        }
        known = [zone for zone in worked if zone in zones]
        return zones[max(known, key=order.index)] if known else None
