"""Readings over time: what drifts or is out of its band first, and a plot of the chosen one."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from functools import partial
from importlib import import_module
from typing import ClassVar

from textual.binding import BindingType
from textual.containers import Horizontal
from textual.content import Content
from textual.widget import Widget

from rounds.core.calendar import ONE_DAY
from rounds.core.items import LATER, DueItem
from rounds.core.model import Reading
from rounds.core.windows import USUAL, WINDOWS
from rounds.core.words import day_name, moment, plain, plural
from rounds.report.plot import Plot
from rounds.report.readings import (
    ACT,
    LEAVING,
    OUTSIDE,
    WITHIN,
    ReadingRow,
    age,
    first_rows,
    summary,
    until_worked_out,
)
from rounds.storage.room import RoomFolder
from rounds.ui.keymap import READINGS, bindings
from rounds.ui.screens.list_screen import ListScreen
from rounds.ui.screens.room_screen import Tell
from rounds.ui.text import MUTED
from rounds.ui.trends import Drawing, Trends
from rounds.ui.widgets.chosen_reading import ChosenReading
from rounds.ui.widgets.entry_line import EntryLine
from rounds.ui.widgets.reading_list import STYLES, ReadingList, shape

AT_REST = 0.12
"""Seconds without a move after which the plot follows the pointer."""

_COUNTED = {
    ACT: ("■", "to act on now"),
    OUTSIDE: ("▼▲", "out of band"),
    LEAVING: ("▽△", "leaving it"),
    WITHIN: ("·", "in band"),
}

_Wanted = tuple[str, Reading | None, str]
"""The chosen reading, the one over it, the window."""


class Readings(ListScreen):
    """All readings."""

    ACTIONS = READINGS
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(READINGS)]
    AUTO_FOCUS = "#readings"
    LOOK_EVERY = 2.0

    def __init__(self, room: RoomFolder, keeper: str | None, start: str | None = None) -> None:
        """`start`: full id of the reading to begin with; None: the one that asks for a look first."""
        super().__init__(room, keeper)
        self._trends = Trends(room)
        self._rows: dict[str, ReadingRow] = {}
        self._order: list[str] = []
        self._moved = start in room.model.readings
        """Until then the pointer is on what asks for a look first."""
        self._chosen = start if start is not None and self._moved else ""
        self._to_do: deque[str] = deque()
        """Systems whose trends are to be worked out, the first of them under way."""
        self._over: Reading | None = None
        self._window = USUAL
        self._asked_for: _Wanted | None = None
        """Which plot was asked for last; None: none since something was recorded."""
        self._drawing: Drawing | None = None

    # -- what is shown -------------------------------------------------------------------------------

    def body(self) -> Iterable[Widget]:
        self.entry_line = EntryLine()
        yield Horizontal(ReadingList(id="readings"), ChosenReading(id="chosen"), id="readings-body")
        yield self.entry_line

    def on_resize(self) -> None:
        self.fold()
        if self._asked_for != self._wanted:
            self._ask_plot()
        self.call_after_refresh(self.draw_chosen)

    @property
    def listed(self) -> ReadingList:
        return self.query_one(ReadingList)

    @property
    def ids(self) -> list[str]:
        return self._order

    @property
    def row(self) -> ReadingRow | None:
        """The reading that the pointer is on."""
        return self._rows.get(self._chosen)

    @property
    def pane(self) -> ChosenReading:
        return self.query_one(ChosenReading)

    def draw(self) -> None:
        super().draw()
        self.listed.show([self._rows[id] for id in self._order], self.now, self.place)
        self.show_head(self._head_parts())
        self.draw_chosen()

    def _head_parts(self) -> Iterator[tuple[str, str]]:
        yield "Readings  ", "bold"
        for state, count in summary(list(self._rows.values())):
            shapes, words = _COUNTED[state]
            yield f"{shapes} {count} {words}  ", STYLES[state]
        if not self._rows:
            yield "none in this room yet: add one in set-up", ""
        if left := len(self._to_do):
            yield f"{plural(left, 'system')} still to be read  ", MUTED

    def draw_chosen(self) -> None:
        row = self.row
        if row is None:
            return
        name = f"{plain(row.reading.name)}, {plain(row.system)}"
        value = f"   {row.last}, {age(row, self.now)}" if row.last else "   no value yet"
        title = [Content.assemble((f"{shape(row)} ", STYLES[row.state]), (name, "bold"), value)]
        drawing = self._drawing
        if drawing is not None and drawing.plot.reading.id == row.reading.id:
            title += self._said_of(drawing, STYLES[row.state] if row.state in (ACT, OUTSIDE, LEAVING) else "")
        self.pane.show_title(title)

    def _said_of(self, drawing: Drawing, style: str) -> list[Content]:
        """Where the readings are heading, over which time, and what is drawn."""
        said = drawing.sentence[:1].upper() + drawing.sentence[1:]
        lines = [Content.styled(f"{said}.", style)]
        if (over := drawing.over) is not None:
            lines.append(Content(f"{plain(over.reading.name)}, {plain(over.system)}: {drawing.second}."))
        corrected = [plain(each.reading.name) for each in (drawing.plot, over) if each is not None and each.at_35]
        at_35 = f"; {' and '.join(corrected)} at salinity 35" if corrected else ""
        return [*lines, Content.styled(self._reach(drawing.plot) + at_35, MUTED)]

    def _reach(self, plot: Plot) -> str:
        """``30 days, since Mon 26 Oct``"""
        days, wanted = round((plot.now - plot.begin) / ONE_DAY), WINDOWS[self._window]
        since = f"{plural(days, 'day')}, since {day_name(self.room.model.calendar.local(plot.begin).date())}"
        return since if wanted is None or days <= wanted.days else f"{since}: {wanted.days} hold too few values"

    # -- what is worked out ----------------------------------------------------------------------------

    def plan(self) -> None:
        """What was recorded is shown at once; the trends of its system follow."""
        super().plan()
        changed = self._trends.changed()
        if not changed:
            return
        model = self.room.model
        self._rows = {id: row for id, row in self._rows.items() if id in model.readings}
        for row in first_rows(model, self.room.history, self.now, changed):
            self._rows[row.reading.id] = until_worked_out(row, self._rows.get(row.reading.id))
        self._take_order()
        here = self._chosen.partition("/")[0]
        idle, under_way = not self._to_do, list(self._to_do)[:1]
        waiting = dict.fromkeys([*list(self._to_do)[1:], *sorted(changed, key=lambda system: system != here)])
        self._to_do = deque([*under_way, *waiting])
        if idle:
            self._work_on()
        self._ask_plot()

    def _take_order(self) -> None:
        self._order = sorted(self._rows, key=lambda reading: self._rows[reading].rank)
        if self._order and (not self._moved or self._chosen not in self._rows):
            self.choose(self._order[0])

    def _work_on(self) -> None:
        """The next system, in a thread; its answer, or its failure, asks for the one after it."""
        if self._to_do:
            self.work_out(
                "trends", partial(self._work_out, self._to_do[0], self.now), self._worked_out, self._not_worked_out
            )

    def _work_out(self, system: str, now: datetime, tell: Tell) -> None:
        tell(self._trends.rows(system, now))

    def _worked_out(self, rows: list[ReadingRow]) -> None:
        self._rows.update((row.reading.id, row) for row in rows)
        self._take_order()
        self._to_do.popleft()
        self.draw()
        self._work_on()

    def _not_worked_out(self, why: str) -> None:
        self.say(f"The trends of {self._to_do.popleft()} cannot be worked out: {why}")
        self._work_on()

    @property
    def _wanted(self) -> _Wanted:
        return (self._chosen, self._over, self._window)

    def _ask_plot(self) -> None:
        """Have the plot of the chosen reading worked out, where it is seen; where not, it is when it comes to be."""
        row = self.row
        self._asked_for = None
        if row is None or not (self.has_class("-wide") or self.has_class("-plot")):
            return
        if self._drawing is not None and self._drawing.plot.reading.id != row.reading.id:
            self._drawing = None
            self.pane.clear()
        self._asked_for = self._wanted
        work = partial(self._work_out_plot, row.reading, self._over, self._window, self.now)
        self.work_out("plot", work, self._plot_worked_out, "The plot cannot be drawn")

    def _work_out_plot(self, reading: Reading, over: Reading | None, window: str, now: datetime, tell: Tell) -> None:
        drawing = self._trends.drawing(reading, over, window, now)
        import_module("rounds.ui.widgets.plot")
        tell(drawing)

    async def _plot_worked_out(self, drawing: Drawing) -> None:
        self._drawing = drawing
        await self.pane.show(self.room.model.calendar, drawing, self._told(drawing))
        self.draw_chosen()

    def _told(self, drawing: Drawing) -> list[str]:
        """The account of the trend, and what stands on the time axis, the newest first."""
        events = {event: each for each in (drawing.plot, drawing.over) if each is not None for event in each.events}
        lines = list(drawing.account)
        if events:
            lines += ["", "On the time axis:"]
        for event in sorted(events, key=lambda event: event.at, reverse=True):
            lines.append(f"  {moment(self.room.model.calendar, event.at, self.now)}  {event.kind}: {event.what}")
        return lines

    # -- moving ----------------------------------------------------------------------------------------

    def choose(self, id: str) -> None:
        if id != self._chosen:
            super().choose(id)
            self.drop("plot")  # an answer still under way is of another reading
            self.set_timer(AT_REST, partial(self._at_rest, id))

    def _at_rest(self, id: str) -> None:
        if id == self._chosen:
            self._ask_plot()

    def go(self, place: int) -> None:
        self._moved = True
        super().go(place)

    def action_page_down(self) -> None:
        self._page(1)

    def action_page_up(self) -> None:
        self._page(-1)

    def _page(self, direction: int) -> None:
        if self.listed.display and not self.has_class("-plot"):
            self.go(self.place + direction * self.listed.page)
        else:
            self.pane.turn(direction)

    def open_chosen(self) -> None:
        self.action_plot()

    def action_plot(self) -> None:
        self.toggle_class("-plot")
        self._ask_plot()

    def action_back(self) -> None:
        if self.has_class("-plot"):
            self.remove_class("-plot")
        else:
            super().action_back()

    # -- the plot ----------------------------------------------------------------------------------------

    def action_window(self, window: str) -> None:
        """A window is only seen in a plot: where there is none yet, it is shown."""
        self._window = window
        self._show_plot()

    def _show_plot(self) -> None:
        if not self.has_class("-wide"):
            self.add_class("-plot")
        self._ask_plot()

    def action_shorter(self) -> None:
        self._step_window(-1)

    def action_longer(self) -> None:
        self._step_window(1)

    def _step_window(self, step: int) -> None:
        names = list(WINDOWS)
        self.action_window(names[max(0, min(names.index(self._window) + step, len(names) - 1))])

    def action_compare(self) -> None:
        if self._over is not None:
            self._over = None
            self._ask_plot()
            return

        def compared(id: str | None) -> None:
            if id is not None:
                self._over = self.room.model.readings.get(id)
                self._show_plot()

        self._pick("A second reading over this one", compared, but=self._chosen)

    def action_find(self) -> None:
        def found(id: str | None) -> None:
            if id is not None:
                self.go(self._order.index(id))

        self._pick("Find a reading", found)

    def _pick(self, title: str, then: Callable[[str | None], None], but: str | None = None) -> None:
        from rounds.ui.screens.ask import Choice

        choices = [
            (f"{plain(row.reading.name)}, {plain(row.system)}", row.reading.id)
            for row in self._rows.values()
            if row.reading.id != but
        ]
        if not choices:
            self.say("There is no other reading in this room.")
            return
        self.app.push_screen(Choice(title, choices), then)

    # -- recording ---------------------------------------------------------------------------------------

    @property
    def current(self) -> DueItem | None:
        """Taking the chosen reading, whether it is due or not."""
        row = self.row
        if row is None:
            return None
        return DueItem(task=self.room.task(row.reading.id), state=LATER, in_round=False)

    def action_enter_value(self) -> None:
        self.recorder.do()

    def action_history(self) -> None:
        if (row := self.row) is not None:
            self.show_history(f"{row.reading.name}, {row.system}", task=row.reading.id)
