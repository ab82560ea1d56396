"""A form: the fields of one table of the room's files, checked by what reads them, saved with its effect shown.

A list inside the table has a line for each of its rows, which opens in a small form of the same sort.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, ClassVar

import msgspec
from rich.cells import cell_len
from textual.binding import BindingType
from textual.content import Content

from rounds.core.errors import RoundsError
from rounds.core.model import Task
from rounds.core.words import plain
from rounds.report.drafts import Checked, Draft, again, checked, draft_of, filled, renewed, rows_in
from rounds.report.fields import LISTED, PART, RULE, Field, row_text, shown_text
from rounds.report.rows import (
    Inside,
    filled_inside,
    inside,
    inside_before,
    row_added,
    row_moved,
    row_removed,
)
from rounds.report.rules import read_back, rule_words
from rounds.storage.changes import ChangedMeanwhile
from rounds.storage.parts import read_parts
from rounds.storage.room import RoomFolder
from rounds.ui.asking import in_turn, sure
from rounds.ui.keymap import FORM, bindings
from rounds.ui.screens.account_screen import AccountScreen
from rounds.ui.screens.room_screen import Tell
from rounds.ui.setting_up import ask_value, row_lines, save
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.setup_list import FieldList, FieldRow

if TYPE_CHECKING:
    from rounds.ui.screens.setup import Setup


_KEPT = "What was typed is kept."


class Line(msgspec.Struct, frozen=True):
    """One line of a form: a field, or one row of a list."""

    field: Field
    row: int | None = None

    @property
    def id(self) -> str:
        return self.field.key if self.row is None else f"{self.field.key}/{self.row}"

    @property
    def label(self) -> str:
        return self.field.label if self.row is None else f"  {self.row + 1}"

    @property
    def opens(self) -> bool:
        """Whether it has fields of its own."""
        return self.row is not None or self.field.how == PART


class FormScreen(AccountScreen):
    """One table, a line a field; or a table inside it."""

    ACTIONS = FORM
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(FORM)]
    AUTO_FOCUS = "#fields"

    def __init__(
        self,
        room: RoomFolder,
        keeper: str | None,
        draft: Draft,
        setup: Setup,
        above: tuple[FormScreen, Inside] | None = None,
    ) -> None:
        """`above`: the form in which the table of this one is, and where in it."""
        super().__init__(room, keeper)
        self._draft = draft
        self._first: Draft = above[0]._first if above is not None else draft
        self._setup = setup
        self._above = above[0] if above is not None else None
        self._within = above[1] if above is not None else None
        if draft.was is None and above is None:
            self._stood = [field.label for field in draft.form.fields].index(draft.form.naming)
        self._checked: Checked | None = None
        """What the room would be; None: not known yet."""
        self._to_save = False
        """Whether it is to be saved as soon as that is known."""
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
        if self._to_save:
            self.action_save()

    @property
    def fields(self) -> tuple[Field, ...]:
        return self._within.field.fields if self._within is not None else self._draft.form.fields

    @property
    def lines(self) -> list[Line]:
        """The fields, behind a list its rows."""
        found = []
        for field in self.fields:
            found.append(Line(field))
            found += [Line(field, row) for row in range(len(rows_in(self._draft, field)))]
        return found

    @property
    def line(self) -> Line:
        """The line that the pointer is on."""
        return self.lines[self.place]

    @property
    def values(self) -> dict[str, Any]:
        """What the table says."""
        return inside(self._draft, self._within) if self._within is not None else self._draft.values

    @property
    def _before(self) -> dict[str, Any]:
        """What it said when the form was opened."""
        if self._within is not None:
            return inside_before(self._draft, self._first, self._within)
        return self._first.values

    @property
    def changed_anything(self) -> bool:
        """Whether something was typed that is not saved."""
        return self._draft.values != self._first.values

    def draw(self) -> None:
        super().draw()
        rows = [
            FieldRow(
                key=line.id,
                label=line.label,
                value=plain(self._shown(line)),
                fault=plain(next(iter(self._faults(line)), "")),
                changed=self._is_changed(line),
            )
            for line in self.lines
        ]
        self.query_one(FieldList).show(rows, self.place)
        title, standing = plain(self.title_said), self._standing
        room = self.app.size.width - cell_len(standing) - cell_len(self.time) - 6
        self.show_head([(f"{fit(title, min(cell_len(title), max(12, room)))}  ", "bold"), (standing, "")])
        self.draw_chosen()

    @property
    def title_said(self) -> str:
        """What the form is of."""
        if self._within is None:
            return self._draft.title
        return f"{_called(self._within)} of {self._draft.title}"

    @property
    def _standing(self) -> str:
        found = self._checked
        if found is None:
            return "reading …"
        if found.beside or found.elsewhere:
            return f"▲ {len(found.beside) + len(found.elsewhere)} to correct"
        return "s saves it" if found.changes else "as it stands in the file"

    def _shown(self, line: Line) -> str:
        field = line.field
        if line.row is not None:
            return row_text(field, inside(self._draft, Inside(field, line.row)))
        return rule_words(self.values) if field.how == RULE else shown_text(field, self.values.get(field.key))

    def _is_changed(self, line: Line) -> bool:
        field = line.field
        if line.row is not None:
            within = Inside(field, line.row)
            return inside(self._draft, within) != inside_before(self._draft, self._first, within)
        if field.how == RULE:
            return rule_words(self.values) != rule_words(self._before)
        return self.values.get(field.key) != self._before.get(field.key)

    def _faults(self, line: Line) -> Iterator[str]:
        """What is wrong on a line, and in what it opens."""
        beside = self._checked.beside if self._checked is not None else {}
        path = f"{self._within.path}/{line.id}" if self._within is not None else line.id
        if path in beside:
            yield beside[path]
        if line.opens:
            inner = f"{Inside(line.field, line.row).path}/"
            yield from (sentence for key, sentence in beside.items() if key.startswith(inner))

    def told(self) -> Content:
        return Content("\n").join(self._told())

    def _told(self) -> Iterator[Content]:
        line, found = self.line, self._checked
        field = line.field
        yield Content.styled(field.label if line.row is None else _called(Inside(field, line.row)), "bold $text-accent")
        if field.help and line.row is None:
            yield Content(field.help)
        if field.stays and self._draft.was is not None:
            yield Content(f"It stays: {field.stays}.")
        yield from self._now(line)
        if found is None:
            return
        for sentence in (*self._faults(line), *self._general_faults, *found.elsewhere):
            yield Content.styled(f"▲ {plain(sentence)}", "$text-error")
        if self._within is None and self._draft.form.ruled:
            yield from self._rule_told(found)

    @property
    def _general_faults(self) -> list[str]:
        """What is wrong in a table inside another, and belongs to none of its fields."""
        if self._within is None or self._checked is None:
            return []
        keys = (self._within.field.key, f"{self._within.path}/")
        return [self._checked.beside[key] for key in keys if key in self._checked.beside]

    def _now(self, line: Line) -> Iterator[Content]:
        """What a line holds, in full."""
        field = line.field
        if line.opens:
            table = inside(self._draft, Inside(field, line.row))
            for each in field.fields:
                if value := plain(shown_text(each, table.get(each.key))):
                    yield Content.assemble((f"{each.label}  ", "bold"), value)
        elif field.how in LISTED:
            yield from row_lines(self._draft, field)
        elif (value := plain(self._shown(line))) and field.how != RULE:
            yield Content.assemble(("now  ", MUTED), value)

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
        return [line.id for line in self.lines]

    def open_chosen(self) -> None:
        self.action_edit()

    def action_next_fault(self) -> None:
        faulty = [place for place, line in enumerate(self.lines) if any(self._faults(line))]
        if faulty:
            self.go(next((place for place in faulty if place > self.place), faulty[0]))

    # -- changing --------------------------------------------------------------------------------------

    def action_edit(self) -> None:
        line = self.line
        if line.field.stays and self._draft.was is not None:
            self.say(f"The {line.field.label} stays: {line.field.stays}.")
        elif line.opens:
            self._open(self._draft, Inside(line.field, line.row))
        elif line.field.how in LISTED:
            self.action_add()
        else:
            in_turn(self, self._edit)

    async def _edit(self) -> None:
        field, within = self.line.field, self._within
        what = self._draft.form.kind if within is None else within.field.one or within.field.label
        self._fill(field, await ask_value(self, self._draft, what, field, self.values.get(field.key), self._parts))

    def action_empty(self) -> None:
        """Leave the field empty, or take the row out."""
        line = self.line
        if line.row is not None:
            self._take_draft(row_removed(self._draft, Inside(line.field, line.row)))
        elif line.field.how in LISTED:
            self.say(f"To take one {line.field.one} out, press x on its line.")
        elif line.field.stays and self._draft.was is not None:
            self.say(f"The {line.field.label} stays: {line.field.stays}.")
        elif self._within is None and line.field.key == self._draft.by:
            self.say(f"The {line.field.label} cannot be empty.")
        else:
            self._fill(line.field, None)

    def _fill(self, field: Field, value: object) -> None:
        if self._within is not None:
            self._take_draft(filled_inside(self._draft, self._within, field.key, value))
            return
        taken = {part.id for part in self._parts if not self._draft.key or part.system == self._draft.system}
        self._take_draft(filled(self._draft, field, value, taken))

    def _take_draft(self, draft: Draft) -> None:
        self._draft = draft
        self._to_save = False
        self._check()
        self.draw()

    # -- rows ------------------------------------------------------------------------------------------

    def action_add(self) -> None:
        """One more in the list that the pointer is in, and its form."""
        line = self.line
        if line.field.how not in LISTED:
            self.say("One more is added in a list; go to one, such as what it draws, its steps or channels.")
            return
        place = len(rows_in(self._draft, line.field)) if line.row is None else line.row + 1
        self._open(row_added(self._draft, line.field, place), Inside(line.field, place))

    def action_sooner(self) -> None:
        self._move(-1)

    def action_later(self) -> None:
        self._move(1)

    def _move(self, step: int) -> None:
        line = self.line
        if line.row is None:
            self.say("Only the rows of a list change places.")
            return
        draft = row_moved(self._draft, Inside(line.field, line.row), step)
        if draft is not self._draft:
            self.choose(Line(line.field, line.row + step).id)
            self._take_draft(draft)

    def _open(self, draft: Draft, within: Inside) -> None:
        self.app.push_screen(FormScreen(self.room, self.keeper, draft, self._setup, (self, within)))

    def take_back(self, draft: Draft, within: Inside) -> None:
        """What a form inside this one has made of it; a row in which nothing was said is none."""
        if within.row is not None and not inside(draft, within):
            draft = row_removed(draft, within)
            self.choose(Line(within.field, within.row - 1 if within.row else None).id)
        else:
            self.choose(Line(within.field, within.row).id)
        self._take_draft(draft)

    # -- saving ----------------------------------------------------------------------------------------

    def action_save(self) -> None:
        if self._above is None:
            in_turn(self, self._save)
            return
        above = self._above
        self.action_back()
        above.action_save()

    async def _save(self) -> None:
        self._to_save = False
        found = self._checked
        if found is None:
            self._to_save = True
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
        if self._above is not None and self._within is not None:
            self._above.take_back(self._draft, self._within)
            self.dismiss()
            return
        if not self.changed_anything:
            self.dismiss()
            return

        async def ask() -> None:
            if await sure(self, "Not saved", ["What was typed here is not saved."], "leave it unsaved", "stay"):
                self.dismiss()

        in_turn(self, ask)


def _called(within: Inside) -> str:
    """``step 2``, or what the part of a table is called."""
    return within.field.label if within.row is None else f"{within.field.one} {within.row + 1}"
