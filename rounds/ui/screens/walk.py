"""The walk: the round in route order, a station at a time, recorded in place."""

from __future__ import annotations

import gc
from collections.abc import Awaitable, Callable, Iterable
from functools import cached_property, partial
from importlib import import_module
from typing import TYPE_CHECKING, ClassVar, TypeVar

from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from rounds.core.errors import RoundsError
from rounds.core.items import DueItem
from rounds.core.model import ROOM
from rounds.core.off_normal import OffNormal
from rounds.core.walk import Stop, counts, missed, shift_at, to_do
from rounds.core.why import state_text
from rounds.core.words import day_name, plain
from rounds.storage.room import RoomFolder
from rounds.ui import text
from rounds.ui.keymap import WALK, bindings
from rounds.ui.messages import RowPicked, StopPicked
from rounds.ui.position import Position
from rounds.ui.screens.recording import RecordingScreen
from rounds.ui.screens.room_screen import WIDE, RoomScreen, Tell
from rounds.ui.seen import SeenMissed
from rounds.ui.widgets.details import Details
from rounds.ui.widgets.missed_bar import MissedBar
from rounds.ui.widgets.room_bar import Head, RoomBar
from rounds.ui.widgets.route_panel import RoutePanel
from rounds.ui.widgets.rows import StationRows

if TYPE_CHECKING:
    from rounds.ui.answering import Started
    from rounds.ui.hygiene import HygieneWatch
    from rounds.ui.recorder import WalkRecorder

AFTER_FIRST_PAINT = 0.1
"""Seconds; Textual paints on a timer of its own, soon after the first layout."""

T = TypeVar("T")


def _warm_up(tell: Tell) -> None:
    """Load what the first record and the refills to come need, while the keeper looks for the first thing to do."""
    for name in ("rounds.ui.recorder", "rounds.water.refills", "filelock", "tinydb.storages", "uuid6"):
        import_module(name)
    tell(None)


