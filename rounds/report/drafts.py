"""What a form makes of the room's files: the changes, what is wrong with them, and nothing written."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import msgspec

from rounds.core.errors import Refused
from rounds.core.model import ROOM, Room
from rounds.core.words import quoted
from rounds.report.fields import FLAG, LISTED, NESTED, PAIRS, PART, ROWS, RULE, Field, Form, make_id, name_of
from rounds.report.form_words import in_form
from rounds.report.forms import form_of
from rounds.report.merging import merged_keys, merged_rows
from rounds.report.rules import RULE_KEYS, rule_values
from rounds.storage.care import differing
from rounds.storage.changes import ChangedMeanwhile, FileChange, moved_file
from rounds.storage.editing import (
    Entry,
    Keys,
    Rows,
    change_file,
    move,
    named,
    put,
    remove,
    set_keys,
)
from rounds.storage.faults import Fault, RoomFaults
from rounds.storage.files import ROOM_FILE, room_files
from rounds.storage.parts import Part, by_of, file_of, read_parts
from rounds.storage.references import Reference
from rounds.storage.room_files import load_references
from rounds.storage.toml_text import Document

RULED = ("tasks", "readings", "reservoirs")
"""What has a rule, can be paused and has a last day."""


class Draft(msgspec.Struct, frozen=True, kw_only=True):
    """A form as it is filled in."""

    system: str
    """In whose file the table stands; of a system its id as it is on disk, empty for a new one."""
    key: str
    """Of its list; empty: a system."""
    was: Part | None = None
    """As it stands in the files; None: it is new."""
    values: dict[str, Any] = {}
    """Keys of the file, those of a rule among them; of pairs the rows that the form shows."""
    came: Mapping[str, tuple[int | None, ...]] = {}
    """By the key of a list whose rows were added, ordered or taken out: which of those in the file each is."""
    after: str | None = None
    """Of a new one: after which of its list it comes; None: after those of its station."""
    id_typed: bool = False
    """Whether its id was chosen, and no longer follows its name."""

    @property
    def form(self) -> Form:
        return form_of(self.system, self.key)

    @property
    def by(self) -> str:
        return by_of(self.key)

    @property
    def id(self) -> str:
        """What its table is known by."""
        found = self.values.get(self.by, "")
        return found if isinstance(found, str) else ""

    @property
    def full(self) -> str:
        """Its full id; of a system its id."""
        return f"{self.system}/{self.id}" if self.key else self.id

    @property
    def title(self) -> str:
        what = name_of({key: value for key, value in self.values.items() if key != "kind"})
        return f"{self.form.kind} {what}".strip() if self.was is not None else f"new {self.form.kind}"


def draft_of(part: Part) -> Draft:
    """The form of what is there."""
    form = form_of(part.system, part.key)
    keys = {field.key for field in form.fields} | {*(RULE_KEYS if form.ruled else ())}
    values = {key: value for key, value in part.values.items() if key in keys}
    for field in form.fields:
        if field.how == PAIRS and isinstance(held := values.get(field.key), dict):
            name, said = (each.key for each in field.fields)
            values[field.key] = [{name: each, said: value} for each, value in held.items()]
    if not part.key:
        values["id"] = part.id
    return Draft(system=part.system, key=part.key, was=part, values=values, id_typed=True)


def new_draft(form: Form, system: str, station: str = "", after: str | None = None) -> Draft:
    """The empty form of a new one at a station."""
    stands = any(field.key == "station" for field in form.fields)
    values = {"station": station} if stands and station else {}
    return Draft(
        system=ROOM if form.only_room else system if form.key else "", key=form.key, values=values, after=after
    )


def copy_of(part: Part, taken: Collection[str]) -> Draft:
    """The form of a new one like another; its id is another, its past its own."""
    draft = draft_of(part)
    id = make_id(part.id, {*taken, part.id}, draft.form.kind)
    values = {**draft.values, draft.by: id}
    return msgspec.structs.replace(draft, was=None, values=values, after=part.id)


def like(draft: Draft, table: Mapping[str, Any]) -> Draft:
    """The form of a new table of the room that says what another says, and stands in its place."""
    return msgspec.structs.replace(draft, system=ROOM, values=dict(table), id_typed=True)


def filled(draft: Draft, field: Field, value: Any, taken: Collection[str]) -> Draft:
    """The form with one field changed; of a rule all its keys. The id of a new one is made from its name."""
    values = dict(draft.values)
    typed = draft.id_typed or field.key == draft.by
    if field.how == RULE:
        for key in RULE_KEYS:
            values.pop(key, None)
        values.update(value or {})
    elif value is None:
        values.pop(field.key, None)
    else:
        values[field.key] = value
    if not typed and draft.by == "id":
        values["id"] = make_id(name_of({**values, "id": ""}), taken, draft.form.kind)
    return msgspec.structs.replace(draft, values=values, id_typed=typed)


# -- changes of files ----------------------------------------------------------------------------------


class _Edits:
    """What is to be done to which file, in order."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._of: dict[str, list[Callable[[Document], object]]] = {}

    def add(self, file: str, edit: Callable[[Document], object]) -> None:
        self._of.setdefault(file, []).append(edit)

    def changes(self) -> list[FileChange]:
        """The files that are to be; raises `Refused`."""

        def all_of(edits: Iterable[Callable[[Document], object]], document: Document) -> None:
            for edit in edits:
                edit(document)

        found = [change_file(self._folder, file, partial(all_of, edits)) for file, edits in self._of.items()]
        return [change for change in found if change]


