"""An input of one line that keeps all of what is typed and pasted into it."""

from __future__ import annotations

from textual import events
from textual.widgets import Input

_JOINERS = "\u200c\u200d"
"""They part letters, and make one sign of several; a terminal sends each as a key that prints nothing by itself."""


class OneLine(Input):
    """Joiners are typed too, which an `Input` drops. Of several lines that are pasted it keeps the first alone; here
    they come after one another, parted by a space."""

    def on_key(self, event: events.Key) -> None:
        if event.character and event.character in _JOINERS:
            event.prevent_default()
            event.stop()
            self.replace(event.character, *self.selection)

    def on_paste(self, event: events.Paste) -> None:
        event.prevent_default()
        event.stop()
        if text := " ".join(filter(None, event.text.splitlines())):
            self.replace(text, *self.selection)
