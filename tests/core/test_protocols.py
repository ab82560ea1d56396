"""Protocols: called, step by step, stopped, completed; courses that a missed dose prolongs."""

from __future__ import annotations

from datetime import timedelta

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core import following
from rounds.core.account import record_line
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.protocols import COMPLETED, running, step_id
from rounds.core.record import DONE, PROTOCOL, short
from rounds.core.recording import draft_could_not, draft_not_needed, draft_postponed
from tests.core.followed import ROOM, Story, wall
from tests.support import done, head, instant, measured, record, room_from, strike

CALLED = "2026-03-04 10:00"


@pytest.fixture
def story():
    return Story()


def under_way(story, now):
    return running(story.room, story.history, instant(now))


def ends(story):
    return [each for each in story.records if each.kind == PROTOCOL and each.ref is not None]


def test_each_step_comes_due_after_the_call(story):
    """At its offset; a step for equipment that the system lacks is left out."""
    call = story.call("reef/course", CALLED, about="the fox face", station="rack")
    (under,) = under_way(story, CALLED)
    assert [(step.title, wall(step.due_at)) for step in under.steps] == [
        ("Dose", "2026-03-04 10:00"), ("Fresh carbon", "2026-03-04 12:00"),
    ]  # fmt: skip
    assert [step.task for step in under.steps] == [step_id(call, 1), step_id(call, 3)]
    assert under.next.title == "Dose"


def test_a_step_is_an_item_at_its_station(story):
    """Else where the protocol was called; with how far it has come."""
    story.call("reef/course", CALLED, about="the fox face", station="sump")
    dose, carbon = story.item("Dose", CALLED), story.item("Fresh carbon", CALLED)
    assert (dose.task.station, carbon.task.station) == ("rack", "sump")
    assert (dose.state, dose.task.importance, carbon.state) == ("due", "life support", "later")
    assert dose.because == ("Course for the fox face, called by TV 10:00: 0 of 2 steps done, 0 of 3 times done.")


def test_a_dose_left_out_comes_later(story):
    """The course becomes longer; it is never given twice at once."""
    story.call("reef/course", CALLED)
    story.do("Dose", "2026-03-04 10:30")
    assert wall(story.item("Dose", "2026-03-04 11:00").due_at) == "2026-03-05 10:30"
    story.do("Dose", "2026-03-07 09:00")
    item = story.item("Dose", "2026-03-07 10:00")
    assert (wall(item.due_at), item.missed) == ("2026-03-08 09:00", 0)


COURSE = """name = "Reef"
[[stations]]
id = "sump"
[[protocols]]
id = "course"
name = "Course"
[[protocols.steps]]
title = "Dose"
every = "1 day"
times = 3
[[protocols.steps]]
title = "Look"
after = "1 day"
[[protocols.steps]]
title = "Fresh carbon"
after = "4 days"
"""


@pytest.mark.parametrize(
    ("doses", "carbon"),
    [
        ((), "03-08 10:00"),
        (("03-04 10:00", "03-05 10:00", "03-06 10:00"), "03-08 10:00"),
        (("03-04 10:00", "03-06 10:00"), "03-08 10:00"),
        (("03-04 10:00", "03-08 09:00"), "03-10 09:00"),
        (("03-04 10:00", "03-06 10:00", "03-09 18:00"), "03-10 18:00"),
    ],
    ids=["not begun", "as planned", "one left out", "three left out", "late and done"],
)
def test_what_comes_after_a_course_waits_for_its_end(doses, carbon):
    """Carbon takes the medicine out: it comes on the fourth day, and never sooner than a day after the last dose."""
    story = Story(room_from(head(), reef=COURSE))
    call = story.call("reef/course", CALLED)
    story.records += [done(step_id(call, 1), f"2026-{at}") for at in doses]
    (under,) = running(story.room, story.history, instant("2026-03-09 20:00"))
    due = {step.title: wall(step.due_at) for step in under.steps}
    assert (due["Look"], due["Fresh carbon"]) == ("2026-03-05 10:00", f"2026-{carbon}")


