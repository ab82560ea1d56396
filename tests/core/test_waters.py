"""Tanks valved off from a system and opened to it: whose water is whose, and since when; by hand."""

from __future__ import annotations

import itertools

import pytest

from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.record import APART, JOINED, VALVED, Record
from rounds.core.valving import draft_valved, find_tank
from rounds.core.waters import part_of, valves, water_at, waters
from tests.support import head, instant, record, room_from, strike

LINKED = """name = "Linked"
volume = "1300 L"
surface = "2.7 m2"
[[stations]]
id = "tank-a"
[[stations]]
id = "racks-a"
[[stations]]
id = "tank-b"
[[stations]]
id = "sump"
[[tanks]]
id = "a"
name = "Tank A"
volume = "560 L"
stations = ["tank-a", "racks-a"]
[[tanks]]
id = "b"
name = "Tank B"
volume = "520 L"
stations = ["tank-b"]
[[tasks]]
id = "feed"
station = "tank-a"
title = "Feed"
again_after = "1 day"
[[tasks]]
id = "sock"
station = "sump"
title = "Change the sock"
again_after = "2 days"
"""
ROOM = room_from(head(), linked=LINKED)
SYSTEM = ROOM.system["linked"]
A, B = "linked/a", "linked/b"
NOW = instant("2026-03-30 09:00")


def turned(tank: str, at: str, word: str, **fields: object) -> Record:
    return record(VALVED, tank, at, words=(word,), reason="new fish", **fields)


A_APART = turned(A, "2026-03-10 10:00", APART)
B_APART = turned(B, "2026-03-12 10:00", APART)
A_JOINED = turned(A, "2026-03-20 10:00", JOINED)


def told(*records: Record, at: str = "2026-03-30 09:00") -> list[tuple[str, float | None, str]]:
    """Name, volume and the day since when, of each water."""
    found = waters(History(records), SYSTEM, instant(at))
    return [(each.name, each.volume, each.since.date().isoformat() if each.since else "") for each in found]


def test_nothing_turned_is_one_water():
    assert told() == [("Linked", 1300, "")]
    assert waters(History(), SYSTEM, NOW)[0].stations == ("", "tank-a", "racks-a", "tank-b", "sump")


def test_a_tank_that_is_apart_takes_its_volume_and_stations_with_it():
    """1300 − 560 = 740 L are left."""
    assert told(A_APART) == [("Linked without Tank A", 740, "2026-03-10"), ("Tank A", 560, "2026-03-10")]
    left, tank = waters(History([A_APART]), SYSTEM, NOW)
    assert left.stations == ("", "tank-b", "sump")
    assert tank.stations == ("tank-a", "racks-a")
    assert water_at(History([A_APART]), SYSTEM, "racks-a", NOW) == tank
    assert water_at(History([A_APART]), SYSTEM, None, NOW) == left


def test_it_is_apart_from_the_instant_on_and_not_before():
    assert told(A_APART, at="2026-03-10 09:59") == [("Linked", 1300, "")]
    assert len(told(A_APART, at="2026-03-10 10:00")) == 2


def test_both_apart_leave_the_sump():
    """1300 − 560 − 520 = 220 L; what is left changed last when B went, A when it went itself."""
    assert told(A_APART, B_APART) == [
        ("Linked without Tank A and Tank B", 220, "2026-03-12"),
        ("Tank A", 560, "2026-03-10"),
        ("Tank B", 520, "2026-03-12"),
    ]


def test_joined_again_it_is_one_water_that_was_mixed():
    found = waters(History([A_APART, A_JOINED]), SYSTEM, NOW)
    assert [(water.volume, water.since, water.mixed) for water in found] == [(1300, A_JOINED.at, A_JOINED.at)]
    assert waters(History([A_APART]), SYSTEM, NOW)[0].mixed is None


@pytest.mark.parametrize("order", list(itertools.permutations(range(4))))
def test_two_devices_in_any_order_agree(order):
    """The second "apart" of another device says nothing new: the first counts."""
    again = turned(A, "2026-03-11 08:00", APART)
    records = [A_APART, again, B_APART, A_JOINED]
    assert told(*(records[place] for place in order)) == [
        ("Linked without Tank B", 780, "2026-03-20"),
        ("Tank B", 520, "2026-03-12"),
    ]


def test_a_struck_record_does_not_count():
    """Without the first the second one counts; without the end it is still apart."""
    again = turned(A, "2026-03-11 08:00", APART)
    assert told(A_APART, again, strike(A_APART, NOW))[1] == ("Tank A", 560, "2026-03-11")
    assert len(told(A_APART, strike(A_APART, NOW))) == 1
    assert len(told(A_APART, A_JOINED, strike(A_JOINED, NOW))) == 2


