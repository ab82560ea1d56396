"""What every screen over an open room has: alerts, head and foot; what it says, asks of threads and takes in.

A screen says what stands in its head and body, and how it works them out (`plan`) and shows them (`draw`);
when to do so, after a record, a minute or a change on disk, is known here alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from inspect import isawaitable
from typing import Any, ClassVar

import msgspec
from rich.cells import cell_len
from textual.app import ComposeResult
from textual.content import Content
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Static
from textual.worker import Worker, WorkerState

from rounds.core.errors import RoundsError
from rounds.core.off_normal import OffNormal, off_normal
from rounds.core.words import clock, day_name, length, plain, plural
from rounds.storage.files import FileStamps
from rounds.storage.records import Change
from rounds.storage.room import CLOCK_BEHIND, RoomFolder
from rounds.ui.alerts import alert_lines, ring
from rounds.ui.keymap import Action
from rounds.ui.messages import Answered
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.room_bar import FootBar

WIDE = 110
"""Columns from which panels stand side by side."""

Tell = Callable[[Any], None]
"""What a thread gives its answers to."""


class Question(msgspec.Struct, frozen=True):
    """What a thread was asked last under one name; answers to an earlier one no longer count."""

    worker: str
    """The name of the thread's worker, another for each question."""
    taken: Callable[[Any], object]
    failed: Callable[[str], object]


