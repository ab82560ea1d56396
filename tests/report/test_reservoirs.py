"""What the list of reservoirs says of each; levels and days are invented, the sums can be done by hand."""

from __future__ import annotations

from datetime import timedelta

import msgspec
import pytest

from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.record import Record
from rounds.report.levels import LATER, NEVER, NOW, TODAY, UNKNOWN, to_do_text, urgency, use_text, when_text
from rounds.report.reservoirs import (
    LevelAccount,
    bearing_on_levels,
    course,
    gauge,
    level_accounts,
    level_lines,
    plumbing_text,
    warnings_text,
)
from tests.support import SHIFTS, head, instant, room_from
from tests.water.tanks import level, refill

REEF = """
name = "Reef"
volume = "500 L"
surface = "2 m2"

[[stations]]
id = "sump"
name = "Sump"

[[reservoirs]]
id = "barrel"
kind = "top-off"
station = "sump"
capacity = "80 L"
dead = "8 L"
reserve = "25 L"
delivery = "float valve"
fed_by = "reef/store"

[[reservoirs]]
id = "store"
name = "purified-water store"
kind = "purified water"
station = "sump"
capacity = "400 L"
reserve = "120 L"

[[reservoirs]]
id = "waste"
kind = "waste"
station = "sump"
capacity = "10 L"
reserve = "8 L"
"""
BARREL, STORE, WASTE = "reef/barrel", "reef/store", "reef/waste"
NINE = instant("2026-03-10 09:00")
"""A Tuesday."""


@pytest.fixture(scope="module")
def room() -> Room:
    return room_from(head(SHIFTS), reef=REEF)


def accounts(room: Room, *records: Record) -> dict[str, LevelAccount]:
    return {each.tank.id: each for each in level_accounts(room, History(records), NINE)}


def daily(tank: str, *litres: float) -> list[Record]:
    """A level a day, the last of them an hour ago."""
    days = range(len(litres) - 1, -1, -1)
    return [level(tank, NINE - timedelta(days=ago, hours=1), each) for ago, each in zip(days, litres, strict=True)]


def test_what_runs_out_first_stands_first_and_what_is_not_known_last(room: Room) -> None:
    records = [*daily(BARREL, 60, 55, 50), *daily(WASTE, 5, 6, 7)]
    assert list(accounts(room, *records)) == [WASTE, BARREL, STORE]


@pytest.mark.parametrize(
    ("litres", "state", "said"),
    [
        ((35, 30, 24), NOW, "refill now"),
        ((40, 35, 30), TODAY, "refill today"),
        ((36, 33, 27), TODAY, "refill before 18:40"),
        ((60, 55, 50), LATER, "refill by Sat 14 Mar"),
        ((50, 50, 50), NEVER, "stays above reserve"),
        ((), UNKNOWN, "no level recorded yet"),
        ((50,), UNKNOWN, "use not known"),
    ],
)  # fmt: skip
def test_how_soon_it_has_to_be_refilled(room: Room, litres: tuple[float, ...], state: str, said: str) -> None:
    """5 L a day and a reserve of 25 L: 50 L last five days, to Sunday 08:00; Saturday is the last whole day.

    3 L, then 6 L are 4.5 L a day by their middle: 2 L last 10 hours and 40 minutes.
    """
    each = accounts(room, *daily(BARREL, *litres))[BARREL].level
    assert (urgency(room, each, NINE), to_do_text(room, each, NINE)) == (state, said)
    assert when_text(room, each, NINE).startswith(said)


def test_a_day_of_another_year_is_said_with_it(room: Room) -> None:
    """0.1 L a day from 70 L to the reserve of 25 L: 450 days."""
    each = accounts(room, *daily(BARREL, 70.2, 70.1, 70))[BARREL].level
    assert to_do_text(room, each, NINE) == "refill by Wed 2 Jun 2027"


def test_a_waste_container_is_emptied(room: Room) -> None:
    """1 L a day to its mark of 8 L."""
    each = accounts(room, *daily(WASTE, 5, 5.5, 6))[WASTE].level
    assert to_do_text(room, each, NINE) == "empty by Fri 13 Mar"
    assert use_text(room, each).startswith("fills 500 mL a day")


def test_a_gauge_shows_level_and_reserve(room: Room) -> None:
    """40 of 80 L in 16 columns, the reserve of 25 L in the fifth of 5 L each."""
    each = accounts(room, *daily(BARREL, 40, 40, 40))[BARREL].level
    assert gauge(each, 16) == "█████│██········"
    assert gauge(accounts(room)[BARREL].level, 4) == "    "


def test_the_interval_names_its_unit_once_where_it_can(room: Room) -> None:
    known = accounts(room, *daily(BARREL, 60, 55, 50))[BARREL].level
    for interval, said in (((4.5, 5.5), "4.5 to 5.5 L"), ((0.9, 5.5), "900 mL to 5.5 L")):
        each = msgspec.structs.replace(known, use_interval=interval)
        assert use_text(room, each) == f"loses 5.0 L a day ({said})"


def test_the_course_marks_refills(room: Room) -> None:
    """A block a day by eighths of the capacity; a rise nobody recorded is marked too, and said."""
    tank = [
        level(BARREL, "2026-03-06 08:00", 30),
        level(BARREL, "2026-03-07 08:00", 25),
        refill(BARREL, "2026-03-08 08:00", 80),
        level(BARREL, "2026-03-09 08:00", 60),
        level(BARREL, "2026-03-10 08:00", 75),
    ]
    account = accounts(room, *tank)[BARREL]
    assert course(room, account, NINE) == ("▄▃█▇█", "  ↑ ↑", 5)
    said = [line[18:].split(maxsplit=2)[2:] for line in level_lines(room, account, NINE)]
    assert said == [["other than before, nobody recorded why"], ["−20.0 L"], ["refilled"], ["−5.0 L"], []]


def test_what_is_unsafe_and_where_its_water_comes_from(room: Room) -> None:
    """72 L usable are 14 % of 500 L, on a valve that may stick."""
    account = accounts(room)[BARREL]
    assert any("14% of the system" in warning for warning in warnings_text(account))
    assert account.level.full_at_once == pytest.approx(35 * 500 / 572)
    assert plumbing_text(room, account) == "refilled from purified-water store"
    assert plumbing_text(room, accounts(room)[STORE]) == "fills barrel"


def test_a_part_of_the_history_is_enough(room: Room) -> None:
    """The ids that bear on the levels name all that is needed."""
    history = History([*daily(BARREL, 60, 55, 50), *daily(WASTE, 5, 6, 7)])
    part = history.part(bearing_on_levels(room))
    assert level_accounts(room, part, NINE) == level_accounts(room, history, NINE)
