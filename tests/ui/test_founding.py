"""A new room, set up in the app by keys alone."""

from __future__ import annotations

import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
from textual.pilot import Pilot

from rounds.storage import device
from rounds.storage.atomic import replace_file
from rounds.storage.founding import keep_answers, kept_answers
from rounds.storage.room_files import load_room
from rounds.ui.app import RoundsApp
from rounds.ui.screens.ask import Choice
from rounds.ui.screens.founding import Founding
from rounds.ui.screens.walk import Walk
from tests.storage.test_founding import ANSWERS
from tests.ui.app import NARROW, flat, shown, until, write

HOSTILE = "say \"[/b]\" ]] \\ ''' اختبار 🐠 " + "x" * 160


@pytest.fixture(autouse=True)
def in_ireland(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "Europe/Dublin")


@asynccontextmanager
async def founding(folder: Path) -> AsyncIterator[Pilot[int]]:
    """The app where there is no room yet."""
    async with RoundsApp(folder, "TV", new=True).run_test(size=NARROW) as pilot:
        await until(pilot, lambda: "A new room" in shown(pilot))
        yield pilot


async def asked(pilot: Pilot[int], title: str) -> None:
    """Wait until a question of this title takes keys."""
    await until(pilot, lambda: isinstance(pilot.app.screen, Choice) and title in flat(pilot) and pilot.app.focused)


async def answer(pilot: Pilot[int], title: str, text: str) -> None:
    """Type over what stands in a question."""
    await asked(pilot, title)
    await pilot.press("end", "ctrl+u")
    await write(pilot, text)


async def done(pilot: Pilot[int], *keys: str) -> None:
    """Go back out of a question, and press keys once the steps are seen again."""
    await pilot.press("escape")
    await until(pilot, lambda: isinstance(pilot.app.screen, Founding))
    await pilot.press(*keys)
    await pilot.pause()


def screen(pilot: Pilot[int]) -> Founding:
    found = pilot.app.screen
    assert isinstance(found, Founding)
    return found


async def a_room(pilot: Pilot[int], name: str, barrel: str = "80") -> None:
    """Every step of a small room, up to the preview."""
    await pilot.press("enter")
    await answer(pilot, "Name of the room", name)
    await until(pilot, lambda: isinstance(pilot.app.screen, Founding))
    await pilot.press("right", "enter")
    await answer(pilot, "A keeper", f"TV {name}")
    await until(pilot, lambda: screen_has(pilot, "keepers", 1))
    await done(pilot, "right", "a")
    await answer(pilot, "A shift", "early 07:00 13:00")
    await until(pilot, lambda: screen_has(pilot, "shifts", 1))
    await done(pilot, "right", "a")
    await answer(pilot, "The kind of a system", "quarantine")
    await answer(pilot, "Its name (quarantine)", name)
    await answer(pilot, "Net water", "100")
    await until(pilot, lambda: screen_has(pilot, "systems", 1))
    await answer(pilot, "The kind of a system", "coral grow")
    await answer(pilot, "Its name (coral", name)
    await answer(pilot, "Net water", "200 x 60 x 50")
    await until(pilot, lambda: screen_has(pilot, "systems", 2))
    await done(pilot, "right", "tab", "tab", "space", "right", "a")  # the skimmer of the second system
    await asked(pilot, "Where a reservoir belongs")
    await pilot.press("down", "enter")  # the second system
    await answer(pilot, "What kind of reservoir", "top-off")
    await answer(pilot, "Its name (top-off)", name)
    await answer(pilot, "holds when full", barrel)
    await asked(pilot, "Where a reservoir belongs")
    await done(pilot, "right")
    await until(pilot, lambda: "The first week" in shown(pilot))


def screen_has(pilot: Pilot[int], what: str, number: int) -> bool:
    """Whether so many were taken."""
    founding = next(each for each in pilot.app.screen_stack if isinstance(each, Founding))
    return len(getattr(founding.answers, what)) == number


@pytest.mark.parametrize("name", ["Tern Quay", HOSTILE])
async def test_a_whole_room_by_keys(tmp_path: Path, name: str) -> None:
    """From nothing to the walk of the new room; hostile names come through every step as they were typed."""
    folder = tmp_path / "room"
    async with founding(folder) as pilot:
        await a_room(pilot, name)
        assert "Thu 26 Nov" in shown(pilot), "the only shift has begun"
        assert "First look at every system" in shown(pilot)
        assert "Its 80 L usable are 13% of the system" in shown(pilot), "80 L of fresh water stand at 600 L"
        assert not folder.exists(), "nothing is written before it is asked for"
        await pilot.press("s")
        await until(pilot, lambda: isinstance(pilot.app.screen, Walk))
    name = " ".join(name.split())
    room = load_room(folder)
    assert (room.name, room.timezone, room.began.isoformat()) == (name, "Europe/Dublin", "2026-11-26")
    assert [(keeper.initials, keeper.name) for keeper in room.keepers] == [("TV", name)]
    grown, quarantined = room.systems[1:]
    assert (grown.name, grown.volume, grown.surface, grown.zone) == (name, 600, 1.2, "A")
    assert (quarantined.name, quarantined.volume, quarantined.zone) == (name, 100, "B")
    assert [each.kind for each in grown.equipment] == ["skimmer"]
    assert [(each.name, each.capacity) for each in grown.reservoirs] == [(name, 80)]
    assert f"{grown.id}/skimmer-cup" in room.tasks
    assert kept_answers() is None, "the answers have become a room"


