"""Readings over time: what drifts or is out of its band first, and a plot of the chosen one."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from functools import partial
from importlib import import_module
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static
from textual.worker import Worker, WorkerState

from rounds.core.calendar import ONE_DAY
from rounds.core.errors import RoundsError
from rounds.core.model import Reading
from rounds.core.plan import LATER, DueItem
from rounds.core.words import clock, day_name, moment, plain, plural
from rounds.report.plot import USUAL, WINDOWS, Plot
from rounds.report.readings import ACT, LEAVING, OUTSIDE, WITHIN, ReadingRow, age, first_rows, summary
from rounds.storage.room import RoomFolder
from rounds.ui.keymap import READINGS, bindings
from rounds.ui.messages import (
    LineChanged,
    LineEntered,
    LineLeft,
    PlotFitted,
    PlotWorkedOut,
    ReadingPicked,
    TrendsWorkedOut,
)
from rounds.ui.recorder import Recorder
from rounds.ui.text import fit
from rounds.ui.trends import Drawing, Trends
from rounds.ui.widgets.entry_line import EntryLine
from rounds.ui.widgets.reading_list import MUTED, STYLES, ReadingList, shape
from rounds.ui.widgets.room_bar import FootBar

WIDE = 110
"""Columns from which list and plot stand side by side."""

AT_REST = 0.12
"""Seconds without a move after which the plot follows the pointer."""

_COUNTED = {
    ACT: ("■", "to act on now"),
    OUTSIDE: ("▼▲", "out of band"),
    LEAVING: ("▽△", "leaving it"),
    WITHIN: ("·", "in band"),
}

_WHILE_TYPING = frozenset(("help",))


_Wanted = tuple[str | None, Reading | None, str]
"""The chosen reading, the one over it, the window."""


class ValueRecorder(Recorder):
    """Records a value of the reading that the pointer is on."""

    def __init__(self, screen: Readings) -> None:
        super().__init__(screen)
        self._screen = screen

    def hold_keys(self, held: bool) -> None:
        self._screen.query_one(ReadingList).can_focus = not held

    def take_keys_back(self) -> None:
        self._screen.set_focus(self._screen.query_one(ReadingList))


class Readings(Screen[bool]):
    """All readings; answers whether anything was recorded."""

    CSS_PATH = "../later.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(READINGS)]
    AUTO_FOCUS = "#readings"

    def __init__(self, room: RoomFolder, keeper: str | None, start: str | None = None) -> None:
        """`start`: full id of the reading to begin with; None: the one that asks for a look first."""
        super().__init__()
        self.room = room
        self.keeper = keeper
        self.now = room.now()
        self.entry_line: EntryLine | None = None
        self._trends = Trends(room)
        self._rows = {row.reading.id: row for row in first_rows(room.model, room.history, self.now)}
        self._order = self._sorted()
        self._moved = start in self._rows
        self._chosen = start if self._moved else next(iter(self._order), None)
        self._to_do: deque[str] = deque(self._trends.systems(start.partition("/")[0] if start else None))
        self._over: Reading | None = None
        self._window = USUAL
        self._question = 0
        self._asked: _Wanted | None = None
        """Which plot was asked for last; None: none since something was recorded."""
        self._drawing: Drawing | None = None
        self._recorded = False
        self.recorder = ValueRecorder(self)

    @property
    def typing(self) -> bool:
        """Whether the entry line is open."""
        return self.recorder.asked is not None

    # -- what is shown -------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        yield Static(id="readings-head")
        with Horizontal(id="readings-body"):
            yield ReadingList(id="readings")
            with Vertical(id="chosen"):
                yield Static(id="chosen-title")
                yield Vertical(id="plot-place")
                yield Static(id="plot-legend")
                with VerticalScroll(id="account", can_focus=False):
                    yield Static(id="account-text")
        self.entry_line = EntryLine()
        yield self.entry_line
        yield Static(id="said")
        yield FootBar(READINGS, id="foot")

    def on_mount(self) -> None:
        self.query_one("#said").display = False
        self._fold()
        self.draw()
        self._ask_plot()
        self._work_on()
        self.set_interval(30, self._tick)

    def on_resize(self) -> None:
        self._fold()
        if self._asked != self._wanted:
            self._ask_plot()
        self.call_after_refresh(self._draw_chosen)

    def _fold(self) -> None:
        wide = self.app.size.width >= WIDE
        self.set_class(wide, "-wide")
        self.set_class(not wide, "-narrow")

    def _tick(self) -> None:
        """The clock is read, never counted."""
        self.now = self.room.now()
        self.draw()

    def _sorted(self) -> list[str]:
        return sorted(self._rows, key=lambda reading: self._rows[reading].rank)

    @property
    def row(self) -> ReadingRow | None:
        """The reading that the pointer is on."""
        return self._rows.get(self._chosen or "")

    def draw(self) -> None:
        place = self._order.index(self._chosen) if self._chosen in self._order else 0
        self.query_one(ReadingList).show([self._rows[id] for id in self._order], self.now, place)
        self._draw_head()
        self._draw_chosen()

    def _draw_head(self) -> None:
        calendar = self.room.model.calendar
        time = f"{day_name(calendar.local(self.now).date())} {clock(calendar, self.now)}"
        left = len(self._to_do)
        waiting = f"{plural(left, 'system')} still to be read  " if left else ""
        parts: list[tuple[str, str]] = [("Readings  ", "bold")]
        for state, count in summary(list(self._rows.values())):
            shapes, words = _COUNTED[state]
            parts.append((f"{shapes} {count} {words}  ", STYLES[state]))
        room = self.app.size.width - 2 - sum(len(text) for text, _ in parts)
        if not self._rows:
            parts.append(("none in this room yet: add [[readings]] to a system's file", ""))
        parts.append((fit(waiting + time, max(0, room), right=True), MUTED))
        self.query_one("#readings-head", Static).update(Content.assemble(*parts))

    def _draw_chosen(self) -> None:
        row = self.row
        if row is None:
            return
        name = f"{plain(row.reading.name)}, {plain(row.system)}"
        value = f"   {row.last}, {age(row, self.now)}" if row.last else "   no value yet"
        title = [Content.assemble((f"{shape(row)} ", STYLES[row.state]), (name, "bold"), value)]
        drawing = self._drawing
        if drawing is not None and drawing.plot.reading.id == row.reading.id:
            title += self._said_of(drawing, STYLES[row.state] if row.state in (ACT, OUTSIDE, LEAVING) else "")
        self.query_one("#chosen-title", Static).update(Content("\n").join(title))

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
        days, wanted = round((plot.now - plot.begin) / ONE_DAY), WINDOWS[self._window][1]
        since = f"{plural(days, 'day')}, since {day_name(self.room.model.calendar.local(plot.begin).date())}"
        return since if wanted is None or days <= wanted.days else f"{since}: {wanted.days} hold too few values"

    def say(self, sentence: str) -> None:
        """Say what happened, above the foot, until something else is said."""
        said = self.query_one("#said", Static)
        said.display = bool(sentence)
        said.update(Content(plain(sentence)))

    # -- what is worked out ----------------------------------------------------------------------------

    def _work_on(self) -> None:
        """The next system, in a thread; its answer, or its failure, asks for the one after it."""
        if self._to_do:
            self.run_worker(partial(self._work_out, self._to_do[0]), thread=True, group="trends", exit_on_error=False)

    def _work_out(self, system: str) -> None:
        self.post_message(TrendsWorkedOut(self._trends.rows(system, self.now)))

    def on_trends_worked_out(self, event: TrendsWorkedOut) -> None:
        self._rows.update((row.reading.id, row) for row in event.rows)
        self._order = self._sorted()
        if not self._moved:
            self._choose(self._order[0])
        self._to_do.popleft()
        self.draw()
        self._work_on()

    @property
    def _wanted(self) -> _Wanted:
        return (self._chosen, self._over, self._window)

    def _ask_plot(self) -> None:
        """Have the plot of the chosen reading worked out, where it is seen; where not, it is when it comes to be."""
        row = self.row
        self._asked = None
        if row is None or not (self.has_class("-wide") or self.has_class("-plot")):
            return
        if self._drawing is not None and self._drawing.plot.reading.id != row.reading.id:
            self._clear_plot()
        self._question += 1
        self._asked = self._wanted
        work = partial(self._work_out_plot, self._question, row.reading, self._over, self._window)
        self.run_worker(work, thread=True, group="plot", exclusive=True, exit_on_error=False)

    def _work_out_plot(self, number: int, reading: Reading, over: Reading | None, window: str) -> None:
        drawing = self._trends.drawing(reading, over, window, self.now)
        import_module("rounds.ui.widgets.plot")
        self.post_message(PlotWorkedOut(number, drawing))

    async def on_plot_worked_out(self, event: PlotWorkedOut) -> None:
        if event.number != self._question:
            return
        from rounds.ui.widgets.plot import PlotView

        self._drawing = drawing = event.drawing
        place = self.query_one("#plot-place")
        view = next(iter(place.query(PlotView)), None)
        if view is None:
            view = PlotView(self.room.model.calendar, id="plot")
            await place.mount(view)
        view.show(drawing.plot, drawing.over)
        self.query_one("#account-text", Static).update(Content("\n".join(map(plain, self._told(drawing)))))
        self.query_one("#account").scroll_home(animate=False)
        self._draw_chosen()

    def _clear_plot(self) -> None:
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

        if self._drawing is not None:
            place = self.query_one("#plot-legend", Static)
            place.update(legend(self._drawing.plot, self._drawing.over, event.rows, place.size.width))

    def _told(self, drawing: Drawing) -> list[str]:
        """The account of the trend, and what stands on the time axis, the newest first."""
        events = {event: each for each in (drawing.plot, drawing.over) if each is not None for event in each.events}
        lines = list(drawing.account)
        if events:
            lines += ["", "On the time axis:"]
        for event in sorted(events, key=lambda event: event.at, reverse=True):
            lines.append(f"  {moment(self.room.model.calendar, event.at, self.now)}  {event.kind}: {event.what}")
        return lines

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        if event.state != WorkerState.ERROR:
            return
        error = event.worker.error
        why = str(error) if isinstance(error, RoundsError | OSError) else f"{type(error).__name__}: {error}"
        if event.worker.group == "trends":
            self.say(f"The trends of {self._to_do.popleft()} cannot be worked out: {why}")
            self._work_on()
        else:
            self.say(f"The plot cannot be drawn: {why}")

    def plan(self) -> None:
        """Something was recorded or corrected: the system of this reading is worked out anew."""
        self._recorded = True
        self.now = self.room.now()
        if (row := self.row) is None:
            return
        system = row.reading.system
        self._trends.forget(system)
        self._to_do.append(system)
        if len(self._to_do) == 1:
            self._work_on()
        self._ask_plot()

    # -- moving ----------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return not self.typing or action in _WHILE_TYPING or all(each.name != action for each in READINGS)

    def _choose(self, id: str) -> None:
        if id == self._chosen:
            return
        self._chosen = id
        self._question += 1  # an answer still under way is of another reading
        self.set_timer(AT_REST, partial(self._at_rest, id))

    def _at_rest(self, id: str) -> None:
        if id == self._chosen:
            self._ask_plot()

    def _go(self, place: int) -> None:
        if not self._order:
            return
        self._moved = True
        place = max(0, min(place, len(self._order) - 1))
        self._choose(self._order[place])
        self.query_one(ReadingList).mark(place)
        self._draw_chosen()

    @property
    def _place(self) -> int:
        return self._order.index(self._chosen) if self._chosen in self._order else 0

    def action_next_reading(self) -> None:
        self._go(self._place + 1)

    def action_reading_before(self) -> None:
        self._go(self._place - 1)

    def action_first(self) -> None:
        self._go(0)

    def action_last(self) -> None:
        self._go(len(self._order) - 1)

    def action_page_down(self) -> None:
        self._page(1)

    def action_page_up(self) -> None:
        self._page(-1)

    def _page(self, direction: int) -> None:
        listed = self.query_one(ReadingList)
        if listed.display and not self.has_class("-plot"):
            self._go(self._place + direction * listed.page)
        else:
            account = self.query_one("#account")
            account.scroll_relative(y=direction * max(1, account.size.height - 1), animate=False)

    def on_reading_picked(self, event: ReadingPicked) -> None:
        if self.typing:
            return
        if event.place == self._place:
            self.action_plot()
        else:
            self._go(event.place)

    def action_plot(self) -> None:
        self.toggle_class("-plot")
        self._ask_plot()

    def action_back(self) -> None:
        if self.has_class("-plot"):
            self.remove_class("-plot")
        else:
            self.dismiss(self._recorded)

    # -- the plot ----------------------------------------------------------------------------------------

    def action_days_7(self) -> None:
        self._show_window("7")

    def action_days_30(self) -> None:
        self._show_window("30")

    def action_days_90(self) -> None:
        self._show_window("90")

    def action_days_all(self) -> None:
        self._show_window("all")

    def action_shorter(self) -> None:
        self._step_window(-1)

    def action_longer(self) -> None:
        self._step_window(1)

    def _step_window(self, step: int) -> None:
        names = list(WINDOWS)
        self._show_window(names[max(0, min(names.index(self._window) + step, len(names) - 1))])

    def _show_window(self, window: str) -> None:
        """A window is only seen in a plot: where there is none yet, it is shown."""
        self._window = window
        if not self.has_class("-wide"):
            self.add_class("-plot")
        self._ask_plot()

    def action_compare(self) -> None:
        if self._over is not None:
            self._compared(None)
            return
        self._pick("A second reading over this one", self._compared, but=self._chosen)

    def _compared(self, id: str | None) -> None:
        self._over = self.room.model.readings.get(id or "")
        if id is not None and not self.has_class("-wide"):
            self.add_class("-plot")
        self._ask_plot()

    def action_find(self) -> None:
        def found(id: str | None) -> None:
            if id is not None:
                self._go(self._order.index(id))

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

    def action_keeper(self) -> None:
        self.say("Nobody keeps the room yet; go back to the walk and press k.")

    def action_enter_value(self) -> None:
        self.recorder.do()

    def action_history(self) -> None:
        from rounds.ui.screens.history import HistoryPage

        def left(corrected: bool | None) -> None:
            if corrected:
                self.plan()

        if (row := self.row) is not None:
            title = f"{row.reading.name}, {row.system}"
            self.app.push_screen(HistoryPage(self.room, self.keeper, title, self.now, task=row.reading.id), left)

    def action_help(self) -> None:
        from rounds.ui.screens.pages import help_page

        self.app.push_screen(help_page(READINGS))

    def on_line_changed(self, event: LineChanged) -> None:
        self.recorder.changed(event.text)

    def on_line_left(self, event: LineLeft) -> None:
        self.recorder.left(event.text)

    def on_line_entered(self, event: LineEntered) -> None:
        self.recorder.entered(event.text)
