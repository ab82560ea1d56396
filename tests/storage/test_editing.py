"""Changing a room's files from inside: what is not touched stays byte for byte, what was asked is what it says."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.errors import Refused
from rounds.storage.editing import (
    Keys,
    Rows,
    change_file,
    move,
    named,
    put,
    remove,
    set_keys,
)
from rounds.storage.toml_text import Document, _cut_pieces

DEMO = Path(__file__).parents[2] / "demo"
DEMO_FILES = [DEMO / "room.toml", *sorted((DEMO / "systems").glob("*.toml"))]

HOSTILE = {
    "empty": "",
    "comments alone": "# nothing\n\n# yet\n",
    "no key before the first table": "# the sump\n\n[[tasks]]\nid = 'a'\n",
    "no line end at the end": "name = 'x'\n[[tasks]]\nid = 'a'",
    "comments everywhere": (
        "# top\nname = 'x' # name\n# under\n\n# ---- a ----\n\n# on top\n[[tasks]] # head\n# first\nid = 'a' # id\n"
        "# last\n\n# ---- b ----\n\n[[tasks]]\nid = 'b'\n# end\n\n# after all\n"
    ),
    "inline tables": "tasks = [{ id = 'a', at = ['09:00'] }, { id = 'b' }] # all\nname = 'x'\n",
    "inline tables over lines": "name = 'x'\ntasks = [\n  { id = 'a' }, # one\n  { id = 'b' },\n]\n",
    "dotted keys": "name = 'x'\nunits.alkalinity = 'dKH'\nunits.volume = 'L'\n[[tasks]]\nid = 'a'\nx.y.z = 1\n",
    "a list in several places": (
        "name = 'x'\n\n[[tasks]]\nid = 'a'\n\n# readings\n[[readings]]\nid = 'r'\n\n[[tasks]]\nid = 'b'  # bee\n\n"
        "[[readings]]\nid = 's'\n"
    ),
    "tables inside tables": (
        "[[tasks]]\nid = 'a'\n\n[[tasks.draws]]\nfrom = 'x'\n\n[tasks.more]\ny = 1\n\n[[tasks]]\nid = 'b'\n"
        "[units]\na='b'\n[units.deep]\nc = 2\n"
    ),
    "headers inside lists and texts": (
        "name = '''\n[[tasks]]\nid = \"no\"\n# no comment'''\nroute = [\n[\n'a'\n],\n['b']\n]\n[[tasks]]\nid = 'a'\n"
        'steps = [\n  \'[[tasks]]\',\n  # [[tasks]]\n]\nnote = """\n# still the text"""\n# a comment\n'
        "[[tasks]]\nid='b'\n"
    ),
    "quoted headers and blanks in them": (
        "[[ 'tasks' ]]\nid = 'a'\n  [[\"tasks\"]]  # b\n  id = 'b'\n[ units ]\na = 'b'\n"
    ),
    "both line ends": "name = 'x'\r\n\n[[tasks]]\r\nid = 'a'\n\r\n[[tasks]]\nid = 'b'\r\n",
    "tabs and blanks at line ends": "name\t=\t'x'  \n\n\t[[tasks]]\t\n\tid = 'a'\t\n \t\n[[tasks]] \nid = 'b'   \n",
    "many numbers": (
        "a = 0x1F\nb = 1_000\nc = 1e3\nd = 1979-05-27T07:32:00Z\ne = 07:32:00\n[[tasks]]\nid = 'a'\nf = +1.50\n"
    ),
}

ODD_NAMES = (
    'Skimmer "old" cup',
    "back\\slash and 'quotes'",
    "[[tasks]] # no comment",
    "مضخة \u202e العودة",
    "🐠 🪸 tank",
    "x" * 200,
    "two\nlines\tand a tab",
    "bell \x07 and delete \x7f",
    "\ufeffmark \u2028 break",
    "",
)


def changed(text: str, edit: Callable[[Document], object]) -> str:
    """What an edit makes of a text; fails when it would say anything but what was asked."""
    document = Document(text)
    edit(document)
    assert tomllib.loads(document.text) == document.data
    return document.text


# -- nothing asked, nothing changed ----------------------------------------------------------------------


