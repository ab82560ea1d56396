"""What is shown while every sheet of a large room is read, the first time on a device."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static
from textual.worker import Worker, WorkerState

from rounds.core.words import plain
from rounds.storage.room import RoomFolder
from rounds.ui.screens.room_screen import reason

Progress = Callable[[float], object]


class FirstReading(Screen[None]):
    """Reads the room in a thread, says how far it is, and then shows the walk."""

    CSS_PATH = "../later.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("q,escape", "app.quit", show=False)]

    def __init__(self, read: Callable[[Progress], RoomFolder], walk: Callable[[RoomFolder], Screen[None]]) -> None:
        super().__init__()
        self._read, self._walk = read, walk
        self._shown = -1

    def compose(self) -> ComposeResult:
        yield Static(id="reading", classes="page")

    def on_mount(self) -> None:
        self._show(0)
        self.run_worker(self._work, thread=True, group="first reading", exit_on_error=False)

    def _work(self) -> None:
        room = self._read(lambda share: self._tell(int(share * 100)))
        self.app.call_from_thread(self._open, room)

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        if event.state == WorkerState.ERROR:
            self._say(f"The room cannot be read: {plain(reason(event.worker.error))}\n\nq leaves.")

    def _open(self, room: RoomFolder) -> None:
        self.app.push_screen(self._walk(room))

    def _tell(self, percent: int) -> None:
        if percent != self._shown:
            self._shown = percent
            self.app.call_from_thread(self._show, percent)

    def _show(self, percent: int) -> None:
        self._say(
            f"Every sheet of this room is read once on this device: {percent} %.\n"
            "The next start does not need it.  q leaves; nothing is lost."
        )

    def _say(self, text: str) -> None:
        self.query_one("#reading", Static).update(Content(text))
