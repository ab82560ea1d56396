"""Whatever a room's files hold, the loader returns a room or says what is wrong."""

from __future__ import annotations

import re

from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.core.errors import NoRoom
from rounds.core.model import Room
from rounds.storage.room_files import load_room
from tests.storage.test_following_keys import FOLLOWED as REEF
from tests.storage.test_following_keys import STAFFED as ROOM
from tests.support import room_from, write_room

VALUE = re.compile(r"(?<== ).+$", re.MULTILINE)
PLACES = {"room": list(VALUE.finditer(ROOM)), "reef": list(VALUE.finditer(REEF))}

values = st.one_of(
    st.sampled_from(
        [
            '""',
            '" "',
            "0",
            "-1",
            "1.5",
            "nan",
            "-inf",
            "1e400",
            "true",
            "[]",
            "[[]]",
            "{}",
            "{a = 1}",
            '["a", 1]',
            '[{id = "a"}]',
            "2026-01-05",
            "2026-01-05T09:00:00",
            "2026-01-05T09:00:00Z",
            "09:00:00",
            "0001-01-01",
            "9999-12-31",
            '"FREQ=DAILY"',
            '"99999999999 L"',
            '"-1 dKH"',
            '"1 day"',
            '"100 years"',
            '"100 years "',
            '"24:00"',
            '"\\u0000"',
            '"' + "9" * 400 + ' L"',
            "9223372036854775808",
            '"Europe"',
            '"room"',
            '"reef/cup"',
            '"[bold]"',
            '"\\U0001F41F"',
            '"1 L/day"',
        ]
    ),
    st.text(st.characters(exclude_categories=["Cs", "Cc"], exclude_characters='"\\'), max_size=20).map('"{}"'.format),
    st.integers().map(str),
    st.binary(max_size=6).map(lambda raw: raw.decode("latin-1")),
)


@st.composite
def rooms(draw):
    """A good room with a few of its values replaced, its lines dropped or doubled."""
    texts = {"room": ROOM, "reef": REEF}
    for name in draw(st.lists(st.sampled_from(["room", "reef", "reef"]), min_size=1, max_size=3)):
        text = texts[name]
        if draw(st.integers(0, 4)):
            places = list(VALUE.finditer(text))
            if not places:
                continue
            place = draw(st.sampled_from(places))
            texts[name] = text[: place.start()] + draw(values) + text[place.end() :]
        else:
            lines = text.split("\n")
            number = draw(st.integers(0, len(lines) - 1))
            texts[name] = "\n".join(
                lines[:number] + lines[number : number + 1] * draw(st.sampled_from([0, 2])) + lines[number + 1 :]
            )
    return texts


@given(rooms())
@settings(max_examples=150)
def test_a_changed_room_is_read_or_refused(texts):
    """Only the program's own refusal ever comes out, and it has at least one sentence."""
    try:
        found = room_from(texts["room"], reef=texts["reef"])
    except NoRoom as refusal:
        found = str(refusal)
    assert isinstance(found, Room) or ": " in found


@given(content=st.binary(max_size=200))
@settings(max_examples=60)
def test_any_bytes_are_read_or_refused(tmp_path_factory, content):
    """The same of any file."""
    folder = write_room(tmp_path_factory.mktemp("room"), ROOM)
    (folder / "systems" / "reef.toml").write_bytes(content)
    try:
        found = load_room(folder)
    except NoRoom as refusal:
        found = str(refusal)
    assert isinstance(found, Room) or ": " in found