def changes_of(folder: Path, draft: Draft) -> list[FileChange]:
    """The changes that a form asks for; empty where it changes nothing. Raises `Refused`."""
    edits = _Edits(folder)
    was = draft.was
    if was is not None and again(folder, was) != was:
        raise ChangedMeanwhile(was.file)
    if not draft.key:
        return _system_changes(folder, draft, edits)
    if not draft.id:
        raise Refused(f"type the {draft.form.naming} of the {draft.form.kind} first")
    if was is not None and was.id != draft.id:
        if was.brought:
            raise Refused(f"the care catalogue calls it {was.id}; its id cannot be changed")
        edits.add(was.file, partial(_set_own, was, {draft.by: draft.id, **_formerly(was, draft.id)}))
        if draft.by == "id":
            _rename(folder, edits, lambda reference: _renamed(reference, f"{draft.system}/{was.id}", draft.full))
        elif draft.key == "shifts":
            _rename_shift(folder, edits, was.id, draft.id)
    edits.add(file_of(draft.system), partial(_put, draft))
    return edits.changes()


def again(folder: Path, part: Part) -> Part | None:
    """The same table as it stands in the files now; None where it is gone."""
    return next((each for each in read_parts(folder) if each.key_in_room == part.key_in_room), None)


def renewed(draft: Draft, now: Part) -> Draft:
    """The form over a table that was changed meanwhile: what was typed stays, the rest is as it is now."""
    was, fresh = draft.was, draft_of(now)
    before = draft_of(was).values if was is not None else {}
    typed = {key for key in {*draft.values, *before} if draft.values.get(key) != before.get(key)}
    if typed & {*RULE_KEYS}:
        typed |= {*RULE_KEYS}
    values = {key: value for key, value in fresh.values.items() if key not in typed}
    values.update({key: draft.values[key] for key in typed if key in draft.values})
    came: dict[str, tuple[int | None, ...]] = {}
    for field in draft.form.fields:
        if field.how in NESTED and field.key in typed:
            key = field.key
            values[key], came[key] = _merged(draft, field, before.get(key), fresh.values.get(key))
    values = {key: value for key, value in values.items() if value is not None}
    return msgspec.structs.replace(draft, was=now, values=values, came=came)


