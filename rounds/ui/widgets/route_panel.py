"""The route: systems and stations in walking order with what is left and late."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar, NamedTuple

from rich.segment import Segment
from textual import events
from textual.binding import Binding, BindingType
from textual.geometry import Region, Size
from textual.scroll_view import ScrollView
from textual.strip import Strip

from rounds.core.model import Room
from rounds.core.walk import Stop
from rounds.core.words import plain
from rounds.ui.messages import StopPicked
from rounds.ui.text import fit


class _Line(NamedTuple):
    """One line: a system's heading, or a station with the index of its stop."""

    stop: int | None
    name: str
    tail: str
    look: str
    """The component class of the whole line."""


class RoutePanel(ScrollView, inherit_bindings=False):
    """A list drawn line by line; there is no widget and no layout per station."""

    can_focus = True
    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "route--system",
        "route--left",
        "route--late",
        "route--quiet",
        "route--pointer",
    }
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "point(1)", show=False),
        Binding("up", "point(-1)", show=False),
        Binding("enter", "pick", show=False),
    ]

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._stops: list[_Line] = []
        self._pointer = 0

    def show(self, room: Room, walk: Sequence[Stop], current: int) -> None:
        """Show the stops, the pointer on the stop `current`."""
        tools = {zone.id: f"{plain(zone.id)} {plain(zone.tools)}".strip() for zone in room.zones}
        lines = []
        system = None
        for index, stop in enumerate(walk):
            if stop.system.id != system:
                system = stop.system.id
                tail = tools.get(stop.system.zone or "", "")
                lines.append(_Line(None, plain(stop.system.name), tail, "route--system"))
            late = f"▲{stop.late} late " if stop.late else ""
            tail = late + (f"{stop.left} left" if stop.left else "✓" if stop.items else "")
            look = "route--late" if stop.late else "route--left" if stop.left else "route--quiet"
            lines.append(_Line(index, f"  {plain(stop.station.name)}", tail, look))
        if lines != self._stops:
            self._stops = lines
            self.virtual_size = Size(0, len(lines))
            self.refresh()
        self.mark(current)

    def mark(self, current: int) -> None:
        """Put the pointer on the stop `current`."""
        place = next((place for place, line in enumerate(self._stops) if line.stop == current), 0)
        if place != self._pointer:
            self._pointer = place
            self.refresh()
            self.scroll_to_region(Region(0, max(0, place - 1), 1, 3), animate=False, force=True)

    def render_line(self, y: int) -> Strip:
        place = y + self.scroll_offset.y
        width = self.scrollable_content_region.width
        if place >= len(self._stops):
            return Strip.blank(width, self.rich_style)
        line = self._stops[place]
        name = fit(line.name, max(4, width - len(line.tail) - 1))
        style = self.get_component_rich_style(line.look)
        if place == self._pointer:
            style += self.get_component_rich_style("route--pointer")
            name = f"▸{name[1:]}" if name.startswith(" ") else name
        return Strip([Segment(fit(f"{name} {line.tail}", width), style)], width)

    def action_point(self, step: int) -> None:
        stations = [place for place, line in enumerate(self._stops) if line.stop is not None]
        if stations:
            at = stations.index(self._pointer) if self._pointer in stations else 0
            self.mark(self._stops[stations[(at + step) % len(stations)]].stop or 0)

    def action_pick(self) -> None:
        self._pick(self._pointer)

    def on_click(self, event: events.Click) -> None:
        event.stop()
        self._pick(event.y + self.scroll_offset.y)

    def _pick(self, place: int) -> None:
        stop = self._stops[place].stop if 0 <= place < len(self._stops) else None
        if stop is not None:
            self.post_message(StopPicked(stop))