@pytest.mark.parametrize(("hours", "asked"), [(1, True), (5, True), (17, True), (18, False), (24, False), (60, False)])
def test_a_second_dose_too_soon_is_asked_about(story, hours, asked):
    """Within three quarters of its interval; a dose given twice is the dangerous case."""
    story.call("reef/course", CALLED)
    task = story.item("Dose", CALLED).task
    story.do("Dose", "2026-03-04 10:00")
    at = instant("2026-03-04 10:00") + timedelta(hours=hours)
    draft = following.draft_done(ROOM, story.history, task, "", at)
    assert bool(draft.questions) is asked


def test_a_step_every_few_minutes_is_not_asked_about_when_it_is_due():
    """What is soon goes by its own interval."""
    course = ROOM.protocol["reef/course"]
    dose = msgspec.structs.replace(course.steps[0], every=following_span("1 hour"))
    story = Story(
        msgspec.structs.replace(ROOM, protocols=(msgspec.structs.replace(course, steps=(dose,)), *ROOM.protocols[1:]))
    )
    story.call("reef/course", CALLED)
    story.do("Dose", CALLED)
    assert story.drafted(story.item("Dose", "2026-03-04 11:00").task, "2026-03-04 11:00").questions == ()


def following_span(text):
    from rounds.core.durations import parse_span

    return parse_span(text)


def test_a_daily_step_keeps_the_wall_clock(story):
    """Over the change to summer time."""
    story.call("reef/course", "2026-03-28 10:00")
    story.do("Dose", "2026-03-28 10:00")
    assert wall(story.item("Dose", "2026-03-28 11:00").due_at) == "2026-03-29 10:00"


def test_the_last_step_completes_it(story):
    """Its end is written down with it."""
    story.call("reef/course", CALLED)
    story.do("Fresh carbon", "2026-03-04 12:00")
    for day in (4, 5, 6):
        assert ends(story) == []
        story.do("Dose", f"2026-03-{day:02} 13:00")
    (end,) = ends(story)
    assert (end.words, end.ref, under_way(story, "2026-03-06 14:00")) == ((COMPLETED,), story.records[0].id, [])
    assert [item.state for item in story.of("step", "2026-03-06 14:00")] == ["done"]
    assert story.of("step", "2026-03-07 14:00") == []


def test_a_late_entry_of_an_earlier_step_completes_it_too(story):
    """What was written down meanwhile counts."""
    story.call("reef/check", CALLED)
    story.records.append(measured("reef/temperature", "2026-03-04 12:00", 25.0))
    draft = following.draft_done(ROOM, story.history, ROOM.tasks["reef/basket"], "", instant("2026-03-04 10:30"))
    (end,) = following.completed_by(ROOM, story.history, draft, instant("2026-03-04 13:00"))
    assert (end.ref, wall(end.at)) == (story.records[0].id, "2026-03-04 13:00")


def test_what_two_devices_completed_together_ends_with_the_next_work(story):
    """Neither could know that its step was the last; nothing stays under way for it."""
    story.call("reef/check", CALLED)
    story.records += [done("reef/basket", "2026-03-04 11:00"), measured("reef/temperature", "2026-03-04 11:00", 25.0)]
    assert under_way(story, "2026-03-04 12:00") == []
    draft = following.draft_done(ROOM, story.history, ROOM.tasks["reef/cup"], "", instant("2026-03-04 12:00"))
    assert len(following.completed_by(ROOM, story.history, draft, draft.at)) == 1


