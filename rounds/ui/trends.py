"""What the readings screen asks of the room, in threads of its own: a system's past is read once and worked out."""

from __future__ import annotations

from datetime import datetime
from threading import Lock

import msgspec

from rounds.core.model import Reading, Room, System
from rounds.report.derived import derived_lines
from rounds.report.past import Past, elsewhere, past_of
from rounds.report.plot import Plot, plot_of, window_of
from rounds.report.readings import ReadingRow, rows_of
from rounds.report.trend import account, direction, outlook, sentence
from rounds.storage.room import RoomFolder

HELD = 2
"""So many systems' records are kept at hand: those of the readings that are looked at."""


class Drawing(msgspec.Struct, frozen=True, kw_only=True):
    """A plot and what is said about it."""

    plot: Plot
    over: Plot | None
    """A second reading over it."""
    sentence: str
    """Where it is heading; in short where a second reading lies over it."""
    second: str
    """Where the second one is heading; empty without one."""
    account: list[str]
    """What the reading comes to together with others, and how the trend comes about."""


class Trends:
    """Reads and works out; `rows` and `drawing` are called in threads, the others by the screen."""

    def __init__(self, room: RoomFolder) -> None:
        self._room = room
        self._held: dict[str, Past] = {}
        self._states: dict[str, tuple[object, ...]] = {}
        """How each system stood when it was asked for last."""
        self._bearing: dict[str, list[str]] = {}
        """By system, the systems whose records bear on its readings; of the room as it was loaded last."""
        self._model: Room | None = None
        self._lock = Lock()
        """Held while something is handed over, never while something is read."""

    def changed(self) -> list[str]:
        """The systems with readings of which something else is known than the last time, the first time all."""
        self._take_model()
        found = []
        for system in self._room.model.systems:
            state = self._state(system)
            if system.readings and self._states.get(system.id) != state:
                self._states[system.id] = state
                self._forget(system.id)
                found.append(system.id)
        return found

    def _state(self, system: System) -> tuple[object, ...]:
        """What the trends of a system depend on."""
        history = self._room.history
        ahead = history.following(self._room.now())  # it counts when its time comes
        return (history, system, ahead and ahead.id, *(history.version(each) for each in self._bearing[system.id]))

    def _take_model(self) -> None:
        model = self._room.model
        if model is not self._model:
            self._model = model
            self._bearing = {
                system.id: sorted({system.id, *(id.partition("/")[0] for id in elsewhere(model, system))})
                for system in model.systems
            }

    def rows(self, system: str, now: datetime) -> list[ReadingRow]:
        """The readings of a system with their trends."""
        return rows_of(self._room.model, system, self._past(system, hold=False), now)

    def drawing(self, reading: Reading, over: Reading | None, window: str, now: datetime) -> Drawing:
        """The plot of a reading over a window, with another reading over it."""
        model = self._room.model
        past = self._past(reading.system)
        trend = past.trend(model, reading, now, window_of(window))
        found = self._room.ask(lambda history: outlook(model, history, reading, trend, now))
        second, said = None, ""
        if over is not None:
            other = self._past(over.system)
            over_trend = other.trend(model, over, now, window_of(window))
            second, said = plot_of(model, over, other, over_trend, now, window), direction(over_trend)
        return Drawing(
            plot=plot_of(model, reading, past, trend, now, window),
            over=second,
            sentence=sentence(trend, now) if over is None else direction(trend),
            second=said,
            account=[*derived_lines(model, past, reading, now), *account(model, reading, found, now)],
        )

    def _forget(self, system: str) -> None:
        with self._lock:
            self._held.pop(system, None)

    def _past(self, system: str, *, hold: bool = True) -> Past:
        state = self._states.get(system)
        with self._lock:
            past = self._held.get(system)
        if past is None:
            past = past_of(self._room, self._room.model.system[system])
        with self._lock:
            if state == self._states.get(system) and (hold or len(self._held) < HELD):
                self._held.pop(system, None)
                self._held[system] = past
                while len(self._held) > HELD:
                    del self._held[next(iter(self._held))]
        return past