@pytest.mark.parametrize("path", DEMO_FILES, ids=lambda path: path.stem)
def test_the_demo_files_come_back_byte_for_byte(path: Path) -> None:
    change = change_file(path.parent, path.name, lambda document: None)
    assert change.after == path.read_bytes()
    assert not change


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"], ids=["plain", "with a mark"])
@pytest.mark.parametrize("end", ["\n", "\r\n"], ids=["LF", "CRLF"])
def test_hostile_files_come_back_byte_for_byte(tmp_path: Path, text: str, mark: bytes, end: str) -> None:
    content = mark + text.replace("\r\n", "\n").replace("\n", end).encode() if end != "\n" else mark + text.encode()
    (tmp_path / "room.toml").write_bytes(content)
    assert change_file(tmp_path, "room.toml", lambda document: None).after == content


@pytest.mark.parametrize("path", DEMO_FILES, ids=lambda path: path.stem)
def test_setting_what_stands_there_changes_nothing(path: Path) -> None:
    def again(document: Document) -> None:
        set_keys(document, dict(document.data))
        for key, tables in list(document.data.items()):
            if isinstance(tables, list) and tables and isinstance(tables[0], dict):
                by = "initials" if key == "keepers" else "name" if key == "shifts" else "id"
                for table in list(tables):
                    put(document, key, dict(table), by)

    assert not change_file(path.parent, path.name, again)


# -- one change ------------------------------------------------------------------------------------------


def test_a_key_is_changed_with_its_comment_and_nothing_else() -> None:
    text = HOSTILE["a list in several places"]
    after = changed(text, lambda d: set_keys(named(d, "tasks", "b"), {"id": "c"}))
    assert after == text.replace("id = 'b'  # bee", 'id = "c"  # bee')


def test_a_new_key_comes_behind_the_others_of_its_table() -> None:
    text = "[[tasks]]\nid = 'a'\n\n[[tasks]]\nid = 'b'\n"
    after = changed(text, lambda d: set_keys(named(d, "tasks", "a"), {"minutes": 5}))
    assert after == "[[tasks]]\nid = 'a'\nminutes = 5\n\n[[tasks]]\nid = 'b'\n"


def test_a_key_of_the_file_comes_before_its_tables() -> None:
    text = "name = 'x'\n\n# tasks\n[[tasks]]\nid = 'a'\n"
    after = changed(text, lambda d: set_keys(d, {"volume": "960 L"}))
    assert after == "name = 'x'\nvolume = \"960 L\"\n\n# tasks\n[[tasks]]\nid = 'a'\n"


def test_a_key_is_taken_out_with_its_comment() -> None:
    text = "[[tasks]]\nid = 'a'\npaused = true # ill\ntitle = 'A'\n"
    after = changed(text, lambda d: set_keys(named(d, "tasks", "a"), {"paused": None}))
    assert after == "[[tasks]]\nid = 'a'\ntitle = 'A'\n"


def test_a_new_table_comes_before_a_divider_of_what_follows() -> None:
    text = "[[tasks]]\nid = 'a'\n# his\n\n# ---- readings ----\n\n[[readings]]\nid = 'r'\n"
    after = changed(text, lambda d: put(d, "tasks", {"id": "b"}))
    assert after == text.replace("# his\n", '# his\n\n[[tasks]]\nid = "b"\n')


def test_a_new_table_can_come_after_another_than_the_last() -> None:
    text = "[[tasks]]\nid = 'a'\n\n# ---- sump ----\n\n[[tasks]]\nid = 'b'\n"
    after = changed(text, lambda d: put(d, "tasks", {"id": "c"}, after="a"))
    assert after == "[[tasks]]\nid = 'a'\n\n[[tasks]]\nid = \"c\"\n\n# ---- sump ----\n\n[[tasks]]\nid = 'b'\n"


def test_the_first_table_of_a_list_comes_last() -> None:
    text = "name = 'x'\n\n[[tasks]]\nid = 'a'"
    after = changed(text, lambda d: put(d, "readings", {"id": "r"}))
    assert after == "name = 'x'\n\n[[tasks]]\nid = 'a'\n\n[[readings]]\nid = \"r\"\n"


def test_a_table_goes_with_its_comments_and_leaves_the_divider() -> None:
    text = "[[tasks]]\nid = 'a'\n\n# ---- sump ----\n\n# his\n[[tasks]]\nid = 'b'\n# his too\n\n[[tasks]]\nid = 'c'\n"
    after = changed(text, lambda d: remove(d, "tasks", "b"))
    assert after == "[[tasks]]\nid = 'a'\n\n# ---- sump ----\n\n[[tasks]]\nid = 'c'\n"


