"""Which shift a handover is of, which one comes, who is on, who covers whom."""

from __future__ import annotations

from datetime import UTC

import pytest

from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.record import COVER, STRIKE
from rounds.core.shifts import (
    covering_at,
    covers,
    doers,
    doers_text,
    draft_cover,
    duty_at,
    duty_before,
    next_duty,
    on_call,
    on_duty,
    span_of,
)
from tests.support import done, head, instant, record, room_from

KEEPERS = "".join(
    f'[[keepers]]\ninitials = "{initials}"\nname = "{name}"\n'
    for initials, name in (("OM", "Oonagh"), ("TV", "Tibor"), ("IK", "Inga"), ("GS", ""))
)
OVERLAPPING = f"""{KEEPERS}
[[shifts]]
name = "early"
begins = "07:00"
ends = "13:00"
keepers = ["OM"]
[[shifts]]
name = "late"
begins = "12:30"
ends = "19:00"
keepers = ["IK", "TV"]
"""
REEF = """name = "Reef"
[[tasks]]
id = "cup"
title = "Rinse the cup"
again_after = "2 days"
keeper = "OM"
[[tasks]]
id = "floor"
title = "Look at the floor"
again_after = "2 days"
"""


def room(extra=OVERLAPPING, **keys):
    return room_from(head(extra, **keys), reef=REEF)


def shown(room, duty):
    begins, ends = (room.calendar.local(each).strftime("%d %H:%M") for each in (duty.begins, duty.ends))
    return f"{duty.name} {begins}-{ends}"


def cover(absent, covering, since, until, **fields):
    return record(COVER, None, since, keepers=(absent, covering), until=until, **fields)


# -- which shift -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("now", "outgoing", "incoming"),
    [
        ("2026-03-04T07:00", "early 04 07:00-04 13:00", "late 04 12:30-04 19:00"),
        ("2026-03-04T12:45", "early 04 07:00-04 13:00", "late 04 12:30-04 19:00"),
        ("2026-03-04T13:00", "late 04 12:30-04 19:00", "early 05 07:00-05 13:00"),
        ("2026-03-04T19:10", "late 04 12:30-04 19:00", "early 05 07:00-05 13:00"),
        ("2026-03-05T06:30", "late 04 12:30-04 19:00", "early 05 07:00-05 13:00"),
        ("2026-03-05T03:00", "late 04 12:30-04 19:00", "early 05 07:00-05 13:00"),
    ],
)
def test_the_outgoing_shift_ends_first_or_ended_last(now, outgoing, incoming):
    known = room()
    duty = duty_at(known, instant(now))
    assert (shown(known, duty), shown(known, next_duty(known, duty))) == (outgoing, incoming)


def test_a_shift_is_named():
    """The one of that name that began last; any case."""
    known = room()
    assert shown(known, duty_at(known, instant("2026-03-04T12:45"), "Late")) == "late 04 12:30-04 19:00"
    assert shown(known, duty_at(known, instant("2026-03-04T12:00"), "late")) == "late 03 12:30-03 19:00"
    with pytest.raises(Refused, match="early, late"):
        duty_at(known, instant("2026-03-04T12:45"), "night")


def test_a_shift_that_would_end_before_it_begins_ends_with_the_round_day():
    night = '[[shifts]]\nname = "night"\nbegins = "22:00"\nends = "06:00"\n'
    known = room(night)
    duty = duty_at(known, instant("2026-03-05T01:00"))
    assert shown(known, duty) == "night 04 22:00-05 04:00"


def test_a_shift_within_another_hands_back_to_it():
    known = room('[[shifts]]\nname = "day"\nbegins = "07:00"\nends = "19:00"\n'
                 '[[shifts]]\nname = "feed"\nbegins = "10:00"\nends = "11:00"\n')  # fmt: skip
    duty = duty_at(known, instant("2026-03-04T10:30"))
    assert (shown(known, duty), next_duty(known, duty).name) == ("feed 04 10:00-04 11:00", "day")


