"""Recording levels and refills in the list of reservoirs."""

from __future__ import annotations

from rounds.ui.recorder import Recorder
from rounds.ui.screens.levels import Levels


class LevelsRecorder(Recorder):
    """Records beside the list, which has the keys again afterwards."""

    def __init__(self, levels: Levels) -> None:
        super().__init__(levels)
        self._levels = levels

    def hold_keys(self, held: bool) -> None:
        self._levels.query_one("#levels").can_focus = not held

    def take_keys_back(self) -> None:
        self._levels.set_focus(self._levels.query_one("#levels"))