def _merged(draft: Draft, field: Field, before: Any, now: Any) -> tuple[Any, tuple[int | None, ...]]:
    """A list or part as it is now, with what was typed into it; of a list also which of its rows each is."""
    typed = draft.values.get(field.key)
    if field.how == PART:
        return merged_keys(before or {}, now or {}, typed or {}) or None, ()
    if field.how == PAIRS:
        names = field.fields[0].key
        tables = [{row.get(names): row for row in rows or []} for rows in (before, now, typed)]
        found, there = merged_keys(*tables), list(tables[1])
        return list(found.values()) or None, tuple(there.index(each) if each in there else None for each in found)
    rows, came = merged_rows(before or [], now or [], typed or [], came_of(draft, field))
    return rows or None, came


def rows_in(draft: Draft, field: Field) -> Sequence[Mapping[str, Any]]:
    """The rows of a field; none of a field that has no rows."""
    found = draft.values.get(field.key)
    return found if field.how in LISTED and isinstance(found, list) else ()


def came_of(draft: Draft, field: Field) -> tuple[int | None, ...]:
    """For each row of a list which of those in the file it is."""
    if field.key in draft.came:
        return draft.came[field.key]
    before = rows_in(draft_of(draft.was), field) if draft.was is not None else ()
    return tuple(place if place < len(before) else None for place in range(len(rows_in(draft, field))))


def _put(draft: Draft, document: Document) -> None:
    wanted = _own_values(draft)
    known = named(document, draft.key, draft.id, draft.by)
    if draft.was is None and known is not None:
        raise Refused(f"{quoted(draft.id)} stands there already; give the new one another {draft.by}")
    if known is not None:
        set_keys(known, wanted)
    elif draft.was is None or any(value is not None for value in wanted.values()):
        after = draft.after or _last_at(document, draft.key, draft.values.get("station"))
        put(document, draft.key, {draft.by: draft.id, **wanted}, draft.by, after)


def _last_at(document: Document, key: str, station: object) -> str | None:
    """The last of a list at a station."""
    tables = document.data.get(key, [])
    found = [table.get("id") for table in tables if isinstance(table, dict) and table.get("station") == station]
    return str(found[-1]) if found else None


def _own_values(draft: Draft) -> dict[str, Any]:
    """The keys of its own table: what a form asks for, less what the care catalogue brings anyway."""
    fields = [field for field in draft.form.fields if field.how != RULE and field.key != draft.by]
    keys = [field.key for field in fields]
    values = {key: draft.values.get(key) for key in (*keys, *(RULE_KEYS if draft.form.ruled else ()))}
    values |= {field.key: _pairs(field, values[field.key]) for field in fields if field.how == PAIRS}
    nested = [field for field in fields if field.how in NESTED]
    own = _differing(draft, values)
    return {**own, **{field.key: _held(draft, field, own[field.key]) for field in nested}}


def _pairs(field: Field, rows: Any) -> Any:
    """What rows of a name and what it says are in the file."""
    if not isinstance(rows, list):
        return rows
    name, said = (each.key for each in field.fields)
    names = [str(row.get(name, "")) for row in rows]
    for each in names:
        if names.count(each) > 1:
            raise Refused(f"{field.label}: {quoted(each)} stands twice; put both together")
    return {each: row.get(said, "") for each, row in zip(names, rows, strict=True)} or None


def _held(draft: Draft, field: Field, value: Any) -> Any:
    """A list or a part as what changes only where it differs; what is neither stays as it is."""
    if field.how == ROWS and isinstance(value, list):
        return Rows(value, came_of(draft, field), field.headers)
    if field.how in (PAIRS, PART) and isinstance(value, dict):
        return Keys(value, field.headers)
    return value


def _differing(draft: Draft, values: dict[str, Any]) -> dict[str, Any]:
    """The keys less what the care catalogue brings anyway; what holds already stays as the file has it."""
    was = draft.was
    if was is None or not was.brought:
        return values
    own, own_rule = was.own or {}, _own_rule(draft, was)
    base = differing(was.brought, own_rule)
    found: dict[str, Any] = {}
    for key, value in values.items():
        if key in RULE_KEYS:
            found[key] = own_rule.get(key)
        elif value == own.get(key, base.get(key)):
            found[key] = own.get(key)
        elif value == base.get(key):
            found[key] = None
        elif value is None:
            found[key] = _emptied(draft.form.field(key))
        else:
            found[key] = value
    return found


