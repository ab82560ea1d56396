"""Levels: what runs out first, and recording levels and refills where they are looked at."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property, partial
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static
from textual.worker import Worker, WorkerState

from rounds.core.errors import RoundsError
from rounds.core.history import History
from rounds.core.log import Incomplete
from rounds.core.plan import LATER as NOT_YET
from rounds.core.plan import DueItem
from rounds.core.words import clock, day_name, plain
from rounds.report.levels import NOW, TODAY, evaporation_text, system_name, urgency, when_text
from rounds.report.reservoirs import (
    LevelAccount,
    bearing_on_levels,
    course,
    gauge,
    level_accounts,
    level_lines,
    plumbing_text,
    reckoned_text,
    warnings_text,
)
from rounds.storage.room import RoomFolder
from rounds.ui.keymap import LEVELS, bindings
from rounds.ui.messages import LevelsWorkedOut, LineChanged, LineEntered, LineLeft, ReservoirPicked
from rounds.ui.text import fit
from rounds.ui.widgets.details import Details
from rounds.ui.widgets.entry_line import EntryLine
from rounds.ui.widgets.level_list import GAUGE, MUTED, SHAPES, STYLES, LevelList, headings
from rounds.ui.widgets.room_bar import FootBar

if TYPE_CHECKING:
    from rounds.ui.level_recorder import LevelsRecorder

WIDE = 110
"""Columns from which list and account stand side by side."""

LOOK_EVERY = 5.0
"""Seconds between looks at the clock and at what was recorded elsewhere."""

_WHILE_TYPING = frozenset(("help",))


class Levels(Screen[bool]):
    """All reservoirs; answers whether anything was recorded."""

    CSS_PATH = "../later.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(LEVELS)]
    AUTO_FOCUS = "#levels"

    def __init__(self, room: RoomFolder, keeper: str | None) -> None:
        super().__init__()
        self.room = room
        self.keeper = keeper
        self.now = room.now()
        self.entry_line: EntryLine | None = None
        self._accounts: list[LevelAccount] | None = None
        """None: not worked out yet."""
        self._chosen = ""
        """Full id of the reservoir the pointer is on."""
        self._to_record = "level"
        self._worked_out_for: tuple[object, ...] = ()
        self._recorded = False

    @cached_property
    def recorder(self) -> LevelsRecorder:
        """What is typed and recorded; loaded with the first key that needs it."""
        from rounds.ui.level_recorder import LevelsRecorder

        return LevelsRecorder(self)

    @property
    def typing(self) -> bool:
        return "recorder" in self.__dict__ and self.recorder.asked is not None

    # -- what is shown -------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        yield Static(id="levels-head")
        with Horizontal(id="levels-body"):
            with Vertical(id="levels-side"):
                yield LevelList(id="levels")
                self.entry_line = EntryLine()
                yield self.entry_line
            yield Details(id="reservoir")
        yield Static(id="said")
        yield FootBar(LEVELS, id="foot")

    def on_mount(self) -> None:
        self.query_one("#said").display = False
        self._fold()
        self._work_out_anew()
        self.draw()
        self.set_interval(LOOK_EVERY, self._look)

    def on_resize(self) -> None:
        self._fold()
        self.draw()

    def _fold(self) -> None:
        wide = self.app.size.width >= WIDE
        self.set_class(wide, "-wide")
        self.set_class(not wide, "-narrow")

    @property
    def _place(self) -> int:
        ids = [account.tank.id for account in self._accounts or ()]
        return ids.index(self._chosen) if self._chosen in ids else 0

    @property
    def account(self) -> LevelAccount | None:
        """The reservoir that the pointer is on."""
        return self._accounts[self._place] if self._accounts else None

    def draw(self) -> None:
        wide = self.has_class("-wide")
        self.query_one(LevelList).show(self.room.model, self._accounts or (), self.now, self._place, two=wide)
        self._draw_head()
        self._draw_account()

    def _draw_head(self) -> None:
        calendar = self.room.model.calendar
        time = f"{day_name(calendar.local(self.now).date())} {clock(calendar, self.now)}"
        found = self._accounts
        parts = [("Levels  ", "bold")]
        if found is None:
            parts.append(("being worked out …", MUTED))
        elif not found:
            parts.append(("none in this room yet: add [[reservoirs]] to a system's file", ""))
        soon = [urgency(self.room.model, account.level, self.now) for account in found or ()]
        for state, words in ((NOW, "now"), (TODAY, "today")):
            if number := soon.count(state):
                parts.append((f"{SHAPES[state]} {number} {words}  ", STYLES[state]))
        if number := sum(1 for account in found or () if account.level.abnormal):
            parts.append((f"! {number} out of the ordinary  ", "bold $text-warning"))
        left = self.app.size.width - 2 - sum(len(text) for text, _ in parts)
        parts.append((fit(time, max(0, left), right=True), MUTED))
        parts.append((f"\n{headings(self.query_one(LevelList).scrollable_content_region.width)}", MUTED))
        self.query_one("#levels-head", Static).update(Content.assemble(*parts))

    def _draw_account(self) -> None:
        account = self.account
        shown = Content("\n").join(self._told(account)) if account is not None else Content("")
        self.query_one("#reservoir", Details).show(shown)

    def _told(self, account: LevelAccount) -> Iterator[Content]:
        """What is out of the ordinary first, then when it runs low and why, what to beware of, and its levels."""
        model, each, tank, now = self.room.model, account.level, account.tank, self.now
        station = model.stations.get((tank.system, tank.station))
        where = [system_name(model, tank.system), *([plain(station.name)] if station is not None else []), tank.kind]
        yield Content.assemble((plain(tank.name), "bold $text-accent"), (f"  {', '.join(where)}", MUTED))

        def said(heading: str, text: str, style: str = "") -> Content:
            return Content.assemble((f"{heading}  ", "bold"), (text, style))

        if each.abnormal:
            yield said("! Out of the ordinary", plain(each.abnormal), "bold $text-warning")
        when = when_text(model, each, now)
        ends = "it is full" if tank.kind == "waste" else "nothing more can be drawn"
        end = f"; {each.days_to_end:.1f} days until {ends}" if each.days_to_end else ""
        yield said("When", f"{when}{end}.", STYLES[urgency(model, each, now)])
        bar = f"{gauge(each, GAUGE)}  " if each.level is not None else ""
        yield Content.assemble(("Now  ", "bold"), (bar, "$text-secondary"), f"{reckoned_text(model, each, now)}.")
        yield said("Use", plain(each.basis))
        for warning in warnings_text(account):
            yield said("!", warning[:1].upper() + warning[1:] + ".", "$text-warning")
        if each.full_at_once is not None:
            yield said(
                "Full at once", f"All of a full container let in at once takes salinity to {each.full_at_once:.1f}."
            )
        if account.fresh is not None:
            heading = "Evaporation" if len(account.fresh.sources) == 1 else "Evaporation of the system"
            yield said(heading, f"{evaporation_text(model, account.fresh)}.")
        if plumbing := plumbing_text(model, account):
            yield said("Plumbing", f"{plumbing[:1].upper()}{plumbing[1:]}.")
        blocks, refills, days = course(model, account, now)
        if blocks:
            yield Content("")
            marks = f"\n{refills}" if refills else ""
            yield Content.assemble((f"Levels of {days} days", "bold"), f"\n{blocks}", (marks, MUTED))
            yield Content("\n".join(level_lines(model, account, now)))

    def say(self, sentence: str) -> None:
        """Say what happened, above the foot, until something else is said."""
        said = self.query_one("#said", Static)
        said.display = bool(sentence)
        said.update(Content(plain(sentence)))

    # -- what is worked out ----------------------------------------------------------------------------

    def _look(self) -> None:
        """The clock is read, never counted; what others recorded was taken in by the walk."""
        if self._state(self.room.now().replace(second=0, microsecond=0)) != self._worked_out_for:
            self._work_out_anew()

    def _state(self, minute: object) -> tuple[object, ...]:
        """What the answer depends on."""
        history, model = self.room.history, self.room.model
        return (id(history), id(model), minute, *(history.version(id) for id in bearing_on_levels(model)))

    def _work_out_anew(self) -> None:
        self.now = self.room.now()
        self._worked_out_for = self._state(self.now.replace(second=0, microsecond=0))
        known = self.room.history.part(bearing_on_levels(self.room.model))
        work = partial(self._work_out, known)
        self.run_worker(work, thread=True, group="levels", exclusive=True, exit_on_error=False)

    def _work_out(self, known: History) -> None:
        """Runs in a thread of its own; what was kept at hand answers, else the archive."""
        model, now = self.room.model, self.now
        try:
            found = level_accounts(model, known, now)
        except Incomplete:
            records = self.room.standing_records(bearing_on_levels(model))
            found = level_accounts(model, History(records), now)
        self.post_message(LevelsWorkedOut(found))

    def on_levels_worked_out(self, event: LevelsWorkedOut) -> None:
        self._accounts = event.accounts
        self.draw()

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        if event.state == WorkerState.ERROR:
            error = event.worker.error
            why = str(error) if isinstance(error, RoundsError | OSError) else f"{type(error).__name__}: {error}"
            self.say(f"The levels cannot be worked out: {why}")

    def plan(self) -> None:
        """Something was recorded or corrected."""
        self._recorded = True
        self._work_out_anew()

    # -- moving ----------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        return not self.typing or action in _WHILE_TYPING or all(each.name != action for each in LEVELS)

    def _go(self, place: int) -> None:
        if not self._accounts:
            return
        place = max(0, min(place, len(self._accounts) - 1))
        self._chosen = self._accounts[place].tank.id
        self.query_one(LevelList).mark(place)
        self._draw_account()

    def action_next_reservoir(self) -> None:
        self._go(self._place + 1)

    def action_reservoir_before(self) -> None:
        self._go(self._place - 1)

    def action_first(self) -> None:
        self._go(0)

    def action_last(self) -> None:
        self._go(len(self._accounts or ()) - 1)

    def action_page_down(self) -> None:
        self._scroll(1)

    def action_page_up(self) -> None:
        self._scroll(-1)

    def _scroll(self, direction: int) -> None:
        details = self.query_one("#reservoir", Details)
        details.scroll_relative(y=direction * max(1, details.size.height - 1), animate=False)

    def on_reservoir_picked(self, event: ReservoirPicked) -> None:
        if self.typing:
            return
        if event.place == self._place:
            self.action_level()
        else:
            self._go(event.place)

    def action_back(self) -> None:
        self.dismiss(self._recorded)

    # -- recording and what else there is to see ---------------------------------------------------------

    @property
    def current(self) -> DueItem | None:
        """The level or the refill of the chosen reservoir, whether it is due or not."""
        account = self.account
        if account is None:
            return None
        return DueItem(task=self.room.task(f"{account.tank.id}-{self._to_record}"), state=NOT_YET, in_round=False)

    def action_keeper(self) -> None:
        self.say("Nobody keeps the room yet; go back to the walk and press k.")

    def action_level(self) -> None:
        self._record("level")

    def action_refill(self) -> None:
        self._record("refill")

    def _record(self, what: str) -> None:
        if self.account is not None:
            self._chosen = self.account.tank.id  # it stays chosen when its place in the list changes
            self._to_record = what
            self.recorder.do()

    def action_history(self) -> None:
        self._show_history("level")

    def action_refill_history(self) -> None:
        self._show_history("refill")

    def _show_history(self, what: str) -> None:
        from rounds.ui.screens.history import HistoryPage

        def left(corrected: bool | None) -> None:
            if corrected:
                self.plan()

        if (account := self.account) is not None:
            title = f"{account.tank.name}, {what}, {self.room.model.system[account.tank.system].name}"
            task = f"{account.tank.id}-{what}"
            self.app.push_screen(HistoryPage(self.room, self.keeper, title, self.now, task=task), left)

    def action_doses(self) -> None:
        from rounds.ui.screens.doses import Doses

        def left(recorded: bool | None) -> None:
            if recorded:
                self.plan()

        self.app.push_screen(Doses(self.room, self.keeper, self._system), left)

    def action_prompts(self) -> None:
        from rounds.ui.screens.prompts import Prompts

        self.app.push_screen(Prompts(self.room))

    @property
    def _system(self) -> str:
        return self.account.tank.system if self.account is not None else ""

    def action_help(self) -> None:
        from rounds.ui.screens.pages import help_page

        self.app.push_screen(help_page(LEVELS))

    def on_line_changed(self, event: LineChanged) -> None:
        self.recorder.changed(event.text)

    def on_line_left(self, event: LineLeft) -> None:
        self.recorder.left(event.text)

    def on_line_entered(self, event: LineEntered) -> None:
        self.recorder.entered(event.text)
