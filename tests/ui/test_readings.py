"""Readings over time: the list, the plot, a second reading over it, and recording from there."""

from __future__ import annotations

import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widgets import Static

from rounds.core.windows import WINDOWS
from rounds.report import readings as report
from rounds.ui.keymap import READINGS
from rounds.ui.screens.readings import Readings
from rounds.ui.widgets.reading_list import ReadingList
from rounds.ui.widgets.room_bar import FootBar
from tests.ui.app import NARROW, WIDE, flat, record, records, set_clock, shown, to, until, walk, walking, write
from tests.ui.conftest import NURSERY

FALLING = [8.0, 7.98, 7.95, 7.92, 7.88, 7.86, 7.83, 7.8, 7.76, 7.74, 7.71, 7.68]
"""dKH on every other day up to yesterday: 7.5 is left in some ten days."""

CHANGE = """
[[tasks]]
id = "change"
station = "sump"
title = "Change water, 96 L"
again_after = "7 days"
water_change = "96 L"
"""


@pytest.fixture
def drifting(make_room: Callable[..., Path]) -> Path:
    """Alkalinity drifts, phosphate was never tested, the others are steady; water was changed twice."""
    folder = make_room(nursery=NURSERY + CHANGE)
    for place, number in enumerate(FALLING):
        day = f"2026-11-{2 + 2 * place:02}T08:40"
        record(folder, "reading", "nursery/alkalinity", day, values={"nursery/alkalinity": number / 2.8039})
        probe = {"nursery/temperature": 25.1, "nursery/salinity": 35.0 + 0.1 * (place % 2)}
        record(folder, "done", "nursery/probe", f"2026-11-{2 + 2 * place:02}T08:20", values=probe)
    record(folder, "done", "nursery/change", "2026-11-12T11:00")
    record(folder, "done", "nursery/change", "2026-11-19T11:00")
    return folder


def screen(pilot: Pilot[int]) -> Readings:
    found = pilot.app.screen
    assert isinstance(found, Readings), shown(pilot)
    return found


def chosen(pilot: Pilot[int]) -> str:
    row = screen(pilot).row
    assert row is not None
    return row.reading.id


async def opened(pilot: Pilot[int]) -> None:
    """The readings, every trend worked out."""
    await pilot.press("v")
    await until(pilot, lambda: isinstance(pilot.app.screen, Readings))
    await until(pilot, lambda: not screen(pilot)._to_do)
    await pilot.pause()


async def plotted(pilot: Pilot[int]) -> None:
    """The plot of the chosen reading is drawn."""
    await until(pilot, lambda: "● value" in shown(pilot) and "now" in shown(pilot).split())


# -- the list ----------------------------------------------------------------------------------------------


async def test_what_drifts_stands_first(drifting: Path) -> None:
    """With its state, the last value and its age, the band, a sparkline, the slope and when the band is left."""
    async with walking(drifting) as pilot:
        await opened(pilot)
        first, second = shown(pilot).splitlines()[1:3]
        assert first.startswith("▸ ▽ alkalinity  Nursery raceway")
        assert "7.7 dKH  1 day ago" in first
        assert any(block in first for block in "▁▂▃▄▅▆▇█")
        assert second.strip().startswith("leaves in about 10 days (")
        assert "falling 0.015 a day" in second
        assert second.endswith("7.5 to 8.6 dKH")
        assert "▽△ 1 leaving it" in flat(pilot)