@pytest.mark.parametrize(("id", "place"), [("c", 1), ("b", 2)])
def test_a_table_changes_places_under_its_divider(id: str, place: int) -> None:
    text = "[[tasks]]\nid='a'\n\n# ---- sump ----\n\n[[tasks]]\nid='b'\n\n# cup\n[[tasks]]\nid='c' # see\n"
    after = changed(text, lambda d: move(d, "tasks", id, place))
    assert after == "[[tasks]]\nid='a'\n\n# ---- sump ----\n\n# cup\n[[tasks]]\nid='c' # see\n\n[[tasks]]\nid='b'\n"


def test_a_table_takes_those_inside_it_along() -> None:
    text = HOSTILE["tables inside tables"]
    after = changed(text, lambda d: move(d, "tasks", "a", 1))
    assert after.index("id = 'b'") < after.index("id = 'a'") < after.index("[[tasks.draws]]") < after.index("[units]")


@pytest.mark.parametrize("edit", [lambda d: put(d, "tasks", {"id": "c"}), lambda d: remove(d, "tasks", "a"),
    lambda d: move(d, "tasks", "b", 0), lambda d: set_keys(named(d, "tasks", "a"), {"title": "A"})],
    ids=["put", "remove", "move", "set"])  # fmt: skip
def test_tables_in_one_line_can_be_changed(edit: Callable[[Document], object]) -> None:
    after = changed(HOSTILE["inline tables"], edit)
    assert after.endswith("# all\nname = 'x'\n")


@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_names_say_what_was_typed(name: str) -> None:
    after = changed(
        HOSTILE["comments everywhere"], lambda d: put(d, "tasks", {"id": "z", "title": name, "steps": [name]})
    )
    table = tomllib.loads(after)["tasks"][-1]
    assert table == {"id": "z", "title": name, "steps": [name]}
    again = changed(after, lambda d: set_keys(named(d, "tasks", "a"), {"title": name}))
    assert tomllib.loads(again)["tasks"][0]["title"] == name


def test_half_a_character_is_refused() -> None:
    with pytest.raises(Refused, match="half a character"):
        changed("", lambda d: set_keys(d, {"name": "\ud83d"}))


def test_windows_line_ends_and_the_mark_are_kept(tmp_path: Path) -> None:
    (tmp_path / "room.toml").write_bytes(b"\xef\xbb\xbfname = 'x'\r\n\r\n[[tasks]]\r\nid = 'a'\r\n")
    change = change_file(tmp_path, "room.toml", lambda d: put(d, "tasks", {"id": "b", "steps": ["long " * 30, "x"]}))
    assert change.after is not None
    assert change.after.startswith(b"\xef\xbb\xbfname = 'x'\r\n\r\n[[tasks]]\r\nid = 'a'\r\n\r\n[[tasks]]\r\n")
    assert b"\n" not in change.after.replace(b"\r\n", b"")


def test_a_table_torn_in_two_is_refused(tmp_path: Path) -> None:
    """What is inside a table but stands behind another one would stay behind."""
    (tmp_path / "room.toml").write_text(
        "[[tasks]]\nid='a'\n[[tasks]]\nid='b'\n[units]\nx=1\n[[tasks.draws]]\nfrom='x'\n"
    )
    with pytest.raises(Refused, match=r"room\.toml .* change it by hand"):
        change_file(tmp_path, "room.toml", lambda d: remove(d, "tasks", "b"))


def test_a_file_that_is_not_toml_is_refused(tmp_path: Path) -> None:
    (tmp_path / "room.toml").write_text("name = ")
    with pytest.raises(Refused, match=r"room\.toml cannot be changed from here"):
        change_file(tmp_path, "room.toml", lambda d: None)


# -- any changes -----------------------------------------------------------------------------------------

TEXTS = st.text(st.characters(codec="utf-8"), max_size=20)
VALUES = st.one_of(
    TEXTS, st.booleans(), st.integers(-(10**6), 10**6), st.dates(), st.times().map(lambda t: t.replace(microsecond=0)),
    st.lists(TEXTS, max_size=4), st.floats(allow_nan=False, allow_infinity=False),
    st.lists(st.dictionaries(st.sampled_from(["from", "amount"]), TEXTS), max_size=2),
)  # fmt: skip
KEYS = st.sampled_from(["title", "steps", "minutes", "odd key", "æ"])
IDS = st.sampled_from(["a", "b", "c", "r", "s", "new"])
EDITS = st.one_of(
    st.tuples(st.just("set"), IDS, KEYS, VALUES | st.none()),
    st.tuples(st.just("put"), IDS, KEYS, VALUES),
    st.tuples(st.just("remove"), IDS),
    st.tuples(st.just("move"), IDS, st.integers(0, 5)),
)


