"""Concerns, what is off normal and protocols in a history that was cut: it answers like all records, or not at all."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rounds.core.history import History
from rounds.core.log import Incomplete
from rounds.core.record import BACK_TO_NORMAL, CONCERN, CONCERN_CLOSED, CONCERN_UPDATE, DONE, OFF_NORMAL, PROTOCOL
from tests.support import instant, record, strike

SINCE = instant("2026-03-04 04:00")
NOON = instant("2026-03-04 12:00")
PUMP = "reef/pump"


def cut(*records):
    return History.restored(History(records).kept(SINCE - timedelta(days=2), SINCE, lambda _: 1))


def answers(history):
    """How everything that is followed stands at noon."""
    calls = [call.id for call in history.opened(PROTOCOL, NOON) if history.ended(call.id, NOON) is None]
    return {
        "concerns": {each.id: history.followed(each.id, NOON) for each in history.concerns(NOON)},
        "left": {each.id: list(history.left_log(each.task or each.ref or each.id)) for each in history.left(NOON)},
        "called": calls,
    }


def same_or_unsure(kept, *later):
    """Whether a cut history takes in what arrives later like one that knows all, or says that it cannot tell."""
    history = cut(*kept)
    for each in later:
        history.add(each)
    try:
        history.check(NOON)
        found = answers(history)
    except Incomplete:
        return
    assert found == answers(History([*kept, *later]))


def ended(kind, closing, **fields):
    begun = record(kind, None, "2026-02-01 12:00", system="reef", note="pale", **fields)
    end = record(closing, None, "2026-02-02 12:00", system="reef", ref=begun.id, reason="better", **fields)
    return begun, end


@pytest.mark.parametrize("at", ["2026-02-01 18:00", "2026-02-03 12:00", "2026-03-04 10:00"])
def test_an_update_of_a_concern_that_was_let_go(at):
    """It may open it again, or stand before its end."""
    begun, end = ended(CONCERN, CONCERN_CLOSED)
    same_or_unsure([begun, end], record(CONCERN_UPDATE, None, at, ref=begun.id))


@pytest.mark.parametrize("at", ["2026-02-01 18:00", "2026-02-03 12:00", "2026-03-04 10:00"])
@pytest.mark.parametrize("kind", [OFF_NORMAL, BACK_TO_NORMAL])
def test_what_is_said_of_a_hose_that_was_put_back_long_ago(at, kind):
    """An extension that arrives late stands before its end, or leaves it out again."""
    begun, end = ended(OFF_NORMAL, BACK_TO_NORMAL)
    same_or_unsure([begun, end], record(kind, None, at, ref=begun.id, note="hose"))


@pytest.mark.parametrize("at", ["2026-02-01 18:00", "2026-02-03 12:00", "2026-03-04 10:00"])
def test_what_is_said_of_equipment_that_was_put_back_long_ago(at):
    """Likewise."""
    begun = record(OFF_NORMAL, PUMP, "2026-02-01 12:00", reason="clean")
    end = record(BACK_TO_NORMAL, PUMP, "2026-02-02 12:00", ref=begun.id)
    again = [
        record(kind, PUMP, f"2026-02-{day} 12:00")
        for day, kind in ((10, OFF_NORMAL), (11, BACK_TO_NORMAL), (12, OFF_NORMAL), (13, BACK_TO_NORMAL))
    ]
    same_or_unsure([begun, end, *again], record(OFF_NORMAL, PUMP, at, ref=begun.id))


def test_a_struck_putting_back_of_a_hose_leaves_it_out_again():
    """Also when the hose was forgotten meanwhile, but not yet the record of its putting back."""
    begun, end = ended(OFF_NORMAL, BACK_TO_NORMAL)
    same_or_unsure([begun, end], strike(end, "2026-03-04 10:00"))


def test_a_struck_closing_opens_a_concern_that_was_let_go():
    """Likewise."""
    begun, end = ended(CONCERN, CONCERN_CLOSED)
    same_or_unsure([begun, end], strike(end, "2026-03-04 10:00"))


@pytest.mark.parametrize(("kind", "later"), [(CONCERN, CONCERN_UPDATE), (OFF_NORMAL, OFF_NORMAL)])
def test_what_arrives_before_its_beginning_waits_for_it(kind, later):
    """One device's sheet can come before the other's: nothing is lost, and no sheet is read for it."""
    begun = record(kind, None, "2026-03-02 12:00", note="hose")
    word = record(later, None, "2026-03-02 13:00", ref=begun.id, note="hose")
    history = cut(word)
    history.add(begun)
    assert answers(history) == answers(History([begun, word]))
    history = cut()
    history.add(word)
    history.add(begun)
    assert answers(history) == answers(History([begun, word]))


def steps(call, count):
    task = f"reef/step-{call.id[-12:]}-1"
    return [record(DONE, task, f"2026-02-{day:02} 12:00", ref=call.id) for day in range(2, 2 + count)]


def test_every_step_of_a_protocol_under_way_is_kept():
    """However many there are and however long ago it was called: how often it was done is counted from the call."""
    call = record(PROTOCOL, "room/course", "2026-02-01 12:00")
    doses = steps(call, 20)
    assert list(cut(call, *doses).closings(doses[0].task)) == doses


def test_the_steps_of_an_ended_protocol_are_let_go():
    """What is kept does not grow with every protocol that was ever called."""
    call = record(PROTOCOL, "room/course", "2026-02-01 12:00")
    doses = steps(call, 5)
    end = record(PROTOCOL, "room/course", "2026-02-20 12:00", ref=call.id)
    kept = History([call, *doses, end]).kept(SINCE - timedelta(days=2), SINCE, lambda _: 8)
    assert (kept.opened, kept.followed, kept.closings) == ((), {}, {})


def test_nothing_is_kept_of_a_closed_concern():
    """Neither its updates nor what was said of its looks."""
    begun, end = ended(CONCERN, CONCERN_CLOSED)
    look = record("could not", f"reef/look-{begun.id[-12:]}", "2026-02-01 15:00", ref=begun.id)
    kept = History([begun, look, end]).kept(SINCE - timedelta(days=2), SINCE, lambda _: 8)
    assert (kept.opened, kept.followed, kept.could_not) == ((), {}, {})


def test_whether_a_concern_that_was_let_go_has_ended_is_not_made_up():
    """All records have to be read for it."""
    begun, end = ended(CONCERN, CONCERN_CLOSED)
    history = cut(begun, end)
    with pytest.raises(Incomplete):
        history.ended(begun.id, NOON)
    with pytest.raises(Incomplete):
        history.followed(begun.id, NOON)
