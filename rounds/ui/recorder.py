"""What a keeper types and records: the entry line, its questions, the record, what follows."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import msgspec

from rounds.core import recording
from rounds.core.account import record_line, title_of
from rounds.core.bands import advice, steps
from rounds.core.errors import RoundsError
from rounds.core.following import draft_done, draft_put_back, draft_turned_off
from rounds.core.history import History
from rounds.core.items import DueItem
from rounds.core.model import Reading, Task
from rounds.core.moments import parse_until, parse_when
from rounds.core.off_normal import together_with
from rounds.core.record import CONCERN, COULD_NOT, DONE, NOT_NEEDED, POSTPONED, Record
from rounds.core.recording import Draft
from rounds.core.stock_records import stock_question
from rounds.core.words import clock, moment, plain
from rounds.ui import text as text_of
from rounds.ui.screens.ask import Notice, Question
from rounds.ui.widgets.rows import StationRows

if TYPE_CHECKING:
    from rounds.ui.screens.list_screen import ListScreen
    from rounds.ui.screens.recording import RecordingScreen
    from rounds.ui.screens.walk import Walk
    from rounds.ui.widgets.entry_line import EntryLine


class Asked(msgspec.Struct, kw_only=True):
    """What the entry line is open for."""

    kind: str
    """``do``, ``note``, ``concern``, ``when``, ``who``, or a record kind that asks for a reason or a time."""
    item: DueItem
    at: datetime | None = None
    """When it was done; None: now."""
    by: str | None = None
    """Who did it; None: the keeper of this device."""


class Recorder:
    """Records in place; what was typed is never lost."""

    def __init__(self, desk: RecordingScreen) -> None:
        """`desk`: the screen on which something is recorded."""
        self.desk = desk
        self.room = desk.room
        self.asked: Asked | None = None
        self._kept: dict[tuple[str, str], str] = {}
        self._unsaved: tuple[Draft, list[Record]] | None = None
        self._clock_asked = False

    def do(self) -> None:
        """Record the current item as done, or open the line for its values; first of all turn off what it turns off."""
        item = self.desk.current
        if item is None or not self.desk.has_keeper() or self._begun(item.task):
            return
        asked = Asked(kind="do", item=item)
        if item.task.takes or item.task.source in ("look", "stock"):
            self._open(asked)
        else:
            self._write(asked, "")

    def _begun(self, task: Task) -> bool:
        """Turn off what the task turns off, where that is not off yet; a second Enter then says that it is done."""
        self.desk.now = self.room.now()
        drafts = self.room.ask(lambda history: draft_turned_off(self.room.model, history, task, self.desk.now))
        if not drafts or self.room.clock_question():
            return False
        try:
            self.room.save(*(self.room.prepare(draft, self.desk.keeper or "") for draft in drafts))
        except RoundsError as refused:
            self._refuse(refused)
            return True
        names = ", ".join(plain(self.room.model.equipment[draft.task or ""].name) for draft in drafts)
        until = clock(self.room.model.calendar, drafts[0].until or self.desk.now)
        self.desk.changed()
        self.desk.draw()
        stops = self._stops_with(drafts)
        beside = f" Stop with it: {stops}." if stops else ""
        self.desk.say(f"{names} off, put back by {until}.{beside} Enter again when it is done.")
        return True

    def _stops_with(self, drafts: Sequence[Draft]) -> str:
        """What must stop with what was turned off, and is not off yet."""
        model, off = self.room.model, {each.thing for each in self.desk.off_normal()}
        turned = (model.equipment[draft.task or ""] for draft in drafts)
        others = {each.id: each for equipment in turned for each in together_with(model, equipment)}
        return ", ".join(plain(each.name) for id, each in others.items() if id not in off)

    def ask(self, kind: str) -> None:
        """Open the line under the current row."""
        item = self.desk.current
        if item is None or not self.desk.has_keeper() or (kind == "do" and self._begun(item.task)):
            return
        self._open(Asked(kind=kind, item=item))

    def _open(self, asked: Asked, text: str | None = None) -> None:
        """Open the entry line under the current row; `text` stands in it, else what was kept."""
        line = self.desk.entry_line
        if line is None:  # a key within the first moments, before the line is mounted
            self.desk.call_after_refresh(self._open, asked, text)
            return
        self.asked = asked
        prompt, choices, hint = self._question(asked)
        kept = self._kept.get((asked.item.task.id, asked.kind), "")
        self.put_line(line)
        self.hold_keys(True)
        line.open(prompt, text=kept if text is None else text, choices=choices, hint=hint)

    def _question(self, asked: Asked) -> tuple[str, list[str], str]:
        """Prompt, choices and hint of the entry line."""
        task, model = asked.item.task, self.room.model
        readings = [model.readings[id] for id in task.takes]
        if asked.kind == "do" and task.source == "look":
            return "What is seen? (Enter alone: unchanged)", [], plain(task.look_for)
        if asked.kind == "do" and task.source == "stock":
            return stock_question(model, task.id)
        if asked.kind == "do":
            wanted = ", ".join(
                f"{plain(r.name)} ({r.unit})" if r.unit not in ("", "pH") else plain(r.name) for r in readings
            )
            if task.source == "refill":
                wanted = self._refill_wanted(task, wanted)
            late = f" at {moment(model.calendar, asked.at, self.desk.now)}" if asked.at else ""
            by = f" by {asked.by}" if asked.by else ""
            hint = "; ".join(self._reading_text(reading) for reading in readings)
            return (f"{wanted}, then a note" if wanted else "Note") + late + by + ":", [], hint
        if asked.kind == "note":
            return "Observation at this station:", [], ""
        if asked.kind == CONCERN:
            return "Concern, to be watched until closed:", [], ""
        if asked.kind == "when":
            return "When was it done?", ["30 minutes ago", "1 hour ago", "yesterday 18:00"], "07:40, 2026-11-25T07:40"
        if asked.kind == "who":
            others = [k.initials for k in model.keepers if k.initials != self.desk.keeper]
            return f"Who did it? (empty: {plain(self.desk.keeper or '')})", others, ""
        if asked.kind == POSTPONED:
            return "Postpone until when?", ["2 hours", "tomorrow", *self._shift_choices()], ""
        what = "is it not needed" if asked.kind == NOT_NEEDED else "could it not be done"
        return f"Why {what}?", self._recent_reasons(asked.kind, task.id), ""

    def _refill_wanted(self, task: Task, level: str) -> str:
        """What is asked for after a refill, and what it means to say no level."""
        tank = self.room.model.reservoirs[task.id.removesuffix("-refill")]
        did, usual = ("Emptied", "empty") if tank.kind == "waste" else ("Refilled", f"full, {tank.capacity:g} L")
        return f"{did}: {level} after it, Enter alone for {usual}"

    def _reading_text(self, reading: Reading) -> str:
        """The band and the last values of a reading."""
        return self.room.ask(lambda history: text_of.reading_text(self.room.model, history, reading, self.desk.now))

    def _shift_choices(self) -> list[str]:
        calendar, day = self.room.model.calendar, self.room.model.calendar.round_day(self.desk.now)
        begins = [shift.begins for shift in self.room.model.shifts if calendar.wall(day, shift.begins) > self.desk.now]
        return [f"{time.hour:02}:{time.minute:02}" for time in begins]

    def _recent_reasons(self, kind: str, task: str) -> list[str]:
        """Reasons given lately, those of this task first."""
        given = [r for r in self.room.history.known() if r.kind == kind and r.reason]
        given.sort(key=lambda record: (record.task == task, record.at), reverse=True)
        return list(dict.fromkeys(plain(record.reason) for record in given))[:8]

    def changed(self, text: str) -> None:
        asked = self.asked
        if asked is None or asked.kind != "do" or not text.strip():
            return
        try:
            draft = self.room.ask(
                lambda history: draft_done(self.room.model, history, asked.item.task, text, self.desk.now)
            )
        except RoundsError:
            return
        said = [*(standing.sentence for standing in draft.standings), *draft.questions, *draft.remarks]
        values = ", ".join(f"{value.entered}" for value in draft.values)
        note = f"note: {draft.note}" if draft.note else ""
        self._say("  ".join(part for part in (values, note, *said) if part))

    def left(self, text: str) -> None:
        """The line was closed; what was typed stands in it when it is opened again."""
        if self.asked is not None:
            self._kept[(self.asked.item.task.id, self.asked.kind)] = text
        self._close_line()

    def _close_line(self) -> None:
        self.asked = None
        self.hold_keys(False)
        if self.desk.entry_line is not None:
            self.desk.entry_line.close()
        self.take_keys_back()

    def entered(self, text: str) -> None:
        asked = self.asked
        if asked is None:
            return
        try:
            if asked.kind == "when":
                asked.at = parse_when(text, self.room.model.calendar, self.desk.now)
                asked.kind = "who"
                self._open(asked, "")
                return
            if asked.kind == "who":
                asked.by = self.room.keeper(text.strip()) if text.strip() else None
                asked.kind = "do"
                self._open(asked)
                return
        except RoundsError as refused:
            self._refuse(refused)
            return
        self._write(asked, text)

    def _write(self, asked: Asked, text: str) -> None:
        """From what was typed to a draft; asks what has to be asked, then records."""
        self.desk.now = self.room.now()
        try:
            at = asked.at or self.desk.now
            draft = self.room.ask(lambda history: self._draft(history, asked, text, at))
        except RoundsError as refused:
            self._refuse(refused)
            return

        if self._again(asked, draft) is not None:
            self._save(asked, draft)  # it was asked before
            return

        def answered(sure: bool | None) -> None:
            if sure:
                self._clock_asked = self._clock_asked or len(questions) > len(draft.questions)
                self._save(asked, draft)

        questions = list(draft.questions)
        if not self._clock_asked and (doubt := self.room.clock_question()):
            questions.append(doubt)
        if at > self.desk.now:
            when = moment(self.room.model.calendar, at, self.desk.now)
            questions.append(f"{when} lies in the future, and what is recorded for then counts only then. Is it right?")
        if questions:
            yes, no = "yes, record it", "no, go back"
            self.desk.app.push_screen(Question(plain(asked.item.task.title), questions, yes, no), answered)
        else:
            self._save(asked, draft)

    def _draft(self, history: History, asked: Asked, text: str, at: datetime) -> Draft:
        model, task = self.room.model, asked.item.task
        if asked.kind == NOT_NEEDED:
            return recording.draft_not_needed(model, history, task, text, at)
        if asked.kind == COULD_NOT:
            return recording.draft_could_not(task, text, at)
        if asked.kind == POSTPONED:
            return recording.draft_postponed(model, task, parse_until(text, model.calendar, self.desk.now, at), at)
        if asked.kind in ("note", CONCERN):
            return recording.draft_note(asked.kind, task, text, at)
        return draft_done(model, history, task, text, at, seawater=self.room.seawater)

    def _save(self, asked: Asked, draft: Draft) -> None:
        """Record it; when the disk refuses, what was typed stays and a second try writes the same record."""
        records = self._again(asked, draft) or self.room.prepare_all(draft, asked.by or self.desk.keeper or "")
        try:
            self.room.save(*records)
        except RoundsError as refused:
            self._unsaved = (draft, records)
            self._refuse(refused)
            return
        self._unsaved = None
        self._kept.pop((asked.item.task.id, asked.kind), None)
        if self.asked is not None:
            self._close_line()
        self._recorded(asked, draft, records[0])

    def _again(self, asked: Asked, draft: Draft) -> list[Record] | None:
        """The records of a first try that the disk refused, when this is the same entry."""
        if self._unsaved is None:
            return None
        first, records = self._unsaved
        later = msgspec.structs.replace(first, at=draft.at, questions=draft.questions, standings=draft.standings)
        return records if later == draft and records[0].by == (asked.by or self.desk.keeper or "") else None

    def _recorded(self, asked: Asked, draft: Draft, record: Record) -> None:
        """Show what came of it, and go on to the next thing to do."""
        self.desk.changed()
        line = "; ".join((record_line(self.room.model, self.room.history, record), *draft.remarks))
        self.desk.say(f"{clock(self.room.model.calendar, record.at)} {line}")
        closed = asked.item if record.kind not in ("note", CONCERN) else None
        if record.kind == DONE and asked.item.task.turns_off:
            self._ask_put_back(asked.item.task)
        if draft.standings:
            self.desk.draw()
            self._offer_concern(asked, draft)
        else:
            self.go_on(closed, line)

    def _ask_put_back(self, task: Task) -> None:
        """What the task turned off is running again, or stays off normal until it is put back."""
        model = self.room.model
        off = [each for each in self.desk.off_normal() if each.thing in task.turns_off]

        def answered(back: bool | None) -> None:
            if not back:
                return
            try:
                now = self.room.now()
                drafts = [draft_put_back(model, each, now) for each in off]
                self.room.save(*(self.room.prepare(draft, self.desk.keeper or "") for draft in drafts))
            except RoundsError as refused:
                self._refuse(refused)
                return
            self.desk.changed()
            self.desk.draw()
            self.desk.say(f"Put back: {names}.")

        names = ", then ".join(plain(each.name) for each in off)
        if off:
            by = moment(model.calendar, off[0].until, self.desk.now)
            lines = [f"Is this running again: {names}?", f"If not, it stays off normal, to be put back by {by}."]
            self.desk.app.push_screen(Question("Put back?", lines, "yes, it is put back", "not yet"), answered)

    def _offer_concern(self, asked: Asked, draft: Draft) -> None:
        """Out of band: band, last values, the steps of an act-now limit, and a concern."""
        model, history = self.room.model, self.room.history
        lines = [f"{standing.sentence}." for standing in draft.standings]
        lines += advice(draft.standings, model.calendar, self.desk.now)
        lines += [f"• {plain(step)}" for step in steps(draft.standings)]
        for value in draft.values:
            reading = model.readings[value.reading]
            lines.append(
                f"{plain(reading.name).capitalize()}: {text_of.reading_text(model, history, reading, self.desk.now)}"
            )
        act = any(standing.act for standing in draft.standings)
        text = "; ".join(standing.sentence for standing in draft.standings)

        def left(answer: str | None) -> None:
            if answer == "concern":
                self._open(Asked(kind=CONCERN, item=asked.item), text)
            else:
                self.go_on(asked.item)

        self.desk.app.push_screen(Notice("Act now" if act else "Outside its band", lines, "open a concern"), left)

    def _say(self, text: str, *, wrong: bool = False) -> None:
        if self.desk.entry_line is not None:
            self.desk.entry_line.say(text, wrong=wrong)

    def _refuse(self, refused: RoundsError) -> None:
        if self.asked is not None:
            self._say(plain(str(refused)), wrong=True)
        else:
            self.desk.say(str(refused))

    # -- what depends on the screen --------------------------------------------------------------------

    def put_line(self, line: EntryLine) -> None:
        """Put the line where it belongs."""

    def hold_keys(self, held: bool) -> None:
        """While the line is open a click elsewhere must not take the keys away from it."""

    def take_keys_back(self) -> None:
        """The line is closed: the keys go to what is behind it."""

    def go_on(self, closed: DueItem | None, line: str = "") -> None:
        """After a record, which `closed` an item and was said as `line`."""
        self.desk.draw()


class ListRecorder(Recorder):
    """Records beside a list, which has the keys again afterwards."""

    def __init__(self, screen: ListScreen) -> None:
        super().__init__(screen)
        self._screen = screen

    def hold_keys(self, held: bool) -> None:
        self._screen.listed.can_focus = not held

    def take_keys_back(self) -> None:
        self._screen.set_focus(self._screen.listed)


class WalkRecorder(Recorder):
    """Records in the walk, under the row, and goes on to the next thing to do."""

    def __init__(self, walk: Walk) -> None:
        super().__init__(walk)
        self.walk = walk

    def follow(self) -> None:
        """Keep the line under its row when rows have changed; close it when its task is gone."""
        line, rows = self.walk.entry_line, self.walk.query_one("#rows", StationRows)
        current = self.walk.current
        if line is None or self.asked is None:
            return
        if current is None or current.task.id != self.asked.item.task.id:
            self.left(line.text)
            self.walk.say("The task is no longer in this round; what was typed is kept.")
        elif (row := rows.current_row) is not None:
            rows.move_child(line, after=row)

    def put_line(self, line: EntryLine) -> None:
        rows = self.walk.query_one("#rows", StationRows)
        if (row := rows.current_row) is not None:
            rows.move_child(line, after=row)

    def hold_keys(self, held: bool) -> None:
        for place in ("#rows", "#route"):
            self.walk.query_one(place).can_focus = not held

    def take_keys_back(self) -> None:
        self.walk.set_focus(self.walk.query_one("#rows"))

    def go_on(self, closed: DueItem | None, line: str = "") -> None:
        here = self.walk.position
        there = here.next_to_do(closed) if closed is not None else None
        if there is not None and there[0] != here.stop:
            self.walk.go(*there)
            return
        if there is not None:
            here.put(*there)
        elif closed is not None and line:
            self.walk.say(f"{line}. Nothing is left to do now.")
        self.walk.draw()

    def undo(self) -> None:
        last = self.room.last_of_device(self.walk.now)
        if last is None or not self.walk.has_keeper():
            self.walk.say("Nothing of this round was recorded on this device.")
            return
        assert self.walk.keeper is not None
        try:
            self.room.strike(last.id, "undone", self.walk.keeper)
        except RoundsError as refused:
            self.walk.say(str(refused))
            return
        self.walk.changed()
        self.walk.position.put_on((last.system or "", last.station or ""), last.task)
        self.walk.draw()
        when = clock(self.room.model.calendar, last.at)
        self.walk.say(f"Undone: {title_of(self.room.model, last)}, {last.kind}, {when} by {last.by}.")