def _apply(tables: list[dict[str, Any]], edit: tuple[Any, ...]) -> list[dict[str, Any]]:
    """The same edit on plain tables."""
    what, id, *rest = edit
    found = next((table for table in tables if table.get("id") == id), None)
    others = [table for table in tables if table is not found]
    if what == "put" and found is None:
        return [*tables, {"id": id, rest[0]: rest[1]}]
    if found is None:
        return tables
    if what == "remove":
        return others
    if what == "move":
        place = min(rest[0], len(others))
        return [*others[:place], found, *others[place:]]
    key, value = rest
    new = {**found, key: value} if value is not None else {k: v for k, v in found.items() if k != key}
    return [new if table is found else table for table in tables]


def _edit(document: Document, edit: tuple[Any, ...]) -> None:
    what, id, *rest = edit
    if what == "put":
        put(document, "tasks", {"id": id, rest[0]: rest[1]})
    elif what == "remove":
        remove(document, "tasks", id)
    elif what == "move":
        move(document, "tasks", id, min(rest[0], len(document.data.get("tasks", [1])) - 1))
    elif (table := named(document, "tasks", id)) is not None:
        set_keys(table, {rest[0]: rest[1]})


@given(text=st.sampled_from(sorted(HOSTILE.values())), edits=st.lists(EDITS, min_size=1, max_size=5))
def test_any_edits_say_what_was_asked_and_leave_the_rest(text: str, edits: list[tuple[Any, ...]]) -> None:
    """Read again, the file says just that; every other table stands in it as it stood."""
    before, document = Document(text), Document(text)
    expected: dict[str, Any] = tomllib.loads(text)
    touched = {edit[1] for edit in edits}
    for edit in edits:
        _edit(document, edit)
        tables = _apply(expected.get("tasks", []), edit)
        expected = {**expected, "tasks": tables} if tables else {k: v for k, v in expected.items() if k != "tasks"}
    assert tomllib.loads(document.text) == expected
    inline = bool(before.data.get("tasks")) and not before.listed("tasks")
    for block in before.blocks[1 if inline else 0 :]:
        own = tomllib.loads(block.own)
        for part in block.path:
            own = own[part][0] if isinstance(own[part], list) else own[part]
        if block.path[:1] != ("tasks",) or own.get("id") not in touched:
            assert (block.lead + block.own + block.within).rstrip("\n") in document.text


# -- tables inside tables ----------------------------------------------------------------------------------

NESTED = {
    "headers": (
        "# all\n[[protocols]]\nid = 'a' # it\n\n# first\n[[protocols.steps]] # head\ntitle = 'one' # said\n"
        "# under one\n\n# ---- later ----\n\n[[protocols.steps]]\ntitle='two'\nminutes = 0x05\n\n"
        "# on top of three\n[[protocols.steps]]\n  title = 'three'\n# end\n\n# ---- more ----\n\n"
        "[[protocols]]\nid = 'b'\n[[protocols.steps]]\ntitle = 'other'\n"
    ),
    "headers to the end of the file": "[[protocols]]\nid = 'a'\n[[protocols.steps]]\ntitle = 'one'",
    "another table between them": (
        "[[protocols]]\nid = 'a'\n[[protocols.steps]]\ntitle = 'one'\n[protocols.more] # more\nx = 1\n"
        "[[protocols.steps]]\ntitle = 'two'\n[protocols.steps.deep]\ny = 2\n"
    ),
    "one line": "[[protocols]]\nid = 'a'\nsteps = [{ title = 'one' }, { title='two',minutes=0x05 }] # all\nz=1\n",
    "over lines": (
        "[[protocols]]\nid = 'a'\nsteps = [\n  # the first\n  { title = 'one' }, # said\n\n"
        "  {title = 'two, [or] # so', minutes = 5,x=[ 1,2 ]} , # odd\n  { title = 'three' } # last\n] # all\nz = 1\n"
    ),
    "over lines with a comma behind the last": (
        '[[protocols]]\nid = \'a\'\nsteps = [ { title = \'one\' }, # said\n  { "title" = """two""" }, # two\n]\n'
    ),
    "a comment before a comma": "[[protocols]]\nid='a'\nsteps=[{title='one'} # so\n, {title='two'}]\n",
    "the whole list in one line": "protocols = [{ id = 'a', steps = [{ title = 'one' }] }] # all\n",
    "none yet": "[[protocols]]\nid = 'a'\n\n# ---- more ----\n\n[[protocols]]\nid = 'b'\n",
}
ROW_KEYS = st.sampled_from(["title", "minutes", "takes", "odd key"])
ROW_VALUES = st.one_of(TEXTS, st.sampled_from(ODD_NAMES), st.integers(0, 99), st.lists(TEXTS, max_size=3))
ROW_EDITS = st.one_of(
    st.tuples(st.just("set"), st.integers(0, 4), ROW_KEYS, ROW_VALUES | st.none()),
    st.tuples(st.just("add"), st.integers(0, 4), ROW_VALUES),
    st.tuples(st.just("remove"), st.integers(0, 4)),
    st.tuples(st.just("move"), st.integers(0, 4), st.integers(0, 4)),
)


