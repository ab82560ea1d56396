"""An input of one line that keeps all of what is pasted into it."""

from __future__ import annotations

from textual import events
from textual.widgets import Input


class OneLine(Input):
    """Lines that are pasted come after one another, parted by a space; an `Input` keeps the first of them alone."""

    def on_paste(self, event: events.Paste) -> None:
        event.prevent_default()
        event.stop()
        self.replace(" ".join(filter(None, event.text.splitlines())), *self.selection)
