"""The isolation clock where a tank of a quarantine is valved off and opened again; days counted by hand."""

from __future__ import annotations

import itertools
from datetime import timedelta

import pytest

from rounds.core.batches import FISH, batches
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.isolation import isolation, isolations
from rounds.core.moving import draft_moved
from rounds.core.plan import due_items
from rounds.core.record import APART, BATCH, BATCH_MOVED, JOINED, NOTE, VALVED, Record, Value
from rounds.core.valving import draft_valved
from rounds.report.batches import batches_text, isolation_json
from tests.support import head, instant, record, room_from, strike

ROOM = room_from(
    head(),
    quarantine="""name = "Quarantine"
volume = "300 L"
isolation = "45 days"
[[stations]]
id = "sump"
[[stations]]
id = "q-a"
[[tanks]]
id = "a"
name = "Tank A"
volume = "100 L"
stations = ["q-a"]
""",
)
SYSTEM, TANK = ROOM.system["quarantine"], ROOM.tanks["quarantine/a"]
SUMP, Q_A = ("quarantine", "sump"), ("quarantine", "q-a")
NOW = instant("2026-04-01 10:00")


def on(day: int) -> str:
    """Ten o'clock of a day of March."""
    return f"2026-03-{day:02} 10:00"


def batch(id: str, day: int, place: tuple[str, str], **fields: object) -> Record:
    many = (Value(reading="count", entered="5", value=5.0),)
    return record(BATCH, None, on(day), id=id, system=place[0], station=place[1], values=many, note="frags", **fields)


def moved(id: str, day: int, place: tuple[str, str]) -> Record:
    return record(BATCH_MOVED, None, on(day), ref=id, system=place[0], station=place[1])


def pests(day: int, place: tuple[str, str]) -> Record:
    return record(NOTE, None, on(day), system=place[0], station=place[1], note="one flatworm", words=("flatworm",))


def turned(day: int, word: str) -> Record:
    return record(VALVED, TANK.id, on(day), system="quarantine", station="q-a", words=(word,), reason="new fish")


HERE, THERE = batch("s", 2, SUMP), batch("t", 2, Q_A)


def free_on(*records: Record) -> dict[str, str]:
    """By water: the first day of freedom."""
    return {clock.water.id: clock.free_on.isoformat() for clock in isolations(ROOM, History(records), SYSTEM, NOW)}


def test_what_came_before_the_valve_was_shut_counts_for_both_waters():
    """45 days from 10 March are 24 April."""
    before = batch("b", 10, SUMP)
    assert free_on(HERE, THERE, before) == {"quarantine": "2026-04-24"}
    assert free_on(HERE, THERE, before, turned(12, APART)) == {"quarantine": "2026-04-24", TANK.id: "2026-04-24"}


@pytest.mark.parametrize("event", [batch("b", 20, Q_A), pests(20, Q_A)], ids=["an arrival", "a find"])
def test_what_comes_into_a_tank_that_is_apart_counts_for_the_tank_alone(event):
    """45 days from 20 March are 4 May; what is left counts on from the 2nd to 16 April."""
    assert free_on(HERE, THERE, turned(12, APART), event) == {"quarantine": "2026-04-16", TANK.id: "2026-05-04"}


@pytest.mark.parametrize("event", [batch("b", 20, SUMP), pests(20, SUMP)], ids=["an arrival", "a find"])
def test_what_comes_into_what_is_left_does_not_count_for_the_tank(event):
    assert free_on(HERE, THERE, turned(12, APART), event) == {"quarantine": "2026-05-04", TANK.id: "2026-04-16"}


def test_opened_again_the_later_of_both_holds_for_all():
    """Also after it is shut once more."""
    records = [HERE, THERE, turned(12, APART), batch("b", 20, Q_A), turned(25, JOINED)]
    assert free_on(*records) == {"quarantine": "2026-05-04"}
    assert free_on(*records, turned(28, APART)) == {"quarantine": "2026-05-04", TANK.id: "2026-05-04"}


def test_an_earlier_find_of_a_water_counts_where_the_last_one_was_in_another():
    """45 days from 15 March are 29 April."""
    records = [HERE, THERE, turned(12, APART), pests(15, SUMP), pests(20, Q_A)]
    assert free_on(*records) == {"quarantine": "2026-04-29", TANK.id: "2026-05-04"}


def test_a_move_to_another_water_of_the_system_is_an_arrival():
    """While the valve is open it is none."""
    records = [HERE, THERE, batch("b", 3, Q_A), moved("b", 20, SUMP)]
    assert free_on(*records) == {"quarantine": "2026-04-17"}
    assert free_on(*records, turned(12, APART)) == {"quarantine": "2026-05-04", TANK.id: "2026-04-17"}


