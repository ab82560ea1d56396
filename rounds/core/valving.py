"""Records of tanks that are valved off from their system or opened to it; what follows: `rounds.core.waters`."""

from __future__ import annotations

from datetime import datetime

from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.isolation import isolations
from rounds.core.model import Room, System, Tank
from rounds.core.named import find_named
from rounds.core.record import APART, JOINED, VALVED
from rounds.core.recording import Draft, clean, say_why
from rounds.core.waters import valves
from rounds.core.words import day_name, moment, plain


def find_tank(room: Room, name: str) -> Tank:
    """The tank of a full id, or of an id that only one system has; raises `Refused`."""
    return find_named(room.tanks, name, "tank", "add it under [[tanks]] of its system")


def draft_valved(room: Room, history: History, tank: Tank, *, apart: bool, reason: str, at: datetime) -> Draft:
    """The tank is valved off from its system at `at`, or opened to it.

    Raises `Refused` without a reason, and where it is so already.
    """
    system = room.system[tank.system]
    known = valves(history, system, at)
    if known.is_apart(tank, at) == apart:
        turn = next((turn for turn in reversed(known.turns) if turn.tank == tank), None)
        since = f" since {moment(room.calendar, turn.at, at)}" if turn is not None else ""
        raise Refused(f"{tank.name} is {APART if apart else JOINED}{since}; there is nothing to record")
    say_why(reason, f"{tank.name} is {'valved off' if apart else 'opened again'}")
    return Draft(
        kind=VALVED, at=at, system=tank.system, station=tank.stations[0], task=tank.id,
        words=(APART if apart else JOINED,), reason=clean(reason),
        questions=() if apart else _joining(room, history, system, tank, at),
    )  # fmt: skip


def _joining(room: Room, history: History, system: System, tank: Tank, at: datetime) -> tuple[str, ...]:
    """What has to be answered before two waters become one: what stands in either waits for the later of both."""
    both = [clock for clock in isolations(room, history, system, at) if clock.water.id in (system.id, tank.id)]
    both.sort(key=lambda clock: clock.free_on)
    if len(both) < 2 or both[0].free_on == both[1].free_on or not both[1].left(room.calendar.round_day(at)):
        return ()
    sooner, later = (plain(clock.water.name) for clock in both)
    until = day_name(both[1].free_on, room.calendar.round_day(at))
    return (f"{later} is in isolation until {until}, and what stands in {sooner} is then too. Open it?",)
