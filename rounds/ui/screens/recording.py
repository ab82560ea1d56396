"""Screens on which values are recorded in place."""

from __future__ import annotations

from abc import abstractmethod
from functools import cached_property
from typing import TYPE_CHECKING

from rounds.core.items import DueItem
from rounds.storage.room import RoomFolder
from rounds.ui.messages import LineChanged, LineEntered, LineLeft
from rounds.ui.screens.room_screen import RoomScreen

if TYPE_CHECKING:
    from rounds.ui.recorder import Recorder
    from rounds.ui.widgets.entry_line import EntryLine


class RecordingScreen(RoomScreen):
    """A screen with an entry line; what is typed belongs to the item that the pointer is on."""

    def __init__(self, room: RoomFolder, keeper: str | None, *, classes: str | None = None) -> None:
        super().__init__(room, keeper, classes=classes)
        self.entry_line: EntryLine | None = None
        """None: not mounted yet."""

    @cached_property
    def recorder(self) -> Recorder:
        """What is typed and recorded; loaded with the first key that needs it."""
        return self.make_recorder()

    @abstractmethod
    def make_recorder(self) -> Recorder:
        """The recorder of this screen."""

    @property
    @abstractmethod
    def current(self) -> DueItem | None:
        """What the pointer is on."""

    @property
    def typing(self) -> bool:
        """Whether the entry line is open."""
        return "recorder" in self.__dict__ and self.recorder.asked is not None

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return not self.typing or action in self.WHILE_TYPING or all(each.method != action for each in self.ACTIONS)

    def on_line_changed(self, event: LineChanged) -> None:
        self.recorder.changed(event.text)

    def on_line_left(self, event: LineLeft) -> None:
        self.recorder.left(event.text)

    def on_line_entered(self, event: LineEntered) -> None:
        self.recorder.entered(event.text)