def test_nothing_in_it_needs_no_isolation():
    assert free_on(HERE, turned(12, APART)) == {"quarantine": "2026-04-16"}
    assert isolation(ROOM, History([HERE, turned(12, APART)]), Q_A, NOW) is None


def test_fish_make_it_longer_in_their_own_water():
    """76 days in the tank from 20 March, 4 June; after it was opened everywhere."""
    fish = batch("f", 20, Q_A, words=(FISH,))
    records = [HERE, THERE, turned(12, APART), fish]
    assert free_on(*records) == {"quarantine": "2026-04-16", TANK.id: "2026-06-04"}
    assert free_on(*records, turned(25, JOINED)) == {"quarantine": "2026-06-04"}


def test_fish_that_were_in_both_before_count_for_both():
    """76 days from 2 March are 17 May."""
    fish = batch("f", 2, Q_A, words=(FISH,))
    assert free_on(HERE, fish, turned(12, APART)) == {"quarantine": "2026-05-17", TANK.id: "2026-05-17"}


def test_a_struck_valve_was_never_shut():
    turn = turned(12, APART)
    records = [HERE, THERE, turn, batch("b", 20, Q_A), strike(turn, NOW)]
    assert free_on(*records) == {"quarantine": "2026-05-04"}


def test_two_devices_in_any_order_agree():
    records = [HERE, THERE, turned(12, APART), batch("b", 20, Q_A), turned(25, JOINED)]
    found = [free_on(*order) for order in itertools.permutations(records)]
    assert found == [{"quarantine": "2026-05-04"}] * len(found)


def test_it_is_the_same_from_what_is_kept():
    records = [HERE, THERE, turned(12, APART), pests(15, SUMP), pests(20, Q_A)]
    whole = History(records)
    kept = History.restored(whole.kept(NOW - timedelta(days=2), NOW, lambda _: 8))
    assert list(isolations(ROOM, kept, SYSTEM, NOW)) == list(isolations(ROOM, whole, SYSTEM, NOW))


def test_moving_out_comes_due_by_the_clock_of_the_own_water():
    """What stands in what is left on 16 April, in the tank on 4 May."""
    history = History([HERE, THERE, turned(12, APART), batch("b", 20, Q_A)])
    found = {
        item.task.ref: item.due_at
        for item in due_items(ROOM, history, instant("2026-04-16 10:00"))
        if item.task.source == "release"
    }
    assert found == {"s": instant("2026-04-16 04:00"), "t": instant("2026-05-04 04:00"), "b": found["t"]}


def test_leaving_for_the_other_water_of_the_system_asks_why():
    """While they share one water it may go anywhere in it."""
    records = [HERE, THERE, turned(12, APART)]
    history = History(records)
    with pytest.raises(Refused, match=r"^Tank A is in isolation until Thu 16 Apr, 15 more days .* say why"):
        draft_moved(ROOM, history, batches(history, NOW)["t"], SUMP, NOW)
    joined = History(records[:2])
    assert draft_moved(ROOM, joined, batches(joined, NOW)["t"], SUMP, NOW).questions == ()


def test_opening_a_tank_whose_isolation_is_longer_asks():
    """Not where both waters wait for the same day, nor where nothing stands in one of them."""
    shut = turned(12, APART)

    def asked(*records: Record) -> tuple[str, ...]:
        return draft_valved(ROOM, History(records), TANK, apart=False, reason="settled", at=NOW).questions

    assert asked(HERE, THERE, shut, batch("b", 20, Q_A)) == (
        "Tank A is in isolation until Mon 4 May, and what stands in Quarantine without Tank A is then too. Open it?",
    )
    assert asked(HERE, THERE, shut) == ()
    assert asked(HERE, shut) == ()


def test_each_water_is_told_with_its_clock():
    history = History([HERE, THERE, turned(12, APART), batch("b", 20, Q_A)])
    lines = batches_text(ROOM, history, NOW).splitlines()
    assert [line.partition(" until")[0] for line in lines if "isolation until" in line] == [
        "Quarantine without Tank A: isolation",
        "Tank A: isolation",
    ]
    values = [isolation_json(ROOM, clock, NOW) for clock in isolations(ROOM, history, SYSTEM, NOW)]
    assert [(each["system"], each["tank"], each["days_left"]) for each in values] == [
        ("quarantine", None, 15),
        ("quarantine", TANK.id, 33),
    ]
