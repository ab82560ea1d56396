"""The route: systems and stations in walking order with what is left and late."""

from __future__ import annotations

from collections.abc import Sequence

from textual import events
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from rounds.core.model import Room
from rounds.core.walk import Stop
from rounds.ui.messages import StopPicked
from rounds.ui.text import route_heading, route_line

_WIDTH = 30


class RoutePanel(OptionList):
    """A list that never builds a widget for a station."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._stop_of_line: list[int | None] = []
        self._shown: list[object] = []

    def show(self, room: Room, walk: Sequence[Stop], current: int) -> None:
        """Show the stops; only lines that changed are drawn again."""
        lines: list[int | None] = []
        content = []
        system = None
        for index, stop in enumerate(walk):
            if stop.system.id != system:
                system = stop.system.id
                lines.append(None)
                content.append(route_heading(stop, room, _WIDTH))
            lines.append(index)
            content.append(route_line(stop, _WIDTH))
        if lines != self._stop_of_line:
            self._stop_of_line = lines
            self.clear_options()
            self.add_options(Option(text, disabled=index is None) for text, index in zip(content, lines, strict=True))
        else:
            for line, text in enumerate(content):
                if text != self._shown[line]:
                    self.replace_option_prompt_at_index(line, text)
        self._shown = list(content)
        self.mark(current)

    def mark(self, current: int) -> None:
        """Put the pointer on the stop `current`."""
        if current in self._stop_of_line:
            self.highlighted = self._stop_of_line.index(current)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        index = self._stop_of_line[event.option_index]
        if index is not None:
            self.post_message(StopPicked(index))

    def on_focus(self, _: events.Focus) -> None:
        self.scroll_to_highlight()