def _row_edited(rows: list[tuple[dict[str, Any], int | None]], edit: tuple[Any, ...]) -> None:
    what, place, *rest = edit
    if what == "add":
        rows.insert(place, ({"title": rest[0]}, None))
    elif place < len(rows):
        table, came = rows.pop(place)
        if what == "set":
            rows.insert(place, ({**table, rest[0]: rest[1]}, came))
        elif what == "move":
            rows.insert(rest[0], (table, came))


def _texts_of_rows(document: Document) -> list[str]:
    """The rows of the first protocol as they are written, each with its own comments."""
    block = document.listed("protocols")[0]
    inner = [each for each in block.inner if each.path == ("protocols", "steps")]
    if inner or "steps" not in document.data["protocols"][0]:
        return [f"{each.lead}{each.own}{each.within}".strip("\n") for each in inner]
    cut = _cut_pieces(block.value_of("steps"))
    return [each.text for each in cut.pieces] if cut is not None else []


@given(
    text=st.sampled_from(sorted(NESTED.values())),
    edits=st.lists(ROW_EDITS, min_size=1, max_size=4),
    headers=st.booleans(),
)
def test_any_edits_of_rows_say_what_was_asked_and_leave_the_other_rows(
    text: str, edits: list[tuple[Any, ...]], headers: bool
) -> None:
    document = Document(text)
    expected: dict[str, Any] = tomllib.loads(text)
    old = expected["protocols"][0].get("steps", [])
    written = _texts_of_rows(document) if document.listed("protocols") else []
    rows: list[tuple[dict[str, Any], int | None]] = [(table, place) for place, table in enumerate(old)]
    for edit in edits:
        _row_edited(rows, edit)
    tables = [{key: value for key, value in table.items() if value is not None} for table, _ in rows]
    came = tuple(place for _, place in rows)
    set_keys(named(document, "protocols", "a"), {"steps": Rows(tables, came, headers)})
    if tables:
        expected["protocols"][0]["steps"] = tables
    else:
        expected["protocols"][0].pop("steps", None)
    assert tomllib.loads(document.text) == document.data == expected
    for table, place in rows:
        if place is not None and place < len(written) and table == old[place]:
            assert written[place] in document.text
    before = Document(text)
    for block in (before.listed("protocols") or before.blocks)[1:]:
        assert block.text.strip("\n") in document.text


@pytest.mark.parametrize("text", NESTED.values(), ids=NESTED)
def test_rows_as_they_stand_change_nothing(text: str) -> None:
    document = Document(text)
    rows = document.data["protocols"][0].get("steps", [])
    set_keys(named(document, "protocols", "a"), {"steps": Rows(rows, tuple(range(len(rows))))})
    assert document.text == text


def test_a_row_moves_with_its_comments() -> None:
    text = NESTED["over lines"]
    rows = tomllib.loads(text)["protocols"][0]["steps"]
    after = changed(text, lambda d: set_keys(named(d, "protocols", "a"), {"steps": Rows([rows[2], rows[0]], (2, 0))}))
    assert after == (
        "[[protocols]]\nid = 'a'\nsteps = [\n  { title = 'three' }, # last\n  # the first\n  { title = 'one' } # said\n"
        "] # all\nz = 1\n"
    )


