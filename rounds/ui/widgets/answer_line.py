"""The line under a question that is answered by Enter alone or in words."""

from __future__ import annotations

from rounds.ui.messages import BackAsked
from rounds.ui.widgets.one_line import OneLine


class AnswerLine(OneLine):
    """Takes every key that writes; to go back in an empty line goes back to what was asked before."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id, compact=True, select_on_focus=False, max_length=2000)

    def action_cursor_left(self, select: bool = False) -> None:
        if self.value:
            super().action_cursor_left(select)
        else:
            self.post_message(BackAsked())

    def action_delete_left(self) -> None:
        if self.value:
            super().action_delete_left()
        else:
            self.post_message(BackAsked())
