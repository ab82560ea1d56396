"""A plot of one reading, or of two over one another; loaded with the first of them, for it takes its time."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from textual.app import RenderResult
from textual.color import Color
from textual.content import Content
from textual_plotext import PlotextPlot

from rounds.core.calendar import ONE_DAY, Calendar
from rounds.core.words import plain
from rounds.report.plot import (
    BEFORE,
    CARBON,
    CHANGE,
    DOSE,
    EVENTS,
    FILLED,
    FLAGGED,
    INSTRUMENT,
    LIGHT,
    ROUTINE,
    STEP,
    VALUE,
    WORRY,
    Event,
    Limit,
    Plot,
    Scale,
    meetings,
    scale_of,
    time_ticks,
    together,
    value_ticks,
)
from rounds.ui.messages import PlotFitted

LETTERS = {
    DOSE: "D",
    LIGHT: "L",
    CARBON: "C",
    INSTRUMENT: "I",
    STEP: "S",
    WORRY: "!",
    CHANGE: "W",
    FILLED: "R",
}
"""What stands on the time axis for each kind of event."""

FIRST = {VALUE: "●", BEFORE: "○", FLAGGED: "×", "<": "<", ">": ">"}
SECOND = {VALUE: "◆", BEFORE: "◇", FLAGGED: "+", "<": "<", ">": ">"}
BOTH = "◉"
"""Where a value of each stands."""
_BAND, _ACT, _SLOPE, _AHEAD, _MAY_LEAVE, _LEAVES, _NOW = "─", "╌", "braille", "·", "━", "◈", "┊"

_NAMES = {BEFORE: "before a step", FLAGGED: "flagged", "<": "below the kit's limit", ">": "above the kit's limit"}

_AROUND = 2
"""Rows of the axis and its days."""

RGB = tuple[int, int, int]


class PlotView(PlotextPlot, can_focus=False):
    """Draws what it is given; every colour comes from the theme and stands beside a shape of its own."""

    def __init__(self, calendar: Calendar, *, id: str) -> None:
        super().__init__(id=id)
        self._calendar = calendar
        self._shown: tuple[Plot, Plot | None] | None = None

    def show(self, plot: Plot, over: Plot | None) -> None:
        """Show a reading, and another one over it."""
        self._shown = (plot, over)
        self.refresh()
        self._fit()

    def clear(self) -> None:
        """Show nothing until the next one is known."""
        self._shown = None
        self.refresh()

    def on_resize(self) -> None:
        self._fit()

    def _fit(self) -> None:
        if self._shown is not None:
            self.post_message(PlotFitted(self.size.height - _AROUND - _lanes(_events(*self._shown))))

    def render(self) -> RenderResult:
        if self._shown is None or self.size.width < 24 or self.size.height < 6:
            return Content("")
        self.plt.clear_figure()
        self._draw(*self._shown)
        return super().render()

    def _draw(self, plot: Plot, over: Plot | None) -> None:
        self.plt.xaxes(True, False)
        self.plt.yaxes(True, over is not None)
        self.plt.xlim(0, _days(plot, plot.end))
        events = _events(plot, over)
        lanes = _lanes(events)
        rows = self.size.height - _AROUND
        if over is None:
            scale = scale_of(plot, rows - lanes)
            self._axis(plot, scale, rows, lanes, "left")
            self._now(plot, scale)
            self._limits(plot, scale, "left")
            self._line(plot)
            self._marks(plot, plot, FIRST, self._colour("primary"), "left")
        else:
            scale, other = together(plot, over, rows - lanes)
            columns = self.size.width - self._axis(plot, scale, rows, lanes, "left", alone=False)
            columns -= self._axis(over, other, rows, lanes, "right", alone=False)
            self._now(plot, scale)
            framed = plot if len([limit for limit in plot.limits if not limit.acts]) == 2 else over
            below, side = (scale, "left") if framed is plot else (other, "right")
            self._limits(framed, below, side, alone=False)
            self._marks(over, plot, SECOND, self._colour("accent"), "right")
            self._marks(plot, plot, FIRST, self._colour("primary"), "left")
            met = meetings(plot, over, (scale, other), columns, rows - lanes)
            if met:
                x, y = [_days(plot, mark.at) for mark in met], [mark.value for mark in met]
                self._scatter(x, y, BOTH, self._colour("foreground"), "left")
        self._put(plot, events, scale, rows, lanes)
        ticks = time_ticks(self._calendar, plot, self.size.width - 12)
        self.plt.xticks([_days(plot, at) for at, _ in ticks], [name for _, name in ticks])

    # -- parts ---------------------------------------------------------------------------------------

    def _axis(self, plot: Plot, scale: Scale, rows: int, lanes: int, side: str, *, alone: bool = True) -> int:
        """The numbers at one side, above the lines in which events stand; the columns that they take."""
        row = (scale.high - scale.low) / max(rows - lanes - 1, 1)
        self.plt.ylim(scale.low - lanes * row, scale.high, yside=side)  # type: ignore[arg-type]  # typed as a number there, and is a word
        ticks = value_ticks(plot, scale, rows - lanes, alone=alone)
        self.plt.yticks([value for value, _ in ticks], [name for _, name in ticks], yside=side)  # type: ignore[arg-type]  # likewise
        return 1 + max((len(name) for _, name in ticks), default=0)

    def _now(self, plot: Plot, scale: Scale) -> None:
        steps = range(2 * self.size.height + 1)
        heights = [scale.low + (scale.high - scale.low) * step / (2 * self.size.height) for step in steps]
        self._scatter([_days(plot, plot.now)] * len(heights), heights, _NOW, self._colour("secondary"), "left")

    def _limits(self, plot: Plot, scale: Scale, side: str, *, alone: bool = True) -> None:
        whole = _spread(0, _days(plot, plot.end), 2 * self.size.width)
        for limit in plot.limits:
            if scale.low <= limit.value <= scale.high and (alone or not limit.acts):
                marker, colour = (_ACT, "error") if limit.acts else (_BAND, "success")
                self._scatter(whole, [limit.value] * len(whole), marker, self._colour(colour), side)

    def _line(self, plot: Plot) -> None:
        """The slope, where it leads, and when on the end of the band it may be left."""
        foreground = self._colour("foreground")
        if plot.line is not None:
            begin, end = plot.line
            self.plt.plot(
                [_days(plot, begin.at), _days(plot, end.at)], [begin.value, end.value], marker=_SLOPE, color=foreground
            )
        leaves = plot.leaves
        if leaves is not None and plot.forecast is not None and not leaves.outside and leaves.at > plot.now:
            begin_at, end_at = max(leaves.earliest, plot.begin), min(leaves.latest or plot.end, plot.end)
            if begin_at < plot.end:
                along = _spread(_days(plot, begin_at), _days(plot, end_at), 2 * self.size.width)
                self._scatter(along, [leaves.limit] * len(along), _MAY_LEAVE, self._colour("warning"), "left")
        if plot.forecast is not None:
            begin, end = plot.forecast
            x = _spread(_days(plot, begin.at), _days(plot, end.at), max(2, self.size.width // 3))
            y = _spread(begin.value, end.value, len(x))
            self._scatter(x[1:], y[1:], _AHEAD, foreground, "left")
        if leaves is not None and plot.now < leaves.at <= plot.end:
            self._scatter([_days(plot, leaves.at)], [leaves.limit], _LEAVES, self._colour("warning"), "left")

    def _marks(self, plot: Plot, frame: Plot, shapes: dict[str, str], colour: RGB, side: str) -> None:
        for kind, shape in shapes.items():
            marks = [mark for mark in plot.marks if mark.kind == kind and frame.begin <= mark.at <= frame.end]
            shade = self._colour("error") if kind == FLAGGED else colour
            if marks:
                self._scatter([_days(frame, m.at) for m in marks], [m.value for m in marks], shape, shade, side)

    def _put(self, plot: Plot, events: Sequence[Event], scale: Scale, rows: int, lanes: int) -> None:
        """What is routine in the lowest line; what tells more above it, and over what tells less."""
        row = (scale.high - scale.low) / max(rows - lanes - 1, 1)
        for kind in reversed(EVENTS):
            found = [event for event in events if event.kind == kind]
            lane = lanes if kind in ROUTINE else 1
            height = scale.low - lane * row
            if found:
                x = [_days(plot, event.at) for event in found]
                self._scatter(x, [height] * len(x), LETTERS[kind], self._colour("foreground"), "left")

    def _scatter(self, x: Sequence[float], y: Sequence[float], marker: str, colour: RGB, side: str) -> None:
        self.plt.scatter(x, y, marker=marker, color=colour, yside=side)

    def _colour(self, name: str) -> RGB:
        return Color.parse(self.app.theme_variables[name]).rgb


def legend(plot: Plot, over: Plot | None, rows: int, width: int) -> Content:
    """What the shapes and letters stand for, as far as they are shown on so many rows; broken between them."""
    kinds = {event.kind for event in _events(plot, over)}
    names = [*_values(plot, over), *(_lines(plot, rows) if over is None else _bands(plot, over))]
    names += [(LETTERS[kind], kind) for kind in EVENTS if kind in kinds]
    lines: list[Content] = []
    for shape, name in names:
        part = Content.assemble((shape, "bold"), f" {name}")
        if lines and lines[-1].cell_length + 2 + part.cell_length <= width:
            lines[-1] = Content.assemble(lines[-1], "  ", part)
        else:
            lines.append(part)
    return Content("\n").join(lines)


def _values(plot: Plot, over: Plot | None) -> Iterable[tuple[str, str]]:
    """The shapes of the values."""
    for each, shapes, side in ((plot, FIRST, "left"), (over, SECOND, "right")):
        if each is None:
            continue
        shown = {mark.kind for mark in each.marks}
        if over is not None:
            yield shapes[VALUE], f"{plain(each.reading.name)} ({side})"
        elif VALUE in shown:
            yield shapes[VALUE], "value"
        yield from ((shapes[kind], name) for kind, name in _NAMES.items() if kind in shown)


def _lines(plot: Plot, rows: int) -> Iterable[tuple[str, str]]:
    """The shapes of what lies between the values of one reading."""
    if plot.line is not None:
        yield "⠒", "slope"
    if plot.forecast is not None:
        yield _AHEAD, "forecast"
    if plot.leaves is not None and plot.now < plot.leaves.at <= plot.end:
        yield _LEAVES, "leaves"
    acts = [limit for limit in plot.limits if limit.acts]
    beyond = scale_of(plot, rows).beyond
    if len(acts) < len(plot.limits):
        yield _BAND, "band"
    if len(beyond) < len(acts):
        yield _ACT, "act now"
    if beyond:
        yield "↕", f"act now {', '.join(_beyond(plot, limit) for limit in beyond)}, off the plot"


def _bands(plot: Plot, over: Plot) -> Iterable[tuple[str, str]]:
    yield BOTH, "both"
    if any(not limit.acts for each in (plot, over) for limit in each.limits):
        yield _BAND, "band"


def _beyond(plot: Plot, limit: Limit) -> str:
    ends = [each.value for each in plot.limits if not each.acts]
    side = "below" if ends and limit.value < min(ends) else "above"
    return f"{side} {limit.value:g}"


def _events(plot: Plot, over: Plot | None) -> list[Event]:
    """What happened to either reading, each once."""
    return sorted({*plot.events, *(over.events if over is not None else ())}, key=lambda event: event.at)


def _lanes(events: Iterable[Event]) -> int:
    """Lines that the events take."""
    return len({event.kind in ROUTINE for event in events})


def _days(plot: Plot, at: datetime) -> float:
    return (at - plot.begin) / ONE_DAY


def _spread(begin: float, end: float, count: int) -> list[float]:
    """So many numbers from `begin` to `end`, equally far apart."""
    return [begin + (end - begin) * step / max(count - 1, 1) for step in range(count)]
