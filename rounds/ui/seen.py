"""Which missed work each keeper has seen; kept on this device, forgotten after some days."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from rounds.core.errors import RoundsError
from rounds.core.items import DueItem
from rounds.storage import device

_FORGET = timedelta(days=5)


class SeenMissed:
    """What stands at the top until it has been seen."""

    def __init__(self, folder: Path) -> None:
        self._room = device.room_key(folder)
        seen = device.settings().get("seen")
        known = seen.get(self._room) if isinstance(seen, dict) else None
        self._seen: dict[str, str] = known if isinstance(known, dict) else {}

    def unseen(self, keeper: str | None, items: list[DueItem]) -> list[DueItem]:
        return [item for item in items if _key(keeper, item) not in self._seen]

    def mark(self, keeper: str | None, items: list[DueItem], now: datetime) -> None:
        """The keeper has seen these; where the device cannot keep that, for this run only."""
        oldest = (now - _FORGET).isoformat()
        self._seen = {key: at for key, at in self._seen.items() if at > oldest}
        self._seen |= {_key(keeper, item): now.isoformat() for item in items}
        every = device.settings().get("seen")
        try:
            device.remember(seen={**(every if isinstance(every, dict) else {}), self._room: self._seen})
        except RoundsError:
            return


def _key(keeper: str | None, item: DueItem) -> str:
    return f"{keeper} {item.task.id} {item.due_at.isoformat() if item.due_at else ''}"
