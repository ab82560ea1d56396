"""Set-up: the room's systems, stations and what stands there, added and changed in forms."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator
from functools import partial
from typing import ClassVar

from textual.binding import BindingType
from textual.content import Content

from rounds.core.errors import RoundsError
from rounds.core.model import ROOM
from rounds.core.words import plain, plural
from rounds.report.drafts import Draft, copied_system, copy_of, draft_of, like, moved, new_draft, paused, retired
from rounds.report.fields import FLAG, RULE, Form, make_id, shown_text
from rounds.report.forms import FORMS
from rounds.report.rules import rule_words
from rounds.report.setup import Row, rows_of
from rounds.storage.changes import FileChange
from rounds.storage.parts import Part, read_parts
from rounds.storage.protocols import PROTOCOLS, catalogue_tables
from rounds.storage.room import RoomFolder
from rounds.ui.asking import choose, in_turn, write_in
from rounds.ui.keymap import SETUP, bindings
from rounds.ui.screens.account_screen import AccountScreen
from rounds.ui.setting_up import row_lines, save_at_once
from rounds.ui.text import MUTED
from rounds.ui.widgets.setup_list import SetupList


class Setup(AccountScreen):
    """Everything that the room's files say, in walking order."""

    ACTIONS = SETUP
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(SETUP)]
    AUTO_FOCUS = "#parts"

    def __init__(self, room: RoomFolder, keeper: str | None, place: tuple[str, str]) -> None:
        """`place`: the system and station where the keeper stands."""
        super().__init__(room, keeper)
        self._parts: list[Part] = []
        self._rows: list[Row] = []
        system, station = place
        self._chosen = f"{system}/stations/{station}" if station else f"{system}//{system}"

    # -- what is shown -------------------------------------------------------------------------------

    def make_list(self) -> SetupList:
        return SetupList(id="parts")

    def plan(self) -> None:
        super().plan()
        self._parts = read_parts(self.room.folder)
        self._rows = rows_of(self.room.model, self._parts)

    def draw(self) -> None:
        super().draw()
        self.query_one(SetupList).show(self._rows, self.place)
        systems = sum(1 for row in self._rows if not row.part.key and row.part.id != ROOM)
        tasks = sum(1 for row in self._rows if row.part.key == "tasks")
        self.show_head([("Set-up  ", "bold"), (f"{plural(systems, 'system')}  {plural(tasks, 'task')}  ", "")])
        self.draw_chosen()

    def told(self) -> Content:
        row = self.chosen
        return Content("\n").join(self._told(row)) if row is not None else Content("")

    def _told(self, row: Row) -> Iterator[Content]:
        draft = draft_of(row.part)
        yield Content.styled(f"{row.kind}: {row.title}", "bold $text-accent")
        if row.part.own is None:
            yield Content.styled("from the care catalogue, as it stands there", MUTED)
        for field in draft.form.fields:
            value = rule_words(draft.values) if field.how == RULE else shown_text(field, draft.values.get(field.key))
            if value and not (field.how == FLAG and field.key not in draft.values):
                yield Content.assemble((f"{field.label}  ", "bold"), plain(value))
            yield from row_lines(draft, field)

    # -- moving ----------------------------------------------------------------------------------------

    @property
    def ids(self) -> list[str]:
        return [row.id for row in self._rows]

    @property
    def chosen(self) -> Row | None:
        return self._rows[self.place] if self._rows else None

    def choose_part(self, system: str, key: str, id: str) -> None:
        """Put the pointer on a table."""
        self.choose("/".join((system, key, id)))

    def open_chosen(self) -> None:
        self.action_change()

    def action_page_down(self) -> None:
        self.go(self.place + self.listed.page)

    def action_page_up(self) -> None:
        self.go(self.place - self.listed.page)

    def action_next_system(self) -> None:
        self.go(next((p for p in range(self.place + 1, len(self._rows)) if self._rows[p].depth == 0), self.place))

    def action_system_before(self) -> None:
        self.go(next((p for p in range(self.place - 1, -1, -1) if self._rows[p].depth == 0), self.place))

    def action_find(self) -> None:
        in_turn(self, self._find)

    async def _find(self) -> None:
        choices = [(f"{row.title}  ({row.kind}, {row.part.system})", place) for place, row in enumerate(self._rows)]
        self.go(await choose(self, "Find", choices))

    # -- what can be done ------------------------------------------------------------------------------

    def _open(self, draft: Draft) -> None:
        from rounds.ui.screens.form import FormScreen

        self.app.push_screen(FormScreen(self.room, self.keeper, draft, self))

    def action_change(self) -> None:
        """Open the form of the chosen row."""
        row = self.chosen
        if row is not None:
            self._open(draft_of(row.part))

    def action_add(self) -> None:
        in_turn(self, self._add)

    async def _add(self) -> None:
        row = self.chosen
        form: Form = await choose(self, "Add what?", [(form.kind, form) for form in FORMS])
        part = row.part if row is not None else None
        after = part.id if part is not None and part.key == form.key and part.own is not None else None
        system = part.system if part is not None else ROOM
        draft = new_draft(form, system, part.station if part is not None else "", after)
        self._open(await self._like_known(draft) if form.key == PROTOCOLS else draft)

    async def _like_known(self, draft: Draft) -> Draft:
        """A protocol of the room that stands instead of one that comes with the program, or a new one."""
        own = {part.id for part in self._parts if part.key == PROTOCOLS and part.system == ROOM}
        known = [table for table in catalogue_tables() if table["id"] not in own]
        choices = [(f"{table['name']}, as it comes with Rounds, to be changed", table) for table in known]
        chosen = await choose(self, "Add which protocol?", [("a new one", {}), *choices])
        return like(draft, chosen) if chosen else draft

    def action_copy(self) -> None:
        row = self.chosen
        if row is None:
            return
        if row.part.key:
            taken = {part.id for part in self._parts if part.system == row.part.system}
            self._open(copy_of(row.part, taken))
        elif row.part.id == ROOM:
            self.say("The room itself is not copied; copy a system or what stands in it.")
        else:
            in_turn(self, partial(self._copy_system, row))

    async def _copy_system(self, row: Row) -> None:
        name = await write_in(self, f"A system like {row.title}: what is it called?", (), "its name", str)
        taken = {ROOM, *(part.id for part in self._parts if not part.key)}
        id = make_id(name, taken, "system")
        changes = copied_system(self.room.folder, row.part, name, id)
        await save_at_once(self, f"New system {plain(name)}", changes)
        self.choose_part(id, "", id)
        self.draw()

    def action_later(self) -> None:
        self._change_at_once("Later", lambda part: moved(self.room.folder, self._parts, part, 1, self.room.model))

    def action_sooner(self) -> None:
        self._change_at_once("Sooner", lambda part: moved(self.room.folder, self._parts, part, -1, self.room.model))

    def action_pause(self) -> None:
        row = self.chosen
        word = "Go on" if row is not None and row.part.values.get("paused") else "Pause"
        self._change_at_once(word, lambda part: paused(self.room.folder, part))

    def action_retire(self) -> None:
        calendar = self.room.model.calendar
        today = calendar.round_day(self.room.now())
        self._change_at_once("Retire", lambda part: retired(self.room.folder, part, today))

    def _change_at_once(self, word: str, change: Callable[[Part], list[FileChange]]) -> None:
        row = self.chosen
        if row is None:
            return
        try:
            changes = change(row.part)
        except RoundsError as refused:
            self.say(f"{plain(str(refused))}.")
            return
        asking: Callable[[], Awaitable[None]] = partial(save_at_once, self, f"{word}: {row.title}", changes)
        in_turn(self, asking)