def test_a_step_between_others_and_one_that_is_changed() -> None:
    text = NESTED["headers"]
    rows = tomllib.loads(text)["protocols"][0]["steps"]
    new = [rows[0], {"title": "new", "takes": ["a"]}, {**rows[1], "minutes": 6}, rows[2]]
    after = changed(
        text, lambda d: set_keys(named(d, "protocols", "a"), {"steps": Rows(new, (0, None, 1, 2), headers=True)})
    )
    assert after == text.replace("0x05", "6").replace(
        "# under one\n", '# under one\n\n[[protocols.steps]]\ntitle = "new"\ntakes = ["a"]\n'
    )


def test_a_divider_before_a_step_that_goes_stays_before_the_next() -> None:
    text = NESTED["headers"]
    rows = tomllib.loads(text)["protocols"][0]["steps"]
    after = changed(text, lambda d: set_keys(named(d, "protocols", "a"), {"steps": Rows([rows[0], rows[2]], (0, 2))}))
    assert after == text.replace("[[protocols.steps]]\ntitle='two'\nminutes = 0x05\n\n", "")
    after = changed(text, lambda d: set_keys(named(d, "protocols", "a"), {"steps": Rows(rows[:1], (0,))}))
    assert "# ---- later ----" in after
    assert "'two'" not in after
    assert "# on top of three" not in after


def test_the_first_steps_of_a_protocol_get_headers() -> None:
    after = changed(
        NESTED["none yet"],
        lambda d: set_keys(
            named(d, "protocols", "a"), {"steps": Rows([{"title": "x"}, {"title": "y"}], (None, None), True)}
        ),
    )
    assert after == NESTED["none yet"].replace(
        "id = 'a'\n", 'id = \'a\'\n\n[[protocols.steps]]\ntitle = "x"\n\n[[protocols.steps]]\ntitle = "y"\n'
    )


def test_a_list_that_no_longer_fits_has_a_line_a_row() -> None:
    text = "[[lights]]\nid = 'a'\nchannels = [{ name = 'blue' }]\n"
    rows = [{"name": "blue"}, {"name": "w" * 100}]
    after = changed(text, lambda d: set_keys(named(d, "lights", "a"), {"channels": Rows(rows, (0, None))}))
    assert "channels = [\n" in after
    assert after.count("\n") == 6


PARTS = {
    "a header": "name = 'x'\n\n# seen and typed\n[units] # so\nvolume = 'L' # litres\n# end\n\n[[zones]]\nid = 'a'\n",
    "braces": "name = 'x'\nunits = { volume = 'L',alkalinity='dKH' } # so\n[[zones]]\nid = 'a'\n",
    "dotted": "units.volume = 'L' # litres\nname = 'x'\nunits.alkalinity = 'dKH'\n[[zones]]\nid = 'a'\n",
    "none yet": "name = 'x'\n\n# zones\n[[zones]]\nid = 'a'\n",
    "nothing at all": "",
}


@given(
    text=st.sampled_from(sorted(PARTS.values())),
    units=st.dictionaries(
        st.sampled_from(["volume", "alkalinity", "odd key", "salinity"]), TEXTS | st.sampled_from(ODD_NAMES)
    ),
    headers=st.booleans(),
)
def test_any_keys_of_a_table_say_what_was_asked(text: str, units: dict[str, str], headers: bool) -> None:
    document = Document(text)
    rest = {key: value for key, value in document.data.items() if key != "units"}
    set_keys(document, {"units": Keys(units, headers)})
    assert tomllib.loads(document.text) == document.data == {**rest, **({"units": units} if units else {})}
    for comment in ("# so", "# seen and typed", "# zones"):
        assert not units or (comment in text) == (comment in document.text)


def test_a_key_of_a_table_is_changed_and_nothing_else() -> None:
    for name in ("a header", "braces", "dotted"):
        keys = {**tomllib.loads(PARTS[name])["units"], "volume": "US gal"}
        after = changed(PARTS[name], lambda d, keys=keys: set_keys(d, {"units": Keys(keys)}))  # type: ignore[misc]
        assert after == PARTS[name].replace("volume = 'L'", 'volume = "US gal"')


def test_the_first_units_stand_directly_behind_the_keys_of_the_file() -> None:
    after = changed(PARTS["none yet"], lambda d: set_keys(d, {"units": Keys({"volume": "L"}, headers=True)}))
    assert after == "name = 'x'\n\n[units]\nvolume = \"L\"\n\n# zones\n[[zones]]\nid = 'a'\n"
