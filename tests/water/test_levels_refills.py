"""Refills that come due by themselves, for a keeper to check by hand."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rounds.core.history import History
from rounds.core.plan import due_items
from rounds.core.planner import Planner
from rounds.core.recording import draft_closing
from rounds.core.why import why
from rounds.storage.room import RoomFolder
from rounds.water.refills import Refills
from tests.support import head, instant, postponed, strike, write_room
from tests.water.tanks import BARREL, TWO_SHIFTS, daily, forecasts, items, level, reef, refill, room_of

TANK, TASK = "reef/barrel", "reef/barrel-refill"
ROOM = room_of()
LEVELS = daily(TANK, "2026-03-02 16:00", [65, 60, 55])
"""5 L a day, 55 L on Wednesday at 16:00: the reserve of 25 L on Tuesday 10 March at 16:00."""


def test_a_refill_is_due_in_the_last_shift_of_the_last_whole_round_day():
    """The reserve on Tuesday afternoon: due from Monday's late shift on, fine until it is reached."""
    found = forecasts(ROOM, LEVELS, "2026-03-05 08:00")[TASK]
    assert (found.due_at, found.fine_until) == (instant("2026-03-09 12:30"), instant("2026-03-10 16:00"))
    assert found.importance == "husbandry"


def test_its_sentence_has_the_numbers_to_check():
    """Level, use, reserve and the division."""
    found = items(ROOM, LEVELS, "2026-03-09 13:00")[TASK]
    assert found.state == "due"
    assert why(ROOM, found, instant("2026-03-09 13:00")).startswith(
        "55.0 L read Wed 4 Mar 16:00; it loses 5.0 L a day and comes to its reserve of 25.0 L about tomorrow 16:00: "
        "(55.0 L − 25.0 L) / 5.0 L = 6.0 days."
    )


@pytest.mark.parametrize(
    ("now", "importance"),
    [
        ("2026-03-09 12:40", "husbandry"),
        ("2026-03-10 12:00", "husbandry"),
        ("2026-03-10 12:30", "life support"),
        ("2026-03-10 17:00", "life support"),
    ],
)
def test_it_is_life_support_when_no_shift_comes_before(now, importance):
    """Tuesday's late shift begins at 12:30; the next one on Wednesday comes after the reserve is reached."""
    assert forecasts(ROOM, LEVELS, now)[TASK].importance == importance


@pytest.mark.parametrize(
    ("now", "importance"), [("2026-03-09 23:00", "husbandry"), ("2026-03-10 05:00", "life support")]
)
def test_without_shifts_the_round_day_decides(now, importance):
    """Due at the start of the last whole round day; life support in the one in which the reserve is reached."""
    found = forecasts(room_of(shifts=""), LEVELS, now)[TASK]
    assert (found.due_at, found.importance) == (instant("2026-03-09 04:00"), importance)


def test_what_has_fallen_overnight_is_not_late_for_longer_than_anyone_could_know():
    """60 at 18:00 and 10 at 07:00 on Thursday: due since the last good level, over its limit since about 03:06."""
    records = [*daily(TANK, "2026-03-02 18:00", [70, 65, 60]), level(TANK, "2026-03-05 07:00", 10)]
    found = forecasts(ROOM, records, "2026-03-05 07:10")[TASK]
    assert found.due_at == instant("2026-03-04 18:00")
    assert found.fine_until == instant("2026-03-04 18:00") + timedelta(hours=13) * 35 / 50
    assert items(ROOM, records, "2026-03-05 07:10")[TASK].state == "overdue"
    assert "below its reserve of 25.0 L, passed about 03:06" in found.why


def test_while_the_use_is_high_the_newest_counts():
    """40 L on Thursday, 15 L in a day where 5 are usual: the reserve on Friday at 16:00, and the division says so."""
    records = [*daily(TANK, "2026-02-25 16:00", [90, 85, 80, 75, 70, 65, 60, 55]), level(TANK, "2026-03-05 16:00", 40)]
    found = forecasts(room_of(BARREL.replace("80 L", "120 L")), records, "2026-03-05 16:10")[TASK]
    assert (found.due_at, found.fine_until) == (instant("2026-03-05 16:00"), instant("2026-03-06 16:00"))
    assert (
        "it loses 15.0 L a day by its newest levels, usually 5.0 L, and comes to its reserve of 25.0 L about "
        "tomorrow 16:00: (40.0 L − 25.0 L) / 15.0 L = 1.0 days"
    ) in found.why


def test_one_level_below_the_reserve_is_enough():
    """The use is not known, the limit is."""
    found = forecasts(ROOM, [level(TANK, "2026-03-05 07:00", 20)], "2026-03-05 07:00")[TASK]
    assert (found.due_at, found.importance) == (instant("2026-03-05 07:00"), "life support")


@pytest.mark.parametrize("records", [[], [level(TANK, "2026-03-05 07:00", 60)]])
def test_without_a_known_use_nothing_is_forecast(records):
    """And no refill is due."""
    assert forecasts(ROOM, records, "2026-03-05 07:00") == {}
    assert TASK not in items(ROOM, records, "2026-03-05 07:00")


def test_what_lies_more_than_two_weeks_ahead_is_not_spoken_of():
    """79 L at half a litre a day."""
    assert forecasts(ROOM, daily(TANK, "2026-03-02 16:00", [79, 78.5, 78]), "2026-03-05 08:00") == {}


def test_a_refill_of_a_paused_system_is_not_asked_for():
    """Nobody keeps it filled."""
    assert forecasts(room_of(top='volume = "960 L"\npaused = true'), LEVELS, "2026-03-10 12:00") == {}


