"""Batches: a ledger that neither makes nor loses an animal, the isolation of a water, and what may be recorded."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.core.batches import (
    COMBINED,
    COUNT,
    FISH,
    FOUND,
    SIZE,
    WAYS,
    batches,
    conditions,
    ledger,
    standing,
)
from rounds.core.completion import judged
from rounds.core.errors import RoundsError
from rounds.core.history import History
from rounds.core.isolation import isolation
from rounds.core.log import Incomplete
from rounds.core.moving import (
    Origin,
    draft_arrival,
    draft_batch,
    draft_batch_note,
    draft_combined,
    draft_counted,
    draft_left,
    draft_moved,
    draft_released,
    draft_split,
    parse_count,
    parse_counted,
    parse_label,
    parse_origin,
    parse_size,
    parse_way,
)
from rounds.core.plan import due_items
from rounds.core.record import BATCH, BATCH_CLOSED, BATCH_COUNTED, BATCH_MOVED, NOTE, STRIKE, Value
from rounds.core.words import pests_in
from tests.support import done, head, instant, record, room_from, strike

QUARANTINE = """name = "Quarantine"
volume = "300 L"
isolation = "45 days"
[[stations]]
id = "q-a"
[[stations]]
id = "q-b"
[[tasks]]
id = "look"
station = "q-a"
title = "Look"
called = true
"""
NURSERY = """name = "Nursery"
volume = "960 L"
[[stations]]
id = "rack"
[[stations]]
id = "shelf"
"""
ROOM = room_from(head(), nursery=NURSERY, quarantine=QUARANTINE)
Q_A, Q_B, RACK, SHELF = ("quarantine", "q-a"), ("quarantine", "q-b"), ("nursery", "rack"), ("nursery", "shelf")
PLACES = (Q_A, Q_B, RACK, SHELF)


def count(many):
    return (Value(reading=COUNT, entered=str(many), value=float(many)),)


def batch(id, many, at, place=Q_A, *, parent=None, words=(), note="frags", **fields):
    return record(BATCH, None, at, id=id, system=place[0], station=place[1], values=count(many), ref=parent,
                  words=words, note=note, **fields)  # fmt: skip


def moved(id, at, place, **fields):
    return record(BATCH_MOVED, None, at, system=place[0], station=place[1], ref=id, **fields)


def counted(id, many, at, **fields):
    return record(BATCH_COUNTED, None, at, system="quarantine", ref=id, values=count(many), **fields)


def left(id, at, way="died", many=None, **fields):
    values = count(many) if many is not None else ()
    return record(BATCH_CLOSED, None, at, system="quarantine", ref=id, words=(way,), values=values, **fields)


def combined(id, other, at, place=Q_A, **fields):
    return record(BATCH_CLOSED, other, at, system=place[0], station=place[1], ref=id, words=(COMBINED,), **fields)


def pests(at, system="quarantine", note="one flatworm", words=("flatworm",), **fields):
    return record(NOTE, None, at, system=system, station="q-a", note=note, words=words, **fields)


def now_of(text):
    return instant(text)


def stands(records, at="2026-12-31 12:00"):
    return {each.id: each.count for each in standing(History(records), now_of(at))}


# -- the ledger ------------------------------------------------------------------------------------


def test_a_split_takes_from_one_what_it_gives_to_the_other():
    """Twenty-four less ten are fourteen."""
    records = [batch("a", 24, "2026-03-01 10:00"), batch("b", 10, "2026-03-02 10:00", RACK, parent="a")]
    assert stands(records) == {"a": 14, "b": 10}


def test_two_splits_of_more_than_there_is_share_what_is_there():
    """The second gets the four that are left, and says that sixteen were not there until it is counted."""
    records = [
        batch("a", 24, "2026-03-01 10:00"),
        batch("b", 20, "2026-03-02 10:00", parent="a"),
        batch("c", 20, "2026-03-02 11:00", parent="a"),
    ]
    assert stands(records) == {"b": 20, "c": 4}
    assert batches(History(records), now_of("2026-03-03 10:00"))["c"].short == 16
    records.append(counted("c", 5, "2026-03-03 10:00"))
    assert batches(History(records), now_of("2026-03-03 10:00"))["c"].short == 0


def test_a_split_written_by_a_slow_clock_is_a_split_all_the_same():
    """It is dated before the batch arrived, and makes no animal."""
    records = [batch("a", 24, "2026-03-01 10:00"), batch("b", 10, "2026-03-01 09:55", parent="a")]
    assert stands(records) == {"a": 14, "b": 10}


def test_a_combination_gives_all_to_the_other():
    """The one that was combined is closed, and the other stands where it stood."""
    records = [
        batch("a", 24, "2026-03-01 10:00"),
        batch("b", 10, "2026-03-01 11:00", RACK),
        combined("a", "b", "2026-03-02 10:00", RACK),
    ]
    found = batches(History(records), now_of("2026-03-03 10:00"))
    assert stands(records) == {"b": 34}
    assert (found["a"].parted, found["b"].joined, found["b"].place) == (24, 24, RACK)


def test_two_batches_combined_with_one_another_at_once_lose_nothing():
    """On one device a into b, on the other b into a: the later one has them all."""
    records = [
        batch("a", 24, "2026-03-01 10:00"),
        batch("b", 10, "2026-03-01 11:00"),
        combined("a", "b", "2026-03-02 10:00"),
        combined("b", "a", "2026-03-02 10:01"),
    ]
    assert stands(records) == {"a": 34}


@pytest.mark.parametrize("other", ["a", "nobody"])
def test_a_combination_with_nothing_that_is_there_moves_nothing(other):
    """Neither with itself nor with what was struck."""
    assert stands([batch("a", 24, "2026-03-01 10:00"), combined("a", other, "2026-03-02 10:00")]) == {"a": 24}


def test_a_struck_split_gives_back():
    """What was split off by mistake stands in its batch again."""
    split = batch("b", 10, "2026-03-02 10:00", parent="a")
    records = [batch("a", 24, "2026-03-01 10:00"), split, strike(split, "2026-03-02 10:05")]
    assert stands(records) == {"a": 24}


def test_losses_and_counts_make_the_survival():
    """Of 24, 4 were given away, 1 died, 1 fewer was counted: 18 of 20."""
    records = [
        batch("a", 24, "2026-03-01 10:00"),
        left("a", "2026-03-02 10:00", "given away", 4),
        left("a", "2026-03-03 10:00", "died", 1),
        counted("a", 18, "2026-03-04 10:00"),
    ]
    found = batches(History(records), now_of("2026-03-05 10:00"))["a"]
    assert (found.count, found.uncounted, found.gone) == (18, 1, {"given away": 4, "died": 1})
    assert found.survival == pytest.approx(0.9)


def test_what_has_left_entirely_is_closed_and_stands_nowhere():
    """Its last stay ends with it."""
    records = [batch("a", 24, "2026-03-01 10:00"), left("a", "2026-03-04 10:00", "grown on")]
    found = batches(History(records), now_of("2026-03-05 10:00"))["a"]
    assert (found.count, found.ended, found.stays[-1].until) == (0, records[1], records[1].at)
    assert stands(records) == {}


def test_growth_is_reckoned_over_thirty_days():
    """From 30 to 36 mm in 45 days are 4 mm in 30."""
    sizes = [
        record(BATCH_COUNTED, None, at, system="quarantine", ref="a",
               values=(Value(reading=SIZE, entered=f"{mm} mm", value=mm, unit="mm"),))
        for at, mm in (("2026-03-01 11:00", 30.0), ("2026-04-15 12:00", 36.0))
    ]  # fmt: skip
    found = batches(History([batch("a", 24, "2026-03-01 10:00"), *sizes]), now_of("2026-05-01 10:00"))["a"]
    assert (found.count, found.uncounted) == (24, 0)
    assert found.growth == pytest.approx(4.0)


def test_records_of_a_later_time_do_not_count():
    """Before the split nothing was split off."""
    records = [batch("a", 24, "2026-03-01 10:00"), batch("b", 10, "2026-03-02 10:00", parent="a")]
    assert stands(records, "2026-03-01 12:00") == {"a": 24}


def test_conditions_are_those_of_the_batch_and_of_where_it_stood():
    """Not those of a place before it came or after it left, nor those of another batch beside it."""
    records = [batch("a", 24, "2026-03-01 10:00"), moved("a", "2026-03-10 10:00", RACK)]
    notes = [
        pests("2026-02-28 10:00", id="before"),
        pests("2026-03-02 10:00", id="there"),
        pests("2026-03-03 10:00", id="other", ref="b"),
        pests("2026-03-11 10:00", id="after"),
        pests("2026-03-12 10:00", id="own", ref="a"),
    ]
    found = batches(History(records), now_of("2026-03-20 10:00"))["a"]
    assert [each.id for each in conditions(found, notes)] == ["there", "own"]


def test_what_was_split_from_a_struck_batch_is_to_be_counted():
    """Its animals stand in the one before again, and are not there twice."""
    split = batch("b", 10, "2026-03-02 10:00", parent="a")
    records = [
        batch("a", 24, "2026-03-01 10:00"),
        split,
        batch("c", 4, "2026-03-03 10:00", parent="b"),
        strike(split, "2026-03-04 10:05"),
    ]
    assert stands(records) == {"a": 24, "c": 0}
    assert batches(History(records), now_of("2026-03-05 10:00"))["c"].short == 4


MOVES = ("split", "move", "combine")
EVENTS = (*MOVES, "count", "leave")


@st.composite
def pasts(draw, events=MOVES):
    """Arrivals and what two devices did with them, dated as their clocks said; some of it struck."""
    minutes = st.integers(0, 60 * 24 * 60)
    begin = instant("2026-01-05 10:00")
    arrivals = draw(st.lists(st.integers(1, 40), min_size=1, max_size=4))
    records = [batch(f"batch-{n}", many, begin + timedelta(hours=n)) for n, many in enumerate(arrivals)]
    ids = [each.id for each in records]
    struck = []
    for n, event in enumerate(draw(st.lists(st.sampled_from(events), max_size=14))):
        at, id = begin + timedelta(minutes=draw(minutes)), draw(st.sampled_from(ids))
        many = draw(st.integers(1, 50))
        if event == "split":
            made = batch(f"split-{n}", many, at, draw(st.sampled_from(PLACES)), parent=id)
            ids.append(made.id)
        elif event == "move":
            made = moved(id, at, draw(st.sampled_from(PLACES)))
        elif event == "combine":
            made = combined(id, draw(st.sampled_from(ids)), at)
        elif event == "count":
            made = counted(id, many, at)
        else:
            made = left(id, at, draw(st.sampled_from(WAYS)), draw(st.none() | st.just(many)))
        records.append(made)
        if draw(st.integers(0, 9)) == 0:
            struck.append(strike(made, at))
    return sum(arrivals), [*records, *struck]


NOW = instant("2026-06-01 10:00")


@given(pasts(), st.randoms())
@settings(max_examples=200, deadline=None)
def test_moves_splits_and_combinations_neither_make_nor_lose_an_animal(past, random):
    """Whatever two devices bring together, in whichever order, and whatever of it is struck."""
    arrived, records = past
    for _ in range(3):
        known = batches(History(records), NOW)
        assert sum(each.count for each in known.values()) == arrived
        assert all(each.count >= 0 for each in known.values())
        random.shuffle(records)


@given(pasts(EVENTS), st.randoms())
@settings(max_examples=200, deadline=None)
def test_every_order_of_records_gives_the_same(past, random):
    """The ledger follows history order, not the order in which records came to be known; the books are even."""
    arrived, records = past
    known = batches(History(records), NOW)
    random.shuffle(records)
    assert batches(History([*records, *records]), NOW) == known
    gone = sum(sum(each.gone.values()) + each.uncounted for each in known.values())
    assert sum(each.count for each in known.values()) + gone == arrived


@given(pasts(EVENTS), st.integers(0, 900))
@settings(max_examples=200, deadline=None)
def test_what_is_kept_answers_as_everything_does(past, days):
    """Cut at any day: what stands, and how it came to, is the same as from all records."""
    _, records = past
    day = instant("2026-01-06 04:00") + timedelta(days=days)
    whole = History(records)
    kept = History.restored(whole.kept(day - timedelta(days=2), day, lambda _: 8))
    now = day + timedelta(hours=8)
    assert standing(kept, now) == standing(whole, now)


def test_what_left_long_ago_is_let_go():
    """With all it was split into; a record that names it then asks for everything."""
    records = [
        batch("a", 24, "2026-03-01 10:00"),
        batch("b", 10, "2026-03-02 10:00", parent="a"),
        left("a", "2026-03-03 10:00"),
        left("b", "2026-03-04 10:00"),
        batch("c", 5, "2026-03-05 10:00"),
    ]
    day = instant("2027-08-01 04:00")
    kept = History.restored(History(records).kept(day, day, lambda _: 8))
    assert [each.id for each in kept.batches(day)] == ["c"]
    kept.add(counted("b", 2, "2026-03-03 12:00"))
    with pytest.raises(Incomplete):
        kept.batches(day)


def test_a_part_stays_known_while_another_of_its_family_stands():
    """The count of the one that stands depends on the one it was split from."""
    records = [
        batch("a", 3, "2026-03-01 10:00"),
        batch("b", 10, "2026-03-02 10:00", parent="a"),
        left("a", "2026-03-03 10:00"),
    ]
    day = instant("2027-08-01 04:00")
    kept = History.restored(History(records).kept(day, day, lambda _: 8))
    assert stands(kept.batches(day), "2027-08-02") == {"b": 3}


def test_a_count_of_a_batch_is_no_value_of_a_reading():
    """Nothing is due or closed by it."""
    history = History([batch("a", 24, "2026-03-01 10:00")])
    assert list(history.valued(COUNT)) == []


# -- isolation -------------------------------------------------------------------------------------


def clock_at(at, *records):
    return isolation(ROOM, History(records), Q_A, instant(at))


def test_the_last_arrival_begins_the_isolation_of_all_in_the_water():
    """Batch 1 on 1 March, batch 2 on 14 March: both wait 45 days from the 14th."""
    clock = clock_at("2026-04-20 10:00", batch("a", 24, "2026-03-01 10:00"), batch("b", 14, "2026-03-14 09:00", Q_B))
    assert (clock.since.id, clock.find, clock.free_on.isoformat()) == ("b", False, "2026-04-28")
    assert clock.left(instant("2026-04-20 10:00").date()) == 8


@pytest.mark.parametrize(
    "find",
    [
        pytest.param(pests("2026-03-22 18:00"), id="a note with the word"),
        pytest.param(
            record(NOTE, None, "2026-03-22 18:00", system="quarantine", ref="a", note="white dots", words=(FOUND,)),
            id="a find",
        ),
        pytest.param(
            record(BATCH_CLOSED, None, "2026-03-22 18:00", system="quarantine", ref="a", values=count(1),
                   words=("died", "flatworm"), reason="flatworm at the dip"),
            id="a loss by it",
        ),
    ],
)  # fmt: skip
def test_a_find_begins_it_anew(find):
    """45 days from the find, and the reason is told."""
    clock = clock_at("2026-04-20 10:00", batch("a", 24, "2026-03-14 10:00"), find)
    assert (clock.find, clock.free_on.isoformat()) == (True, "2026-05-06")


@pytest.mark.parametrize(
    "other",
    [
        pytest.param(pests("2026-03-22 18:00", note="no flatworm seen"), id="none was seen"),
        pytest.param(pests("2026-03-22 18:00", system="nursery"), id="in another water"),
        pytest.param(batch("b", 4, "2026-03-22 18:00", Q_B, parent="a"), id="a split in the same water"),
        pytest.param(moved("a", "2026-03-22 18:00", Q_B), id="a move in the same water"),
        pytest.param(pests("2026-03-22 18:00", note="pale", words=("pale",)), id="another word"),
    ],
)
def test_what_brings_nothing_in_does_not_begin_it_anew(other):
    """The days count on."""
    clock = clock_at("2026-04-20 10:00", batch("a", 24, "2026-03-14 10:00"), other)
    assert clock.free_on.isoformat() == "2026-04-28"


def test_a_struck_find_no_longer_counts():
    """The isolation is that of the arrival again."""
    find = pests("2026-03-22 18:00")
    clock = clock_at("2026-04-20 10:00", batch("a", 24, "2026-03-14 10:00"), find, strike(find, "2026-03-22 18:05"))
    assert not clock.find


@pytest.mark.parametrize(
    "entry",
    [
        pytest.param([batch("b", 9, "2026-03-01 10:00", RACK), moved("b", "2026-03-20 10:00", Q_B)], id="moved in"),
        pytest.param(
            [batch("b", 9, "2026-03-01 10:00", RACK), batch("c", 2, "2026-03-20 10:00", Q_B, parent="b")],
            id="split off into it",
        ),
        pytest.param(
            [batch("b", 9, "2026-03-01 10:00", RACK), combined("b", "a", "2026-03-20 10:00")], id="combined into it"
        ),
    ],
)
def test_whatever_comes_from_other_water_begins_it_anew(entry):
    """Not only what came from outside the room."""
    clock = clock_at("2026-04-20 10:00", batch("a", 24, "2026-03-14 10:00"), *entry)
    assert clock.free_on.isoformat() == "2026-05-04"


def test_fish_make_it_longer_for_all_also_after_they_have_left():
    """76 days, until they have been out for as long before the last arrival."""
    fish = batch("f", 2, "2026-01-10 10:00", Q_B, words=(FISH,))
    gone = moved("f", "2026-02-01 10:00", RACK)
    assert clock_at("2026-04-01 10:00", fish, gone, batch("a", 24, "2026-03-14 10:00")).days == 76
    assert clock_at("2026-06-01 10:00", fish, gone, batch("a", 24, "2026-05-14 10:00")).days == 45


def test_nothing_in_it_needs_no_isolation():
    """Nor does a system that is no quarantine."""
    gone = [batch("a", 24, "2026-03-14 10:00"), moved("a", "2026-05-14 10:00", RACK)]
    assert clock_at("2026-05-15 10:00", *gone) is None
    assert isolation(ROOM, History(gone), ("nursery", ""), instant("2026-05-15 10:00")) is None


def test_the_isolation_is_the_same_from_what_is_kept():
    """A batch that arrived last and died since is remembered for it, and so is a find."""
    records = [
        batch("a", 24, "2026-03-01 10:00"),
        batch("b", 5, "2026-03-20 10:00"),
        left("b", "2026-03-21 10:00"),
        pests("2026-03-25 10:00"),
    ]
    day = instant("2026-04-20 04:00")
    whole = History(records)
    kept = History.restored(whole.kept(day - timedelta(days=2), day, lambda _: 8))
    assert isolation(ROOM, kept, Q_A, day) == isolation(ROOM, whole, Q_A, day)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("one flatworm", True),
        ("Pests!", True),
        ("no pests seen", False),
        ("pest free", False),
        ("free of pests", False),
        ("pests: none", False),
        ("flatworms not seen", False),
        ("flatworms on a plug, no dip yet", True),
        ("flatworms with no dip done", True),
        ("no algae, one flatworm", True),
        ("no slime but flatworms", True),
        ("not a flatworm: a snail", False),
        ("infected edge", True),
        ("pesto", False),
        ("", False),
    ],
)
def test_a_text_that_denies_pests_tells_of_none(text, found):
    """Within one part of the sentence."""
    assert pests_in(text) is found


def release_items(at, *records):
    items = due_items(ROOM, History(records), instant(at))
    return [item for item in items if item.task.source == "release"]


def test_moving_out_comes_due_on_the_day_the_isolation_ends():
    """From the beginning of that round day, for a week."""
    arrived = batch("00000000000a", 24, "2026-03-14 10:00")
    (item,) = release_items("2026-04-27 10:00", arrived)
    assert (item.state, item.in_round) == ("later", False)
    (item,) = release_items("2026-04-28 10:00", arrived)
    assert (item.state, item.due_at, item.task.station) == ("due", instant("2026-04-28 04:00"), "q-a")
    assert item.task.title == "Isolation is over: move 24 frags to their place"
    (item,) = release_items("2026-05-06 10:00", arrived)
    assert item.state == "overdue"


def test_moving_out_is_done_by_the_move_or_by_saying_so():
    """What stays may stay."""
    arrived = batch("00000000000a", 24, "2026-03-14 10:00")
    assert release_items("2026-04-28 12:00", arrived, moved("00000000000a", "2026-04-28 11:00", RACK)) == []
    closing = done("quarantine/release-00000000000a", "2026-04-28 11:00")
    (item,) = release_items("2026-04-28 12:00", arrived, closing)
    assert item.state == "done"
    assert release_items("2026-04-29 12:00", arrived, closing) == []


def released(now, *records, begin="2026-04-20 04:00"):
    """Outcomes of moving out of isolation, with the day on which it came due."""
    found = judged(ROOM, History(records), instant(begin), instant("2026-05-31 04:00"), instant(now))
    return [(each.due_at.date().isoformat(), each.outcome) for each in found if each.task.source == "release"]


def test_a_review_tells_of_what_left_isolation_and_when():
    """Over on 28 April, fine for a week: moved in time, late, or not at all; said to stay; died, or gone before."""
    arrived = batch("00000000000a", 24, "2026-03-14 10:00")
    due = "2026-04-28"
    now = "2026-05-12 12:00"
    assert released("2026-04-27 12:00", arrived) == []
    assert released("2026-05-01 12:00", arrived) == [(due, "open")]
    assert released(now, arrived) == [(due, "not done")]
    assert released(now, arrived, moved("00000000000a", "2026-04-29 10:00", RACK)) == [(due, "in time")]
    assert released(now, arrived, moved("00000000000a", "2026-05-10 10:00", RACK)) == [(due, "late")]
    assert released(now, arrived, moved("00000000000a", "2026-04-25 10:00", RACK)) == []
    assert released(now, arrived, moved("00000000000a", "2026-04-29 10:00", Q_B)) == [(due, "not done")]
    stays = done("quarantine/release-00000000000a", "2026-05-01 10:00")
    later = moved("00000000000a", "2026-05-10 10:00", RACK)
    assert released(now, arrived, stays) == released(now, arrived, stays, later) == [(due, "in time")]
    assert released(now, arrived, moved("00000000000a", "2026-04-29 10:00", RACK), begin="2026-05-01 04:00") == []


# -- what may be recorded --------------------------------------------------------------------------

AT = instant("2026-03-20 10:00")


def of(*records):
    history = History(records)
    return history, batches(history, AT)


def test_two_lines_add_a_batch_and_call_its_protocol():
    """A count and what it is; into a quarantine comes with the protocol of arrivals."""
    drafts = draft_arrival(ROOM, draft_batch(Q_A, 24, "Acropora frags, pale", AT, Origin("a shop", "low")))
    assert [(each.kind, each.task, each.note) for each in drafts] == [
        (BATCH, None, "Acropora frags, pale"),
        ("protocol", "room/arrival", "24 Acropora frags, pale"),
    ]
    assert drafts[0].words == ("low light", "pale")
    assert len(draft_arrival(ROOM, draft_batch(RACK, 24, "frags", AT))) == 1


@pytest.mark.parametrize("what", ["6 cleaner fish", "Fish, six"])
def test_fish_are_known_by_their_word(what):
    """So that their isolation is the longer one."""
    assert FISH in draft_batch(Q_A, 6, what, AT).words


def test_released_larvae_are_a_batch_that_did_not_arrive():
    """It names where the colonies stand."""
    draft = draft_released(ROOM, RACK, SHELF, 4000, "larvae", AT)
    assert (draft.reason, draft.values[0].value) == ("released at Nursery, rack", 4000.0)


def test_leaving_before_asks_for_a_reason_and_then_for_a_yes():
    """By a move, a split, a combination and a gift; within the water it may go anywhere."""
    history, known = of(batch("a", 24, "2026-03-14 10:00"), batch("b", 5, "2026-03-01 10:00", RACK))
    for draft in (
        lambda why: draft_moved(ROOM, history, known["a"], RACK, AT, why=why),
        lambda why: draft_split(ROOM, history, known["a"], 4, RACK, AT, why=why),
        lambda why: draft_combined(ROOM, history, known["a"], known["b"], AT, why=why),
        lambda why: draft_left(ROOM, history, known["a"], "given away", why, AT),
    ):
        with pytest.raises(RoundsError, match=r"isolation until Tue 28 Apr, 39 more days .* say why"):
            draft("")
        assert "leave before?" in draft("the heater failed").questions[0]
    assert draft_moved(ROOM, history, known["a"], Q_B, AT).questions == ()
    assert draft_left(ROOM, history, known["a"], "died", "the heater failed", AT).questions == ()


REFUSED = {
    "nothing said": (lambda h, k: draft_batch(Q_A, 3, " ", AT), "say what it is"),
    "moved to where it stands": (lambda h, k: draft_moved(ROOM, h, k["a"], Q_A, AT), "already"),
    "all split off": (lambda h, k: draft_split(ROOM, h, k["a"], 24, Q_B, AT), "only 24"),
    "combined with itself": (lambda h, k: draft_combined(ROOM, h, k["a"], k["a"], AT), "itself"),
    "more lost than there are": (lambda h, k: draft_left(ROOM, h, k["a"], "died", "", AT, count=25), "only 24"),
    "died without a why": (lambda h, k: draft_left(ROOM, h, k["a"], "died", " ", AT), "say why"),
    "missing without a why": (lambda h, k: draft_left(ROOM, h, k["a"], "missing", "", AT), "say why"),
    "a way that is none": (lambda h, k: draft_left(ROOM, h, k["a"], "eaten", "", AT), "grown on"),
    "neither count nor size": (lambda h, k: draft_counted(ROOM, k["a"], None, AT), "how many"),
    "an empty note": (lambda h, k: draft_batch_note(ROOM, k["a"], " ", AT), "what was seen"),
    "of what is closed": (lambda h, k: draft_counted(ROOM, k["gone"], 3, AT), "is closed"),
    "before it arrived": (
        lambda h, k: draft_counted(ROOM, k["a"], 3, AT - timedelta(days=30)),
        "before it arrived",
    ),
}


@pytest.mark.parametrize(("draft", "said"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_is_refused(draft, said):
    """In one sentence."""
    history, known = of(
        batch("a", 24, "2026-03-14 10:00"), batch("gone", 2, "2026-03-14 11:00"), left("gone", "2026-03-15 11:00")
    )
    with pytest.raises(RoundsError, match=said):
        draft(history, known)


@pytest.mark.parametrize("text", ["0", "-3", "2.5", "many", "", "٣", "99999999999"])
def test_no_number_of_animals(text):
    """A whole number from one up."""
    with pytest.raises(RoundsError):
        parse_count(text)


def test_sizes_are_kept_in_millimetres():
    """Whatever the unit was."""
    assert [parse_size(each).value for each in ("31 mm", "3,1 cm", "1 in")] == [31.0, 31.0, 25.4]
    for text in ("31", "mm", "0 mm", "3 L"):
        with pytest.raises(RoundsError):
            parse_size(text)


def test_a_reason_begins_with_how_it_left():
    """And the rest is why."""
    assert parse_way("died: flatworm at the dip") == ("died", "flatworm at the dip")
    assert parse_way("Given away to a school") == ("given away", "to a school")
    with pytest.raises(RoundsError, match="grown on"):
        parse_way("gone")


def test_the_ledger_passes_over_what_names_nothing():
    """Records of a batch whose own has not come yet."""
    assert ledger([counted("nobody", 3, "2026-03-01 10:00")]) == {}


def test_strikes_are_the_only_records_that_need_no_batch():
    """A strike of a batch takes it out with all that was done with it."""
    arrived = batch("a", 24, "2026-03-01 10:00")
    records = [arrived, counted("a", 20, "2026-03-02 10:00"), record(STRIKE, None, "2026-03-03 10:00", ref="a")]
    assert stands(records) == {}


def test_a_label_is_a_count_and_what_it_is():
    """One line."""
    assert parse_label(" 24 Acropora frags ") == (24, "Acropora frags")
    for text in ("Acropora frags", "24", ""):
        with pytest.raises(RoundsError):
            parse_label(text)


def test_where_it_came_from_and_what_it_needs_stand_in_one_line():
    """In any order."""
    assert parse_origin("low light, another nursery; strong flow, fish") == Origin(
        "another nursery", "low", "strong", True
    )
    assert parse_origin("a shop with good light outside") == Origin("a shop with good light outside")


@pytest.mark.parametrize(
    ("text", "many", "mm"), [("23", 23, None), ("31 mm", None, 31.0), ("23 31 mm", 23, 31.0), ("23 3.1 cm", 23, 31.0)]
)
def test_a_count_and_a_size_stand_in_one_line(text, many, mm):
    """The size has a unit."""
    number, size = parse_counted(text)
    assert (number, size.value if size is not None else None) == (many, mm)
