"""Tables inside the table of a form: lists, whose rows can be added, changed, ordered and taken out, and parts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec

from rounds.core.errors import Refused
from rounds.report.drafts import Draft, came_of, rows_in
from rounds.report.fields import Field


class Inside(msgspec.Struct, frozen=True):
    """One of the tables inside the table of a form."""

    field: Field
    """That holds it."""
    row: int | None = None
    """Which of its rows; None: its one part."""

    @property
    def path(self) -> str:
        """By which what is wrong in it is known, as in `Checked.beside`."""
        return f"{self.field.key}/{'' if self.row is None else self.row}"


def inside(draft: Draft, within: Inside) -> dict[str, Any]:
    """What one of the tables says."""
    if within.row is not None:
        return dict(rows_in(draft, within.field)[within.row])
    found = draft.values.get(within.field.key)
    return dict(found) if isinstance(found, dict) else {}


def inside_before(draft: Draft, first: Draft, within: Inside) -> dict[str, Any]:
    """What one of the tables said in the form as it was first; empty of a row that is new."""
    if within.row is None:
        return inside(first, within)
    came = came_of(draft, within.field)[within.row]
    rows = rows_in(first, within.field)
    return dict(rows[came]) if came is not None and came < len(rows) else {}


def filled_inside(draft: Draft, within: Inside, key: str, value: Any) -> Draft:
    """The form with one field of a table inside it changed; None: left empty."""
    table = {**inside(draft, within), key: value}
    table = {each: said for each, said in table.items() if said is not None}
    if within.row is None:
        return _with(draft, within.field, table or None)
    rows = [*rows_in(draft, within.field)]
    rows[within.row] = table
    return _with(draft, within.field, rows)


def row_added(draft: Draft, field: Field, place: int) -> Draft:
    """The form with an empty row at a place of a list."""
    rows, came = [*rows_in(draft, field)], [*came_of(draft, field)]
    rows.insert(place, {})
    came.insert(place, None)
    return _with(draft, field, rows, came)


def row_removed(draft: Draft, within: Inside) -> Draft:
    """The form without one row of a list."""
    row = _row(within)
    rows, came = [*rows_in(draft, within.field)], [*came_of(draft, within.field)]
    del rows[row], came[row]
    return _with(draft, within.field, rows or None, came)


def row_moved(draft: Draft, within: Inside, step: int) -> Draft:
    """The form with a row one place on (1) or back (-1); as it is where there is no such place."""
    row = _row(within)
    rows, came = [*rows_in(draft, within.field)], [*came_of(draft, within.field)]
    if not 0 <= row + step < len(rows):
        return draft
    rows.insert(row + step, rows.pop(row))
    came.insert(row + step, came.pop(row))
    return _with(draft, within.field, rows, came)


def _row(within: Inside) -> int:
    if within.row is None:
        raise Refused(f"{within.field.label} is no list")
    return within.row


def _with(draft: Draft, field: Field, value: Any, came: Sequence[int | None] | None = None) -> Draft:
    values = {key: each for key, each in draft.values.items() if key != field.key}
    if value is not None:
        values[field.key] = value
    kept = draft.came if came is None else {**draft.came, field.key: tuple(came)}
    return msgspec.structs.replace(draft, values=values, came=kept)