def test_a_waste_container_is_to_be_emptied():
    """From 5 L at half a litre a day it comes to its mark of 8 on the sixth day."""
    room = room_of('[[reservoirs]]\nid = "waste"\nkind = "waste"\ncapacity = "10 L"\nreserve = "8 L"')
    records = daily("reef/waste", "2026-03-02 08:30", [4, 4.5, 5])
    found = forecasts(room, records, "2026-03-05 08:00")["reef/waste-refill"]
    assert found.fine_until == instant("2026-03-10 08:30")
    assert "it gains 500 mL a day and comes to its mark of 8.0 L" in found.why


# -- closing ---------------------------------------------------------------------------------------

DONE = [*LEVELS, refill(TANK, "2026-03-10 09:15", 80, by="MK")]


def test_a_refill_closes_the_item_which_stays_in_the_round_as_done():
    """With when it had been due, and by whom it was done."""
    found = items(ROOM, DONE, "2026-03-10 10:00")[TASK]
    assert (found.state, found.closed_by) == ("done", "MK")
    assert (found.due_at, found.fine_until) == (instant("2026-03-09 12:30"), instant("2026-03-10 16:00"))
    assert "it loses 5.0 L a day" in why(ROOM, found, instant("2026-03-10 10:00"))


def test_the_next_round_day_it_is_gone():
    """And comes back when the levels say so: 80 L last until 21 March."""
    assert TASK not in items(ROOM, DONE, "2026-03-11 10:00")
    assert forecasts(ROOM, DONE, "2026-03-11 10:00")[TASK].fine_until == instant("2026-03-21 09:15")


def test_a_refill_written_down_for_the_minute_of_the_level_closes_it_too():
    """Read and refilled in one go."""
    records = [*LEVELS, level(TANK, "2026-03-10 09:15", 26), refill(TANK, "2026-03-10 09:15", 80)]
    found = items(ROOM, records, "2026-03-10 09:15")[TASK]
    assert found.state == "done"
    assert found.due_at == instant("2026-03-10 09:15")


def test_a_refill_that_nothing_called_for_is_no_item():
    """Topped up at 78 L: it can be recorded at any time."""
    records = [*daily(TANK, "2026-03-02 16:00", [79, 78.5, 78]), refill(TANK, "2026-03-05 09:00", 80)]
    assert TASK not in items(ROOM, records, "2026-03-05 10:00")


def test_a_struck_refill_opens_it_again():
    """It was the wrong barrel."""
    records = [*DONE, strike(DONE[-1], "2026-03-10 09:30")]
    assert items(ROOM, records, "2026-03-10 10:00")[TASK].state == "due"


def test_putting_it_off_does_not_make_it_less_late():
    """Postponed to the afternoon; by then it has passed its reserve."""
    records = [*LEVELS, postponed(TASK, "2026-03-10 08:00", "2026-03-10 15:00")]
    assert items(ROOM, records, "2026-03-10 10:00")[TASK].state == "postponed"
    assert items(ROOM, records, "2026-03-10 16:30")[TASK].state == "overdue"


# -- what is remembered ----------------------------------------------------------------------------


def test_forecasts_and_round_remembered_are_those_worked_out_anew():
    """Hour by hour through two weeks of levels, refills and a strike."""
    room = room_of(BARREL + BARREL.replace('"barrel"', '"can"') + 'again_after = "1 day"\n')
    refills, planner, history = Refills(), Planner(), History()
    coming = sorted(
        [*LEVELS, *daily("reef/can", "2026-03-02 09:00", [50, 44, 38, 32, 26, 20, 14]), DONE[-1],
         strike(DONE[-1], "2026-03-12 09:30"), refill("reef/can", "2026-03-08 17:00", 78)],
        key=lambda each: each.at,
    )  # fmt: skip
    now = instant("2026-03-02 05:00")
    for hour in range(14 * 24):
        at = now + timedelta(hours=hour, seconds=hour)
        while coming and coming[0].at <= at:
            history.add(coming.pop(0))
        found = refills.forecasts(room, history, at)
        assert found == Refills().forecasts(room, history, at)
        assert planner.items(room, history, at, found) == due_items(room, history, at, found)


def test_the_planner_keeps_what_it_knows_beside_forecasts(monkeypatch):
    """A minute later nothing is worked out anew, although a forecast stands."""
    history, planner = History(LEVELS), Planner()
    worked_out = []
    planned = Planner.items.__globals__["items_of"]

    def items_of(room, history, task, *rest):
        worked_out.append(task.id)
        return planned(room, history, task, *rest)

    monkeypatch.setitem(Planner.items.__globals__, "items_of", items_of)
    refills = Refills()
    for minute in range(3):
        at = instant("2026-03-09 13:00") + timedelta(minutes=minute)
        planner.items(ROOM, history, at, refills.forecasts(ROOM, history, at))
    assert worked_out == [TASK]


def test_an_open_room_asks_for_the_refill(tmp_path, monkeypatch):
    """With a forecaster; without one no refill comes due. Recording it closes the item at once."""
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-10T08:00+00:00")
    folder = write_room(tmp_path / "room", head(TWO_SHIFTS), reef=reef(BARREL))
    room = RoomFolder(folder, forecaster=Refills().forecasts)
    room.save(*LEVELS)
    now = room.now()

    def states(opened):
        return [item.state for item in opened.items(now) if item.task.id == TASK and item.in_round]

    assert states(room) == ["due"]
    assert states(RoomFolder(folder)) == []
    task = room.task(TASK)
    room.record(room.ask(lambda history: draft_closing(room.model, history, task, "78 L", now)), "TV")
    assert states(room) == ["done"]
    assert states(RoomFolder(folder, forecaster=Refills().forecasts)) == ["done"]