async def test_what_is_unsafe_is_read_to_its_end(tmp_path: Path) -> None:
    """Beside the list stands its bar, which takes two columns."""
    async with founding(tmp_path / "room") as pilot:
        await a_room(pilot, "Reef", barrel="200 L")
        unsafe = shown(pilot).rpartition("Unsafe: Reef")[2].partition("The first week")[0]
        assert "that a valve stuck open may let in" in unsafe
        assert "…" not in unsafe


async def test_the_head_says_whose_equipment_is_ticked(tmp_path: Path) -> None:
    """Where the pointer is far down, the name of the system is out of sight above it."""
    async with founding(tmp_path / "room") as pilot:
        await pilot.press("right", "right", "right", "a")
        await answer(pilot, "The kind of a system", "coral grow")
        await answer(pilot, "Its name (coral", "Raceway [red]")
        await answer(pilot, "Net water", "400")
        await done(pilot, "right")
        assert "The room" in shown(pilot).splitlines()[0]
        await pilot.press("tab", *["down"] * 18)
        await pilot.pause()
        assert "Raceway [red]" in shown(pilot).splitlines()[0]


async def test_there_can_be_several_of_a_kind(tmp_path: Path) -> None:
    """Enter on what is ticked asks how many; none takes it away again."""
    async with founding(tmp_path / "room") as pilot:
        await pilot.press("right", "right", "right", "a")
        await answer(pilot, "The kind of a system", "coral grow")
        await answer(pilot, "Its name (coral", "Raceway")
        await answer(pilot, "Net water", "400")
        await done(pilot, "right", "tab", "space", "enter")
        await answer(pilot, "How many (skimmer)?", "two")
        await until(pilot, lambda: "'two' is no number of pieces" in flat(pilot))
        await answer(pilot, "How many (skimmer)?", "2")
        await until(pilot, lambda: screen_equipment(pilot) == ("skimmer", "skimmer"))
        await until(pilot, lambda: "■ skimmer 2, at the tank" in flat(pilot))
        await pilot.press("enter")
        await answer(pilot, "How many (skimmer)?", "0")
        await until(pilot, lambda: screen_equipment(pilot) == ())


def screen_equipment(pilot: Pilot[int]) -> tuple[str, ...]:
    founding = next(each for each in pilot.app.screen_stack if isinstance(each, Founding))
    return founding.answers.systems[0].equipment


async def test_a_room_left_at_its_preview_begins_when_it_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The only shift began meanwhile, so that the first day would begin late."""
    folder = tmp_path / "room"
    monkeypatch.setenv("ROUNDS_NOW", "2026-11-25T06:30")
    async with founding(folder) as pilot:
        await a_room(pilot, "Reef")
        assert "Wed 25 Nov" in shown(pilot)
        monkeypatch.setenv("ROUNDS_NOW", "2026-11-25T08:00")
        await pilot.press("s")
        await until(pilot, lambda: isinstance(pilot.app.screen, Walk))
    assert load_room(folder).began.isoformat() == "2026-11-26"


async def test_a_room_made_in_the_evening_begins_tomorrow(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Unless today is chosen."""
    monkeypatch.setenv("ROUNDS_NOW", "2026-11-25T18:00")
    async with founding(tmp_path / "room") as pilot:
        assert "First round day tomorrow, Thu 26 Nov" in flat(pilot)
        await pilot.press(*["down"] * 7, "enter")
        await answer(pilot, "The first round day", "today")
        await until(
            pilot, lambda: isinstance(pilot.app.screen, Founding) and "First round day Wed 25 Nov" in flat(pilot)
        )


async def test_leaving_half_way_keeps_the_answers(tmp_path: Path) -> None:
    folder = tmp_path / "room"
    async with founding(folder) as pilot:
        await pilot.press("enter")
        await answer(pilot, "Name of the room", "Tern Quay")
        await until(pilot, lambda: isinstance(pilot.app.screen, Founding))
        await pilot.press("right", "enter")
        await answer(pilot, "A keeper", "TV Tove")
        await until(pilot, lambda: screen_has(pilot, "keepers", 1))
        await done(pilot, "escape")
    assert not folder.exists()
    async with founding(folder) as pilot:
        assert "answers of last time" in flat(pilot)
        assert "Tern Quay" in shown(pilot)
        assert [keeper.initials for keeper in screen(pilot).answers.keepers] == ["TV"]


async def test_leaving_at_the_last_step_keeps_every_answer(tmp_path: Path) -> None:
    folder = tmp_path / "room"
    async with founding(folder) as pilot:
        await a_room(pilot, "Tern Quay")
        given = screen(pilot).answers
        await pilot.press("escape")
    async with founding(folder) as pilot:
        assert screen(pilot).answers == given


