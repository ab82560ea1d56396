"""The conversation about a tank that is valved off from its system, or opened to it."""

from __future__ import annotations

from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.model import Tank
from rounds.core.recording import clean
from rounds.core.valving import draft_valved
from rounds.core.waters import valves
from rounds.core.words import plain
from rounds.report.waters import apart_since
from rounds.ui.asking import choose, record, write_in
from rounds.ui.screens.room_screen import RoomScreen


async def turn_valve(screen: RoomScreen, system: str) -> None:
    """Valve a tank off, or open the valve of one that is apart; the tanks of `system` are named first."""
    room, model = screen.room, screen.room.model
    tanks = sorted(model.tanks.values(), key=lambda tank: tank.system != system)
    if not tanks:
        raise Refused("no tank of this room can be valved off; add one in set-up")
    tank = await choose(screen, "Which tank is valved off or opened?", [(_label(screen, tank), tank) for tank in tanks])

    def joined(history: History) -> bool:
        return not valves(history, model.system[tank.system], room.now()).is_apart(tank, room.now())

    apart = room.ask(joined)
    title = f"{plain(tank.name)} is {'valved off' if apart else 'opened to its system'}: why?"
    reason = await write_in(screen, title, (), "a few words", _some)
    at = room.now()
    draft = room.ask(lambda history: draft_valved(model, history, tank, apart=apart, reason=reason, at=at))
    await record(screen, "Valve", [draft])


def _label(screen: RoomScreen, tank: Tank) -> str:
    """``Tank A, Broodstock tanks: apart since Wed 10:00, 560 L``"""
    room, system, now = screen.room, screen.room.model.system[tank.system], screen.room.now()
    apart = room.ask(lambda history: apart_since(room.model, history, system, tank.stations[0], now))
    return f"{plain(tank.name)}, {plain(system.name)}: {apart or 'joined'}"


def _some(text: str) -> str:
    if not clean(text):
        raise Refused("say why the valve is turned: a few words are enough")
    return clean(text)
