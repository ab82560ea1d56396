"""Texts of users are shown as they stand: no markup is read in them, and nothing in them reaches the terminal."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from rounds.core.words import plain
from tests.ui.app import (
    NARROW,
    NOW,
    TALL,
    WIDE,
    choose,
    flat,
    record,
    records,
    shown,
    to,
    until,
    walk,
    walking,
    write,
    write_room,
)

HOSTILE = {
    "markup": "[bold]x[/bold] [/sump] [@click=app.quit]y[/] [x [$ [[ ]",
    "controls": "red \x1b[31mtext\x1b[0m \x1b]0;title\x07 \x9b31m \x85 a\nb\r\nc\td e\u2028f\u200bg\ufeff \x00",
    "directions and scripts": "abc \u202edef\u202c \u2066ghi\u2069 ריף אלמוגים شعاب 🐠🪸👩🏽‍🔬 1️⃣ e\u0301\u0301",
    "wide and long": "珊瑚水槽" * 12 + "unbroken" * 19,
}


def hostile_room(folder: Path, text: str, shift: str = "early") -> Path:
    """Every text that a keeper can write is `text`: names, titles, steps, reasons, notes, tools, keepers, `shift`."""
    said, shift = (json.dumps(each, ensure_ascii=False).replace("\x7f", "\\u007f") for each in (text, shift))
    room = f"""
name = {said}
timezone = "Europe/Dublin"
day_begins = "04:00"
began = 2026-11-20
[[zones]]
id = "A"
name = {said}
tools = {said}
[[zones]]
id = "D"
name = {said}
tools = {said}
[[keepers]]
initials = "TV"
name = {said}
[[shifts]]
name = {shift}
begins = "07:00"
ends = "13:00"
"""
    system = f"""
name = {said}
zone = "ZONE"
[[stations]]
id = "sump"
name = {said}
[[tasks]]
id = "cup"
station = "sump"
title = {said}
again_after = "1 day"
steps = [{said}]
look_for = {said}
caution = {said}
takes = ["ph"]
shift = {shift}
[[tasks]]
id = "feed"
station = "sump"
title = {said}
rrule = "FREQ=DAILY"
at = "12:00"
make_up = false
[[readings]]
id = "ph"
quantity = "pH"
name = {said}
station = "sump"
low = "8 pH"
high = "8.3 pH"
act_high = "9 pH"
act_steps = [{said}]
"""
    texts = {"room": room, "one": system.replace("ZONE", "A"), "two": system.replace("ZONE", "D")}
    return write_room(folder, texts)


async def walk_through(folder: Path, text: str, size: tuple[int, int]) -> None:
    """Every screen that shows texts of users, and every record that takes one."""
    async with walking(folder, size=size) as pilot:
        painted = [shown(pilot)]
        await to(pilot, "one/feed")
        await pilot.press("o")
        await write(pilot, "note", enter=False)
        focused = pilot.app.focused
        focused.value = text
        await pilot.press("enter")
        await until(pilot, lambda: len(records(folder)) == 1)
        painted.append(shown(pilot))
        await to(pilot, "one/feed")
        await pilot.press("c", "up")
        painted.append(shown(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: len(records(folder)) == 2)
        painted.append(shown(pilot))
        for keys in (("h",), ("H",), ("question_mark",), ("f2",)):
            await pilot.press(*keys)
            await until(pilot, lambda: pilot.app.screen is not walk(pilot))
            painted.append(shown(pilot))
            await pilot.press("escape")
            await until(pilot, lambda: pilot.app.screen is walk(pilot))
        for key in ("g", "f", "k"):
            await choose(pilot, key, "")
            painted.append(shown(pilot))
            await pilot.press("escape")
            await until(pilot, lambda: pilot.app.screen is walk(pilot))
        await to(pilot, "two/cup")
        await pilot.press("enter")
        await write(pilot, "9.4")
        await until(pilot, lambda: len(records(folder)) == 3)
        await until(pilot, lambda: "Act now" in shown(pilot))
        painted.append(shown(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: "rinse them well" in shown(pilot))
        painted.append(shown(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        await pilot.press("u")
        await until(pilot, lambda: len(records(folder)) == 4)
        painted.append(shown(pilot))
        await pilot.resize_terminal(*NARROW)
        for key in ("r", "r", "w", "m"):
            await pilot.press(key)
            painted.append(shown(pilot))
    for screen in painted:
        wrong = {character for character in screen if character != "\n" and plain(character) != character}
        assert not wrong, f"{wrong!a} is painted:\n{screen}"
    assert records(folder)[0]["note"] == text.strip()


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
async def test_a_hostile_text_is_shown_as_it_stands(tmp_path: Path, text: str) -> None:
    """In every place where a keeper can put a text."""
    folder = hostile_room(tmp_path / "room", text)
    record(folder, "could not", "one/feed", "2026-11-24T12:10", by="TV", reason=text)
    record(folder, "done", "two/cup", "2026-11-24T12:10", by=text, note=text, words=(text,))
    await walk_through(folder, text, WIDE)


async def test_markup_is_text(tmp_path: Path) -> None:
    """Brackets are painted as brackets in title, station, note, history and details."""
    text = "[bold]cup[/sump] [x]"
    folder = hostile_room(tmp_path / "room", text)
    record(folder, "done", "one/cup", "2026-11-24T08:10", by="TV", note=text)
    async with walking(folder, size=TALL) as pilot:
        assert flat(pilot).count(text) >= 6
        await pilot.press("h")
        await until(pilot, lambda: "History" in flat(pilot))
        assert flat(pilot).count(text) >= 2


async def test_a_long_title_never_pushes_its_state_off_the_row(tmp_path: Path) -> None:
    """However wide its characters, the row keeps the words of its state and its width."""
    folder = hostile_room(tmp_path / "room", "珊瑚" * 60)
    async with walking(folder) as pilot:
        assert "days late" in shown(pilot)
    async with walking(folder, size=WIDE) as pilot:
        assert "days late" in shown(pilot)


texts = st.text(
    st.characters(exclude_categories=["Cs"]) | st.sampled_from("[]/\\$@=\"'\x1b\x9b\u202e\u2066\u200f🐠\n\t{}"),
    min_size=1,
    max_size=60,
).filter(lambda text: text.strip() and plain(text).strip())


@given(text=texts)
@settings(max_examples=3, phases=[Phase.generate], suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_text_of_a_user_breaks_the_app_or_reaches_the_terminal(
    tmp_path_factory: pytest.TempPathFactory, text: str
) -> None:
    """Whatever stands in the room's files and is typed."""
    folder = tmp_path_factory.mktemp("hostile") / "room"
    os.environ["ROUNDS_NOW"] = NOW
    hostile_room(folder, text)
    record(folder, "could not", "one/feed", "2026-11-24T12:10", by="TV", reason=text)

    async def run() -> None:
        async with walking(folder, size=WIDE) as pilot:
            painted = [shown(pilot)]
            await to(pilot, "one/feed")
            await pilot.press("c", "up")
            painted.append(shown(pilot))
            await pilot.press("enter", "h")
            await until(pilot, lambda: pilot.app.screen is not walk(pilot))
            painted.append(shown(pilot))
            await pilot.press("escape", "g")
            await pilot.pause()
            painted.append(shown(pilot))
            for screen in painted:
                assert not {each for each in screen if each != "\n" and plain(each) != each}

    asyncio.run(run())
    shutil.rmtree(folder)
