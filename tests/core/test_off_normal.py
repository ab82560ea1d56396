"""What is off normal: left so, extended, put back; its countdown, what stops with it, what it keeps from being done."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core import following
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.items import overdue_order
from rounds.core.off_normal import find_thing, off_normal, put_back_order, together_with
from rounds.core.record import BACK_TO_NORMAL, OFF_NORMAL
from rounds.core.recording import draft_could_not, draft_not_needed, draft_postponed
from rounds.core.why import state_text, why
from tests.core.followed import PUMP, ROOM, Story, wall
from tests.support import done, instant, record, strike

PUT_BACK = "Put back: return pump (off)"
UV = ROOM.equipment["reef/uv"]


@pytest.fixture
def story():
    return Story()


def standing(story, now):
    return off_normal(story.room, story.history, instant(now))


def test_a_pump_is_off_until_it_is_put_back(story):
    """With its reason and the time by which it has to be."""
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    story.back("2026-03-04 10:10")
    (left,) = standing(story, "2026-03-04 10:05")
    assert (left.thing, left.name, left.state, left.reason) == ("reef/pump", "return pump", "off", "feeding")
    assert left.left(instant("2026-03-04 10:05")) == timedelta(minutes=10)
    assert standing(story, "2026-03-04 10:10") == standing(story, "2026-03-04 09:59") == []


@pytest.mark.parametrize(
    ("now", "state", "passed"),
    [
        ("2026-03-04 10:14", "later", False),
        ("2026-03-04 10:15", "overdue", True),
        ("2026-03-04 12:00", "overdue", True),
    ],
)
def test_from_its_time_on_it_is_life_support_and_late(story, now, state, passed):
    """At that very time too: there is no grace."""
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    item = story.item(PUT_BACK, now)
    assert (item.state, item.task.importance, item.in_round) == (state, "life support", True)
    assert standing(story, now)[0].passed(instant(now)) is passed


def test_what_is_past_its_time_stands_at_the_head_of_what_is_late(story):
    """Before husbandry that is later still by its intervals."""
    story.off("2026-03-04 10:00", "2026-03-04 11:00", thing=UV)
    late = overdue_order(story.items("2026-03-04 11:30"))
    assert late[0].task.title == "Put back: uv (off)"


def test_an_extension_keeps_since_when(story):
    """And has a reason of its own."""
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    story.off("2026-03-04 10:14", "2026-03-04 11:00", reason="still eating")
    (left,) = standing(story, "2026-03-04 10:30")
    assert (wall(left.since), wall(left.until), left.reason) == ("2026-03-04 10:00", "2026-03-04 11:00", "still eating")
    assert story.item(PUT_BACK, "2026-03-04 10:30").state == "later"


def test_another_state_begins_anew(story):
    """Running by hand is not the same as off."""
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    story.off("2026-03-04 10:10", "2026-03-04 11:00", state="on manual")
    (left,) = standing(story, "2026-03-04 10:30")
    assert (left.state, wall(left.since)) == ("on manual", "2026-03-04 10:10")


def test_something_else_is_off_normal_by_its_words(story):
    """A hose is in no table; putting it back ends it, and two hoses are two."""
    story.hose("2026-03-04 10:00", "2026-03-04 10:30")
    story.hose("2026-03-04 10:01", "2026-03-04 10:20")
    assert [(each.name, each.state) for each in standing(story, "2026-03-04 10:05")] == [("hose", "open")] * 2
    item = story.of("put back", "2026-03-04 10:25")[0]
    story.write(story.drafted(item.task, "2026-03-04 10:25"))
    assert len(standing(story, "2026-03-04 10:26")) == 1


def test_a_hose_is_extended(story):
    """It stays the same hose."""
    story.hose("2026-03-04 10:00", "2026-03-04 10:30")
    (left,) = standing(story, "2026-03-04 10:20")
    story.write(following.draft_extended(left, instant("2026-03-04 12:00"), "slow", instant("2026-03-04 10:20")))
    (left,) = standing(story, "2026-03-04 10:30")
    assert (left.name, left.state, wall(left.since), wall(left.until)) == (
        "hose", "open", "2026-03-04 10:00", "2026-03-04 12:00",
    )  # fmt: skip


def test_left_so_on_two_devices_it_is_put_back_once(story):
    """There is one pump."""
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    story.records.append(
        record(OFF_NORMAL, "reef/pump", "2026-03-04 10:01", "MK", until="2026-03-04 10:30", words=("off",), reason="x")
    )
    assert len(standing(story, "2026-03-04 10:05")) == 1
    story.back("2026-03-04 10:10")
    assert standing(story, "2026-03-04 10:11") == []


@pytest.mark.parametrize("struck", [OFF_NORMAL, BACK_TO_NORMAL])
def test_a_strike_counts(story, struck):
    """A struck putting back leaves it off; struck being off, it never was."""
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    story.back("2026-03-04 10:10")
    (target,) = [each for each in story.records if each.kind == struck]
    story.records.append(strike(target, "2026-03-04 10:11"))
    assert bool(standing(story, "2026-03-04 10:12")) is (struck == BACK_TO_NORMAL)


def test_a_struck_extension_gives_the_time_before_back(story):
    """It is late at once."""
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    wrong = story.off("2026-03-04 10:14", "2026-03-04 18:00")
    story.records.append(strike(wrong, "2026-03-04 10:16"))
    assert story.item(PUT_BACK, "2026-03-04 10:20").state == "overdue"


def test_put_back_it_is_done_in_the_round(story):
    """With when it had been due."""
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    story.do(PUT_BACK, "2026-03-04 10:20", "all turning")
    (item,) = story.of("put back", "2026-03-04 11:00")
    assert (item.state, item.closed_by, wall(item.due_at)) == ("done", "TV", "2026-03-04 10:15")
    assert story.of("put back", "2026-03-05 11:00") == []


def test_it_cannot_be_put_off_or_said_not_to_be_needed(story):
    """It is put back, or extended with a reason."""
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    task, at = story.item(PUT_BACK, "2026-03-04 10:20").task, instant("2026-03-04 10:20")
    with pytest.raises(Refused, match="extended with a reason"):
        draft_postponed(ROOM, task, instant("2026-03-04 18:00"), at)
    with pytest.raises(Refused, match="extended with a reason"):
        draft_not_needed(ROOM, story.history, task, "why", at)


def test_what_could_not_be_put_back_says_so_only_this_time(story):
    """When the pump is off again, the old reason is gone."""
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    task = story.item(PUT_BACK, "2026-03-04 10:20").task
    story.write(draft_could_not(task, "seized", instant("2026-03-04 10:20")))
    assert story.item(PUT_BACK, "2026-03-04 10:30").could_not == "seized"
    story.back("2026-03-04 11:00")
    story.off("2026-03-04 12:00", "2026-03-04 12:15")
    assert story.item(PUT_BACK, "2026-03-04 12:20").could_not is None


def test_what_was_extended_meanwhile_is_not_put_back_by_an_old_list(story):
    """Another device extended it: the refusal says to look again."""
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    task = story.item(PUT_BACK, "2026-03-04 10:10").task
    story.off("2026-03-04 10:14", "2026-03-04 11:00")
    with pytest.raises(Refused, match="put back or extended meanwhile"):
        story.drafted(task, "2026-03-04 10:16")


REFUSED = {
    "no reason": ("off", "2026-03-04 11:00", " "),
    "a time that is past": ("off", "2026-03-04 10:00", "x"),
    "no state": ("broken", "2026-03-04 11:00", "x"),
}


@pytest.mark.parametrize(("state", "until", "reason"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_is_refused(story, state, until, reason):
    """With the remedy."""
    with pytest.raises(Refused, match=r"a few words|later time|write one of"):
        story.off("2026-03-04 10:00", until, state=state, reason=reason)


def test_it_is_not_put_back_before_it_was_left_so(story):
    """The time is refused."""
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    (left,) = standing(story, "2026-03-04 10:05")
    with pytest.raises(Refused, match="later time"):
        following.draft_put_back(ROOM, left, instant("2026-03-04 09:00"))


def test_putting_back_before_what_it_stops_with_asks_first(story):
    """No flow, no dosing: neither from the list nor as the due item; the pump itself comes first."""
    for thing in (PUMP, UV):
        story.off("2026-03-04 10:00", "2026-03-04 10:15", thing=thing)
    at = instant("2026-03-04 10:10")
    left = {each.thing: each for each in standing(story, "2026-03-04 10:10")}
    drafts = {thing: following.draft_put_back(ROOM, each, at, standing=left.values()) for thing, each in left.items()}
    assert drafts["reef/pump"].questions == ()
    (question,) = drafts["reef/uv"].questions
    assert question.startswith("the return pump is still off, and the uv has to stop with it and comes after it")
    item = next(each for each in story.of("put back", "2026-03-04 10:10") if each.task.id == "reef/uv-put-back")
    assert story.drafted(item.task, "2026-03-04 10:10").questions == (question,)
    story.write(drafts["reef/pump"])
    assert story.drafted(item.task, "2026-03-04 10:11").questions == ()


def test_what_stops_with_it_and_the_order_of_putting_back():
    """Also what stops with that; what the order leaves out comes last."""
    assert [each.id for each in together_with(ROOM, PUMP)] == ["reef/uv", "reef/doser", "reef/feeder"]
    order = ["reef/pump", "reef/doser", "reef/uv", "reef/feeder"]
    assert [each.id for each in put_back_order(ROOM, PUMP)] == order


def test_things_are_found_by_a_short_id_too():
    """An unknown one is refused with the nearest."""
    assert find_thing(ROOM, "uv").id == "reef/uv"
    with pytest.raises(Refused, match="did you mean reef/pump"):
        find_thing(ROOM, "reef/pmp")


# -- what cannot be done meanwhile -------------------------------------------------------------------


def states(story, now, title):
    return [(item.state, item.out_of_service) for item in story.items(now) if item.task.title == title]


def feeds(story, now):
    return [(item.state, wall(item.due_at)) for item in story.items(now) if item.task.title == "Feed"]


def test_work_with_equipment_that_is_off_waits(story):
    """Postponed to when it is put back, however late it is."""
    story.off("2026-03-04 08:00", "2026-03-04 20:00")
    (item,) = [each for each in story.items("2026-03-04 12:00") if each.task.id == "reef/cup"]
    assert (item.state, wall(item.postponed_until)) == ("postponed", "2026-03-04 20:00")
    assert "return pump" in state_text(ROOM, item, instant("2026-03-04 12:00"))
    assert "Return pump is off" in why(ROOM, item, instant("2026-03-04 12:00"))


@pytest.mark.parametrize("state", ["running", "open", "muted", "on manual"])
def test_equipment_that_still_works_keeps_nothing_from_being_done(story, state):
    """Only what is off or shut does."""
    story.off("2026-03-04 08:00", "2026-03-04 20:00", state=state)
    assert states(story, "2026-03-04 12:00", "Rinse the cup") == [("overdue", None)]


def test_a_feed_that_fell_due_while_the_pump_was_off_is_not_missed(story):
    """Neither while it is off nor after it was put back; the one missed before stays missed."""
    morning = "2026-03-05 08:00"
    story.off("2026-03-04 16:00", "2026-03-05 20:00")
    assert ("missed", "2026-03-04 09:00") in feeds(story, "2026-03-04 18:00")
    assert ("not needed", "2026-03-04 17:00") in feeds(story, morning)
    story.back("2026-03-04 20:00")
    assert {("missed", "2026-03-04 09:00"), ("not needed", "2026-03-04 17:00")} <= set(feeds(story, morning))
    (item,) = [each for each in story.items(morning) if each.out_of_service]
    assert state_text(ROOM, item, instant(morning)) == "not needed, return pump was off"
    assert "return pump was off" in why(ROOM, item, instant(morning))


def test_what_was_done_all_the_same_stays_done(story):
    """A record is a record."""
    story.off("2026-03-04 08:00", "2026-03-04 20:00")
    story.records.append(done("reef/cup", "2026-03-04 09:00"))
    assert ("done", None) in states(story, "2026-03-04 12:00", "Rinse the cup")


# -- what a task turns off ---------------------------------------------------------------------------


def test_a_task_turns_equipment_off_with_a_countdown(story):
    """From when it is done; what is off already stays as it is."""
    task, at = ROOM.tasks["reef/basket"], instant("2026-03-04 10:00")
    (draft,) = following.draft_turned_off(ROOM, story.history, task, at)
    story.write(draft)
    (left,) = standing(story, "2026-03-04 10:01")
    assert (left.thing, wall(left.until), left.reason) == ("reef/pump", "2026-03-04 10:15", "Clean the pump's basket")
    assert following.draft_turned_off(ROOM, story.history, task, instant("2026-03-04 10:05")) == []


@given(st.data())
def test_two_devices_agree_whatever_the_order(data):
    """Leaving off, extending, putting back and striking, merged in any order and any number of times."""
    records = [record(OFF_NORMAL, "reef/pump", "2026-03-04 10:00", until="2026-03-04 11:00", words=("off",))]
    for minutes in data.draw(st.lists(st.integers(1, 90), min_size=1, max_size=6)):
        at = records[0].at + timedelta(minutes=minutes)
        kind = data.draw(st.sampled_from((OFF_NORMAL, BACK_TO_NORMAL)))
        ref = data.draw(st.sampled_from([None, *(each.id for each in records if each.kind == OFF_NORMAL)]))
        until = at + timedelta(hours=1) if kind == OFF_NORMAL else None
        records.append(record(kind, "reef/pump", at, ref=ref, until=until, words=("off",), reason="why"))
        if data.draw(st.integers(0, 3)) == 0:
            records.append(strike(records[data.draw(st.integers(0, len(records) - 1))], at))
    again = data.draw(st.permutations(records + data.draw(st.lists(st.sampled_from(records)))))
    now = instant("2026-03-04 11:00")
    assert off_normal(ROOM, History(again), now) == off_normal(ROOM, History(records), now)
    assert Story(records=again).items("2026-03-04 11:00") == Story(records=records).items("2026-03-04 11:00")
