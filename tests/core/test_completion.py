"""What came due in a time and what became of it, occurrence by occurrence."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rounds.core.completion import completions, judged
from rounds.core.history import History
from rounds.core.record import BACK_TO_NORMAL, OFF_NORMAL
from tests.core.followed import Story
from tests.support import Bench, could_not, done, instant, not_needed, postponed, record, strike


def outcomes(bench, records, first, last, now):
    """``(when it was due, outcome)`` of each from the round day `first` to `last`."""
    begin, end = (instant(f"{day}T04:00") for day in (first, last))
    found = judged(bench.room, History(records), begin, end, instant(now))
    return [(bench.room.calendar.local(each.due_at).strftime("%d %H:%M"), each.outcome) for each in found]


DAILY = 'rrule = "FREQ=DAILY"\nat = ["09:00", "17:00"]\ngrace = "2 hours"\n'
MEAL = f"{DAILY}make_up = false"


def test_each_occurrence_by_what_was_recorded_in_its_window():
    """In time, late, not needed, missed; the windows change at 15:00 and 05:00 (a quarter of 8 and of 16 hours)."""
    records = [
        done("reef/cup", "2026-03-03T10:59"),
        done("reef/cup", "2026-03-03T19:01"),
        not_needed("reef/cup", "2026-03-04T09:00", reason="fasting"),
        done("reef/cup", "2026-03-05T16:00"),
    ]
    assert outcomes(Bench(MEAL), records, "2026-03-03", "2026-03-06", "2026-03-08T09:00") == [
        ("03 09:00", "in time"), ("03 17:00", "late"), ("04 09:00", "not needed"), ("04 17:00", "missed"),
        ("05 09:00", "missed"), ("05 17:00", "in time"),
    ]  # fmt: skip


def test_what_lies_ahead_is_not_judged_and_what_is_fine_is_open():
    records = [done("reef/cup", "2026-03-03T09:00")]
    now = "2026-03-03T18:00"
    assert outcomes(Bench(MEAL), records, "2026-03-03", "2026-03-06", now) == [
        ("03 09:00", "in time"),
        ("03 17:00", "open"),
    ]
    later = outcomes(Bench(MEAL), records, "2026-03-03", "2026-03-06", "2026-03-03T20:00")
    assert later == [("03 09:00", "in time"), ("03 17:00", "not done")]


def test_what_is_made_up_by_one_was_missed_before():
    """Three times came, one closing in the window of the last: that one is in time.

    The window of Tuesday's 17:00 lasts until Wednesday 05:00, so it was open when Wednesday's round day began.
    """
    records = [done("reef/cup", "2026-03-02T18:00"), done("reef/cup", "2026-03-04T09:30")]
    bench, now = Bench(DAILY), "2026-03-04T12:00"
    assert outcomes(bench, records, "2026-03-03", "2026-03-04", now) == [("03 09:00", "missed"), ("03 17:00", "missed")]
    wednesday = outcomes(bench, records, "2026-03-04", "2026-03-05", now)
    assert wednesday == [("03 17:00", "missed"), ("04 09:00", "in time")]


def test_counted_from_the_last_time():
    """Two days after 1 March: due the 3rd, fine until its round day ends; done late on the 5th; next the 7th."""
    records = [done("reef/cup", "2026-03-01T10:00"), done("reef/cup", "2026-03-05T10:00")]
    bench = Bench('again_after = "2 days"')
    assert outcomes(bench, records, "2026-03-02", "2026-03-09", "2026-03-10T12:00") == [
        ("03 04:00", "late"), ("07 04:00", "not done"),
    ]  # fmt: skip
    assert outcomes(bench, records, "2026-03-02", "2026-03-08", "2026-03-08T03:00") == [
        ("03 04:00", "late"), ("07 04:00", "open"),
    ]  # fmt: skip


def test_what_was_open_before_counts_until_it_is_closed():
    """Due on the 3rd and done on the 5th: late on the days between, and on no day after."""
    records = [done("reef/cup", "2026-03-01T10:00"), done("reef/cup", "2026-03-05T10:00")]
    bench = Bench('again_after = "2 days"')
    for day, after in ((4, 5), (5, 6)):
        found = outcomes(bench, records, f"2026-03-0{day}", f"2026-03-0{after}", "2026-03-06T12:00")
        assert found == [("03 04:00", "late")]
    assert outcomes(bench, records, "2026-03-06", "2026-03-07", "2026-03-06T12:00") == []


def test_twice_in_a_row_is_once():
    """Recorded on two devices an hour apart: the second is no time of its own."""
    records = [done("reef/cup", "2026-03-01T10:00"), done("reef/cup", "2026-03-03T10:00", "TV"),
               done("reef/cup", "2026-03-03T11:00", "MK")]  # fmt: skip
    assert outcomes(Bench('again_after = "2 days"'), records, "2026-03-03", "2026-03-07", "2026-03-06T12:00") == [
        ("03 04:00", "in time"), ("05 04:00", "not done"),
    ]  # fmt: skip


def test_once_and_called():
    once = Bench("once = 2026-03-03")
    assert outcomes(once, [], "2026-03-03", "2026-03-04", "2026-03-05T12:00") == [("03 04:00", "not done")]
    records = [done("reef/cup", "2026-03-03T10:00")]
    assert outcomes(once, records, "2026-03-03", "2026-03-04", "2026-03-05T12:00") == [("03 04:00", "in time")]
    assert outcomes(Bench("called = true"), records, "2026-03-03", "2026-03-04", "2026-03-05T12:00") == []


def test_struck_records_close_nothing():
    closing = done("reef/cup", "2026-03-03T10:00")
    records = [done("reef/cup", "2026-03-01T10:00"), closing, strike(closing, "2026-03-04T10:00")]
    assert outcomes(Bench('again_after = "2 days"'), records, "2026-03-03", "2026-03-04", "2026-03-05T12:00") == [
        ("03 04:00", "not done")
    ]


def test_days_tile_what_a_month_holds():
    """Every time that came due lies in the review of its day, and none in two."""
    bench = Bench(MEAL)
    records = [done("reef/cup", f"2026-03-{day:02}T09:10") for day in range(1, 29, 2)]
    month = outcomes(bench, records, "2026-03-01", "2026-04-01", "2026-04-02T12:00")
    days = [
        each
        for day in range(1, 32)
        for each in outcomes(bench, records, f"2026-03-{day:02}", str(next_day(day)), "2026-04-02T12:00")
    ]
    assert days == month
    assert len(month) == 62


def next_day(day):
    return (instant(f"2026-03-{day:02}T12:00") + timedelta(days=1)).date()


@pytest.mark.parametrize(("day", "next_day"), [("2026-03-29", "2026-03-30"), ("2026-10-25", "2026-10-26")])
def test_the_day_the_clocks_change_has_its_times(day, next_day):
    found = outcomes(Bench(MEAL), [done("reef/cup", f"{day}T09:30")], day, next_day, "2026-11-02T12:00")
    assert [outcome for _, outcome in found] == ["in time", "missed"]


def test_out_of_service_is_not_missed():
    """While the equipment that it needs is off."""
    bench = Bench(f'{MEAL}\nequipment = "uv"\n[[equipment]]\nid = "uv"\nkind = "UV"')
    records = [
        record(OFF_NORMAL, "reef/uv", "2026-03-03T08:00", words=("off",), until="2026-03-04T08:00"),
        record(BACK_TO_NORMAL, "reef/uv", "2026-03-03T12:00"),
    ]
    assert outcomes(bench, records, "2026-03-03", "2026-03-04", "2026-03-05T12:00") == [
        ("03 09:00", "not in service"), ("03 17:00", "missed"),
    ]  # fmt: skip


def test_the_worst_task_first_with_its_causes():
    bench = Bench(
        MEAL + '\n[[tasks]]\nid = "glass"\ntitle = "Wipe"\nrrule = "FREQ=DAILY"\nat = "09:00"\nmake_up = false'
    )
    records = [
        *(done("reef/cup", f"2026-03-03T{hour}:10") for hour in ("09", "17")),
        could_not("reef/glass", "2026-03-03T09:10", "ladder gone"),
        could_not("reef/glass", "2026-03-04T09:10", "ladder gone"),
        postponed("reef/glass", "2026-03-04T09:20", "2026-03-04T12:00", reason="power cut"),
        not_needed("reef/glass", "2026-03-05T09:20", reason="clean"),
    ]
    begin, end, now = (instant(f"2026-03-0{day}T04:00") for day in (3, 6, 8))
    history = History(records)
    first, second = completions(bench.room, history, judged(bench.room, history, begin, end, now), begin, end)
    assert (first.task.id, first.due, first.failed) == ("reef/cup", 6, 4)
    assert (second.task.id, second.counts) == ("reef/glass", {"missed": 2, "not needed": 1})
    assert second.causes == (("could not: ladder gone", 2), ("postponed: power cut", 1), ("not needed: clean", 1))


# -- what records ask for ------------------------------------------------------------------------------------


def asked_for(story, first, last, now):
    """``(title, when it was due, outcome)`` of what records asked for."""
    begin, end = (instant(f"{day}T04:00") for day in (first, last))
    found = judged(story.room, story.history, begin, end, instant(now))
    local = story.room.calendar.local
    return [
        (each.task.title, local(each.due_at).strftime("%d %H:%M"), each.outcome)
        for each in found
        if each.task.source in ("look", "put back", "step")
    ]


def test_what_was_put_back_late_or_not_at_all():
    """A pump off for a quarter of an hour, put back in time and late; a hose that nobody shut."""
    story = Story()
    for begins, until, back in (("10:00", "10:15", "10:14"), ("12:00", "12:15", "13:00")):
        story.off(f"2026-03-03 {begins}", f"2026-03-03 {until}")
        story.back(f"2026-03-03 {back}")
    story.hose("2026-03-03 14:00", "2026-03-03 14:30")
    day = ("2026-03-03", "2026-03-04", "2026-03-03 15:00")
    assert asked_for(story, *day) == [
        ("Put back: return pump (off)", "03 10:15", "in time"),
        ("Put back: return pump (off)", "03 12:15", "late"),
        ("Put back: hose (open)", "03 14:30", "not done"),
    ]
    before = asked_for(story, "2026-03-03", "2026-03-04", "2026-03-03 14:10")
    assert [outcome for _, _, outcome in before] == ["in time", "late"], "the hose may run for a while yet"
    (hose,) = asked_for(story, "2026-03-04", "2026-03-05", "2026-03-04 15:00")
    assert hose == ("Put back: hose (open)", "03 14:30", "not done"), "and was open when the next day began"


def test_extended_in_time_is_judged_by_the_later_time():
    story = Story()
    story.off("2026-03-03 10:00", "2026-03-03 10:15")
    story.off("2026-03-03 10:10", "2026-03-03 12:00", reason="the basket is clogged")
    story.back("2026-03-03 11:00")
    assert asked_for(story, "2026-03-03", "2026-03-04", "2026-03-03 15:00") == [
        ("Put back: return pump (off)", "03 12:00", "in time")
    ]


def test_looks_at_a_concern():
    """Looked at in time, late by a day, and then not at all."""
    story = Story()
    opened = story.concern("2026-03-02 10:00", again="2026-03-03 10:00")
    story.records += [
        record("concern update", None, at, ref=opened.id, note="as before", until=until)
        for at, until in (("2026-03-03 11:00", "2026-03-04 11:00"), ("2026-03-05 11:00", "2026-03-06 11:00"))
    ]
    assert asked_for(story, "2026-03-03", "2026-03-07", "2026-03-07 03:00") == [
        ("Look again: pale corner", "03 10:00", "in time"),
        ("Look again: pale corner", "04 11:00", "late"),
        ("Look again: pale corner", "06 11:00", "not done"),
    ]


def test_steps_of_a_protocol():
    """A dose in time, one late, the third not given; carbon not done. Ended, it asks for nothing more."""
    story = Story()
    call = story.call("reef/course", "2026-03-03 10:00")
    story.do("Dose", "2026-03-03 10:05")
    story.do("Dose", "2026-03-04 22:00")
    span = ("2026-03-03", "2026-03-07")
    assert asked_for(story, *span, "2026-03-06 12:00") == [
        ("Dose", "03 10:00", "in time"),
        ("Fresh carbon", "03 12:00", "not done"),
        ("Dose", "04 10:05", "late"),
        ("Dose", "05 22:00", "not done"),
    ]
    story.records.append(record("protocol", None, "2026-03-06 13:00", ref=call.id, reason="all died"))
    assert asked_for(story, *span, "2026-03-06 14:00") == [
        ("Dose", "03 10:00", "in time"),
        ("Dose", "04 10:05", "late"),
    ]
    assert asked_for(story, "2026-03-05", "2026-03-07", "2026-03-06 14:00") == []


def test_a_task_that_two_protocols_call_comes_due_once():
    story = Story()
    story.call("reef/check", "2026-03-03 10:00")
    story.call("reef/basket-thrice", "2026-03-03 10:00")
    story.do("Clean the pump's basket", "2026-03-03 10:10")
    begin, end = instant("2026-03-03T04:00"), instant("2026-03-04T04:00")
    baskets = [
        each.outcome
        for each in judged(story.room, story.history, begin, end, instant("2026-03-03 20:00"))
        if each.task.id == "reef/basket"
    ]
    assert baskets == ["in time"]
