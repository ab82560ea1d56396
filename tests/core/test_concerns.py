"""Concerns: opened, looked at again, updated, closed, opened again; whatever the order in which records come."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core import following
from rounds.core.concerns import concern, open_concerns
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.record import CONCERN, CONCERN_CLOSED, CONCERN_UPDATE
from tests.core.followed import ROOM, Story, wall
from tests.support import instant, record, strike

LOOK = "Look again: pale corner"
NOON = instant("2026-03-04 12:00")


@pytest.fixture
def story():
    return Story()


def about(story, record, at):
    return concern(story.history, record, instant(at))


def update(story, opened, at, text="paler", again=None):
    found = about(story, opened, at)
    look_at = instant(again) if again else None
    return story.write(following.draft_concern_update(ROOM, found, text, instant(at), look_at=look_at))


def close(story, opened, at, why="healed"):
    return story.write(following.draft_concern_closed(ROOM, about(story, opened, at), why, instant(at)))


def test_a_concern_says_what_where_and_what_to_look_for(story):
    """And the words of the trade in it."""
    opened = story.concern("2026-03-02 10:00", look_for="more tips")
    (found,) = open_concerns(story.history, NOON)
    assert (found.record.system, found.record.station, found.look_for) == ("reef", "rack", "more tips")
    assert (opened.words, found.age(NOON), found.look_at) == (("pale",), timedelta(days=2, hours=2), None)


def test_a_look_comes_due_at_its_station(story):
    """Fine for a quarter of the time since, at most twelve hours."""
    story.concern("2026-03-02 10:00", again="2026-03-04 10:00")
    assert story.item(LOOK, "2026-03-04 09:59").state == "later"
    item = story.item(LOOK, "2026-03-04 10:00")
    assert (item.state, item.task.station, wall(item.fine_until)) == ("due", "rack", "2026-03-04 22:00")
    assert story.item(LOOK, "2026-03-04 22:01").state == "overdue"


def test_a_look_is_asked_for_again_after_the_same_time(story):
    """Counted from the look, not from when it had been due."""
    story.concern("2026-03-02 10:00", again="2026-03-04 10:00")
    story.do(LOOK, "2026-03-04 15:00", "as before")
    item = story.item(LOOK, "2026-03-04 16:00")
    assert wall(item.due_at) == "2026-03-06 15:00"
    (done,) = [each for each in story.of("look", "2026-03-04 16:00") if each.state == "done"]
    assert (wall(done.due_at), done.closed_by) == ("2026-03-04 10:00", "TV")


def test_two_looks_in_a_day_are_one_entry(story):
    """It had been due when the first of them found it due."""
    opened = story.concern("2026-03-02 10:00", again="2026-03-04 10:00")
    story.do(LOOK, "2026-03-04 10:30")
    update(story, opened, "2026-03-04 11:00")
    (done,) = [each for each in story.of("look", "2026-03-04 12:00") if each.state == "done"]
    assert wall(done.due_at) == "2026-03-04 10:00"


def test_a_look_without_words_says_that_nothing_changed(story):
    """The record is never empty."""
    story.concern("2026-03-02 10:00", again="2026-03-04 10:00")
    assert story.do(LOOK, "2026-03-04 10:30").note == "unchanged"


def test_a_concern_without_a_time_asks_for_no_look(story):
    """Neither when it is opened, nor when it is updated or closed."""
    opened = story.concern("2026-03-04 08:00")
    update(story, opened, "2026-03-04 09:00")
    close(story, opened, "2026-03-04 10:00")
    assert story.of("look", "2026-03-04 11:00") == []


def test_an_update_can_set_another_time(story):
    """It stands until the next one."""
    opened = story.concern("2026-03-02 10:00", again="2026-03-04 10:00")
    update(story, opened, "2026-03-03 10:00", again="2026-03-03 14:00")
    assert wall(story.item(LOOK, "2026-03-03 12:00").due_at) == "2026-03-03 14:00"
    story.do(LOOK, "2026-03-03 14:00")
    assert wall(story.item(LOOK, "2026-03-03 15:00").due_at) == "2026-03-03 18:00"


def test_a_closed_concern_asks_for_nothing_more(story):
    """Its last look is done."""
    opened = story.concern("2026-03-02 10:00", again="2026-03-04 10:00")
    close(story, opened, "2026-03-04 10:30")
    assert open_concerns(story.history, NOON) == []
    assert [item.state for item in story.of("look", "2026-03-04 11:00")] == ["done"]
    assert story.of("look", "2026-03-05 11:00") == []


def test_a_later_update_opens_it_again(story):
    """After a question; the last interval counts again."""
    opened = story.concern("2026-03-01 10:00", again="2026-03-02 10:00")
    close(story, opened, "2026-03-02 10:30")
    draft = following.draft_concern_update(
        ROOM, about(story, opened, "2026-03-04 10:00"), "pale again", instant("2026-03-04 10:00")
    )
    assert draft.questions == ("the concern was closed by TV Mon 2 Mar 10:30 (healed); open it again?",)
    story.write(draft)
    assert [each.id for each in open_concerns(story.history, NOON)] == [opened.id]
    assert wall(story.item(LOOK, "2026-03-04 12:00").due_at) == "2026-03-05 10:00"


def test_an_update_of_before_the_closing_does_not_open_it(story):
    """A late entry stands where it belongs."""
    opened = story.concern("2026-03-01 10:00")
    close(story, opened, "2026-03-02 10:30")
    story.records.append(record(CONCERN_UPDATE, None, "2026-03-02 09:00", ref=opened.id, recorded="2026-03-03 09:00"))
    assert open_concerns(story.history, NOON) == []


@pytest.mark.parametrize(("struck", "open_then"), [(CONCERN, False), (CONCERN_UPDATE, False), (CONCERN_CLOSED, True)])
def test_a_strike_counts_whatever_it_strikes(story, struck, open_then):
    """The concern as if it had never been; its closing opens it again."""
    opened = story.concern("2026-03-01 10:00", again="2026-03-02 10:00")
    update(story, opened, "2026-03-02 10:00", again="2026-03-03 10:00")
    close(story, opened, "2026-03-03 10:00")
    (target,) = [each for each in story.records if each.kind == struck]
    story.records.append(strike(target, "2026-03-03 11:00"))
    assert bool(open_concerns(story.history, NOON)) is open_then
    assert bool(story.of("look", "2026-03-04 12:00")) is open_then


def test_a_struck_update_brings_the_look_before_it_back(story):
    """It is due as before."""
    opened = story.concern("2026-03-01 10:00", again="2026-03-04 10:00")
    wrong = update(story, opened, "2026-03-02 10:00", again="2026-03-09 10:00")
    story.records.append(strike(wrong, "2026-03-02 11:00"))
    assert wall(story.item(LOOK, "2026-03-04 12:00").due_at) == "2026-03-04 10:00"


REFUSED = {
    "no words": lambda s, o: update(s, o, "2026-03-04 10:00", text=" "),
    "before it was opened": lambda s, o: following.draft_concern_update(
        ROOM, about(s, o, "2026-03-04 10:00"), "x", instant("2026-02-28 10:00")
    ),
    "a look that is past": lambda s, o: update(s, o, "2026-03-04 10:00", again="2026-03-04 10:00"),
    "closed without a reason": lambda s, o: close(s, o, "2026-03-04 10:00", why=""),
    "closed before its last word": lambda s, o: following.draft_concern_closed(
        ROOM, about(s, o, "2026-03-04 10:00"), "x", instant("2026-02-28 10:00")
    ),
}


@pytest.mark.parametrize("attempt", REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_is_refused(story, attempt):
    """In a sentence that says what to give instead."""
    opened = story.concern("2026-03-01 10:00")
    with pytest.raises(Refused, match=r"give a later time|a few words"):
        attempt(story, opened)


def test_a_closed_concern_is_not_closed_again(story):
    """The refusal says who closed it."""
    opened = story.concern("2026-03-01 10:00")
    close(story, opened, "2026-03-02 10:30")
    with pytest.raises(Refused, match="closed by TV"):
        close(story, opened, "2026-03-03 10:30")


def test_a_look_at_a_struck_concern_is_refused(story):
    """Another device struck it meanwhile."""
    opened = story.concern("2026-03-01 10:00", again="2026-03-04 10:00")
    task = story.item(LOOK, "2026-03-04 10:00").task
    story.records.append(strike(opened, "2026-03-04 10:01"))
    with pytest.raises(Refused, match="struck meanwhile"):
        story.drafted(task, "2026-03-04 10:02")


@given(st.data())
def test_two_devices_agree_whatever_the_order(data):
    """Updates, closings and strikes of two devices, merged in any order and any number of times."""
    opened = record(CONCERN, None, "2026-03-01 10:00", system="reef", note="pale corner", until="2026-03-02 10:00")
    records = [opened]
    hours = data.draw(st.lists(st.integers(1, 60), min_size=1, max_size=6))
    for hour in hours:
        at = opened.at + timedelta(hours=hour)
        kind = data.draw(st.sampled_from((CONCERN_UPDATE, CONCERN_CLOSED)))
        records.append(record(kind, None, at, ref=opened.id, reason="why", until=at + timedelta(days=1)))
        if data.draw(st.integers(0, 3)) == 0:
            records.append(strike(records[data.draw(st.integers(0, len(records) - 1))], at))
    again = data.draw(st.permutations(records + data.draw(st.lists(st.sampled_from(records)))))
    one, other = (Story(records=each) for each in (records, again))
    assert open_concerns(History(again), NOON) == open_concerns(History(records), NOON)
    assert other.items("2026-03-03 12:00") == one.items("2026-03-03 12:00")