async def test_the_list_stands_at_once_and_is_filled_system_by_system(
    drifting: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Keys act while the past is read, and the pointer stays on the reading it was put on."""
    go_on = threading.Event()
    asked: list[str] = []
    rows_of = report.rows_of

    def waiting(room, system, past, now):
        asked.append(system)
        assert go_on.wait(20)
        return rows_of(room, system, past, now)

    monkeypatch.setattr("rounds.ui.trends.rows_of", waiting)
    async with walking(drifting) as pilot:
        await pilot.press("v")
        await until(pilot, lambda: isinstance(pilot.app.screen, Readings))
        await until(pilot, lambda: "still to be read" in shown(pilot))
        assert "alkalinity  Nursery raceway" in shown(pilot)
        assert "leaves in about" not in shown(pilot)
        await pilot.press("down", "down")
        there = chosen(pilot)
        go_on.set()
        await until(pilot, lambda: "leaves in about" in shown(pilot))
        assert chosen(pilot) == there
        assert len(asked) == len(set(asked)), "each system is worked out once"


async def test_what_another_device_records_appears_within_seconds(drifting: Path) -> None:
    """Nobody presses a key: the row, its place and its plot follow."""
    async with walking(drifting, size=WIDE) as pilot:
        await opened(pilot)
        await plotted(pilot)
        low = {"nursery/alkalinity": 7.1 / 2.8039}
        record(drifting, "reading", "nursery/alkalinity", "2026-11-25T09:00", values=low)
        await until(pilot, lambda: "▼ alkalinity" in shown(pilot) and "7.1 dKH" in shown(pilot), seconds=5)
        await until(pilot, lambda: "13 values" in flat(pilot))


async def test_a_new_minute_makes_a_value_older_and_asks_for_nothing_else(
    drifting: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    real = report.rows_of

    def counted(room, system, past, now):
        asked.append(system)
        return real(room, system, past, now)

    monkeypatch.setattr("rounds.ui.trends.rows_of", counted)
    async with walking(drifting) as pilot:
        await opened(pilot)
        asked.clear()
        set_clock(pilot, "2026-11-26T09:30")
        await until(pilot, lambda: "7.7 dKH  2 days ago" in shown(pilot), seconds=5)
        assert asked == []


async def test_the_pointer_begins_on_the_reading_of_the_row_in_the_walk(drifting: Path) -> None:
    async with walking(drifting) as pilot:
        await to(pilot, "nursery/phosphate")
        await opened(pilot)
        assert chosen(pilot) == "nursery/phosphate"
        assert "no value yet" in shown(pilot)


async def test_arrows_pages_and_find_move_the_pointer(drifting: Path) -> None:
    async with walking(drifting) as pilot:
        await opened(pilot)
        assert chosen(pilot) == "nursery/alkalinity"
        await pilot.press("down")
        assert chosen(pilot) == "nursery/temperature"
        await pilot.press("up", "up")
        assert chosen(pilot) == "nursery/alkalinity"
        await pilot.press("end")
        last = chosen(pilot)
        assert last == "nursery/barrel-level"
        await pilot.press("pageup")
        assert chosen(pilot) != last
        await pilot.press("home")
        await pilot.press("f")
        await until(pilot, lambda: "Find a reading" in shown(pilot))
        await pilot.press(*"sal", "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Readings))
        assert chosen(pilot) == "nursery/salinity"


async def test_a_click_chooses_and_a_second_one_plots(drifting: Path) -> None:
    async with walking(drifting) as pilot:
        await opened(pilot)
        await pilot.click(ReadingList, offset=(10, 3))
        await until(pilot, lambda: chosen(pilot) == "nursery/temperature")
        await pilot.click(ReadingList, offset=(10, 2))
        await plotted(pilot)


async def test_escape_goes_back_to_the_walk(drifting: Path) -> None:
    async with walking(drifting) as pilot:
        await opened(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))


async def test_a_room_without_readings_says_how_to_add_them(make_room: Callable[..., Path]) -> None:
    nursery = 'name = "Nursery raceway"\n[[stations]]\nid = "racks"\n'
    async with walking(make_room(nursery=nursery)) as pilot:
        await pilot.press("v")
        await until(pilot, lambda: "none in this room yet" in shown(pilot))
        await pilot.press("down", "e", "c", "h")
        await until(pilot, lambda: "There is no other reading in this room." in flat(pilot))
        assert not screen(pilot).typing
        await pilot.press("enter", "2", "escape", "escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))


async def test_texts_of_users_are_shown_as_they_are(make_room: Callable[..., Path]) -> None:
    """No markup, no control characters, in the list, the title, the legend and the account."""
    nursery = NURSERY.replace('id = "alkalinity"', 'id = "alkalinity"\nname = "[bold]alk[/sump] \\u202e"')
    folder = make_room(nursery=nursery)
    for place, number in enumerate(FALLING):
        day = f"2026-11-{2 + 2 * place:02}T08:40"
        record(folder, "reading", "nursery/alkalinity", day, values={"nursery/alkalinity": number / 2.8039})
    record(folder, "refill", "nursery/barrel-refill", "2026-11-20T10:00", note="[/x] \x1b[31m full")
    async with walking(folder, size=WIDE) as pilot:
        await opened(pilot)
        await plotted(pilot)
        assert shown(pilot).count("[bold]alk[/sump] ·") >= 2
        await pilot.press("enter", *["pagedown"] * 4)
        await until(pilot, lambda: "[/x] ·[31m full" in flat(pilot))


# -- the plot ----------------------------------------------------------------------------------------------


async def test_enter_shows_the_plot_and_what_it_rests_on(drifting: Path) -> None:
    """Band, values, slope, forecast, water changes, the account; Escape leads back to the list."""
    async with walking(drifting) as pilot:
        await opened(pilot)
        await pilot.press("enter")
        await plotted(pilot)
        text = shown(pilot)
        assert "high 8.6" in text
        assert "low 7.5" in text
        assert text.count("●") > 5
        assert "W water change" in text
        assert any(set("W") <= set(line.split("│")[-1]) and "│" in line for line in text.splitlines())
        assert "alkalinity at salinity 35" in text
        assert "12 values" in text
        await pilot.press("pagedown", "pagedown", "pagedown")
        await until(pilot, lambda: "Change water, 96 L" in shown(pilot))
        await pilot.press("escape")
        await until(pilot, lambda: "high 8.6" not in shown(pilot))
        assert isinstance(pilot.app.screen, Readings)


async def test_a_wide_screen_shows_the_plot_beside_the_list(drifting: Path) -> None:
    """It follows the pointer."""
    async with walking(drifting, size=WIDE) as pilot:
        await opened(pilot)
        await plotted(pilot)
        assert "▸ ▽ alkalinity" in shown(pilot)
        await until(pilot, lambda: "high 8.6" in shown(pilot))
        await pilot.press("down")
        await until(pilot, lambda: "high 26.5" in shown(pilot))
        assert "high 8.6" not in shown(pilot)


async def test_a_plot_of_what_was_never_read_explains_no_values(drifting: Path) -> None:
    """What happened meanwhile is explained, and nothing else."""
    async with walking(drifting, size=WIDE) as pilot:
        await to(pilot, "nursery/phosphate")
        await opened(pilot)
        await until(pilot, lambda: "W water change" in flat(pilot))
        assert "phosphate, Nursery raceway no value yet" in flat(pilot)
        assert "● value" not in flat(pilot)


def test_the_keys_of_the_windows_are_those_of_the_table() -> None:
    """In its order, each with the days it reaches back."""
    found = [action for action in READINGS if action.method == "window"]
    assert [action.name for action in found] == [f"window('{name}')" for name in WINDOWS]
    assert [action.help.partition(",")[0] for action in found] == [
        "Plot of 7 days.", "Plot of 30 days", "Plot of 90 days.", "Plot of all days since the first value.",
    ]  # fmt: skip


async def test_keys_change_the_days(drifting: Path) -> None:
    """1 2 3 4 and the arrows; where only the list is seen, a window brings the plot."""
    async with walking(drifting) as pilot:
        await opened(pilot)
        await pilot.press("1")
        await until(pilot, lambda: "7 days, since Wed 18 Nov" in shown(pilot))
        await pilot.press("right")
        await until(pilot, lambda: "30 days, since Mon 26 Oct" in shown(pilot))
        await pilot.press("3")
        await until(pilot, lambda: "90 days, since Thu 27 Aug" in shown(pilot))
        await pilot.press("4")
        await until(pilot, lambda: "23 days, since Mon 2 Nov" in shown(pilot))
        await pilot.press("right", "left")
        await until(pilot, lambda: "90 days" in shown(pilot))


async def test_two_readings_over_one_another(drifting: Path) -> None:
    """c asks for the second one; both axes name their band; c again takes it away."""
    async with walking(drifting) as pilot:
        await opened(pilot)
        await pilot.press("c")
        await until(pilot, lambda: "A second reading" in shown(pilot))
        await pilot.press(*"salinity", "enter")
        await until(pilot, lambda: "salinity (right)" in shown(pilot))
        await until(pilot, lambda: "high 36.0" in shown(pilot))
        rows = [row for row in shown(pilot).splitlines() if "high 8.6" in row]
        assert rows
        assert all("high 36.0" in row for row in rows), "band lies on band"
        assert "◆" in shown(pilot)
        await pilot.press("c")
        await until(pilot, lambda: "(right)" not in shown(pilot) and "slope" in shown(pilot))


def fits(pilot: Pilot[int], size: tuple[int, int]) -> bool:
    """The screen has taken the size, and nothing is painted beyond it."""
    rows = shown(pilot).splitlines()
    return pilot.app.screen.size == size and len(rows) == size[1] and all(len(row) <= size[0] for row in rows)


async def test_a_terminal_made_wider_shows_the_plot(drifting: Path) -> None:
    """None was asked for as long as only the list was seen."""
    async with walking(drifting) as pilot:
        await to(pilot, "nursery/probe")
        await opened(pilot)
        await pilot.resize_terminal(*WIDE)
        await plotted(pilot)


async def test_the_plot_fits_every_size_and_both_themes(drifting: Path) -> None:
    async with walking(drifting, size=WIDE) as pilot:
        await opened(pilot)
        await plotted(pilot)
        for theme in ("day watch", "night watch"):
            pilot.app.theme = theme
            for size in ((40, 12), NARROW, (200, 60)):
                await pilot.resize_terminal(*size)
                await until(pilot, lambda: fits(pilot, size))  # noqa: B023 - asked within the turn
        await until(pilot, lambda: "high 8.6" in shown(pilot))


async def test_what_was_chosen_while_no_plot_was_seen_is_plotted_when_one_is(
    drifting: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The plot of the reading before must not stand under the name of this one."""
    rested: list[str] = []
    at_rest = Readings._at_rest
    monkeypatch.setattr(Readings, "_at_rest", lambda self, reading: (at_rest(self, reading), rested.append(reading)))
    async with walking(drifting, size=WIDE) as pilot:
        await opened(pilot)
        await until(pilot, lambda: "high 8.6" in shown(pilot))
        await pilot.resize_terminal(*NARROW)
        await until(pilot, lambda: fits(pilot, NARROW))
        await pilot.press("down")
        await until(pilot, lambda: rested[-1:] == ["nursery/temperature"])
        await pilot.resize_terminal(*WIDE)
        await until(pilot, lambda: "high 26.5" in shown(pilot))
        assert "high 8.6" not in shown(pilot)


async def test_what_cannot_be_worked_out_is_said_and_the_rest_goes_on(
    drifting: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows_of = report.rows_of

    def failing(room, system, past, now):
        if system == "nursery":
            raise OSError("the share is gone")
        return rows_of(room, system, past, now)

    monkeypatch.setattr("rounds.ui.trends.rows_of", failing)
    async with walking(drifting) as pilot:
        await opened(pilot)
        assert "The trends of nursery cannot be worked out: the share is gone" in flat(pilot)
        assert "alkalinity  Nursery raceway" in shown(pilot)


def test_nothing_of_it_is_loaded_at_start_up() -> None:
    """The plotting library takes its time, and the walk does not need it."""
    code = (
        "import sys, rounds.ui.app, rounds.ui.screens.walk, rounds.ui.keymap\n"
        "late = ('plotext', 'textual_plotext', 'numpy', 'rounds.report.plot', 'rounds.ui.screens.readings')\n"
        "assert not [name for name in late if name in sys.modules], sorted(sys.modules)\n"
        "import rounds.ui.screens.readings\n"
        "assert 'plotext' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=Path(__file__).parents[2])


# -- recording ---------------------------------------------------------------------------------------------


async def test_a_value_is_recorded_from_here(drifting: Path) -> None:
    """e opens the line of the walk; the row and its trend follow, and so does the round."""
    async with walking(drifting) as pilot:
        await opened(pilot)
        await pilot.press("e")
        await until(pilot, lambda: "alkalinity (dKH), then a note:" in shown(pilot))
        await write(pilot, "7.6 clear")
        await until(pilot, lambda: len(records(drifting)) == 1)
        written = records(drifting)[0]
        assert (written["kind"], written["task"], written["note"]) == ("reading", "nursery/alkalinity", "clear")
        await until(pilot, lambda: "7.6 dKH  just now" in shown(pilot))
        assert chosen(pilot) == "nursery/alkalinity"
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        states = {item.task.id: item.state for stop in walk(pilot).position.stops for item in stop.items}
        assert states["nursery/alkalinity"] == "done"


async def test_a_recorded_value_is_shown_before_its_trend_is_worked_out(
    drifting: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The list does not wait for the past of the system; until then the trend stays as it was."""
    go_on = threading.Event()
    go_on.set()
    real = report.rows_of

    def waiting(room, system, past, now):
        assert go_on.wait(20)
        return real(room, system, past, now)

    monkeypatch.setattr("rounds.ui.trends.rows_of", waiting)
    try:
        async with walking(drifting) as pilot:
            await opened(pilot)
            go_on.clear()
            await pilot.press("e")
            await write(pilot, "7.6")
            await until(pilot, lambda: "7.6 dKH  just now" in shown(pilot))
            assert "still to be read" in shown(pilot)
            assert shown(pilot).splitlines()[1].startswith("▸ ▽ alkalinity")
            assert "leaves in about 10 days" in shown(pilot)
            go_on.set()
            await until(pilot, lambda: "still to be read" not in shown(pilot))
    finally:
        go_on.set()


async def test_a_reading_that_nothing_asks_for_is_recorded_too(drifting: Path) -> None:
    """Temperature belongs to the probe's task and has no rule of its own."""
    async with walking(drifting) as pilot:
        await opened(pilot)
        await pilot.press("down", "e")
        await until(pilot, lambda: "temperature (°C), then a note:" in shown(pilot))
        await write(pilot, "25.3")
        await until(pilot, lambda: len(records(drifting)) == 1)
        assert records(drifting)[0]["task"] == "nursery/temperature"


async def test_a_value_out_of_band_offers_a_concern(drifting: Path) -> None:
    """As in the walk: the notice, then the concern in the same line."""
    async with walking(drifting) as pilot:
        await opened(pilot)
        await pilot.press("e")
        await write(pilot, "7.2")
        await until(pilot, lambda: "Outside its band" in flat(pilot))
        await pilot.press("o")
        await until(pilot, lambda: "Concern, to be watched until closed" in flat(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: len(records(drifting)) == 2)
        assert [each["kind"] for each in records(drifting)] == ["reading", "concern"]
        await until(pilot, lambda: "▼ alkalinity" in shown(pilot))


async def test_what_cannot_be_is_refused_and_the_line_stays(drifting: Path) -> None:
    """Letters belong to the line while it is open; Escape closes it and keeps what was typed."""
    async with walking(drifting) as pilot:
        await opened(pilot)
        await pilot.press("e")
        await write(pilot, "-3")
        await until(pilot, lambda: "-3" in str(screen(pilot).query_one("#entry-hint", Static).render()))
        assert records(drifting) == []
        await pilot.press("c")
        assert isinstance(pilot.app.screen, Readings)
        await pilot.press("escape")
        await until(pilot, lambda: not screen(pilot).typing)
        await pilot.press("e")
        await until(pilot, lambda: screen(pilot).typing)
        assert screen(pilot).entry_line is not None
        assert screen(pilot).entry_line.text == "-3c"


async def test_nobody_keeps_the_room_yet(drifting: Path) -> None:
    """It says so instead of recording for nobody."""
    async with walking(drifting, by=None) as pilot:
        await until(pilot, lambda: "Who keeps the room now?" in shown(pilot))
        await pilot.press("escape")
        await opened(pilot)
        await pilot.press("e")
        await until(pilot, lambda: "Nobody keeps the room yet" in shown(pilot))


async def test_a_slip_is_struck_from_the_history_and_the_trend_follows(drifting: Path) -> None:
    async with walking(drifting) as pilot:
        await opened(pilot)
        await pilot.press("e")
        await write(pilot, "7.55")
        await until(pilot, lambda: "just now" in shown(pilot))
        await pilot.press("h")
        await until(pilot, lambda: "strike" in flat(pilot) and "7.5" in flat(pilot))
        await choose_reason(pilot)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, Readings))
        await until(pilot, lambda: "7.7 dKH  1 day ago" in shown(pilot))


async def choose_reason(pilot: Pilot[int]) -> None:
    await pilot.press("x")
    await until(pilot, lambda: "Why?" in flat(pilot))
    await pilot.press("enter")
    await until(pilot, lambda: "STRUCK" in flat(pilot))


async def test_help_begins_with_the_keys_of_this_screen(drifting: Path) -> None:
    async with walking(drifting) as pilot:
        await opened(pilot)
        assert "compare" in pilot.app.screen.query_one(FootBar).render().plain
        await pilot.press("question_mark")
        await until(pilot, lambda: "Lay a second reading over this one" in shown(pilot))