def _own_rule(draft: Draft, was: Part) -> dict[str, Any]:
    """What its own table says of the rule."""
    rule = rule_values(draft.values)
    if rule == rule_values(was.values):
        return rule_values(was.own or {})
    return {} if rule == rule_values(was.brought) else rule


def _emptied(field: Field) -> Any:
    """What stands for nothing where the care catalogue says something."""
    if field.how == FLAG:
        return field.default
    raise Refused(f"the care catalogue brings {field.label}; write another, it cannot be left empty")


def _formerly(was: Part, id: str) -> dict[str, Any]:
    """The key that lets what was recorded count on."""
    if was.key not in (*RULED, "equipment", "stock", ""):
        return {}
    before = [each for each in (was.own or {}).get("formerly", []) if each != id]
    return {"formerly": [*before, was.id]}


def _set_own(part: Part, values: Mapping[str, Any], document: Document) -> None:
    table = named(document, part.key, part.id, part.by)
    if table is not None:
        set_keys(table, values)
    else:
        put(document, part.key, {part.by: part.id, **values}, part.by)


# -- systems -------------------------------------------------------------------------------------------


def _system_changes(folder: Path, draft: Draft, edits: _Edits) -> list[FileChange]:
    values = _own_values(draft)
    was = draft.was
    file = file_of(was.id if was is not None else draft.id)
    if not draft.id or (draft.id == ROOM and draft.system != ROOM):
        raise Refused("type the name of the system first")
    if was is None:
        if (folder / file).exists():
            raise Refused(f"there is {file} already; choose another id")
        edits.add(file, lambda document: set_keys(document, values))
        edits.add(ROOM_FILE, lambda document: _on_route(document, lambda route: [*route, draft.id]))
        return edits.changes()
    if was.id == draft.id:
        edits.add(file, lambda document: set_keys(document, values))
        return edits.changes()
    edits.add(file, lambda document: set_keys(document, {**values, **_formerly(was, draft.id)}))
    _rename(folder, edits, lambda reference: _moved(reference, was.id, draft.id))
    edits.add(
        ROOM_FILE,
        lambda document: _on_route(document, lambda route: [draft.id if each == was.id else each for each in route]),
    )
    changes = edits.changes()
    whole = next(change for change in changes if change.file == file)
    return [*moved_file(folder, whole, file_of(draft.id)), *(change for change in changes if change is not whole)]


def copied_system(folder: Path, part: Part, name: str, id: str) -> list[FileChange]:
    """A new system like another, with all that stands in its file; what is recorded of it begins anew."""
    if (folder / file_of(id)).exists():
        raise Refused(f"there is {file_of(id)} already; choose another name")
    edits = _Edits(folder)
    edits.add(part.file, lambda document: set_keys(document, {"name": name, "formerly": None}))
    edits.add(part.file, _without_past)
    _rename(folder, edits, lambda reference: _moved(reference, part.id, id) if reference.file == part.file else None)
    whole = edits.changes()[0]
    route = change_file(folder, ROOM_FILE, lambda document: _on_route(document, lambda found: [*found, id]))
    return [FileChange(file_of(id), None, whole.after), *([route] if route else [])]


def _without_past(document: Document) -> None:
    for key, tables in document.data.items():
        if isinstance(tables, list) and all(isinstance(table, dict) for table in tables):
            for place in range(len(tables)):
                set_keys(Entry(document, key, place), {"formerly": None})


def _on_route(document: Document, change: Callable[[list[str]], list[str]]) -> None:
    route = document.data.get("route")
    if isinstance(route, list):
        set_keys(document, {"route": change(list(route))})


# -- names in other tables -----------------------------------------------------------------------------


def _rename(folder: Path, edits: _Edits, now: Callable[[Reference], str | None]) -> None:
    """Where tables name what is renamed, they name it as it is called then."""
    for reference in load_references(folder):
        if (new := now(reference)) is not None:
            edits.add(reference.file, partial(_rename_in, reference, new))