def test_without_shifts_the_round_day_is_handed_over():
    known = room("")
    duty = duty_at(known, instant("2026-03-05T03:59"))
    assert shown(known, duty) == "round day 04 04:00-05 04:00"
    assert shown(known, next_duty(known, duty)) == "round day 05 04:00-06 04:00"
    with pytest.raises(Refused, match="leave --shift out"):
        duty_at(known, instant("2026-03-05T03:59"), "early")


@pytest.mark.parametrize(("day", "hours"), [("2026-03-28", 24), ("2026-03-29", 23), ("2026-10-25", 25)])
def test_the_day_the_clocks_change(day, hours):
    """Without shifts and with the round day from midnight, the day is an hour shorter, or longer."""
    known = room("", day_begins="00:00")
    duty = duty_at(known, instant(f"{day}T12:00"))
    assert (duty.ends - duty.begins).total_seconds() == hours * 3600


def test_a_shift_over_the_change_keeps_the_wall_clock():
    """22:00 to 04:00 with the round day from 05:00: seven hours in October."""
    known = room('[[shifts]]\nname = "night"\nbegins = "22:00"\nends = "04:00"\n', day_begins="05:00")
    duty = duty_at(known, instant("2026-10-25T02:30"))
    assert shown(known, duty) == "night 24 22:00-25 04:00"
    assert (duty.ends - duty.begins).total_seconds() == 7 * 3600


def test_nothing_lies_between_two_shifts():
    """What was done in the evening belongs to the late shift until it is handed over, and is told by the early one."""
    known = room()
    late = duty_at(known, instant("2026-03-04T19:10"))
    assert span_of(known, late, instant("2026-03-04T19:10"))[1] == instant("2026-03-04T19:10")
    early = next_duty(known, late)
    assert duty_before(known, early) == late
    assert span_of(known, early, instant("2026-03-05T12:45"))[0] == late.ends == instant("2026-03-04T19:00")


def test_what_the_next_shift_does_is_not_told_by_a_late_handover():
    """Early handed over at 15:00: what was recorded after it ended, with the late shift running, is the late one's."""
    known = room()
    early = duty_at(known, instant("2026-03-04T15:00"), "early")
    assert span_of(known, early, instant("2026-03-04T15:00"))[1] == early.ends


# -- who covers whom -------------------------------------------------------------------------------


def at(history, now):
    """Who does the work of each keeper at an instant."""
    return covering_at(covers(history, now), now)


def test_a_cover_holds_from_its_time_until_its_end():
    history = History([cover("OM", "TV", "2026-03-02T09:00", "2026-03-04T09:00")])
    held = [bool(covers(history, instant(at))) for at in ("2026-03-02T08:59", "2026-03-02T09:00", "2026-03-04T09:00")]
    assert held == [False, True, False]


def test_a_struck_cover_does_not_hold():
    given = cover("OM", "TV", "2026-03-02T09:00", "2026-03-09T09:00")
    strike = record(STRIKE, None, "2026-03-03T09:00", ref=given.id)
    assert covers(History([given, strike]), instant("2026-03-04T09:00")) == []


def test_the_task_of_an_absent_keeper_is_done_by_who_covers():
    known = room()
    now = instant("2026-03-04T09:00")
    history = History([cover("OM", "TV", "2026-03-02T09:00", "2026-03-09T09:00"),
                       cover("TV", "IK", "2026-03-03T09:00", "2026-03-09T09:00")])  # fmt: skip
    cup, floor = known.tasks["reef/cup"], known.tasks["reef/floor"]
    assert doers(cup, at(history, now)) == ("IK",)
    assert doers_text(cup, at(history, now)) == "IK for OM"
    assert doers(cup, at(history, instant("2026-03-02T12:00"))) == ("TV",)
    assert doers_text(cup) == "OM"
    assert (doers(floor, at(history, now)), doers_text(floor)) == ((), "")


def test_two_who_cover_each_other_do_their_own_work():
    """Written on two devices that did not know of each other."""
    history = History([cover("OM", "TV", "2026-03-02T09:00", "2026-03-09T09:00"),
                       cover("TV", "OM", "2026-03-02T09:05", "2026-03-09T09:00")])  # fmt: skip
    assert doers(room().tasks["reef/cup"], at(history, instant("2026-03-04T09:00"))) == ("OM",)


