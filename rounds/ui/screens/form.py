"""A form: the fields of one table of the room's files, checked by what reads them, saved with its effect shown."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, ClassVar

from rich.cells import cell_len
from textual.binding import BindingType
from textual.content import Content

from rounds.core.errors import RoundsError
from rounds.core.model import Task
from rounds.core.words import plain
from rounds.report.drafts import Checked, Draft, again, checked, draft_of, filled, renewed
from rounds.report.forms import RULE, Field, shown_text
from rounds.report.rules import read_back, rule_words
from rounds.storage.editing import ChangedMeanwhile
from rounds.storage.parts import read_parts
from rounds.storage.room import RoomFolder
from rounds.ui.asking import in_turn, sure
from rounds.ui.keymap import FORM, bindings
from rounds.ui.screens.account_screen import AccountScreen
from rounds.ui.screens.room_screen import Tell
from rounds.ui.setting_up import ask_value, save
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.setup_list import FieldList, FieldRow

if TYPE_CHECKING:
    from rounds.ui.screens.setup import Setup


_KEPT = "What was typed is kept."


class FormScreen(AccountScreen):
    """One table, a line a field."""

    ACTIONS = FORM
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(FORM)]
    AUTO_FOCUS = "#fields"

    def __init__(self, room: RoomFolder, keeper: str | None, draft: Draft, setup: Setup) -> None:
        super().__init__(room, keeper)
        self._draft = draft
        self._first = draft
        self._setup = setup
        labels = [field.label for field in draft.form.fields]
        self._stood = labels.index(draft.form.naming) if draft.was is None else 0
        self._checked: Checked | None = None
        """What the room would be; None: not known yet."""
        self._parts = read_parts(room.folder)

    # -- what is shown -------------------------------------------------------------------------------

    def make_list(self) -> FieldList:
        return FieldList(id="fields")

    def plan(self) -> None:
        super().plan()
        self._parts = read_parts(self.room.folder)
        self._check()

    def _check(self) -> None:
        """Have a thread read the room as it would be with this form saved."""
        draft, room = self._draft, self.room

        def work(tell: Tell) -> None:
            tell(checked(room.folder, draft, room.room_with))

        self._checked = None
        self.work_out("check", work, self._take_check, "The form cannot be checked")

    def _take_check(self, found: Checked) -> None:
        self._checked = found
        self.draw()

    @property
    def fields(self) -> tuple[Field, ...]:
        return self._draft.form.fields

    @property
    def field(self) -> Field:
        """The field that the pointer is on."""
        return self.fields[self.place]

    @property
    def changed_anything(self) -> bool:
        """Whether something was typed that is not saved."""
        return self._draft.values != self._first.values

    def draw(self) -> None:
        super().draw()
        found = self._checked
        rows = [
            FieldRow(
                key=field.key,
                label=field.label,
                value=plain(self._shown(self._draft, field)),
                fault=plain(found.beside.get(field.key, "")) if found is not None else "",
                changed=self._shown(self._draft, field) != self._shown(self._first, field),
            )
            for field in self.fields
        ]
        self.query_one(FieldList).show(rows, self.place)
        title, standing = plain(self._draft.title), self._standing
        room = self.app.size.width - cell_len(standing) - cell_len(self.time) - 6
        self.show_head([(f"{fit(title, min(cell_len(title), max(12, room)))}  ", "bold"), (standing, "")])
        self.draw_chosen()

    @property
    def _standing(self) -> str:
        found = self._checked
        if found is None:
            return "reading …"
        if found.beside or found.elsewhere:
            return f"▲ {len(found.beside) + len(found.elsewhere)} to correct"
        return "s saves it" if found.changes else "as it stands in the file"

    def _shown(self, draft: Draft, field: Field) -> str:
        if field.how == RULE:
            return rule_words(draft.values)
        return shown_text(field, draft.values.get(field.key))

    def told(self) -> Content:
        return Content("\n").join(self._told())

    def _told(self) -> Iterator[Content]:
        field, found = self.field, self._checked
        yield Content.styled(field.label, "bold $text-accent")
        if field.help:
            yield Content(field.help)
        if (value := plain(self._shown(self._draft, field))) and field.how != RULE:
            yield Content.assemble(("now  ", MUTED), value)
        if found is None:
            return
        if fault := found.beside.get(field.key):
            yield Content.styled(f"▲ {plain(fault)}", "$text-error")
        for sentence in found.elsewhere:
            yield Content.styled(f"▲ {plain(sentence)}", "$text-error")
        if any(each.how == RULE for each in self.fields):
            yield from self._rule_told(found)

    def _rule_told(self, found: Checked) -> Iterator[Content]:
        task = self._ruled(found)
        if found.room is None or task is None:
            return
        room = found.room
        lines = self.room.ask(lambda history: read_back(room, history, task, self.now))
        yield Content("")
        yield Content.styled(lines[0], "bold")
        yield from (Content(line) for line in lines[1:])

    def _ruled(self, found: Checked) -> Task | None:
        """The task of this form in the room as it would be."""
        suffix = "-level" if self._draft.key == "reservoirs" else ""
        return found.room.tasks.get(f"{self._draft.full}{suffix}") if found.room is not None else None

    # -- moving ----------------------------------------------------------------------------------------

    @property
    def ids(self) -> list[str]:
        return [field.key for field in self.fields]

    def open_chosen(self) -> None:
        self.action_edit()

    def action_next_fault(self) -> None:
        found = self._checked
        faulty = [place for place, field in enumerate(self.fields) if found and field.key in found.beside]
        if faulty:
            self.go(next((place for place in faulty if place > self.place), faulty[0]))

    # -- changing --------------------------------------------------------------------------------------

    def action_edit(self) -> None:
        if self.field.fixed and self._draft.was is not None:
            self.say(f"The {self.field.label} stays: records and other tables name it so.")
        else:
            in_turn(self, self._edit)

    async def _edit(self) -> None:
        field = self.field
        self._fill(field, await ask_value(self, self._draft, field, self._parts))

    def action_empty(self) -> None:
        """Leave the field empty."""
        if self.field.key == self._draft.by:
            self.say(f"The {self.field.label} cannot be empty.")
        else:
            self._fill(self.field, None)

    def _fill(self, field: Field, value: object) -> None:
        taken = {part.id for part in self._parts if not self._draft.key or part.system == self._draft.system}
        self._draft = filled(self._draft, field, value, taken)
        self._check()
        self.draw()

    # -- saving ----------------------------------------------------------------------------------------

    def action_save(self) -> None:
        in_turn(self, self._save)

    async def _save(self) -> None:
        found = self._checked
        if found is None:
            self.say("It is still being read; press s again.")
        elif found.meanwhile:
            await self._look_again(found.elsewhere[0])
        elif found.room is None:
            self.say("Not saved: what is marked ▲ has to be corrected first; n goes to the next.")
            self.action_next_fault()
        elif not found.changes:
            self.say("Nothing was changed.")
        else:
            await self._write(found)

    async def _write(self, found: Checked) -> None:
        try:
            await save(self, plain(self._draft.title), found.changes)
        except ChangedMeanwhile as refused:
            await self._look_again(str(refused))
            return
        except RoundsError as refused:
            if await sure(self, "Not saved", [plain(str(refused)), _KEPT], "try again", "leave it for now"):
                await self._write(found)
            return
        self._setup.choose_part(
            self._draft.system if self._draft.key else self._draft.id, self._draft.key, self._draft.id
        )
        self.dismiss()

    async def _look_again(self, refused: str) -> None:
        """What was typed stays, over the table as it is in the file now."""
        lines = [plain(refused), _KEPT]
        if not await sure(self, "Not saved", lines, "look at it again, with what was typed", "leave it for now"):
            return
        was = self._draft.was
        now = again(self.room.folder, was) if was is not None else None
        if was is not None and now is None:
            self.say("It is no longer in the file; a copy of it can be saved as new.")
            return
        if now is not None:
            self._draft = renewed(self._draft, now)
            self._first = draft_of(now)
        self.plan()
        self.draw()

    def action_back(self) -> None:
        if not self.changed_anything:
            self.dismiss()
            return

        async def ask() -> None:
            if await sure(self, "Not saved", ["What was typed here is not saved."], "leave it unsaved", "stay"):
                self.dismiss()

        in_turn(self, ask)
