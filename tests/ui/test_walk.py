"""What the walk shows and how a keeper moves in it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot

from rounds.core.items import OPEN_STATES, OVERDUE
from rounds.ui.keymap import WALK
from rounds.ui.screens.ask import Choice, Notice
from rounds.ui.widgets.rows import ItemRow
from tests.ui.app import (
    NARROW,
    TALL,
    WIDE,
    at,
    choose,
    current,
    flat,
    record,
    records,
    row_text,
    shown,
    state,
    to,
    until,
    walk,
    walking,
    write,
)


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["80x24", "120x40"])
async def test_every_state_is_said_in_a_word_and_a_shape(
    kept: Path, size: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Due, late, later, postponed, done, not needed and missed differ without colour, and NO_COLOR changes no text."""
    record(kept, "done", "nursery/look", "2026-11-25T09:05", by="TV")
    record(kept, "not needed", "nursery/probe", "2026-11-25T09:06", reason="reference is used up")
    record(kept, "postponed", "nursery/cup", "2026-11-25T09:07", until=at("2026-11-25T16:00"))
    (kept / "sheets/2026/2026-11-24.tablet.json").unlink()
    record(kept, "done", "nursery/return", "2026-11-24T16:00")
    texts = []
    for no_colour in (False, True):
        if no_colour:
            monkeypatch.setenv("NO_COLOR", "1")
        async with walking(kept, size=size) as pilot:
            for task in ("nursery/feed", "nursery/return", "live-food/feed-jars"):
                await to(pilot, task)
                texts.append(shown(pilot))
    assert texts[:3] == texts[3:]
    found = " ".join(" ".join(text.replace("│", " ").split()) for text in texts[:3])
    for row in (
        "○ Target-feed the colonies",
        "fine until 15:00",
        "✓ Look over the colonies",
        "done 09:05 TV",
        "– Check the probe",
        "not needed 09:06 BC",
        "» Empty the skimmer cup",
        "postponed to 16:00",
        "▲ Feel the return pump",
        "life support, 9 hours late",
        "· Change the filter floss",
        "later today, 11:00",
        "× Feed the rotifer jars",
        "missed yesterday 18:00",
    ):
        assert row in found, row


async def test_why_last_values_and_look_for_stand_beside_the_current_row(kept: Path) -> None:
    """The panel says the rule, who did it last and when, what to look for, the caution and the steps."""
    async with walking(kept, size=WIDE) as pilot:
        await to(pilot, "nursery/look")
        assert "BC did it last Tue 24 Nov 08:20. So it is due Wed 25 Nov 07:00" in details(pilot)
        assert "Look for Polyps out, tissue up to the edge, no slime." in details(pilot)
        assert "Polyps out" in flat(pilot)
        await to(pilot, "nursery/alkalinity")
        assert "Alkalinity usual 7.5 to 8.6 dKH; last 8.0 dKH Mon 23 Nov 08:40" in details(pilot)
        await to(pilot, "live-food/counter")
        assert "It is due Wed 25 Nov 04:00 and fine until Thu 26 Nov 04:00." in details(pilot)


async def test_where_a_task_comes_from_stands_last_beside_it(kept: Path) -> None:
    """On a wide screen; where there are but a few lines they hold what is needed for the work."""
    file = kept / "systems" / "nursery.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace('id = "look"\n', 'id = "look"\nbasis = "[our] own years"\n'), encoding="utf-8")
    async with walking(kept, size=WIDE) as pilot:
        await to(pilot, "nursery/look")
        assert details(pilot).endswith("Basis [our] own years")
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        assert "Look for Polyps out" in details(pilot)
        assert "Basis" not in details(pilot)


def details(pilot: Pilot[Any]) -> str:
    """The text of the panel, unwrapped."""
    text = walk(pilot).query_one("#details")._content.plain
    return " ".join(text.split())