def test_a_called_task_is_asked_for_as_it_stands_in_the_files(story):
    """Its own title, id and station; done before the call it counts for nothing."""
    story.records.append(done("reef/basket", "2026-03-04 09:00"))
    story.call("reef/check", CALLED)
    item = story.item("Clean the pump's basket", CALLED)
    assert (item.task.id, item.state, item.task.station) == ("reef/basket", "due", "rack")
    story.do("Clean the pump's basket", "2026-03-04 10:30")
    found = [each for each in story.items("2026-03-04 11:00") if each.task.id == "reef/basket"]
    assert [(each.state, wall(each.due_at)) for each in found] == [("done", "2026-03-04 10:00")]


def test_a_called_reading_is_closed_by_its_value(story):
    """And with it the protocol completed."""
    story.call("reef/check", CALLED)
    story.do("Clean the pump's basket", "2026-03-04 10:30")
    story.do("Test temperature", "2026-03-04 11:00", "25")
    assert under_way(story, "2026-03-04 11:30") == []
    assert len(ends(story)) == 1


def test_a_called_task_that_is_repeated_is_one_entry_a_day(story):
    """What was done today, and the next time."""
    story.call("reef/basket-thrice", CALLED)
    story.do("Clean the pump's basket", "2026-03-04 10:30")
    found = [each for each in story.items("2026-03-04 11:00") if each.task.id == "reef/basket"]
    assert [(each.state, wall(each.due_at)) for each in found] == [
        ("done", "2026-03-04 10:00"), ("later", "2026-03-05 10:30"),
    ]  # fmt: skip


def test_a_task_that_two_calls_ask_for_is_one_item(story):
    """The one that is due first; done once it is done for both."""
    story.call("reef/check", CALLED)
    story.call("reef/check", "2026-03-04 10:05")
    assert wall(story.item("Clean the pump's basket", "2026-03-04 11:00").due_at) == "2026-03-04 10:00"
    story.do("Clean the pump's basket", "2026-03-04 11:00")
    assert [under.next.title for under in under_way(story, "2026-03-04 11:30")] == ["Test temperature"] * 2
    story.do("Test temperature", "2026-03-04 11:30", "25")
    assert len(ends(story)) == 2


def test_what_could_not_be_done_before_the_call_is_not_held_against_it(story):
    """The reason belongs to the call before."""
    story.records.append(record("could not", "reef/basket", "2026-03-03 10:00", reason="stuck"))
    story.call("reef/check", CALLED)
    assert story.item("Clean the pump's basket", CALLED).could_not is None
    story.write(draft_could_not(ROOM.tasks["reef/basket"], "no key", instant("2026-03-04 10:30")))
    assert story.item("Clean the pump's basket", "2026-03-04 11:00").could_not == "no key"


def test_a_step_can_be_put_off_and_said_not_to_be_needed(story):
    """Like any work."""
    story.call("reef/course", CALLED)
    task = story.item("Dose", CALLED).task
    story.write(draft_postponed(ROOM, task, instant("2026-03-04 12:00"), instant("2026-03-04 10:30")))
    assert story.item("Dose", "2026-03-04 11:00").state == "postponed"
    story.write(draft_not_needed(ROOM, story.history, task, "vet says so", instant("2026-03-04 11:00")))
    assert [item.state for item in story.of("step", "2026-03-04 11:30") if item.closed_at] == ["not needed"]


def test_stopped_it_asks_for_nothing_more(story):
    """What was done of it today stays in the round."""
    story.call("reef/course", CALLED)
    story.do("Dose", "2026-03-04 10:30")
    (under,) = under_way(story, "2026-03-04 11:00")
    story.write(following.draft_protocol_stopped(under, "vet says so", instant("2026-03-04 11:00")))
    assert under_way(story, "2026-03-04 11:30") == []
    assert [item.state for item in story.of("step", "2026-03-04 11:30")] == ["done"]