def test_a_cover_is_drafted():
    known = room()
    at, until = instant("2026-03-04T09:00"), instant("2026-03-09T09:00")
    history = History([cover("OM", "TV", "2026-03-02T09:00", "2026-03-09T09:00")])
    draft = draft_cover(known, history, ("IK", "GS"), at, until, "leave")
    assert (draft.kind, draft.keepers, draft.until, draft.reason, draft.questions) == (
        COVER, ("IK", "GS"), until, "leave", (),
    )  # fmt: skip
    assert "TV covers OM until Mon 09:00" in draft_cover(known, history, ("OM", "GS"), at, until, "").questions[0]
    with pytest.raises(Refused, match="own absence"):
        draft_cover(known, history, ("TV", "OM"), at, until, "")
    with pytest.raises(Refused, match="own absence"):
        draft_cover(known, history, ("TV", "TV"), at, until, "")
    with pytest.raises(Refused, match="later time"):
        draft_cover(known, history, ("IK", "GS"), at, at, "")


def test_a_cover_outlives_what_is_kept_of_the_past():
    """Begun weeks ago it still stands in a history that was cut; one that has ended is let go."""
    long, over = (cover("OM", "TV", "2026-02-02T09:00", "2026-03-09T09:00"),
                  cover("IK", "TV", "2026-02-02T09:00", "2026-02-09T09:00"))  # fmt: skip
    whole = History([long, over, *(done("reef/cup", f"2026-02-{day:02}T10:00") for day in range(3, 28))])
    begin = instant("2026-03-02T04:00").astimezone(UTC)
    kept = whole.kept(begin, begin, lambda _: 2)
    assert kept.opened == (long,)
    assert [each.record for each in covers(History.restored(kept), instant("2026-03-04T09:00"))] == [long]


# -- who is on -------------------------------------------------------------------------------------


def hands(found):
    return [(hand.initials, hand.covers_for, hand.recorded) for hand in found]


def test_who_has_the_shift_and_who_else_recorded_in_it():
    known = room()
    history = History([
        cover("OM", "TV", "2026-03-04T06:00", "2026-03-05T06:00"),
        done("reef/cup", "2026-03-04T08:00", "GS"),
        done("reef/cup", "2026-03-03T08:00", "IK"),
    ])  # fmt: skip
    early = duty_at(known, instant("2026-03-04T12:45"))
    assert hands(on_duty(known, history, early, instant("2026-03-04T12:45"))) == [("TV", "OM", False), ("GS", "", True)]


def test_who_comes_is_known_by_the_covers_of_then():
    """A cover that begins tomorrow changes who comes tomorrow; one that ends before does not."""
    known = room()
    history = History([cover("OM", "GS", "2026-03-05T06:00", "2026-03-06T06:00"),
                       cover("IK", "GS", "2026-03-01T06:00", "2026-03-04T06:00")])  # fmt: skip
    now = instant("2026-03-04T18:50")
    late = duty_at(known, now)
    assert hands(on_duty(known, history, next_duty(known, late), now)) == [("GS", "OM", False)]
    assert hands(on_duty(known, history, late, now)) == [("IK", "", False), ("TV", "", False)]


def test_who_is_on_call_first_to_last_each_once():
    known = room(OVERLAPPING, top='on_call = ["OM", "TV"]')
    history = History([cover("OM", "TV", "2026-03-04T06:00", "2026-03-05T06:00")])
    assert hands(on_call(known, history, instant("2026-03-06T09:00"))) == [("OM", "", False), ("TV", "", False)]
    assert hands(on_call(known, history, instant("2026-03-04T09:00"))) == [("TV", "OM", False)]


def test_a_room_without_keepers_knows_who_recorded():
    known = room("")
    history = History([done("reef/cup", "2026-03-04T08:00", "XY")])
    now = instant("2026-03-04T12:00")
    assert hands(on_duty(known, history, duty_at(known, now), now)) == [("XY", "", True)]
    assert on_call(known, history, now) == []