async def test_what_is_refused_can_be_mended(tmp_path: Path) -> None:
    """The typed text stays, with why it was not taken."""
    async with founding(tmp_path / "room") as pilot:
        await pilot.press("right", "a")
        await answer(pilot, "A keeper", "T.V. Tove")
        await until(pilot, lambda: "are no initials" in flat(pilot))
        assert "T.V. Tove" in shown(pilot)
        await answer(pilot, "A keeper", "TV Tove")
        await until(pilot, lambda: screen_has(pilot, "keepers", 1))
        await answer(pilot, "A keeper", "TV Tibor")
        await until(pilot, lambda: "TV is there already" in flat(pilot))


async def test_rows_are_changed_and_taken_away(tmp_path: Path) -> None:
    keep_answers(ANSWERS)
    async with founding(tmp_path / "room") as pilot:
        await pilot.press("right", "enter")
        await answer(pilot, "A keeper", "BC Brid Casey")
        await until(pilot, lambda: [k.initials for k in screen(pilot).answers.keepers] == ["BC"])
        await pilot.press("right", "x")
        assert screen(pilot).answers.shifts == ()
        await pilot.press("right", "enter")
        await answer(pilot, "Quarantine", "its water")
        await answer(pilot, "Net water", "d 80 x 60")
        await until(pilot, lambda: screen(pilot).answers.systems[0].volume == "302 L")
        await pilot.press("enter")
        await answer(pilot, "Quarantine", "its kinds")
        await answer(pilot, "Its kinds", "also fish system")
        await until(pilot, lambda: screen(pilot).answers.systems[0].kinds == ("quarantine", "fish system"))
        await pilot.press("enter")
        await answer(pilot, "Quarantine", "its hygiene zone")
        await answer(pilot, "Its hygiene zone", "isolation")
        await until(pilot, lambda: screen(pilot).answers.systems[0].zone == "isolation")
        await pilot.press("right", "right", "enter")
        await answer(pilot, "Its name (purified water)", "big store")
        await answer(pilot, "holds when full", "500")
        await until(pilot, lambda: screen(pilot).answers.room.reservoirs[0].capacity == "500 L")
        await pilot.press("x")
        assert screen(pilot).answers.room.reservoirs == ()


@pytest.mark.parametrize(
    ("row", "title", "text", "value"),
    [
        (1, "Time zone", "pacific/chatham", "Pacific/Chatham"),
        (2, "Unit of temperature", "°F", "°F"),
        (6, "A round day begins", "05:30", "05:30"),
        (7, "The first round day", "2026-12-01", "Tue 1 Dec"),
        (8, "What is done rarely", "", "all due on the first day"),
    ],
)
async def test_every_row_of_the_room_is_changed(tmp_path: Path, row: int, title: str, text: str, value: str) -> None:
    async with founding(tmp_path / "room") as pilot:
        await pilot.press(*["down"] * row, "enter")
        if text:
            await answer(pilot, title, text)
        else:
            await asked(pilot, "due first")
            await pilot.press("down", "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Founding) and value in shown(pilot))


async def test_a_folder_with_something_in_it_is_refused_when_named(tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("years of work")
    async with founding(tmp_path / "room") as pilot:
        await pilot.press("pagedown", "enter")
        await answer(pilot, "Folder of the room", str(tmp_path))
        await until(pilot, lambda: "is not empty" in flat(pilot))


async def test_a_room_that_is_not_whole_is_not_written(tmp_path: Path) -> None:
    folder = tmp_path / "room"
    async with founding(folder) as pilot:
        await pilot.press("s")
        await until(pilot, lambda: "cannot be written yet" in flat(pilot))
        assert "The room has no name: step 1." in shown(pilot)
    assert not folder.exists()


async def test_a_disk_that_refuses_is_said_and_nothing_is_lost(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same key writes it, once there is room."""
    keep_answers(ANSWERS)
    full = True

    def replace(path: Path, content: bytes) -> None:
        if full and path.suffix == ".toml":
            raise OSError(28, "No space left on device", str(path))
        replace_file(path, content)

    monkeypatch.setattr("rounds.storage.founding.replace_file", replace)
    async with founding(tmp_path / "room") as pilot:
        await pilot.press("s", "s")
        await until(pilot, lambda: "No space left on device" in flat(pilot))
        assert kept_answers() == ANSWERS
        full = False
        await pilot.press("s")
        await until(pilot, lambda: isinstance(pilot.app.screen, Walk))


async def test_answers_with_a_time_zone_that_is_none_are_taken_up(tmp_path: Path) -> None:
    """With that of this device."""
    keep_answers(ANSWERS)
    path = device.user_data() / "new-room.json"
    path.write_text(json.dumps({**json.loads(path.read_text()), "timezone": "Mars/Olympus"}))
    async with founding(tmp_path / "room") as pilot:
        assert screen(pilot).answers.timezone == "Europe/Dublin"


async def test_help_tells_the_keys(tmp_path: Path) -> None:
    async with founding(tmp_path / "room") as pilot:
        await pilot.press("question_mark")
        await until(pilot, lambda: "Take this one away." in flat(pilot))