async def test_a_caution_is_marked_in_the_row_and_said_at_eighty_columns(folder: Path) -> None:
    """Before the work is begun, the caution is on screen."""
    async with walking(folder) as pilot:
        await to(pilot, "live-food/cones")
        assert "Bleach the hatching cones !" in row_text(pilot, "Bleach the hatching cones")
        assert "Caution Bleach: gloves and goggles, never together with acid." in flat(pilot)


async def test_arrows_pass_from_row_to_row_and_from_station_to_station(kept: Path) -> None:
    """Down and up go through all rows of the round and back; at both ends a sentence says so."""
    async with walking(kept) as pilot:
        rows = [(item.task.id, item.due_at) for stop in walk(pilot).position.stops for item in stop.items]
        await pilot.press(*["up"] * 4)
        assert "This is the first station of the route." in flat(pilot)
        seen = []
        for _ in rows:
            item = walk(pilot).current
            seen.append((item.task.id, item.due_at))
            await pilot.press("down")
        assert seen == rows
        assert "This is the last station of the route." in flat(pilot)
        await pilot.press("left")
        assert current(pilot) == "quarantine/inspect"
        await pilot.press("up")
        assert current(pilot) == "nursery/barrel-level"
        await pilot.press("tab")
        assert current(pilot) == "quarantine/inspect"


async def test_space_goes_to_the_next_thing_to_do(kept: Path) -> None:
    """Later, missed and closed rows are passed over."""
    record(kept, "done", "nursery/probe", "2026-11-25T09:05")
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("space")
        assert current(pilot) == "nursery/alkalinity"


async def test_only_what_is_left_can_be_shown(kept: Path) -> None:
    """The a key hides what is closed and missed, says so in the head, and shows everything again."""
    record(kept, "done", "nursery/feed", "2026-11-25T09:05")
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        assert "Target-feed" in flat(pilot)
        await pilot.press("a")
        await until(pilot, lambda: "only what is left" in flat(pilot))
        assert "Target-feed" not in flat(pilot)
        assert all(item.state in OPEN_STATES for item in walk(pilot).position.rows)
        await pilot.press("a")
        await until(pilot, lambda: "Target-feed" in flat(pilot))
        assert "only what is left" not in flat(pilot)


async def test_only_this_shifts_work_can_be_shown(kept: Path) -> None:
    """The s key leaves the early shift's work and what belongs to no shift."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/phosphate")
        assert "early shift" in flat(pilot)
        await pilot.press("s")
        await until(pilot, lambda: "only this shift" in flat(pilot))
        assert "Test phosphate" not in flat(pilot)
        assert "Empty the skimmer cup" in flat(pilot)
        await pilot.press("s")
        await until(pilot, lambda: "Test phosphate" in flat(pilot))


async def test_a_task_is_found_by_a_part_of_its_title(kept: Path) -> None:
    """f opens a list that shrinks while typing; Enter goes there, Escape stays."""
    async with walking(kept) as pilot:
        before = current(pilot)
        await choose(pilot, "f", "flo")
        await until(pilot, lambda: "Siphon the floor (Quarantine" in flat(pilot))
        assert "Change the filter floss (Nursery raceway, Sump" in flat(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        assert current(pilot) == before
        await choose(pilot, "slash", "floor")
        await until(pilot, lambda: "floss" not in flat(pilot))
        assert "Siphon the floor (Quarantine, Arrivals tank" in flat(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        assert current(pilot) == "quarantine/siphon"
        assert "Arrivals tank" in flat(pilot)


async def test_keys_typed_ahead_reach_the_list_that_opens(kept: Path) -> None:
    """f and the first letters typed at once: no letter is lost."""
    async with walking(kept) as pilot:
        await pilot.press("f", *"basins")
        await until(pilot, lambda: pilot.app.screen is not walk(pilot))
        await until(pilot, lambda: getattr(pilot.app.focused, "value", "") == "basins", seconds=2)


async def test_a_station_is_gone_to_by_a_part_of_its_name(kept: Path) -> None:
    """g lists the stations with what is left and late there; the arrows choose."""
    async with walking(kept) as pilot:
        await pilot.press("g")
        await until(pilot, lambda: isinstance(pilot.app.screen, Choice))
        assert "Nursery raceway, Sump zone C 4 left, 1 late" in flat(pilot)
        await pilot.press("escape")
        await choose(pilot, "g", "quar")
        await pilot.press("down", "enter")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        assert current(pilot) == "quarantine/dip"


async def test_panels_fold_out_and_away_at_eighty_columns(kept: Path) -> None:
    """r lays the route over the rows, w gives why and steps more room; the same keys fold them away."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        route = walk(pilot).query_one("#route")
        assert not route.display
        await pilot.press("r")
        await until(pilot, lambda: route.display)
        assert "Quarantine D red" in flat(pilot)
        assert "▲1 late 4 left" in flat(pilot)
        await pilot.press("r")
        await until(pilot, lambda: not route.display)
        assert "early" in flat(pilot)
        await pilot.press("w")
        await until(pilot, lambda: "did it last Tue 24 Nov" in flat(pilot))
        assert "husbandry" in flat(pilot)
        await pilot.press("w")
        await until(pilot, lambda: "husbandry" not in flat(pilot))
        assert "Look over the colonies" in flat(pilot)


