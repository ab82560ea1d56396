"""The walk: the round in route order, a station at a time, recorded in place."""

from __future__ import annotations

from datetime import datetime
from typing import ClassVar

import msgspec
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from rounds.core import recording
from rounds.core.errors import RoundsError
from rounds.core.moments import parse_past, parse_until
from rounds.core.plan import OPEN_STATES, DueItem
from rounds.core.record import CONCERN, COULD_NOT, NOT_NEEDED, POSTPONED, Record
from rounds.core.recording import Draft
from rounds.core.walk import Stop, counts, in_shift, missed, next_to_do, shift_at, stops
from rounds.core.words import clock, day_name, moment, plain, plural
from rounds.report.history import record_line, records_about, title_of
from rounds.storage.faults import RoomFaults
from rounds.storage.room import RoomFolder
from rounds.ui import text as shown
from rounds.ui.hygiene import HygieneWatch
from rounds.ui.keymap import WALK, bindings
from rounds.ui.messages import LineChanged, LineEntered, LineLeft, RowPicked, StopPicked
from rounds.ui.screens.ask import Choice, Notice, Question
from rounds.ui.screens.pages import faults_page, help_page, history_page
from rounds.ui.seen import SeenMissed
from rounds.ui.widgets.entry_line import EntryLine
from rounds.ui.widgets.room_bar import FootBar, Head, RoomBar
from rounds.ui.widgets.route_panel import RoutePanel
from rounds.ui.widgets.rows import StationRows

LOOK_EVERY = 1.0
"""Seconds between looks at the clock, the sheets and the room's files."""

HISTORY_LINES = 300

_WHILE_TYPING = frozenset(("help", "faults"))
"""Actions that stay while something is typed; the letters belong to the line."""


class Asked(msgspec.Struct, kw_only=True):
    """What the entry line is open for."""

    kind: str
    """``do``, ``note``, ``concern``, ``when``, ``who``, or a record kind that asks for a reason or a time."""
    item: DueItem
    at: datetime | None = None
    """When it was done; None: now."""
    by: str | None = None
    """Who did it; None: the keeper of this device."""