def _renamed(reference: Reference, old: str, new: str) -> str | None:
    """What a reference to a thing, or to its level or refill, is written as; None: it means another."""
    for part in ("", "-level", "-refill"):
        if reference.full == f"{old}{part}":
            full = f"{new}{part}"
            return full if "/" in reference.written else full.partition("/")[2]
    return None


def _moved(reference: Reference, old: str, new: str) -> str | None:
    """What a reference into a system is written as when that has another id."""
    system, slash, own = reference.written.partition("/")
    return f"{new}/{own}" if slash and system == old else None


def _rename_in(reference: Reference, new: str, document: Document) -> None:
    tables = document.data.get(reference.table, []) if reference.table else [document.data]
    if not isinstance(tables, list) or reference.index >= len(tables):
        return  # the care catalogue says it
    value = tables[reference.index].get(reference.key)

    def named_by_keys(found: dict[str, Any]) -> dict[str, Any]:
        """Such as ``uses = { "room/salt" = "7 kg" }``."""
        return {new if key == reference.written else key: each for key, each in found.items()}

    def replaced(found: Any) -> Any:
        if isinstance(found, list):
            return [replaced(each) for each in found]
        if isinstance(found, dict):
            return {key: replaced(each) if key == reference.within else each for key, each in found.items()}
        return new if found == reference.written else found

    target = Entry(document, reference.table, reference.index) if reference.table else document
    by_keys = isinstance(value, dict) and not reference.within
    set_keys(target, {reference.key: named_by_keys(value) if by_keys else replaced(value)})


def _rename_shift(folder: Path, edits: _Edits, old: str, new: str) -> None:
    def rename(document: Document) -> None:
        for key in RULED:
            tables = document.data.get(key, [])
            for place, table in enumerate(tables if isinstance(tables, list) else []):
                if isinstance(table, dict) and table.get("shift") == old:
                    set_keys(Entry(document, key, place), {"shift": new})

    for path in room_files(folder):
        edits.add(path.relative_to(folder).as_posix(), rename)


# -- order, pauses, ends -------------------------------------------------------------------------------


def moved(folder: Path, parts: Collection[Part], part: Part, step: int, room: Room) -> list[FileChange]:
    """The changes that put it one place on (1) or back (-1) among its like; empty at the end. Raises `Refused`."""
    if not part.key:
        return _moved_system(folder, part, step, room)
    like = [
        each
        for each in parts
        if (each.system, each.key) == (part.system, part.key)
        and (part.key == "stations" or each.station == part.station)
    ]
    place = next(place for place, each in enumerate(like) if each.id == part.id) + step
    if not 0 <= place < len(like):
        return []
    if part.own is None or like[place].own is None:
        raise Refused("what the care catalogue brings stands in its own order, after what the file says")
    other = like[place].id

    def edit(document: Document) -> None:
        places = [table.get(part.by) for table in document.data[part.key]]
        move(document, part.key, part.id, places.index(other), part.by)

    edits = _Edits(folder)
    edits.add(part.file, edit)
    return edits.changes()


def _moved_system(folder: Path, part: Part, step: int, room: Room) -> list[FileChange]:
    listed = change_file(folder, ROOM_FILE, lambda document: None)
    assert listed.after is not None
    route = Document(listed.after.decode("utf-8-sig")).data.get("route", [])
    order = [system.id for system in room.systems]
    place = order.index(part.id) + step
    if not 0 <= place < len(order):
        return []
    order.insert(place, order.pop(order.index(part.id)))
    if order[0] == ROOM and ROOM not in route:
        del order[0]  # where the route does not name it, the room comes first
    change = change_file(folder, ROOM_FILE, lambda document: set_keys(document, {"route": order}))
    return [change] if change else []


def paused(folder: Path, part: Part) -> list[FileChange]:
    """The changes that pause it, or take the pause back. Raises `Refused` for what has none."""
    if part.key not in (*RULED, "") or part.id == ROOM:
        raise Refused(f"a {form_of(part.system, part.key).kind} is not paused; pause the tasks that belong to it")
    if not part.key:
        to = None if part.values.get("paused") else True
        return [change_file(folder, part.file, lambda document: set_keys(document, {"paused": to}))]
    draft = draft_of(part)
    field = draft.form.field("paused")
    return changes_of(folder, filled(draft, field, None if part.values.get("paused") else True, ()))