async def test_panels_fold_away_at_a_hundred_and_twenty_columns(kept: Path) -> None:
    """There they stand beside the rows until r and w fold them away."""
    async with walking(kept, size=WIDE) as pilot:
        route, details = walk(pilot).query_one("#route"), walk(pilot).query_one("#details")
        assert route.display
        assert details.display
        await pilot.press("r", "w")
        await until(pilot, lambda: not route.display and not details.display)
        await pilot.press("r", "w")
        await until(pilot, lambda: route.display and details.display)


async def test_the_route_is_walked_with_the_arrows_and_enter_jumps(kept: Path) -> None:
    """With the route laid out at 80 columns, its pointer is on the present station."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/look")
        await pilot.press("r", "down", "down", "enter")
        await until(pilot, lambda: current(pilot) == "nursery/barrel-level")
        assert not walk(pilot).query_one("#route").display
        await pilot.press("enter")
        await until(pilot, lambda: walk(pilot).typing)


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["80x24", "120x40"])
async def test_a_click_selects_a_row_and_a_second_one_does_it(kept: Path, size: tuple[int, int]) -> None:
    """The mouse does what the keys do."""
    async with walking(kept, size=size) as pilot:
        await to(pilot, "nursery/feed")
        rows = [row for row in walk(pilot).query(ItemRow) if row.display]
        await pilot.click(rows[1])
        await until(pilot, lambda: current(pilot) == "nursery/look")
        assert records(kept) == []
        await pilot.click(rows[1])
        await until(pilot, lambda: records(kept))
        assert records(kept)[0]["task"] == "nursery/look"


async def test_a_click_in_the_route_jumps_there(kept: Path) -> None:
    """On the line of a station; the heading of a system does nothing."""
    async with walking(kept, size=WIDE) as pilot:
        lines = shown(pilot).splitlines()
        row = next(number for number, text in enumerate(lines) if "Top-off barrel" in text)
        heading = next(number for number, text in enumerate(lines) if "Quarantine" in text)
        route = walk(pilot).query_one("#route")
        await pilot.click(route, offset=(8, row - route.region.y))
        await until(pilot, lambda: current(pilot) == "nursery/barrel-level")
        await pilot.click(route, offset=(8, heading - route.region.y))
        await pilot.pause()
        assert current(pilot) == "nursery/barrel-level"


async def test_help_lists_every_action(kept: Path) -> None:
    """Key and sentence of each; Escape goes back."""
    async with walking(kept, size=TALL) as pilot:
        await pilot.press("question_mark")
        await until(pilot, lambda: pilot.app.screen is not walk(pilot))
        for action in WALK:
            assert f"{' '.join(action.shown.split())} {action.help}" in flat(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))


async def test_help_can_be_scrolled_to_its_end_at_eighty_columns(kept: Path) -> None:
    """The last line is reached with the End key."""
    async with walking(kept) as pilot:
        await pilot.press("f1")
        await until(pilot, lambda: "Keys" in flat(pilot))
        assert "read the caution before you begin" not in flat(pilot)
        await pilot.press("end")
        await until(pilot, lambda: "read the caution before you begin" in flat(pilot))


async def test_the_command_palette_finds_an_action(kept: Path) -> None:
    """By a word of its help; choosing it does it."""
    async with walking(kept) as pilot:
        await pilot.press("ctrl+p", *"only this shift")
        await until(pilot, lambda: "Only this shift" in shown(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: pilot.app.screen is walk(pilot) and "only this shift" in flat(pilot))


@pytest.mark.parametrize("width", [80, 100, 120, 200])
async def test_the_foot_shows_whole_keys_and_always_help(kept: Path, width: int) -> None:
    """As many as fit, none of them cut."""
    from rounds.ui.keymap import foot

    async with walking(kept, size=(width, 24)) as pilot:
        last = " ".join(shown(pilot).splitlines()[-1].split())
        assert last.endswith("? help")
        assert last == " ".join(f"{key} {label}" for key, label in foot(WALK, width - 2))


async def test_a_station_with_nothing_due_says_so(folder: Path) -> None:
    """Gone to by name, an idle station shows a sentence and Enter does nothing there."""
    path = folder / "systems/quarantine.toml"
    path.write_text(path.read_text() + '\n[[stations]]\nid = "shelf"\nname = "Shelf"\n')
    async with walking(folder) as pilot:
        await choose(pilot, "g", "shelf")
        await pilot.press("enter")
        await until(pilot, lambda: "Nothing is due here today." in flat(pilot))
        await pilot.press("enter", "n", "h", "w", "u")
        assert records(folder) == []
        assert pilot.app.screen is walk(pilot)


async def test_the_room_is_drawn_anew_when_the_terminal_changes_its_size(kept: Path) -> None:
    """From 80 to 120 columns the panels come up, and go away again; the pointer stays."""
    async with walking(kept) as pilot:
        await to(pilot, "nursery/alkalinity")
        await pilot.resize_terminal(*WIDE)
        await until(pilot, lambda: walk(pilot).query_one("#route").display)
        assert current(pilot) == "nursery/alkalinity"
        await pilot.resize_terminal(*NARROW)
        await until(pilot, lambda: not walk(pilot).query_one("#route").display)
        assert "Test alkalinity" in flat(pilot)


async def test_q_leaves_with_status_nought(kept: Path) -> None:
    """Everything recorded is on disk already."""
    async with walking(kept) as pilot:
        await pilot.press("enter")
        await until(pilot, lambda: records(kept))
        await pilot.press("q")
        await until(pilot, lambda: pilot.app.return_code is not None)
        assert pilot.app.return_code == 0


async def test_going_back_from_quarantine_is_said_once_a_shift(kept: Path) -> None:
    """On coming to a cleaner zone after work in a dirtier one; not again on the next way back in the same shift."""
    async with walking(kept) as pilot:
        await choose(pilot, "g", "arrivals")
        await pilot.press("enter")
        await until(pilot, lambda: current(pilot) == "quarantine/inspect")
        await pilot.press("left")
        await pilot.pause()
        assert pilot.app.screen is walk(pilot), "only looked, not worked there"
        await pilot.press("right", "enter")
        await until(pilot, lambda: records(kept))
        notices = 0
        for _ in range(2):
            for text in ("barrel", "arrivals", "sump"):
                await choose(pilot, "g", text)
                await pilot.press("enter")
                await pilot.pause()
                if isinstance(pilot.app.screen, Notice):
                    notices += 1
                    assert "You have worked in zone D (quarantine) this shift" in flat(pilot)
                    assert "come to zone C (growing on)" in flat(pilot)
                    assert "Use only the blue tools of zone C" in flat(pilot)
                    await pilot.press("enter")
                    await until(pilot, lambda: pilot.app.screen is walk(pilot))
        assert notices == 1


async def test_an_overdue_task_of_life_support_says_so(folder: Path) -> None:
    """Its importance stands beside how late it is."""
    async with walking(folder) as pilot:
        await to(pilot, "nursery/return")
        assert state(pilot, "nursery/return") == OVERDUE
        assert "life support, 23 days late" in row_text(pilot, "Feel the return pump")


async def test_what_is_made_up_says_how_often_it_was_missed(folder: Path) -> None:
    """Three Wednesdays have come: the first is late, two later ones are missed with it, until today's comes too."""
    async with walking(folder) as pilot:
        await to(pilot, "nursery/floss")
        assert "20 days late, 2 missed" in row_text(pilot, "Change the filter floss")
        await pilot.press("enter")
        await until(pilot, lambda: records(folder))
        assert walk(pilot).position.items
        assert [
            i.missed for i in walk(pilot).position.items if i.task.id == "nursery/floss" and i.closed_at is None
        ] == [0]