class Walk(RecordingScreen):
    """Where a keeper lives: from the first station to the last."""

    ACTIONS = WALK
    WHILE_TYPING = frozenset(("help", "faults"))
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(WALK)]
    AUTO_FOCUS = "#rows"

    recorder: WalkRecorder

    def __init__(self, room: RoomFolder, keeper: str | None, columns: int = 80) -> None:
        """`columns`: the width of the terminal, so that the first layout is right."""
        super().__init__(room, keeper, classes="-wide" if columns >= WIDE else "-narrow")
        self.position = Position()
        self._seen = SeenMissed(room.folder)
        self._answering: Started = {}

    def make_recorder(self) -> WalkRecorder:
        from rounds.ui.recorder import WalkRecorder

        return WalkRecorder(self)

    @cached_property
    def _hygiene(self) -> HygieneWatch:
        from rounds.ui.hygiene import HygieneWatch

        return HygieneWatch()

    # -- what is shown -------------------------------------------------------------------------------

    def head(self) -> Widget:
        return RoomBar(id="head")

    def body(self) -> Iterable[Widget]:
        middle = Vertical(Static(id="station"), Static(id="nothing"), StationRows(id="rows"), id="middle")
        yield MissedBar(id="missed")
        yield Horizontal(RoutePanel(id="route"), middle, Details(id="details"), id="body")

    def begin(self) -> None:
        self.plan()
        if (first := self.position.first_to_do()) is not None:
            self.position.put(*first)
        self.draw()
        self.set_timer(AFTER_FIRST_PAINT, self._after_first_paint)
        if self.keeper is None:
            self.call_after_refresh(self.action_keeper)

    async def _after_first_paint(self) -> None:
        """What can wait: collecting garbage, and the line that keys will be typed into."""
        from rounds.ui.widgets.entry_line import EntryLine

        gc.freeze()  # what is there now stays: it need not be looked through again
        gc.enable()
        line = EntryLine()
        await self.query_one("#rows", StationRows).mount(line)
        self.entry_line = line
        self.work_out("warm up", _warm_up, self._warm, "What recording needs cannot be loaded")
        self.draw()
        self._look()

    def _warm(self, _: object) -> None:
        """What foresees the refills is loaded: take it into the round."""
        self.room.foresees = True
        self.plan()
        self.draw()

    def on_resize(self) -> None:
        if self.fold():
            self._draw_details()

    def plan(self) -> None:
        """Work out the round anew, and stay on the same item; a new round day is said."""
        day = self.room.model.calendar.round_day(self.now)
        super().plan()
        if (today := self.room.model.calendar.round_day(self.now)) != day:
            self.say(
                f"A new round has begun: {day_name(today)}. What was left is carried over or missed as its rule says."
            )
        self.position.take(self.room.model, self.room.items(self.now), self.now)

    def pass_time(self) -> None:
        """With every minute something may come due or be late."""
        self.plan()

    @property
    def current(self) -> DueItem | None:
        return self.position.current

    def alerts(self) -> list[str]:
        """Before the first paint nothing is looked for that can wait."""
        return super().alerts() if self.entry_line is not None else []

    def off_normal(self) -> list[OffNormal]:
        return super().off_normal() if self.entry_line is not None else []

    def draw(self) -> None:
        super().draw()
        model = self.room.model
        here = self.position
        self.query_one("#head", RoomBar).show(self._head())
        self.query_one("#route", RoutePanel).show(model, here.stops, here.stop)
        rows = here.rows
        if here.stops:
            self._name_station(here.stops[here.stop])
        nothing = self.query_one("#nothing", Static)
        if nothing.display == bool(rows):
            nothing.display = not rows
        if not rows:
            filtered = here.only_left or here.only_shift
            nothing.update(Content("Nothing of what is shown is here." if filtered else "Nothing is due here today."))
        self.query_one("#rows", StationRows).show(model, rows, self.now, here.row)
        self._draw_missed()
        self._draw_details()
        if self.typing:
            self.recorder.follow()

    def _name_station(self, stop: Stop) -> None:
        title, apart = self.query_one("#station", Static), self._apart(stop)
        title.set_class(bool(apart), "-apart")
        title.update(text.stop_title(stop, apart), layout=False)

    def _apart(self, stop: Stop) -> str:
        """What is said at a station whose tank is valved off from its system."""
        if not stop.system.tanks:
            return ""
        from rounds.report.waters import apart_since

        room, now = self.room, self.now
        return room.ask(lambda history: apart_since(room.model, history, stop.system, stop.station.id, now), now, now)

    def _head(self) -> Head:
        model = self.room.model
        shift = shift_at(model, self.now)
        notes = [
            "only what is left" if self.position.only_left else "",
            "only this shift" if self.position.only_shift else "",
            "clock set by hand" if self.room.clock.set_by_hand else "",
        ]
        return Head(
            room=plain(model.name),
            time=self.time,
            shift=f"{plain(shift.name)} shift" if shift else "no shift",
            keeper=plain(self.keeper or "nobody"),
            counts=counts(self.position.items),
            notes="  ".join(note for note in notes if note),
        )

    def _draw_missed(self) -> None:
        unseen = self._seen.unseen(self.keeper, missed(self.position.items))
        self.query_one("#missed", MissedBar).show(self.room.model, unseen, self.now)

    def _draw_details(self) -> None:
        item = self.current
        short = not self.wide and not self.has_class("show-details")
        details = (
            self.room.ask(lambda history: text.details(self.room.model, history, item, self.now, short=short))
            if item is not None
            else Content("")
        )
        self.query_one("#details", Details).show(details)

    # -- moving -----------------------------------------------------------------------------------------

    def go(self, stop: int, row: int) -> None:
        here = self.position
        moved = stop != here.stop
        here.put(stop, row)
        if not moved:
            self.query_one("#rows", StationRows).mark(here.row)
            self._draw_details()
            return
        self.draw()
        warning = self._hygiene.crossing(self.room, self.keeper, here.stops[here.stop], self.now) if here.stops else []
        if warning:
            from rounds.ui.screens.ask import Notice

            self.app.push_screen(Notice("Back to a cleaner zone", warning))

    def action_cursor_down(self) -> None:
        here = self.position
        if here.row + 1 < len(here.rows):
            self.go(here.stop, here.row + 1)
        else:
            self._step(1)

    def action_cursor_up(self) -> None:
        here = self.position
        if here.row > 0:
            self.go(here.stop, here.row - 1)
        else:
            self._step(-1, last=True)

    def action_next_station(self) -> None:
        self._step(1)

    def action_previous_station(self) -> None:
        self._step(-1)

    def _step(self, direction: int, *, last: bool = False) -> None:
        """To the next station that shows something; stations with nothing are passed by."""
        if (there := self.position.beyond(direction, last=last)) is not None:
            self.go(*there)
        else:
            self.say(f"This is the {'last' if direction > 0 else 'first'} station of the route.")

    def action_next_to_do(self) -> None:
        there = self.position.next_to_do()
        if there is None and (item := self.current) is not None and to_do(item):
            self.say("This is the last thing to do now.")
        elif there is None:
            self.say(
                "Nothing is left to do now." if not self.position.only_shift else "Nothing is left of this shift now."
            )
        else:
            self.go(*there)

    def on_row_picked(self, event: RowPicked) -> None:
        if self.typing:
            return
        if event.place == self.position.row:
            self.action_do()
        else:
            self.go(self.position.stop, event.place)

    def on_stop_picked(self, event: StopPicked) -> None:
        if self.typing:
            return
        self.remove_class("show-route")
        self.set_focus(self.query_one("#rows"))
        self.go(event.index, 0)

    def action_go_to(self) -> None:
        choices = []
        for index, stop in enumerate(self.position.stops):
            left = f"{stop.left} left" if stop.left else ""
            late = f", {stop.late} late" if stop.late else ""
            choices.append((f"{text.stop_title(stop).plain}  {left}{late}", (index, 0)))
        self._choose("Go to a station", choices, self._gone)

    def action_find(self) -> None:
        model = self.room.model
        choices = [
            (
                f"{plain(item.task.title)}  ({text.stop_title(stop).plain})  {state_text(model, item, self.now)}",
                (index, place),
            )
            for index, stop in enumerate(self.position.stops)
            for place, item in enumerate(stop.items)
        ]
        self._choose("Find a task of this round", choices, self._found)

    def _choose(
        self, title: str, choices: list[tuple[str, T]], then: Callable[[T | None], None], free: str = ""
    ) -> None:
        from rounds.ui.screens.ask import Choice

        self.app.push_screen(Choice(title, choices, free=free), then)

    def _found(self, chosen: tuple[int, int] | None) -> None:
        if chosen is not None:
            self.position.only_left = self.position.only_shift = False  # what was looked for has to be seen
        self._gone(chosen)

    def _gone(self, chosen: tuple[int, int] | None) -> None:
        if chosen is not None:
            self.go(*chosen)
            self.draw()

    # -- showing -----------------------------------------------------------------------------------------

    def action_only_left(self) -> None:
        self.position.show(only_left=not self.position.only_left, only_shift=self.position.only_shift)
        self.draw()

    def action_only_shift(self) -> None:
        self.position.show(only_left=self.position.only_left, only_shift=not self.position.only_shift)
        self.draw()

    def action_route(self) -> None:
        if self.wide:
            self.toggle_class("hide-route")
        elif self.has_class("show-route"):
            self.remove_class("show-route")
            self.query_one("#rows").focus()
        else:
            self.add_class("show-route")
            self.query_one("#route").focus()

    def action_details(self) -> None:
        self.toggle_class("hide-details" if self.wide else "show-details")
        self._draw_details()

    def action_history(self) -> None:
        if (item := self.current) is not None:
            self.show_history(item.task.title, task=item.task.id)

    def action_station_history(self) -> None:
        if self.position.stops:
            stop = self.position.stops[self.position.stop]
            self.show_history(text.stop_title(stop).plain, station=stop.key)

    def action_readings(self) -> None:
        from rounds.ui.screens.readings import Readings

        takes = self.current.task.takes if self.current is not None else ()
        self.app.push_screen(Readings(self.room, self.keeper, next(iter(takes), None)))

    def action_levels(self) -> None:
        from rounds.ui.screens.levels import Levels

        self.app.push_screen(Levels(self.room, self.keeper))

    @property
    def _here(self) -> tuple[str, str]:
        """Where the keeper stands."""
        stops = self.position.stops
        return stops[self.position.stop].key if stops else (ROOM, "")

    def action_concerns(self) -> None:
        from rounds.ui.screens.concerns import Concerns

        self.app.push_screen(Concerns(self.room, self.keeper, self._here))

    def action_overdue(self) -> None:
        from rounds.ui.screens.overdue import OverduePage

        self.app.push_screen(OverduePage(self.room, self.keeper))

    def stand_on(self, item: DueItem) -> None:
        """Put the pointer on an item of the round, also when it was not shown."""
        self.position.only_left = self.position.only_shift = False
        self.position.put_on((item.task.system, item.task.station), item.task.id)
        self.draw()

    def action_handover(self) -> None:
        from rounds.ui.screens.handover import HandoverPage

        self.app.push_screen(HandoverPage(self.room, self.keeper, self._answering))

    def action_review(self) -> None:
        from rounds.ui.screens.review import ReviewPage

        self.app.push_screen(ReviewPage(self.room, self.keeper))

    def action_away(self) -> None:
        from rounds.ui.screens.away import AwayPage

        self.app.push_screen(AwayPage(self.room, self.keeper))

    def action_batches(self) -> None:
        from rounds.ui.screens.batches import Batches

        self.app.push_screen(Batches(self.room, self.keeper, self._here))

    def action_cover(self) -> None:
        from rounds.ui.asking import in_turn
        from rounds.ui.covering import cover

        in_turn(self, partial(cover, self))

    def action_add_task(self) -> None:
        from rounds.ui.temporary import add_task

        self._ask_in_turn(add_task)

    def action_stock(self) -> None:
        from rounds.ui.screens.stock import StockShelf

        self.app.push_screen(StockShelf(self.room, self.keeper))

    def action_staged(self) -> None:
        from rounds.ui.screens.staged import StagedChanges

        self.app.push_screen(StagedChanges(self.room, self.keeper))

    def action_concern(self) -> None:
        from rounds.ui.following import open_concern

        self._ask_in_turn(open_concern)

    def action_off_normal(self) -> None:
        from rounds.ui.following import leave_off_normal

        self._ask_in_turn(leave_off_normal)

    def action_protocol(self) -> None:
        from rounds.ui.following import call_protocol

        self._ask_in_turn(call_protocol)

    def _ask_in_turn(self, asking: Callable[[RoomScreen, tuple[str, str]], Awaitable[None]]) -> None:
        from rounds.ui.asking import in_turn

        in_turn(self, partial(asking, self, self._here))

    def action_set_up(self) -> None:
        from rounds.ui.screens.setup import Setup

        self.app.push_screen(Setup(self.room, self.keeper, self._here))

    def action_seen(self) -> None:
        self._seen.mark(self.keeper, missed(self.position.items), self.now)
        self._draw_missed()

    def action_faults(self) -> None:
        from rounds.ui.screens.pages import faults_page

        lines = [str(fault) for fault in self.room.faults.faults] if self.room.faults else []
        lines += [str(problem) for problem in self.room.problems]
        self.app.push_screen(faults_page(self.room.folder, lines, open_room=True))

    def action_keeper(self) -> None:
        keepers = [(f"{k.initials}  {plain(k.name)}", k.initials) for k in self.room.model.keepers]
        free = "" if keepers else "your initials"
        self._choose("Who keeps the room now?", keepers, self.take_over, free)

    def take_over(self, initials: str | None) -> None:
        """Another keeper keeps the room from here; None: nobody was chosen."""
        if initials is None:
            return
        try:
            self.keeper = self.room.keeper(initials)
            self.room.remember_keeper(self.keeper)
            self.say(f"{self.keeper} keeps the room from here.")
        except RoundsError as refused:
            self.say(str(refused))
        self.draw()

    def action_leave(self) -> None:
        left = self.off_normal()
        if not left:
            self.app.exit(return_code=0)
            return
        from rounds.report.watch import alert
        from rounds.ui.screens.ask import Question

        def answered(sure: bool | None) -> None:
            if sure:
                self.app.exit(return_code=0)

        now = self.room.now()
        lines = [f"{alert(self.room.model, each, now)}." for each in left]
        self.app.push_screen(Question("Still off normal", lines, "leave all the same", "stay"), answered)

    # -- recording: see `rounds.ui.recorder` ---------------------------------------------------------

    def action_do(self) -> None:
        item = self.current
        if item is not None and item.task.source == "release" and item.closed_at is None:
            from rounds.ui.asking import in_turn
            from rounds.ui.standing import move_out

            in_turn(self, partial(move_out, self, item.task.ref or ""))
        else:
            self.recorder.do()

    def action_do_with_note(self) -> None:
        self.recorder.ask("do")

    def action_not_needed(self) -> None:
        self.recorder.ask("not needed")

    def action_could_not(self) -> None:
        self.recorder.ask("could not")

    def action_postpone(self) -> None:
        self.recorder.ask("postponed")

    def action_note(self) -> None:
        self.recorder.ask("note")

    def action_earlier(self) -> None:
        self.recorder.ask("when")

    def action_undo(self) -> None:
        self.recorder.undo()
