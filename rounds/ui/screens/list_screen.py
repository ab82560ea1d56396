"""Screens with a list of everything of one sort, on which values of the chosen one are recorded."""

from __future__ import annotations

from rounds.ui.recorder import ListRecorder
from rounds.ui.screens.pick_screen import PickScreen
from rounds.ui.screens.recording import RecordingScreen


class ListScreen(PickScreen, RecordingScreen):
    """While something is typed the pointer stays."""

    def make_recorder(self) -> ListRecorder:
        return ListRecorder(self)

    @property
    def busy(self) -> bool:
        return self.typing