async def test_a_note_is_written_where_the_pointer_is_after_a_jump(kept: Path) -> None:
    """The station of the record is that of the row, not of the last one worked at."""
    async with walking(kept) as pilot:
        await choose(pilot, "f", "basins")
        await pilot.press("enter")
        await until(pilot, lambda: current(pilot) == "quarantine/dip")
        await pilot.press("o")
        await write(pilot, "basin is cracked")
        await until(pilot, lambda: records(kept))
        assert (records(kept)[0]["system"], records(kept)[0]["station"]) == ("quarantine", "bench")


async def test_the_light_check_says_what_the_lights_should_show(kept: Path) -> None:
    """At half past nine, half way up a ramp of an hour from nine: half of the peak."""
    file = kept / "systems/nursery.toml"
    text = file.read_text(encoding="utf-8").replace('id = "look"', 'id = "look"\nlight_check = "rail"', 1)
    file.write_text(
        text + '\n[[lights]]\nid = "rail"\nbegins = "09:00"\nramp_up = "1 hour"\nplateau = "8 hours"\n'
        'ramp_down = "1 hour"\nchannels = [{ name = "blue", peak = "80 %" }]\n',
        encoding="utf-8",
    )  # fmt: skip
    async with walking(kept, size=WIDE) as pilot:
        await to(pilot, "nursery/look")
        await until(pilot, lambda: "blue 40 %" in flat(pilot))


async def test_two_feeds_of_a_day_can_be_told_apart_where_a_task_is_looked_for(kept: Path) -> None:
    """Each row says how it stands, as in the walk."""
    async with walking(kept, size=WIDE) as pilot:
        await choose(pilot, "f", "rotifer jars")
        for how in ("fine until 10:30", "later today, 18:00"):
            assert flat(pilot).count(f"Feed the rotifer jars (Live food bench, Culture jars zone A) {how}") == 1


async def test_a_name_that_nothing_has_is_said(kept: Path) -> None:
    """Enter then chooses nothing; the list comes back with what is typed."""
    async with walking(kept) as pilot:
        await choose(pilot, "f", "zzz")
        assert "nothing has that in its name" in flat(pilot)
        await pilot.press("down", "enter")
        await pilot.pause()
        assert isinstance(pilot.app.screen, Choice)
        await pilot.press("backspace", "backspace", "backspace")
        await until(pilot, lambda: "nothing has that in its name" not in flat(pilot))
        assert "Feed the rotifer jars" in shown(pilot)