def test_what_stands_in_a_water_is_a_system_of_its_own():
    left, tank = waters(History([A_APART]), SYSTEM, NOW)
    assert [task.id for task in part_of(SYSTEM, left).tasks] == ["linked/sock"]
    assert [task.id for task in part_of(SYSTEM, tank).tasks] == ["linked/feed"]
    assert (part_of(SYSTEM, tank).volume, part_of(SYSTEM, tank).surface) == (560, None)
    assert part_of(SYSTEM, waters(History(), SYSTEM, NOW)[0]).surface == 2.7


def test_stations_share_a_water_by_the_time_of_the_value():
    known = valves(History([A_APART, B_APART, A_JOINED]), SYSTEM, NOW)
    shared = [known.together("tank-a", "sump", instant(f"2026-03-{day:02} 12:00")) for day in (9, 10, 19, 20)]
    assert shared == [True, False, False, True]
    assert known.together("tank-a", "racks-a", instant("2026-03-15 12:00"))
    assert not known.together("tank-a", "tank-b", instant("2026-03-15 12:00"))


def test_a_change_elsewhere_is_none_of_a_tank_that_is_apart():
    known = valves(History([A_APART, B_APART, A_JOINED]), SYSTEM, NOW)
    assert [turn.record for turn in known.turns_at("tank-a")] == [A_APART, A_JOINED]
    assert [turn.record for turn in known.turns_at("sump")] == [A_APART, B_APART, A_JOINED]
    assert [turn.record for turn in known.turns_at("tank-b")] == [A_APART, B_APART]


@pytest.mark.parametrize(
    ("station", "at", "reached"),
    [
        ("sump", "2026-03-09 12:00", {"", "tank-a", "racks-a", "tank-b", "sump"}),  # before anything was parted
        ("tank-a", "2026-03-11 12:00", {"", "tank-a", "racks-a", "sump"}),  # came in with A when that was joined
        ("tank-b", "2026-03-13 12:00", {"tank-b"}),  # B is apart since
        ("sump", "2026-03-11 12:00", {"", "tank-a", "racks-a", "tank-b", "sump"}),  # B still shared it
        ("sump", "2026-03-13 12:00", {"", "tank-a", "racks-a", "sump"}),
    ],
)
def test_what_an_arrival_has_reached(station, at, reached):
    """Isolation follows the water: it goes on in a part of it, and spreads with the next one that is joined."""
    known = valves(History([A_APART, B_APART, A_JOINED]), SYSTEM, NOW)
    assert known.reached(station, instant(at)) == reached


def test_an_arrival_in_a_tank_that_is_apart_stays_there():
    known = valves(History([A_APART]), SYSTEM, NOW)
    assert known.reached("tank-a", instant("2026-03-11 12:00")) == {"tank-a", "racks-a"}


def test_a_draft_says_which_way_and_why():
    tank = find_tank(ROOM, "a")
    draft = draft_valved(ROOM, History(), tank, apart=True, reason=" new fish ", at=NOW)
    assert (draft.kind, draft.system, draft.station, draft.task) == (VALVED, "linked", "tank-a", A)
    assert (draft.words, draft.reason) == ((APART,), "new fish")


@pytest.mark.parametrize(
    ("records", "apart", "reason", "said"),
    [
        ((), True, "  ", "say why Tank A is valved off: a few words are enough"),
        ((), False, "done", "Tank A is joined; there is nothing to record"),
        ((A_APART,), True, "fish", "Tank A is apart since Tue 10 Mar 10:00; there is nothing to record"),
        ((A_APART, A_JOINED), False, "fish", "Tank A is joined since Fri 20 Mar 10:00; there is nothing to record"),
    ],
)
def test_what_cannot_be_is_refused(records, apart, reason, said):
    with pytest.raises(Refused, match=f"^{said}$"):
        draft_valved(ROOM, History(records), find_tank(ROOM, A), apart=apart, reason=reason, at=NOW)


def test_a_kept_history_knows_how_the_valves_stand():
    """However old: nothing newer says it."""
    history = History([A_APART, B_APART, A_JOINED])
    restored = History.restored(history.kept(instant("2026-03-28 04:00"), instant("2026-03-30 04:00"), lambda _: 1))
    assert waters(restored, SYSTEM, NOW) == waters(history, SYSTEM, NOW)
    restored.add(strike(A_JOINED, NOW))
    restored.check(NOW)
    assert len(waters(restored, SYSTEM, NOW)) == 3
