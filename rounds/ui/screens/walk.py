"""The walk: the round in route order, a station at a time, recorded in place."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable
from functools import cached_property
from importlib import import_module
from typing import TYPE_CHECKING, ClassVar, TypeVar

from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from rounds.core.errors import RoundsError
from rounds.core.plan import OPEN_STATES, DueItem
from rounds.core.walk import Stop, counts, in_shift, missed, next_to_do, shift_at, stops, to_do
from rounds.core.words import day_name, moment, plain
from rounds.storage.room import RoomFolder
from rounds.ui import text
from rounds.ui.keymap import WALK, bindings
from rounds.ui.messages import RowPicked, StopPicked
from rounds.ui.screens.recording import RecordingScreen
from rounds.ui.screens.room_screen import WIDE, Tell
from rounds.ui.seen import SeenMissed
from rounds.ui.widgets.details import Details
from rounds.ui.widgets.room_bar import Head, RoomBar
from rounds.ui.widgets.route_panel import RoutePanel
from rounds.ui.widgets.rows import StationRows

if TYPE_CHECKING:
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
        self.stop = 0
        self.place = 0
        self.walk: list[Stop] = []
        self._items: list[DueItem] = []
        self._only_left = False
        self._only_shift = False
        self._unseen: list[DueItem] = []
        self._seen = SeenMissed(room.folder)

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
        missed_work, nothing = Static(id="missed"), Static(id="nothing")
        missed_work.display = False
        middle = Vertical(Static(id="station"), nothing, StationRows(id="rows"), id="middle")
        yield missed_work
        yield Horizontal(RoutePanel(id="route"), middle, Details(id="details"), id="body")

    def begin(self) -> None:
        self.plan()
        first = next_to_do(self.walk, 0, -1, self.shown)
        if first is not None:
            self.stop, self.place = first[0], self._row_of(*first)
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
        current, day = self.current, self.room.model.calendar.round_day(self.now)
        super().plan()
        if (today := self.room.model.calendar.round_day(self.now)) != day:
            self.say(
                f"A new round has begun: {day_name(today)}. What was left is carried over or missed as its rule says."
            )
        self._items = self.room.items(self.now)
        stop_key = self.walk[self.stop].key if self.walk else None
        self.walk = stops(self.room.model, self._items)
        keys = [stop.key for stop in self.walk]
        self.stop = keys.index(stop_key) if stop_key in keys else 0
        if current is not None:
            rows = self.rows
            same = [place for place, item in enumerate(rows) if item.task.id == current.task.id]
            exact = [place for place in same if rows[place].due_at == current.due_at]
            self.place = (exact or same or [self.place])[0]
        self.place = max(0, min(self.place, len(self.rows) - 1))

    def pass_time(self) -> None:
        """With every minute something may come due or be late."""
        self.plan()

    @property
    def rows(self) -> list[DueItem]:
        """The items of the current station that are shown."""
        return [item for item in self.walk[self.stop].items if self.shown(item)] if self.walk else []

    @property
    def current(self) -> DueItem | None:
        """The item the pointer is on; None where the station shows nothing."""
        rows = self.rows
        return rows[self.place] if 0 <= self.place < len(rows) else None

    def shown(self, item: DueItem) -> bool:
        if self._only_left and item.state not in OPEN_STATES:
            return False
        return not self._only_shift or in_shift(item, shift_at(self.room.model, self.now))

    def alerts(self) -> list[str]:
        """Before the first paint nothing is looked for that can wait."""
        return super().alerts() if self.entry_line is not None else []

    def draw(self) -> None:
        super().draw()
        model = self.room.model
        stop = self.walk[self.stop] if self.walk else None
        self.query_one("#head", RoomBar).show(self._head())
        self.query_one("#route", RoutePanel).show(model, self.walk, self.stop)
        rows = self.rows
        if stop is not None:
            self.query_one("#station", Static).update(text.stop_title(stop), layout=False)
        nothing = self.query_one("#nothing", Static)
        if nothing.display == bool(rows):
            nothing.display = not rows
        if not rows:
            filtered = self._only_left or self._only_shift
            nothing.update(Content("Nothing of what is shown is here." if filtered else "Nothing is due here today."))
        self.query_one("#rows", StationRows).show(model, rows, self.now, self.place)
        self._draw_missed()
        self._draw_details()
        if self.typing:
            self.recorder.follow()

    def _head(self) -> Head:
        model = self.room.model
        shift = shift_at(model, self.now)
        notes = [
            "only what is left" if self._only_left else "",
            "only this shift" if self._only_shift else "",
            "clock set by hand" if self.room.clock.set_by_hand else "",
        ]
        return Head(
            room=plain(model.name),
            time=self.time,
            shift=f"{plain(shift.name)} shift" if shift else "no shift",
            keeper=plain(self.keeper or "nobody"),
            counts=counts(self._items),
            notes="  ".join(note for note in notes if note),
        )

    def _draw_missed(self) -> None:
        model = self.room.model
        unseen = self._seen.unseen(self.keeper, missed(self._items))
        bar = self.query_one("#missed", Static)
        if bar.display != bool(unseen):
            bar.display = bool(unseen)
        if not unseen or unseen == self._unseen:
            return
        self._unseen = unseen
        lines = []
        room_for = 3 if self.app.size.height >= 30 else 1
        for item in unseen[:room_for]:
            assert item.due_at is not None
            place = model.stations[(item.task.system, item.task.station)]
            system = plain(model.system[item.task.system].name)
            why = f", could not: {plain(item.could_not)}" if item.could_not else ""
            due = moment(model.calendar, item.due_at, self.now)
            lines.append(f"× missed {due}: {plain(item.task.title)} ({system}, {plain(place.name)}){why}")
        more = f"and {len(unseen) - room_for} more   " if len(unseen) > room_for else ""
        bar.update(Content.assemble("\n".join(lines), "\n", more, ("m", "bold $text-accent"), " seen"))

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

    def go(self, stop: int, place: int) -> None:
        moved = stop != self.stop
        self.stop = stop % len(self.walk) if self.walk else 0
        self.place = max(0, min(place, len(self.rows) - 1))
        if not moved:
            self.query_one("#rows", StationRows).mark(self.place)
            self._draw_details()
            return
        self.draw()
        warning = (
            [] if not self.walk else self._hygiene.crossing(self.room, self.keeper, self.walk[self.stop], self.now)
        )
        if warning:
            from rounds.ui.screens.ask import Notice

            self.app.push_screen(Notice("Back to a cleaner zone", warning))

    def action_cursor_down(self) -> None:
        if self.place + 1 < len(self.rows):
            self.go(self.stop, self.place + 1)
        else:
            self._step(1)

    def action_cursor_up(self) -> None:
        if self.place > 0:
            self.go(self.stop, self.place - 1)
        else:
            self._step(-1, last=True)

    def action_next_station(self) -> None:
        self._step(1)

    def action_previous_station(self) -> None:
        self._step(-1)

    def _step(self, direction: int, *, last: bool = False) -> None:
        """To the next station that shows something; stations with nothing are passed by."""
        index = self.stop + direction
        while 0 <= index < len(self.walk):
            rows = [item for item in self.walk[index].items if self.shown(item)]
            if rows:
                self.go(index, len(rows) - 1 if last else 0)
                return
            index += direction
        self.say(
            "This is the last station of the route." if direction > 0 else "This is the first station of the route."
        )

    def next_to_do(self, after: DueItem | None = None) -> tuple[int, int] | None:
        """Stop and row of the next thing to do from here, or from an item that was here before the last record.

        None: nothing is left to do now.
        """
        here = self.walk[self.stop].items if self.walk else ()
        item = after or self.current
        same = [place for place, each in enumerate(here) if item is not None and each.task.id == item.task.id]
        exact = [place for place in same if item is not None and here[place].due_at == item.due_at]
        found = next_to_do(self.walk, self.stop, (exact or same or [-1])[0], self.shown)
        return (found[0], self._row_of(*found)) if found is not None else None

    def _row_of(self, stop: int, item: DueItem) -> int:
        """The row of an item among those that are shown at its stop."""
        rows = [each for each in self.walk[stop].items if self.shown(each)]
        return rows.index(item) if item in rows else 0

    def action_next_to_do(self) -> None:
        there = self.next_to_do()
        if there is None and (item := self.current) is not None and to_do(item):
            self.say("This is the last thing to do now.")
        elif there is None:
            self.say("Nothing is left to do now." if not self._only_shift else "Nothing is left of this shift now.")
        else:
            self.go(*there)

    def on_row_picked(self, event: RowPicked) -> None:
        if self.typing:
            return
        if event.place == self.place:
            self.action_do()
        else:
            self.go(self.stop, event.place)

    def on_stop_picked(self, event: StopPicked) -> None:
        if self.typing:
            return
        self.remove_class("show-route")
        self.set_focus(self.query_one("#rows"))
        self.go(event.index, 0)

    def action_go_to(self) -> None:
        choices = []
        for index, stop in enumerate(self.walk):
            left = f"{stop.left} left" if stop.left else ""
            late = f", {stop.late} late" if stop.late else ""
            choices.append((f"{text.stop_title(stop).plain}  {left}{late}", (index, 0)))
        self._choose("Go to a station", choices, self._gone)

    def action_find(self) -> None:
        choices = [
            (f"{plain(item.task.title)}  ({text.stop_title(stop).plain})", (index, place))
            for index, stop in enumerate(self.walk)
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
            self._only_left = self._only_shift = False  # what was looked for has to be seen
        self._gone(chosen)

    def _gone(self, chosen: tuple[int, int] | None) -> None:
        if chosen is not None:
            self.go(*chosen)
            self.draw()

    # -- showing -----------------------------------------------------------------------------------------

    def action_only_left(self) -> None:
        self._filter(only_left=not self._only_left, only_shift=self._only_shift)

    def action_only_shift(self) -> None:
        self._filter(only_left=self._only_left, only_shift=not self._only_shift)

    def _filter(self, *, only_left: bool, only_shift: bool) -> None:
        """Show less or more, and stay on the same item, else go to what is next to do."""
        current = self.current
        self._only_left, self._only_shift = only_left, only_shift
        if current is not None and self.shown(current):
            self.place = self._row_of(self.stop, current)
        elif (there := self.next_to_do(current)) is not None:
            self.stop, self.place = there
        self.place = max(0, min(self.place, len(self.rows) - 1))
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
        if self.walk:
            stop = self.walk[self.stop]
            self.show_history(text.stop_title(stop).plain, station=stop.key)

    def action_readings(self) -> None:
        from rounds.ui.screens.readings import Readings

        takes = self.current.task.takes if self.current is not None else ()
        self.app.push_screen(Readings(self.room, self.keeper, next(iter(takes), None)))

    def action_levels(self) -> None:
        from rounds.ui.screens.levels import Levels

        self.app.push_screen(Levels(self.room, self.keeper))

    def action_seen(self) -> None:
        self._seen.mark(self.keeper, missed(self._items), self.now)
        self._draw_missed()

    def action_faults(self) -> None:
        from rounds.ui.screens.pages import faults_page

        lines = [str(fault) for fault in self.room.faults.faults] if self.room.faults else []
        lines += [str(problem) for problem in self.room.problems]
        self.app.push_screen(faults_page(self.room.folder, lines, open_room=True))

    def action_keeper(self) -> None:
        keepers = [(f"{k.initials}  {plain(k.name)}", k.initials) for k in self.room.model.keepers]
        free = "" if keepers else "your initials"
        self._choose("Who keeps the room now?", keepers, self._keeper_chosen, free)

    def _keeper_chosen(self, initials: str | None) -> None:
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
        self.app.exit(return_code=0)

    # -- recording: see `rounds.ui.recorder` ---------------------------------------------------------

    def action_do(self) -> None:
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