class Walk(Screen[None]):
    """Where a keeper lives: from the first station to the last."""

    BINDINGS: ClassVar[list[BindingType]] = [*bindings(WALK)]
    AUTO_FOCUS = "#rows"

    def __init__(self, room: RoomFolder, keeper: str | None) -> None:
        super().__init__()
        self.room = room
        self.keeper = keeper
        self.now = room.now()
        self._stop = 0
        self._place = 0
        self._walk: list[Stop] = []
        self._items: list[DueItem] = []
        self._only_left = False
        self._only_shift = False
        self._asked: Asked | None = None
        self._kept: dict[tuple[str, str], str] = {}
        self._unsaved: tuple[Draft, Record] | None = None
        self._faults: RoomFaults | None = None
        self._hygiene = HygieneWatch()
        self._seen = SeenMissed(room.folder)

    # -- what is shown -------------------------------------------------------------------------------

    def compose(self) -> ComposeResult:
        yield RoomBar(id="head")
        yield FootBar(id="foot")
        yield Static(id="said")
        yield Static(id="missed")
        with Horizontal(id="body"):
            yield RoutePanel(id="route")
            with Vertical(id="middle"):
                yield Static(id="station")
                yield Static(id="nothing")
                yield StationRows(id="rows")
            with VerticalScroll(id="details", can_focus=False):
                yield Static(id="details-text")

    def on_mount(self) -> None:
        self.query_one("#said").display = False
        self._plan()
        first = next_to_do(self._walk, 0, -1, self._shown)
        if first is not None:
            self._stop, self._place = first
        self._draw()
        self.set_interval(LOOK_EVERY, self._look)
        if self.keeper is None:
            self.call_after_refresh(self.action_keeper)

    def on_resize(self) -> None:
        self._draw_details()

    def _plan(self) -> None:
        """Work out the round anew, and stay on the same item."""
        current = self.current
        self.now = self.room.now()
        self._items = self.room.items(self.now)
        stop_key = self._walk[self._stop].key if self._walk else None
        self._walk = stops(self.room.model, self._items)
        keys = [stop.key for stop in self._walk]
        self._stop = keys.index(stop_key) if stop_key in keys else 0
        if current is not None:
            rows = self.rows
            same = [place for place, item in enumerate(rows) if item.task.id == current.task.id]
            exact = [place for place in same if rows[place].due_at == current.due_at]
            self._place = (exact or same or [self._place])[0]
        self._place = max(0, min(self._place, len(self.rows) - 1))

    @property
    def rows(self) -> list[DueItem]:
        """The items of the current station that are shown."""
        return [item for item in self._walk[self._stop].items if self._shown(item)] if self._walk else []

    @property
    def current(self) -> DueItem | None:
        """The item the pointer is on; None where the station shows nothing."""
        rows = self.rows
        return rows[self._place] if 0 <= self._place < len(rows) else None

    def _shown(self, item: DueItem) -> bool:
        if self._only_left and item.state not in OPEN_STATES:
            return False
        return not self._only_shift or in_shift(item, shift_at(self.room.model, self.now))

    def _draw(self) -> None:
        model = self.room.model
        stop = self._walk[self._stop] if self._walk else None
        self.query_one("#head", RoomBar).show(self._head())
        self.query_one("#route", RoutePanel).show(model, self._walk, self._stop)
        rows = self.rows
        if stop is not None:
            self.query_one("#station", Static).update(shown.stop_title(stop))
        nothing = self.query_one("#nothing", Static)
        nothing.display = not rows
        if not rows:
            filtered = self._only_left or self._only_shift
            nothing.update(Content("Nothing of what is shown is here." if filtered else "Nothing is due here today."))
        self.query_one("#rows", StationRows).show(model, rows, self.now, self._place)
        self._draw_missed()
        self._draw_details()

    def _head(self) -> Head:
        model = self.room.model
        shift = shift_at(model, self.now)
        notes = [
            "only what is left" if self._only_left else "",
            "only this shift" if self._only_shift else "",
            f"{plural(len(self._faults.faults), 'fault')} in room files, last good version in use: F2"
            if self._faults
            else "",
            f"{plural(len(self.room.problems), 'problem')} in sheets: F2" if self.room.problems else "",
            "clock set by hand" if self.room.clock.set_by_hand else "",
        ]
        local = model.calendar.local(self.now)
        return Head(
            room=plain(model.name),
            time=f"{day_name(local.date())} {clock(model.calendar, self.now)}",
            shift=f"{plain(shift.name)} shift" if shift else "no shift",
            keeper=plain(self.keeper or "nobody"),
            counts=counts(self._items),
            notes="  ".join(note for note in notes if note),
        )

    def _draw_missed(self) -> None:
        model = self.room.model
        unseen = self._seen.unseen(self.keeper, missed(self._items))
        bar = self.query_one("#missed", Static)
        bar.display = bool(unseen)
        if not unseen:
            return
        lines = []
        for item in unseen[:3]:
            assert item.due_at is not None
            place = model.stations[(item.task.system, item.task.station)]
            system = plain(model.system[item.task.system].name)
            why = f", could not: {plain(item.could_not)}" if item.could_not else ""
            due = moment(model.calendar, item.due_at, self.now)
            lines.append(f"× missed {due}: {plain(item.task.title)} ({system}, {plain(place.name)}){why}")
        if len(unseen) > 3:
            lines.append(f"and {len(unseen) - 3} more")
        bar.update(Content.assemble("\n".join(lines), "\n", ("m", "bold $text-accent"), " seen"))

    def _draw_details(self) -> None:
        item = self.current
        short = self.app.size.width < 110 and not self.has_class("show-details")
        text = (
            shown.details(self.room.model, self.room.history, item, self.now, short=short)
            if item is not None
            else Content("")
        )
        self.query_one("#details-text", Static).update(text)
        self.query_one("#details", VerticalScroll).scroll_home(animate=False)

    def say(self, text: str) -> None:
        """Say what happened, above the foot, until something else is said."""
        said = self.query_one("#said", Static)
        said.display = bool(text)
        said.update(Content(plain(text)))

    # -- time and other processes ------------------------------------------------------------------------

    def _look(self) -> None:
        """Take in what the clock and other processes have changed; the clock is read, never counted."""
        day, minute = self.room.model.calendar.round_day(self.now), self.now.replace(second=0)
        now = self.room.now()
        found = self.room.refresh_files()
        if isinstance(found, RoomFaults):
            self._faults = found
        elif found:
            self._faults = None
            self.say("The room's files have changed and are taken up.")
        changed = self.room.refresh_sheets()
        if found is False and not changed and now.replace(second=0) == minute:
            return
        self._plan()
        if (today := self.room.model.calendar.round_day(self.now)) != day:
            self.say(
                f"A new round has begun: {day_name(today)}. What was left is carried over or missed as its rule says."
            )
        self._draw()

    # -- moving -----------------------------------------------------------------------------------------

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        typing = self._asked is not None
        return not typing or action in _WHILE_TYPING or all(each.name != action for each in WALK)

    def _go(self, stop: int, place: int) -> None:
        moved = stop != self._stop
        self._stop = stop % len(self._walk) if self._walk else 0
        self._place = max(0, min(place, len(self.rows) - 1))
        if not moved:
            self.query_one("#rows", StationRows).mark(self._place)
            self._draw_details()
            return
        self._draw()
        warning = self._hygiene.crossing(self.room, self.keeper, self._walk[self._stop], self.now)
        if warning:
            self.app.push_screen(Notice("Back to a cleaner zone", warning))

    def action_cursor_down(self) -> None:
        if self._place + 1 < len(self.rows):
            self._go(self._stop, self._place + 1)
        else:
            self._step(1)

    def action_cursor_up(self) -> None:
        if self._place > 0:
            self._go(self._stop, self._place - 1)
        else:
            self._step(-1, last=True)

    def action_next_station(self) -> None:
        self._step(1)

    def action_previous_station(self) -> None:
        self._step(-1)

    def _step(self, direction: int, *, last: bool = False) -> None:
        """To the next station that shows something; stations with nothing are passed by."""
        index = self._stop + direction
        while 0 <= index < len(self._walk):
            rows = [item for item in self._walk[index].items if self._shown(item)]
            if rows:
                self._go(index, len(rows) - 1 if last else 0)
                return
            index += direction
        self.say(
            "This is the last station of the route." if direction > 0 else "This is the first station of the route."
        )

    def action_next_to_do(self) -> None:
        there = next_to_do(self._walk, self._stop, self._place, self._shown)
        if there is None:
            self.say("Nothing is left to do now." if not self._only_shift else "Nothing is left of this shift now.")
        else:
            self._go(*there)

    def on_row_picked(self, event: RowPicked) -> None:
        if self._asked is not None:
            return
        if event.place == self._place:
            self.action_do()
        else:
            self._go(self._stop, event.place)

    def on_stop_picked(self, event: StopPicked) -> None:
        self.remove_class("show-route")
        self.query_one("#rows").focus()
        self._go(event.index, 0)

    def action_go_to(self) -> None:
        choices = []
        for index, stop in enumerate(self._walk):
            left = f"{stop.left} left" if stop.left else ""
            late = f", {stop.late} late" if stop.late else ""
            choices.append((f"{shown.stop_title(stop).plain}  {left}{late}", (index, 0)))
        self.app.push_screen(Choice("Go to a station", choices), self._gone)

    def action_find(self) -> None:
        choices = [
            (f"{plain(item.task.title)}  ({shown.stop_title(stop).plain})", (index, stop.items.index(item)))
            for index, stop in enumerate(self._walk)
            for item in stop.items
        ]
        self._only_left = self._only_shift = False
        self.app.push_screen(Choice("Find a task of this round", choices), self._gone)

    def _gone(self, chosen: tuple[int, int] | None) -> None:
        if chosen is not None:
            self._go(*chosen)
            self._draw()

    # -- showing -----------------------------------------------------------------------------------------

    def action_only_left(self) -> None:
        self._only_left = not self._only_left
        self._filtered()

    def action_only_shift(self) -> None:
        self._only_shift = not self._only_shift
        self._filtered()

    def _filtered(self) -> None:
        self._place = max(0, min(self._place, len(self.rows) - 1))
        if not self.rows and (there := next_to_do(self._walk, self._stop, -1, self._shown)) is not None:
            self._stop, self._place = there
        self._draw()

    def action_route(self) -> None:
        if self.app.size.width >= 110:
            self.toggle_class("hide-route")
        elif self.has_class("show-route"):
            self.remove_class("show-route")
            self.query_one("#rows").focus()
        else:
            self.add_class("show-route")
            self.query_one("#route").focus()

    def action_details(self) -> None:
        self.toggle_class("hide-details" if self.app.size.width >= 110 else "show-details")
        self._draw_details()

    def action_history(self) -> None:
        if (item := self.current) is not None:
            self._show_history(item.task.title, records_about(self.room.history, task=item.task.id))

    def action_station_history(self) -> None:
        stop = self._walk[self._stop]
        self._show_history(shown.stop_title(stop).plain, records_about(self.room.history, station=stop.key))

    def _show_history(self, title: str, records: list[Record]) -> None:
        model, history = self.room.model, self.room.history
        lines = [
            (f"{moment(model.calendar, record.at, self.now)}  {record_line(model, history, record)}",
             history.strike_of(record.id) is not None)
            for record in reversed(records[-HISTORY_LINES:])
        ]  # fmt: skip
        self.app.push_screen(history_page(title, lines))

    def action_seen(self) -> None:
        self._seen.mark(self.keeper, missed(self._items), self.now)
        self._draw_missed()

    def action_help(self) -> None:
        self.app.push_screen(help_page())

    def action_faults(self) -> None:
        lines = [str(fault) for fault in self._faults.faults] if self._faults else []
        lines += [str(problem) for problem in self.room.problems]
        self.app.push_screen(faults_page(self.room.folder, lines, open_room=True))

    def action_keeper(self) -> None:
        keepers = [(f"{k.initials}  {plain(k.name)}", k.initials) for k in self.room.model.keepers]
        free = "" if keepers else "your initials"
        self.app.push_screen(Choice("Who keeps the room now?", keepers, free=free), self._keeper_chosen)

    def _keeper_chosen(self, initials: str | None) -> None:
        if initials is None:
            return
        try:
            self.keeper = self.room.keeper(initials)
            self.room.remember_keeper(self.keeper)
            self.say(f"{self.keeper} keeps the room from here.")
        except RoundsError as refused:
            self.say(str(refused))
        self._draw()

    def action_leave(self) -> None:
        self.app.exit(return_code=0)

    # -- recording ---------------------------------------------------------------------------------------

    def action_do(self) -> None:
        item = self.current
        if item is None or not self._somebody():
            return
        if item.task.takes:
            self._ask(Asked(kind="do", item=item))
        else:
            self._write(Asked(kind="do", item=item), "")

    def action_do_with_note(self) -> None:
        self._ask_for("do")

    def action_not_needed(self) -> None:
        self._ask_for(NOT_NEEDED)

    def action_could_not(self) -> None:
        self._ask_for(COULD_NOT)

    def action_postpone(self) -> None:
        self._ask_for(POSTPONED)

    def action_note(self) -> None:
        self._ask_for("note")

    def action_earlier(self) -> None:
        self._ask_for("when")

    def _ask_for(self, kind: str) -> None:
        item = self.current
        if item is not None and self._somebody():
            self._ask(Asked(kind=kind, item=item))

    def _somebody(self) -> bool:
        if self.keeper is None:
            self.action_keeper()
        return self.keeper is not None

    def _ask(self, asked: Asked, text: str | None = None) -> None:
        """Open the entry line under the current row."""
        self._asked = asked
        row = self.query_one("#rows", StationRows).current_row
        lines = self.query(EntryLine)
        if lines:
            line = lines.first()
        else:
            line = EntryLine()
            self.query_one("#rows", StationRows).mount(line)
        prompt, choices, hint = self._question(asked)
        kept = self._kept.get((asked.item.task.id, asked.kind), "")

        def open_line() -> None:
            if row is not None and row.is_attached:
                self.query_one("#rows", StationRows).move_child(line, after=row)
            line.open(prompt, text=kept if text is None else text, choices=choices, hint=hint)

        if lines:
            open_line()
        else:
            self.call_after_refresh(open_line)

    def _question(self, asked: Asked) -> tuple[str, list[str], str]:
        """Prompt, choices and hint of the entry line."""
        task, model = asked.item.task, self.room.model
        readings = [model.readings[id] for id in task.takes]
        if asked.kind == "do":
            wanted = ", ".join(
                f"{plain(r.name)} ({r.unit})" if r.unit not in ("", "pH") else plain(r.name) for r in readings
            )
            late = f" at {moment(model.calendar, asked.at, self.now)}" if asked.at else ""
            by = f" by {asked.by}" if asked.by else ""
            hint = "; ".join(shown.reading_text(model, self.room.history, reading, self.now) for reading in readings)
            return (f"{wanted}, then a note" if wanted else "Note") + late + by + ":", [], hint
        if asked.kind == "note":
            return "Observation at this station:", [], ""
        if asked.kind == CONCERN:
            return "Concern, to be watched until closed:", [], ""
        if asked.kind == "when":
            return "When was it done?", ["30 minutes ago", "1 hour ago", "yesterday 18:00"], "07:40, 2026-11-25T07:40"
        if asked.kind == "who":
            others = [k.initials for k in model.keepers if k.initials != self.keeper]
            return f"Who did it? (empty: {plain(self.keeper or '')})", others, ""
        if asked.kind == POSTPONED:
            return "Postpone until when?", ["2 hours", "tomorrow", *self._shift_choices()], ""
        what = "is it not needed" if asked.kind == NOT_NEEDED else "could it not be done"
        return f"Why {what}?", self._recent_reasons(asked.kind, task.id), ""

    def _shift_choices(self) -> list[str]:
        calendar, day = self.room.model.calendar, self.room.model.calendar.round_day(self.now)
        begins = [shift.begins for shift in self.room.model.shifts if calendar.wall(day, shift.begins) > self.now]
        return [f"{time.hour:02}:{time.minute:02}" for time in begins]

    def _recent_reasons(self, kind: str, task: str) -> list[str]:
        """Reasons given lately, those of this task first."""
        given = [r for r in self.room.history if r.kind == kind and r.reason]
        given.sort(key=lambda record: (record.task == task, record.at), reverse=True)
        return list(dict.fromkeys(plain(record.reason) for record in given))[:8]

    def on_line_changed(self, event: LineChanged) -> None:
        asked = self._asked
        if asked is None or asked.kind != "do" or not event.text.strip():
            return
        try:
            draft = recording.draft_closing(self.room.model, self.room.history, asked.item.task, event.text, self.now)
        except RoundsError:
            return
        said = [standing.sentence for standing in draft.standings] + list(draft.questions)
        values = ", ".join(f"{value.entered}" for value in draft.values)
        note = f"note: {draft.note}" if draft.note else ""
        self.query_one(EntryLine).say("  ".join(part for part in (values, note, *said) if part))

    def on_line_left(self, event: LineLeft) -> None:
        if self._asked is not None:
            self._kept[(self._asked.item.task.id, self._asked.kind)] = event.text
        self._close_line()

    def _close_line(self) -> None:
        self._asked = None
        for line in self.query(EntryLine):
            line.close()
        self.query_one("#rows").focus()

    def on_line_entered(self, event: LineEntered) -> None:
        asked = self._asked
        if asked is None:
            return
        try:
            if asked.kind == "when":
                asked.at = parse_past(event.text, self.room.model.calendar, self.now)
                asked.kind = "who"
                self._ask(asked, "")
                return
            if asked.kind == "who":
                asked.by = self.room.keeper(event.text.strip()) if event.text.strip() else None
                asked.kind = "do"
                self._ask(asked)
                return
        except RoundsError as refused:
            self._refuse(refused)
            return
        self._write(asked, event.text)

    def _write(self, asked: Asked, text: str) -> None:
        """From what was typed to a draft; asks what has to be asked, then records."""
        self.now = self.room.now()
        try:
            draft = self._draft(asked, text, asked.at or self.now)
        except RoundsError as refused:
            self._refuse(refused)
            return

        def answered(sure: bool | None) -> None:
            if sure:
                self._save(asked, draft)

        if draft.questions:
            yes, no = "yes, record it", "no, go back"
            self.app.push_screen(Question(plain(asked.item.task.title), list(draft.questions), yes, no), answered)
        else:
            self._save(asked, draft)

    def _draft(self, asked: Asked, text: str, at: datetime) -> Draft:
        model, history, task = self.room.model, self.room.history, asked.item.task
        if asked.kind == NOT_NEEDED:
            return recording.draft_not_needed(model, history, task, text, at)
        if asked.kind == COULD_NOT:
            return recording.draft_could_not(task, text, at)
        if asked.kind == POSTPONED:
            return recording.draft_postponed(model, task, parse_until(text, model.calendar, self.now, at), at)
        if asked.kind in ("note", CONCERN):
            return recording.draft_note(asked.kind, task, text, at)
        return recording.draft_closing(model, history, task, text, at, seawater=self.room.seawater)

    def _save(self, asked: Asked, draft: Draft) -> None:
        """Record it; when the disk refuses, what was typed stays and a second try writes the same record."""
        by = asked.by or self.keeper or ""
        again = self._unsaved
        if again is not None and msgspec.structs.replace(again[0], at=draft.at) == draft and again[1].by == by:
            record = again[1]
        else:
            record = self.room.prepare(draft, by)
        try:
            self.room.save(record)
        except RoundsError as refused:
            self._unsaved = (draft, record)
            self._refuse(refused)
            return
        self._unsaved = None
        self._kept.pop((asked.item.task.id, asked.kind), None)
        if self._asked is not None:
            self._close_line()
        self._recorded(asked, draft, record)

    def _recorded(self, asked: Asked, draft: Draft, record: Record) -> None:
        """Show what came of it, and go on to the next thing to do."""
        self._plan()
        line = record_line(self.room.model, self.room.history, record)
        self.say(f"{clock(self.room.model.calendar, record.at)} {line}")
        moves = record.kind not in ("note", CONCERN)
        there = next_to_do(self._walk, self._stop, self._place, self._shown) if moves else None
        if draft.standings:
            self._draw()
            self._offer_concern(asked, draft, there)
        elif there is not None:
            stop, place = there
            if stop == self._stop:
                self._place = place
                self._draw()
            else:
                self._go(stop, place)
        else:
            self._draw()
            if moves:
                self.say(f"{line}. Nothing is left to do now.")

    def _offer_concern(self, asked: Asked, draft: Draft, there: tuple[int, int] | None) -> None:
        """Out of band: band, last values, the steps of an act-now limit, and a concern."""
        model, history = self.room.model, self.room.history
        lines = []
        for standing in draft.standings:
            lines.append(f"{standing.sentence}.")
        for value in draft.values:
            reading = model.readings[value.reading]
            lines.append(f"{plain(reading.name).capitalize()}: {shown.reading_text(model, history, reading, self.now)}")
            if any(standing.act for standing in draft.standings):
                lines += [f"• {plain(step)}" for step in reading.act_steps]
        act = any(standing.act for standing in draft.standings)
        text = "; ".join(standing.sentence for standing in draft.standings)

        def left(answer: str | None) -> None:
            if answer == "concern":
                self._ask(Asked(kind=CONCERN, item=asked.item), text)
            elif there is not None:
                self._go(*there)

        self.app.push_screen(Notice("Act now" if act else "Outside its band", lines, "open a concern"), left)

    def _refuse(self, refused: RoundsError) -> None:
        if self._asked is not None:
            self.query_one(EntryLine).say(plain(str(refused)), wrong=True)
        else:
            self.say(str(refused))

    def action_undo(self) -> None:
        last = self.room.last_of_device(self.now)
        if last is None or not self._somebody():
            self.say("Nothing of this round was recorded on this device.")
            return
        assert self.keeper is not None
        try:
            self.room.strike(last.id, "undone", self.keeper)
        except RoundsError as refused:
            self.say(str(refused))
            return
        self._plan()
        keys = [stop.key for stop in self._walk]
        place = (last.system or "", last.station or "")
        if place in keys:
            self._stop = keys.index(place)
            rows = self.rows
            self._place = next((i for i, item in enumerate(rows) if item.task.id == last.task), 0)
        self._draw()
        when = clock(self.room.model.calendar, last.at)
        self.say(f"Undone: {title_of(self.room.model, last)}, {last.kind}, {when} by {last.by}.")
