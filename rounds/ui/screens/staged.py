"""Staged changes: what is changed in steps, what is next, what it may affect; held and taken back from here."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from functools import partial
from typing import ClassVar

from textual.binding import BindingType
from textual.content import Content

from rounds.core.words import plain
from rounds.report.past import past_of
from rounds.report.staged import Staged, account, staged_changes
from rounds.storage.room import RoomFolder
from rounds.ui import staging
from rounds.ui.asking import in_turn
from rounds.ui.keymap import STAGED, bindings
from rounds.ui.screens.account_screen import AccountScreen
from rounds.ui.screens.room_screen import Tell
from rounds.ui.text import MUTED
from rounds.ui.widgets.staged_list import StagedList


class StagedChanges(AccountScreen):
    """Everything of the room that is changed in steps, filled as it is worked out."""

    ACTIONS = STAGED
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(STAGED)]
    AUTO_FOCUS = "#staged"

    def __init__(self, room: RoomFolder, keeper: str | None) -> None:
        super().__init__(room, keeper)
        self._found: dict[str, list[Staged]] = {}
        """By system."""

    # -- what is worked out ----------------------------------------------------------------------------

    def plan(self) -> None:
        super().plan()
        self.work_out("staged", partial(self._work_out, self.now), self._worked_out, "The steps cannot be worked out")

    def _work_out(self, now: datetime, tell: Tell) -> None:
        """Runs in a thread of its own: the past of a large room takes its time."""
        model = self.room.model
        for system in model.systems:
            tell((system.id, staged_changes(model, past_of(self.room, system), system, now)))

    def _worked_out(self, found: tuple[str, list[Staged]]) -> None:
        system, changes = found
        self._found[system] = changes
        self.draw()

    # -- what is shown -----------------------------------------------------------------------------------

    def make_list(self) -> StagedList:
        return StagedList(id="staged")

    @property
    def _rows(self) -> list[Staged]:
        return [change for system in self.room.model.systems for change in self._found.get(system.id, ())]

    @property
    def ids(self) -> list[str]:
        return [row.id for row in self._rows]

    @property
    def chosen(self) -> Staged | None:
        rows = self._rows
        return rows[self.place] if rows else None

    def draw(self) -> None:
        super().draw()
        self.query_one(StagedList).show(self._rows, self.place)
        self.show_head(self._head_parts())
        self.draw_chosen()

    def _head_parts(self) -> Iterator[tuple[str, str]]:
        yield "Staged changes  ", "bold"
        rows = self._rows
        if len(self._found) < len(self.room.model.systems):
            yield "being worked out …", MUTED
        elif not rows:
            yield "nothing is changed in steps here", ""
        if number := sum(1 for row in rows if row.against):
            yield f"▲ {number} to hold?  ", "bold $text-warning"
        if number := sum(1 for row in rows if row.held is not None):
            yield f"= {number} held  ", ""

    def told(self) -> Content:
        row = self.chosen
        return Content("\n").join(self._told(row)) if row is not None else Content("")

    def _told(self, row: Staged) -> Iterator[Content]:
        yield Content.styled(row.name, "bold $text-accent")
        yield Content.styled(row.place, MUTED)
        for heading, text in account(self.room.model, row):
            style = "bold $text-warning" if heading.startswith("▲") else "bold"
            yield Content.assemble((f"{heading}  ", style), plain(text))

    # -- what can be recorded ----------------------------------------------------------------------------

    def open_chosen(self) -> None:
        self.action_next_step()

    def _row(self) -> Staged | None:
        """The chosen row, which stays chosen; None where there is none."""
        row = self.chosen
        if row is None:
            self.say("Nothing is changed in steps here.")
            return None
        self._chosen = row.id
        return row

    def action_next_step(self) -> None:
        """Of the light, its next step; the next dose is proposed where its balance is."""
        if (row := self._row()) is None:
            return
        if row.light is not None:
            in_turn(self, partial(staging.light_step, self, row.light))
        else:
            from rounds.ui.screens.doses import Doses

            self.app.push_screen(Doses(self.room, self.keeper, row.id.partition("/")[0]))

    def action_hold(self) -> None:
        if (row := self._row()) is None:
            return
        reasons = [against.text for against in row.against]
        if row.light is not None:
            in_turn(self, partial(staging.hold_light, self, row.light, reasons))
        elif row.last is not None:
            in_turn(self, partial(staging.hold_dose, self, row.last, reasons))
        else:
            self.say("No step of it stands that could be held.")

    def action_take_back(self) -> None:
        if (row := self._row()) is None:
            return
        if row.light is not None:
            in_turn(self, partial(staging.take_light_back, self, row.light))
        elif row.last is not None:
            in_turn(self, partial(staging.take_dose_back, self, row.last))
        else:
            self.say("No step of it stands that could be taken back.")

    def action_history(self) -> None:
        if (row := self._row()) is not None:
            self.show_history(row.name, task=row.id)