def retired(folder: Path, part: Part, day: date) -> list[FileChange]:
    """The changes that end it: a task with its last day, a system paused, drained and out of the route."""
    if part.key in RULED:
        draft = draft_of(part)
        draft = filled(draft, draft.form.field("until"), None, ())
        return changes_of(folder, filled(draft, draft.form.field("last_day"), day, ()))
    edits = _Edits(folder)
    if part.key:
        edits.add(part.file, lambda document: remove(document, part.key, part.id, part.by))
        return edits.changes()
    if part.id == ROOM:
        raise Refused("the room itself stays; retire what stands in it")
    edits.add(part.file, lambda document: set_keys(document, {"paused": True, "drained": True}))
    edits.add(
        ROOM_FILE,
        lambda document: _on_route(document, lambda route: [each for each in route if each != part.id]),
    )
    return edits.changes()


# -- what is wrong, and what would be ----------------------------------------------------------------


class Checked(msgspec.Struct, frozen=True, kw_only=True):
    """What the room's files would be with a form saved."""

    changes: tuple[FileChange, ...] = ()
    room: Room | None = None
    """None: it has faults."""
    beside: dict[str, str] = {}
    """What is wrong, by the key of its field; inside a field as ``steps/0/grace`` by row and key, ``units//volume``."""
    elsewhere: tuple[str, ...] = ()
    """What is wrong and belongs to no field."""
    meanwhile: bool = False
    """Whether its table was changed by something else since the form was opened."""


def checked(folder: Path, draft: Draft, room_with: Callable[[Sequence[FileChange]], Room]) -> Checked:
    """Read the room as it would be; `room_with` raises `RoomFaults`. Writes nothing."""
    try:
        changes = tuple(changes_of(folder, draft))
    except ChangedMeanwhile as refused:
        return Checked(elsewhere=(str(refused),), meanwhile=True)
    except Refused as refused:
        return Checked(elsewhere=(str(refused),))
    try:
        return Checked(changes=changes, room=room_with(changes))
    except RoomFaults as found:
        beside, elsewhere = faults_of(draft, found.faults)
        return Checked(changes=changes, beside=beside, elsewhere=tuple(elsewhere))


def faults_of(draft: Draft, faults: Iterable[Fault]) -> tuple[dict[str, str], list[str]]:
    """What is wrong, by the key of its field, and what is wrong elsewhere."""
    label = next((draft.values[key] for key in ("id", "name", "initials") if draft.values.get(key)), "")
    file = file_of(draft.system if draft.key else draft.id)
    table = f'[[{draft.key}]] "{label}"' if draft.key else ""
    beside: dict[str, str] = {}
    elsewhere: list[str] = []
    for found in faults:
        fault = found if draft.key else _inside_file(draft.form, found)
        key = _field_of(draft.form, fault)
        if fault.file == file and fault.table == table and key is not None:
            beside.setdefault(key, in_form(draft.form, key, fault))
        else:
            elsewhere.append(str(found))
    return beside, elsewhere


def _inside_file(form: Form, fault: Fault) -> Fault:
    """A fault of the table ``[units]`` as one inside the key of the file."""
    for field in form.fields:
        if field.how == PART and fault.table == f"[{field.key}]":
            return msgspec.structs.replace(fault, table="", key=field.key, inner=fault.key)
    return fault


def _field_of(form: Form, fault: Fault) -> str | None:
    """The key of the field that a fault belongs to."""
    missing = fault.missing.key if fault.missing is not None else ""
    key = fault.key or missing
    if key in RULE_KEYS:
        key = RULE
    field = next((field for field in form.fields if field.key == key), None)
    if field is None or field.how not in NESTED or (fault.row is None and not fault.inner):
        return key if field is not None else None
    inner = fault.inner or missing
    known = any(each.key == inner for each in field.fields)
    return f"{key}/{'' if fault.row is None else fault.row}/{inner if known else ''}"
