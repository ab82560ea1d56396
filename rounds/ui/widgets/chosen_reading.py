"""The chosen reading: its name and where it is heading, its plot, what the plot shows, and how that comes about."""

from __future__ import annotations

from collections.abc import Sequence

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Static

from rounds.core.calendar import Calendar
from rounds.core.words import plain
from rounds.ui.messages import PlotFitted
from rounds.ui.trends import Drawing


class ChosenReading(Vertical):
    """Beside the list, or in its place; the plotting library is loaded with the first plot."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._drawing: Drawing | None = None

    def compose(self) -> ComposeResult:
        yield Static(id="chosen-title")
        yield Vertical(id="plot-place")
        yield Static(id="plot-legend")
        with VerticalScroll(id="account", can_focus=False):
            yield Static(id="account-text")

    def show_title(self, lines: Sequence[Content]) -> None:
        self.query_one("#chosen-title", Static).update(Content("\n").join(lines))

    async def show(self, calendar: Calendar, drawing: Drawing, told: Sequence[str]) -> None:
        """Show a plot, and what is told of it."""
        from rounds.ui.widgets.plot import PlotView

        self._drawing = drawing
        place = self.query_one("#plot-place")
        view = next(iter(place.query(PlotView)), None)
        if view is None:
            view = PlotView(calendar, id="plot")
            await place.mount(view)
        view.show(drawing.plot, drawing.over)
        self.query_one("#account-text", Static).update(Content("\n".join(map(plain, told))))
        self.query_one("#account").scroll_home(animate=False)

    def clear(self) -> None:
        """A plot must not stand under the name of another reading."""
        from rounds.ui.widgets.plot import PlotView

        self._drawing = None
        for view in self.query(PlotView):
            view.clear()
        for place in ("#plot-legend", "#account-text"):
            self.query_one(place, Static).update(Content(""))

    def on_plot_fitted(self, event: PlotFitted) -> None:
        """Which limits lie off the plot depends on its height."""
        from rounds.ui.widgets.plot import legend

        event.stop()
        if self._drawing is not None:
            place = self.query_one("#plot-legend", Static)
            place.update(legend(self._drawing.plot, self._drawing.over, event.rows, place.size.width))

    def turn(self, direction: int) -> None:
        """A page on or back in the account."""
        account = self.query_one("#account")
        account.scroll_relative(y=direction * max(1, account.size.height - 1), animate=False)