@pytest.mark.parametrize(("struck", "left"), [(0, 0), (1, 2)])
def test_a_strike_counts(story, struck, left):
    """Of the call: it was never called. Of a step: it is due as before."""
    story.call("reef/course", CALLED)
    story.do("Dose", "2026-03-04 10:30")
    story.records.append(strike(story.records[struck], "2026-03-04 10:40"))
    assert len(story.of("step", "2026-03-04 11:00")) == left
    assert all(wall(item.due_at) < "2026-03-04 13" for item in story.of("step", "2026-03-04 11:00"))


def test_a_struck_stop_goes_on(story):
    """As far as it had come."""
    story.call("reef/course", CALLED)
    story.do("Dose", "2026-03-04 10:30")
    (under,) = under_way(story, "2026-03-04 11:00")
    stop = story.write(following.draft_protocol_stopped(under, "why", instant("2026-03-04 11:00")))
    story.records.append(strike(stop, "2026-03-04 11:10"))
    assert [len(step.closings) for step in under_way(story, "2026-03-04 11:30")[0].steps] == [1, 0]


def test_a_protocol_that_is_no_longer_in_the_files_can_only_be_stopped(story):
    """It asks for nothing, is not completed, and its records are still told."""
    story.call("reef/course", CALLED)
    story.do("Dose", "2026-03-04 10:30")
    story.room = msgspec.structs.replace(ROOM, protocols=())
    (under,) = under_way(story, "2026-03-04 11:00")
    assert (under.protocol, under.name, under.next, under.completed) == (None, "reef/course", None, False)
    assert story.of("step", "2026-03-04 11:00") == []
    assert "step-" in record_line(story.room, story.history, story.records[-1])
    story.write(following.draft_protocol_stopped(under, "gone", instant("2026-03-04 11:00")))
    assert under_way(story, "2026-03-04 11:30") == []


def test_its_records_are_told_by_the_titles_of_its_steps(story):
    """Never by their ids."""
    story.call("reef/course", CALLED)
    made = story.do("Dose", "2026-03-04 10:30")
    assert record_line(ROOM, story.history, made) == "TV done: Dose"


@pytest.mark.parametrize("protocol", ["reef/for-heaters"])
def test_a_protocol_without_a_step_for_the_system_is_not_called(story, protocol):
    """It would ask for nothing and never end."""
    with pytest.raises(Refused, match="no step for reef"):
        story.call(protocol, CALLED)


def test_it_is_not_stopped_without_a_reason_or_before_its_call(story):
    """The refusal says what to give."""
    story.call("reef/course", CALLED)
    (under,) = under_way(story, CALLED)
    for why, at in ((" ", "2026-03-04 11:00"), ("why", "2026-03-04 09:00")):
        with pytest.raises(Refused, match=r"a few words|later time"):
            following.draft_protocol_stopped(under, why, instant(at))


@given(st.data())
def test_two_devices_agree_whatever_the_order(data):
    """Steps, stops and strikes of two calls, merged in any order and any number of times."""
    calls = [record(PROTOCOL, "reef/course", f"2026-03-04 1{hour}:00") for hour in (0, 1)]
    records = [*calls]
    for minutes in data.draw(st.lists(st.integers(1, 4000), min_size=1, max_size=6)):
        call = data.draw(st.sampled_from(calls))
        at = call.at + timedelta(minutes=minutes)
        task = f"reef/step-{short(call.id)}-{data.draw(st.sampled_from((1, 3)))}"
        kind, task = data.draw(st.sampled_from(((DONE, task), (DONE, task), (PROTOCOL, "reef/course"))))
        records.append(record(kind, task, at, ref=call.id))
        if data.draw(st.integers(0, 4)) == 0:
            records.append(strike(data.draw(st.sampled_from(records)), at))
    again = data.draw(st.permutations(records + data.draw(st.lists(st.sampled_from(records)))))
    now = "2026-03-06 11:00"
    assert running(ROOM, History(again), instant(now)) == running(ROOM, History(records), instant(now))
    assert Story(records=again).items(now) == Story(records=records).items(now)
