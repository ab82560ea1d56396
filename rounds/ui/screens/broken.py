"""What stands in place of the walk when the room's files cannot be used."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from rounds.core.errors import NoRoom
from rounds.core.words import plain, plural
from rounds.storage.faults import RoomFaults

LOOK_EVERY = 2.0
"""Seconds between looks at the files."""


class BrokenRoom(Screen[None]):
    """All faults of all files; opens the room by itself once they are repaired."""

    CSS_PATH = "../later.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("q,escape,ctrl+q", "leave", show=False)]

    def __init__(self, folder: Path, found: NoRoom, reopen: Callable[[], NoRoom | None]) -> None:
        """`reopen` tries again: None when the room is open, else what is wrong now."""
        super().__init__()
        self._folder, self._found, self._reopen = folder, found, reopen

    def compose(self) -> ComposeResult:
        yield Static(id="broken-title", classes="page-title")
        with VerticalScroll(classes="page"):
            yield Static(id="broken-faults")
        yield Static(
            Content.assemble(
                "Repair the files and save; the room opens by itself.  ", ("q", "bold $text-accent"), " leave"
            )
        )

    def on_mount(self) -> None:
        self._show()
        self._timer = self.set_interval(LOOK_EVERY, self._look)

    def _show(self) -> None:
        faults = self._found.faults if isinstance(self._found, RoomFaults) else []
        lines = [str(fault) for fault in faults] or [str(self._found)]
        self.query_one("#broken-title", Static).update(
            Content.styled(f"The room cannot be opened: {plural(len(lines), 'fault')}", "bold $text-error")
        )
        body = "\n\n".join(f"• {plain(line)}" for line in lines)
        self.query_one("#broken-faults", Static).update(Content(f"{plain(str(self._folder))}\n\n{body}"))

    def _look(self) -> None:
        found = self._reopen()
        if found is None:
            self._timer.stop()
        elif str(found) != str(self._found):
            self._found = found
            self._show()

    def action_leave(self) -> None:
        self.app.exit(return_code=3)