class RoomScreen(Screen[None]):
    """A screen over an open room."""

    ACTIONS: ClassVar[tuple[Action, ...]] = ()
    """What keys do here: foot, help and command palette show these."""
    WHILE_TYPING: ClassVar[frozenset[str]] = frozenset(("help",))
    """Actions that stay while something is typed; the letters belong to the line."""
    LOOK_EVERY: ClassVar[float] = 1.0
    """Seconds between looks at the clock, the sheets and the room's files."""

    def __init__(self, room: RoomFolder, keeper: str | None, *, classes: str | None = None) -> None:
        """`keeper`: the initials that records get; None: nobody is named yet."""
        super().__init__(classes=classes)
        self.room = room
        self.keeper = keeper
        self.now = room.now()
        self._questions: dict[str, Question] = {}
        self._asked = 0
        self._looking = False
        self._not_looked = ""
        """Why the last look at the disk failed."""
        self._stale = False
        """Something has changed while another screen stood before this one."""
        self._said_lines = 0
        self._alerted = Content("")

    # -- what is shown -------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        alerts, said = Static(id="alerts"), Static(id="said")
        alerts.display = said.display = False
        yield alerts
        yield self.head()
        yield from self.body()
        yield said
        yield FootBar(self.ACTIONS, id="foot")

    def head(self) -> Widget:
        """What stands at the top, below the alerts."""
        return Static(id="head")

    def body(self) -> Iterable[Widget]:
        """What stands between head and foot."""
        return ()

    def on_mount(self) -> None:
        self.begin()
        self.set_interval(self.LOOK_EVERY, self._tick)

    def begin(self) -> None:
        """Show the screen for the first time."""
        self.plan()
        self.draw()

    def plan(self) -> None:
        """Work out anew what is shown, in a thread where it takes its time."""
        self.now = self.room.now()

    def draw(self) -> None:
        """Show what is known."""
        self.draw_alerts()

    def draw_alerts(self) -> None:
        """What is off normal, what has to be put back now first, and what is wrong with files, sheets or clock."""
        lines = [*alert_lines(self.room.model, self.off_normal(), self.room.now())]
        lines += [(each, "$text-warning") for each in ["  ".join(self.alerts())] if each]
        shown = Content("\n").join(Content.styled(text, style) for text, style in lines)
        line = self.query_one("#alerts", Static)
        if line.display != bool(lines):
            line.display = bool(lines)
        if shown != self._alerted:
            line.update(shown, layout=self._lines_of(shown.plain) != self._lines_of(self._alerted.plain))
            self._alerted = shown

    def _lines_of(self, text: str) -> int:
        """How many rows the lines of a text take."""
        width = max(1, self.app.size.width - 2)
        return sum(max(1, -(-cell_len(line) // width)) for line in text.split("\n"))

    def off_normal(self) -> list[OffNormal]:
        """What is off normal now."""
        room, now = self.room, self.room.now()
        return room.ask(lambda history: off_normal(room.model, history, now), now, now)

    def alerts(self) -> list[str]:
        """What has to be seen on every screen, besides what is off normal."""
        faults, problems = self.room.faults, self.room.problems
        behind = self.room.clock_behind()
        said = [
            f"{plural(len(faults.faults), 'fault')} in room files, last good version in use: F2 in the walk"
            if faults is not None
            else "",
            f"{plural(len(problems), 'problem')} in sheets: F2 in the walk" if problems else "",
            f"clock {length(behind)} behind the newest record" if behind > CLOCK_BEHIND else "",
            self._not_looked,
        ]
        return [each for each in said if each]

    def show_head(self, parts: Iterable[tuple[str, str]], below: str = "") -> None:
        """Parts of the head with their styles, the time at the right where it fits, and perhaps a second line."""
        shown = list(parts)
        left = self.app.size.width - 2 - sum(cell_len(text) for text, _ in shown)
        if left > len(self.time):
            shown.append((fit(self.time, left, right=True), MUTED))
        if below:
            shown.append((f"\n{below}", MUTED))
        self.query_one("#head", Static).update(Content.assemble(*shown))

    @property
    def time(self) -> str:
        """``Wed 25 Nov 09:30``"""
        calendar = self.room.model.calendar
        return f"{day_name(calendar.local(self.now).date())} {clock(calendar, self.now)}"

    def say(self, sentence: str) -> None:
        """Say what happened, above the foot, until something else is said."""
        said = self.query_one("#said", Static)
        if said.display != bool(sentence):
            said.display = bool(sentence)
        # lines of text before and after: only when they differ is the screen laid out anew
        lines = self._lines_of(plain(sentence))
        said.update(Content(plain(sentence)), layout=lines != self._said_lines or lines > 1)
        self._said_lines = lines

    @property
    def wide(self) -> bool:
        """Whether panels stand side by side."""
        return self.app.size.width >= WIDE

    def fold(self) -> bool:
        """Put the panels as the width allows; True when that is another way than before."""
        wide = self.wide
        if self.has_class("-wide" if wide else "-narrow"):
            return False
        self.set_class(wide, "-wide")
        self.set_class(not wide, "-narrow")
        return True

    # -- what threads are asked ------------------------------------------------------------------------

    def work_out(
        self,
        what: str,
        work: Callable[[Tell], object],
        taken: Callable[[Any], object],
        failed: str | Callable[[str], object],
    ) -> None:
        """Have a thread do `work`; each thing that it tells is `taken`, unless the same was asked again meanwhile.

        `what` names the question. `failed` is what cannot be done, as the beginning of a sentence that is said,
        or is told why; what was shown stays.
        """
        self._asked += 1
        name = f"{what} {self._asked}"
        told = failed if callable(failed) else partial(self._say_failed, failed)
        question = self._questions[what] = Question(name, taken, told)

        def tell(answer: Any) -> None:
            self.post_message(Answered(question, answer))

        self.run_worker(partial(work, tell), name=name, group=what, thread=True, exit_on_error=False)

    def drop(self, what: str) -> None:
        """Answers that are still under way no longer count."""
        self._questions.pop(what, None)

    async def on_answered(self, event: Answered) -> None:
        if event.question in self._questions.values():
            taken = event.question.taken(event.answer)
            if isawaitable(taken):
                await taken

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        question = self._questions.get(event.worker.group)
        if event.state == WorkerState.ERROR and question is not None and question.worker == event.worker.name:
            question.failed(reason(event.worker.error))

    def _say_failed(self, what: str, why: str) -> None:
        self.say(f"{what}: {why}")

    # -- time, this device and others --------------------------------------------------------------------

    @property
    def in_front(self) -> bool:
        """Whether no other screen of the room stands before this one."""
        return next((each for each in reversed(self.app.screen_stack) if isinstance(each, RoomScreen)), None) is self

    def _tick(self) -> None:
        """The clock is read: a countdown goes on, and what has passed its time is heard once where that is wanted."""
        if self.in_front:
            self.count_down()
            ring(self.app, self.off_normal(), self.room.now())
        self._look()

    def count_down(self) -> None:
        """What is counted in seconds goes on."""
        self.draw_alerts()

    def _look(self) -> None:
        """Look at the disk, in a thread: a slow share must not hold up the keys."""
        if self.in_front and not self._looking:
            self._looking = True
            self.work_out("disk", self._look_at_disk, self._looked, self._look_failed)

    def _look_at_disk(self, tell: Tell) -> None:
        tell((self.room.look(), self.room.look_at_files()))

    def _looked(self, found: tuple[Change, FileStamps]) -> None:
        self._looking = False
        self._alert("")
        self.take_in(*found)

    def _look_failed(self, why: str) -> None:
        self._looking = False
        self._alert(f"the room's folder cannot be read: {why}")

    def _alert(self, not_looked: str) -> None:
        if not_looked != self._not_looked:
            self._not_looked = not_looked
            self.draw()

    def take_in(self, change: Change, stamps: FileStamps) -> None:
        """Take in what the clock and other processes have changed; the clock is read, never counted."""
        files = self.room.refresh_files(stamps)
        if files is True:
            self.say("The room's files have changed and are taken up.")
        if self.room.take_in(change) or files is not False or self._came_of_time():
            self.changed()
        elif self.room.now().replace(second=0) != self.now.replace(second=0):
            self.pass_time()
        else:
            return
        self.draw()
        self.room.keep()

    def _came_of_time(self) -> bool:
        """Whether a record of a device whose clock is ahead, which did not count yet, does so now."""
        ahead = self.room.history.following(self.now)
        return ahead is not None and ahead.at <= self.room.now()

    def pass_time(self) -> None:
        """Another minute has begun, and nothing else has changed; a new round day is worked out anew."""
        round_day = self.room.model.calendar.round_day
        if round_day(self.room.now()) != round_day(self.now):
            self.plan()
        else:
            self.now = self.room.now()

    def changed(self) -> None:
        """What is known of the room is different now: work it out here, and on the others when they are seen again."""
        for screen in self.app.screen_stack:
            if isinstance(screen, RoomScreen) and screen is not self:
                screen._stale = True  # of this very class
        self.plan()

    def on_screen_resume(self) -> None:
        if self._stale:
            self._stale = False
            self.plan()
            self.draw()

    # -- what every screen can do ------------------------------------------------------------------------

    def has_keeper(self) -> bool:
        """Whether somebody is named for what is recorded; if not, that is asked for or said."""
        if self.keeper is None:
            self.action_keeper()
        return self.keeper is not None

    def action_keeper(self) -> None:
        self.say("Nobody keeps the room yet; go back to the walk and press k.")

    def show_history(self, title: str, *, task: str | None = None, station: tuple[str, str] | None = None) -> None:
        """The records of a task or a station, to be corrected there."""
        from rounds.ui.screens.history import HistoryPage

        self.app.push_screen(HistoryPage(self.room, self.keeper, title, task=task, station=station))

    def action_help(self) -> None:
        from rounds.ui.screens.pages import help_page

        self.app.push_screen(help_page(self.ACTIONS))

    def action_back(self) -> None:
        self.dismiss()


def reason(error: BaseException | None) -> str:
    """Why something failed, for people."""
    return str(error) if isinstance(error, RoundsError | OSError) else f"{type(error).__name__}: {error}"
