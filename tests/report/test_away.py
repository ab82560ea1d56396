"""An absence: what to do before it, during it and after it, and what fails first; rooms and numbers are invented.

The barrel loses 5 L a day: 55 L on Tuesday 3 March 08:00, reserve 25 L, 8 L cannot be drawn.
"""

from __future__ import annotations

import random
from datetime import date, datetime, timedelta
from html.parser import HTMLParser

import pytest

from rounds.core.absence import LONGEST, Absence, absence_of
from rounds.core.constants import DKH_PER_MEQ
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.model import ROOM, Room
from rounds.core.record import CONCERN, COVER, OFF_NORMAL, PROTOCOL, READING, Record, Value
from rounds.report.away import Away, away
from rounds.report.away_forms import away_document, away_json, sheet_document, sheet_json
from rounds.report.past import Past
from rounds.report.printable import as_html, as_markdown, as_text
from rounds.report.sitter import NOT_TO_DO, TO_CALL
from tests.support import done, head, instant, record, room_from
from tests.water.tanks import level

KEEPERS = """
[[keepers]]
initials = "TV"
name = "Tove"

[[keepers]]
initials = "MK"
name = "Mika"
"""

REEF = """name = "Reef"
volume = "500 L"
[[stations]]
id = "tank"
name = "Tank"
[[stations]]
id = "sump"
name = "Sump"
"""

BARREL = """
[[reservoirs]]
id = "barrel"
kind = "top-off"
station = "sump"
capacity = "80 L"
dead = "8 L"
reserve = "25 L"
"""

LEVELS = [level("reef/barrel", f"2026-03-0{day}T08:00", litres) for day, litres in ((1, 65), (2, 60), (3, 55))]
NOW = "2026-03-03T12:00"


def task(id: str, rule: str, keys: str = "", station: str = "sump") -> str:
    return f'[[tasks]]\nid = "{id}"\nstation = "{station}"\ntitle = "Do {id}"\n{rule}\n{keys}\n'


def room_with(tables: str = "", *, room: str = KEEPERS) -> Room:
    return room_from(head(room), reef=REEF + tables)


def of(room: Room, records: list[Record], begin: str, end: str, *, now: str = NOW, sitter: str = "") -> Away:
    """The absence as it stands at `now`."""
    at = instant(now)
    absence = absence_of(room, instant(begin), instant(end), at, sitter)
    pasts = {system.id: Past(r for r in records if r.system in (system.id, ROOM)) for system in room.systems}
    return away(room, History(records), pasts, absence, at)


def before(found: Away) -> list[str]:
    return [each.id for each in found.before]


def during(found: Away, id: str) -> list[str]:
    """When a task is to be done meanwhile, on the wall."""
    return [wall(each.at) for each in found.during if each.task.id == id]


def wall(at: datetime) -> str:
    from zoneinfo import ZoneInfo

    return at.astimezone(ZoneInfo("Europe/Dublin")).strftime("%m-%d %H:%M")


# -- from and to -----------------------------------------------------------------------------------


def test_an_absence_ends_after_it_begins():
    """Not the other way round, not at once, not in the past, not for years; each with a remedy."""
    room, now = room_with(), instant(NOW)
    for begin, end, said in (
        ("2026-03-08T08:00", "2026-03-06T08:00", "time of leaving first"),
        ("2026-03-06T08:00", "2026-03-06T08:00", "time of leaving first"),
        ("2026-03-01T08:00", "2026-03-06T08:00", "rounds history"),
        ("2026-03-04", "2027-03-06", "earlier return"),
    ):
        with pytest.raises(Refused, match=said):
            absence_of(room, instant(begin), instant(end), now)
    assert timedelta(days=366) == LONGEST


def test_what_has_passed_of_the_current_round_day_is_left_out():
    """Leaving today means leaving now."""
    found = absence_of(room_with(), instant("2026-03-03T04:00"), instant("2026-03-05"), instant(NOW))
    assert found == Absence(begin=instant(NOW), end=instant("2026-03-05"))


def test_a_room_in_which_nothing_is_due():
    """No tasks, no reservoirs, no keepers: only the return has something to do."""
    room = room_from(head(), reef=REEF)
    found = of(room, [], "2026-03-04", "2026-03-10")
    assert (found.before, found.during, found.fails_first) == ((), (), ())
    assert [(each.kind, each.id) for each in found.after] == [("handover", "handover"), ("look", "reef")]
    text = as_text(away_document(room, found))
    assert "Nobody has to come" in text
    assert "nothing fails before the return" in text
    assert "Nothing has to be done on any day." in as_text(sheet_document(room, found))


# -- tasks inside and outside ----------------------------------------------------------------------


def test_work_counted_from_the_last_time_is_done_before_leaving():
    """Every 7 days, last on 1 March: due on the 8th; done when leaving on the 5th not again before the 12th."""
    room = room_with(task("cup", 'again_after = "7 days"'))
    found = of(room, [done("reef/cup", "2026-03-01T10:00")], "2026-03-05T09:00", "2026-03-11T18:00")
    assert before(found) == ["reef/cup"]
    assert (wall(found.before[0].due_at), wall(found.before[0].again_at)) == ("03-08 04:00", "03-12 04:00")
    assert during(found, "reef/cup") == []


def test_work_that_comes_due_after_the_return_is_not_spoken_of():
    """Due on the 8th at 04:00, back on the 8th at 04:00."""
    room = room_with(task("cup", 'again_after = "7 days"'))
    found = of(room, [done("reef/cup", "2026-03-01T10:00")], "2026-03-05T09:00", "2026-03-08T04:00")
    assert before(found) == []
    assert [each.kind for each in found.after] == ["handover", "look"]


def test_work_that_comes_again_is_for_whoever_is_there():
    """Every 2 days over six days: doing it early does not carry over; each time follows on from the one before."""
    room = room_with(task("cup", 'again_after = "2 days"', "minutes = 5"))
    found = of(room, [done("reef/cup", "2026-03-04T10:00")], "2026-03-05T09:00", "2026-03-11T18:00")
    assert before(found) == []
    assert during(found, "reef/cup") == ["03-06 04:00", "03-08 04:00", "03-10 04:00"]


def test_what_is_due_when_leaving_is_done_then_and_counted_on():
    """Due on the 5th at 04:00, leaving at 09:00: done then, again on the 7th."""
    room = room_with(task("cup", 'again_after = "2 days"', 'grace = "6 hours"'))
    found = of(room, [done("reef/cup", "2026-03-03T10:00")], "2026-03-05T09:00", "2026-03-08T18:00")
    assert before(found) == ["reef/cup"]
    assert during(found, "reef/cup") == ["03-07 04:00"]


def test_work_with_time_to_spare_can_wait():
    """A month's grace is 7.5 days: due on the 8th, back on the 11th, still fine; it can be done early all the same."""
    room = room_with(task("carbon", 'again_after = "1 month"'))
    found = of(room, [done("reef/carbon", "2026-02-08T10:00")], "2026-03-05T09:00", "2026-03-11T18:00")
    assert [(each.id, each.can_wait) for each in found.before] == [("reef/carbon", True)]


@pytest.mark.parametrize(("leaving", "early"), [("09:00", False), ("22:30", True)])
def test_a_date_can_be_done_early_once_its_window_is_open(leaving: str, early: bool):
    """Every Friday 10:00; its window opens 12 hours before, on Thursday 22:00."""
    room = room_with(task("cup", 'rrule = "FREQ=WEEKLY;BYDAY=FR"', 'at = "10:00"\ngrace = "1 day"'))
    found = of(room, [done("reef/cup", "2026-02-27T10:00")], f"2026-03-05T{leaving}", "2026-03-08T18:00")
    assert before(found) == (["reef/cup"] if early else [])
    assert during(found, "reef/cup") == ([] if early else ["03-06 10:00"])


def test_what_is_due_once_cannot_be_done_early():
    """A delivery on the 6th."""
    room = room_with(task("delivery", "once = 2026-03-06", 'at = "10:00"'))
    found = of(room, [], "2026-03-05T09:00", "2026-03-08T18:00")
    assert (before(found), during(found, "reef/delivery")) == ([], ["03-06 10:00"])


def test_a_day_away_and_three_weeks():
    """A daily task: once in a day, 21 times in three weeks; by day, people and life support at its head."""
    room = room_with(
        task("look", 'again_after = "1 day"', station="tank")
        + task("alarm", 'again_after = "1 day"', 'importance = "life support"')
    )
    records = [done(f"reef/{id}", "2026-03-04T10:00") for id in ("look", "alarm")]
    day = of(room, records, "2026-03-04T18:00", "2026-03-05T18:00")
    assert len(day.during) == 0  # due on the 5th at 04:00, fine until its round day ends: it can wait
    assert [each.id for each in day.after if each.kind == "task"] == ["reef/look", "reef/alarm"]
    weeks = of(room, records, "2026-03-04T18:00", "2026-03-26T03:00")
    assert [each.task.id for each in weeks.during[:4]] == ["reef/alarm", "reef/look"] * 2
    assert [each.day for each in weeks.during[::2]] == [date(2026, 3, 5) + timedelta(days=n) for n in range(20)]


def test_the_clocks_go_forward_meanwhile():
    """Feeding at 09:00 on the wall on either side of 29 March; every 8 hours is elapsed time across it."""
    room = room_with(
        task("feed", 'rrule = "FREQ=DAILY"', 'at = "09:00"\nmake_up = false\nfeed = true\ngrace = "90 minutes"')
        + task("dose", 'again_after = "8 hours"', 'importance = "life support"')
    )
    records = [done("reef/feed", "2026-03-28T09:00"), done("reef/dose", "2026-03-28T20:00")]
    found = of(room, records, "2026-03-28T20:30", "2026-03-30T12:00", now="2026-03-28T20:00")
    assert during(found, "reef/feed") == ["03-29 09:00", "03-30 09:00"]
    assert during(found, "reef/dose")[:3] == ["03-29 05:00", "03-29 13:00", "03-29 21:00"]


def test_what_may_be_skipped_is_made_up_on_return():
    """A meal may not, what protects animals neither."""
    room = room_with(
        task("cup", 'again_after = "2 days"', 'grace = "6 hours"')
        + task("alarm", 'again_after = "2 days"', 'grace = "6 hours"\nimportance = "life support"')
        + task("feed", 'rrule = "FREQ=DAILY"', 'at = "09:00"\nmake_up = false\nfeed = true\ngrace = "90 minutes"')
    )
    records = [done(f"reef/{id}", "2026-03-04T10:00") for id in ("cup", "alarm")]
    found = of(room, records, "2026-03-05T18:00", "2026-03-09T12:00")
    assert {each.task.id: each.may_skip for each in found.during} == {
        "reef/cup": True, "reef/alarm": False, "reef/feed": False,
    }  # fmt: skip
    left_out = [each for each in found.after if each.kind == "task"]
    assert [(each.id, each.why.startswith("If it was left out")) for each in left_out] == [("reef/cup", True)]
    assert "who feeds?" in as_text(away_document(room, found))


def test_a_step_of_a_protocol_is_not_left_out():
    """Called on the 3rd, its step four days later: a course of treatment is not thinned out."""
    room = room_with(
        '[[protocols]]\nid = "dip"\nname = "Dip"\n'
        '[[protocols.steps]]\ntitle = "Dip again"\nafter = "4 days"\ngrace = "6 hours"\n'
    )
    call = record(PROTOCOL, "reef/dip", "2026-03-03T09:00")
    found = of(room, [call], "2026-03-04T18:00", "2026-03-10T18:00")
    assert [(each.task.title, wall(each.at), each.may_skip) for each in found.during] == [
        ("Dip again", "03-07 09:00", False)
    ]


def test_who_does_it():
    """The sitter everything; else the task's keeper, or who covers on that day; else nobody is named."""
    room = room_with(
        task("mine", 'again_after = "2 days"', 'grace = "6 hours"\nkeeper = "TV"')
        + task("ours", 'again_after = "2 days"', 'grace = "6 hours"')
    )
    records = [done(f"reef/{id}", "2026-03-04T10:00") for id in ("mine", "ours")]
    cover = record(COVER, None, "2026-03-07T04:00", keepers=("TV", "MK"), until="2026-03-20T04:00")
    span = ("2026-03-05T18:00", "2026-03-09T12:00")
    found = of(room, [*records, cover], *span)
    assert [(each.task.id, each.day.day, each.who) for each in found.during] == [
        ("reef/mine", 6, "TV"), ("reef/ours", 6, ""), ("reef/mine", 8, "MK"), ("reef/ours", 8, ""),
    ]  # fmt: skip
    assert {each.who for each in of(room, records, *span, sitter="MK").during} == {"MK"}
    assert "nobody named" in as_text(away_document(room, found))


# -- what runs out ---------------------------------------------------------------------------------


def test_levels_fail_in_order_with_their_arithmetic():
    """(55 − 25) / 5 = 6 days to its reserve, (55 − 8) / 5 = 9.4 days until it is empty."""
    found = of(room_with(BARREL), LEVELS, "2026-03-04T18:00", "2026-03-20T18:00")
    first, second = found.fails_first
    assert (first.kind, first.id, first.what) == ("level", "reef/barrel", "barrel comes to its reserve of 25.0 L")
    assert wall(first.at) == "03-09 08:00"
    assert "(55.0 L − 25.0 L) / 5.0 L = 6.0 days" in first.why
    assert (second.what, second.importance) == ("barrel is empty; 8.0 L cannot be drawn", "life support")
    assert wall(second.at) == "03-12 17:36"


def test_a_refill_before_leaving_and_those_that_are_needed_meanwhile():
    """Full on the 4th at 18:00: 55 / 5 = 11 days to its reserve, so again on the 14th; 72 / 5 = 14.4 until empty."""
    found = of(room_with(BARREL), LEVELS, "2026-03-04T18:00", "2026-03-20T18:00")
    refill = found.before[0]
    assert (refill.id, wall(refill.due_at), wall(refill.again_at)) == (
        "reef/barrel-refill",
        "03-09 08:00",
        "03-15 18:00",
    )
    assert during(found, "reef/barrel-refill") == ["03-14 04:00"]
    assert [wall(each.if_prepared_at) for each in found.fails_first] == ["03-15 18:00", "03-19 03:36"]


def test_a_container_that_lasts_is_left_alone():
    """Three levels say 4.0 to 6.0 L a day: 30 / 6.0 = 5 days at the earliest, to the 8th at 08:00."""
    found = of(room_with(BARREL), LEVELS, "2026-03-04T18:00", "2026-03-08T04:00")
    assert (found.before, found.during, found.fails_first) == ((), (), ())


def test_a_container_that_was_never_read_is_read_before_leaving():
    """Nothing can be forecast of it."""
    found = of(room_with(BARREL), [], "2026-03-04T18:00", "2026-03-20T18:00")
    assert [(each.kind, each.id) for each in found.before] == [("level", "reef/barrel-level")]
    assert found.fails_first == ()


def test_a_level_out_of_the_ordinary_is_looked_at_before_leaving():
    """5 L a day for a week, and 15 L in the last night: what is it, before the room is left alone?"""
    litres = [*range(79, 43, -5), 29]
    levels = [level("reef/barrel", f"2026-02-{20 + n}T08:00", each) for n, each in enumerate(litres[:9])]
    room = room_with(BARREL)
    found = of(room, levels, "2026-03-01T08:00", "2026-03-03T08:00", now="2026-02-28T12:00")
    (look,) = [each for each in found.before if each.kind == "look"]
    assert (look.id, look.title) == ("reef/barrel-level", "Look at the barrel")
    assert look.why.startswith("High use: 44.0 L yesterday 08:00 to 29.0 L 08:00 is 15.0 L a day, usually 5.0 L.")
    assert "look" not in [each.kind for each in of(room, LEVELS, "2026-03-04T08:00", "2026-03-05T08:00").before]


def test_a_use_that_is_high_may_go_on_while_nobody_is_there():
    """15 L above the reserve are three days at 5 L and a day and a half at the 10 L of the last night."""
    levels = [level("reef/barrel", f"2026-02-{20 + n}T08:00", each) for n, each in enumerate([*range(80, 49, -5), 40])]
    found = of(room_with(BARREL), levels, "2026-02-28T09:00", "2026-03-01T20:00", now="2026-02-27T12:00")
    (failing,) = [each for each in found.fails_first if each.what.startswith("barrel comes to its reserve")]
    assert (wall(failing.earliest), wall(failing.at)) == ("02-28 20:00", "03-02 08:00")
    (filled,) = [each for each in found.before if each.id == "reef/barrel-refill"]
    assert wall(filled.due_at) == "02-28 20:00"
    assert "it loses 10.0 L a day by its newest levels, usually 5.0 L" in filled.why


def test_waste_overflows():
    """1 L a day into 10 L with its mark at 8: 3 L on the 3rd, mark on the 8th, brim on the 10th."""
    waste = '[[reservoirs]]\nid = "waste"\nkind = "waste"\nstation = "sump"\ncapacity = "10 L"\nreserve = "8 L"\n'
    records = [level("reef/waste", f"2026-03-0{day}T08:00", day) for day in (1, 2, 3)]
    found = of(room_with(waste), records, "2026-03-04T18:00", "2026-03-11T08:00")
    assert [(each.what, wall(each.at)) for each in found.fails_first] == [
        ("waste comes to its mark of 8.0 L", "03-08 08:00"), ("waste overflows", "03-10 08:00"),
    ]  # fmt: skip
    assert [each.title for each in found.before] == ["Empty the waste"]


def test_planned_work_draws_nothing_when_nobody_comes():
    """A vat from which 30 L a week are taken stays as it is; for who comes, it has to be refilled."""
    vat = (
        '[[reservoirs]]\nid = "vat"\nkind = "salt water"\nstation = "sump"\ncapacity = "100 L"\nreserve = "20 L"\n'
        + task("change", 'again_after = "2 days"', 'draws = [{ from = "vat", amount = "30 L" }]')
    )
    records = [level("reef/vat", "2026-03-03T08:00", 100), done("reef/change", "2026-03-03T07:00")]
    found = of(room_with(vat), records, "2026-03-04T18:00", "2026-03-11T08:00")
    assert [each.id for each in found.fails_first if each.kind == "level"] == []
    assert "reef/vat-refill" in before(found)


@pytest.mark.parametrize("seed", range(4))
def test_the_range_of_a_forecast_holds_the_truth(seed: int):
    """A barrel that loses about 4.2 L a day, read to half a litre for twelve days, then left."""
    rng, litres, records = random.Random(seed), 72.0, []
    for day in range(1, 13):
        records.append(level("reef/barrel", f"2026-03-{day:02}T08:00", round(litres * 2) / 2))
        litres -= 4.2 * (1 + rng.gauss(0, 0.05))
    truth = instant("2026-03-13T08:00") + timedelta(days=(litres - 8) / 4.2)
    found = of(room_with(BARREL), records, "2026-03-12T18:00", "2026-03-30T18:00", now="2026-03-12T12:00")
    empty = next(each for each in found.fails_first if each.what.startswith("barrel is empty"))
    assert empty.earliest is not None
    assert empty.latest is not None
    assert empty.earliest <= empty.at <= empty.latest
    assert empty.earliest - timedelta(hours=12) <= truth <= empty.latest + timedelta(hours=12)


# -- readings, equipment, concerns -----------------------------------------------------------------

ALKALINITY = """
[[readings]]
id = "alkalinity"
quantity = "alkalinity"
unit = "dKH"
station = "tank"
low = "7.5 dKH"
high = "8.6 dKH"
act_low = "7.1 dKH"
again_after = "2 days"
"""


def falling(days: int = 10, last: float = 7.9, a_day: float = 0.1) -> list[Record]:
    """One test a day up to 3 March 09:00, falling evenly."""
    found = []
    for ago in range(days, -1, -1):
        value = Value(reading="reef/alkalinity", value=(last + a_day * ago) / DKH_PER_MEQ, unit="meq/L")
        at = instant("2026-03-03T09:00") - timedelta(days=ago)
        found.append(record(READING, "reef/alkalinity", at, values=(value,)))
    return found


def test_a_reading_leaves_its_band_and_then_passes_its_act_now_limit():
    """7.9 falling 0.1 a day: 7.5 in 4 days, 7.1 in 8; tested before leaving and on return, not to be skipped."""
    found = of(room_with(ALKALINITY), falling(), "2026-03-04T18:00", "2026-03-14T18:00")
    drift = [(each.what, wall(each.at), each.importance) for each in found.fails_first]
    assert drift == [
        ("alkalinity goes below its usual band of 7.5 dKH", "03-07 09:00", "husbandry"),
        ("alkalinity goes below its act-now limit of 7.1 dKH", "03-11 09:00", "life support"),
    ]
    assert "(7.50 dKH − 7.90 dKH)" in found.fails_first[0].why
    assert [(each.kind, each.id) for each in found.before] == [("test", "reef/alkalinity")]
    assert [each.id for each in found.after if each.kind == "test"] == ["reef/alkalinity"]
    assert {each.may_skip for each in found.during if each.task.id == "reef/alkalinity"} == {False}


def test_a_steady_reading_may_be_skipped():
    """Nothing drifts out."""
    found = of(room_with(ALKALINITY), falling(a_day=0.0), "2026-03-04T18:00", "2026-03-14T18:00")
    assert found.fails_first == ()
    assert {each.may_skip for each in found.during} == {True}


def test_what_protects_animals_is_named_when_it_is_late():
    """Fine until six hours after it is due, once for each task; husbandry is not a failure."""
    room = room_with(
        task("alarm", 'again_after = "2 days"', 'grace = "6 hours"\nat = "10:00"\nimportance = "life support"')
        + task("cup", 'again_after = "2 days"')
    )
    records = [done(f"reef/{id}", "2026-03-04T10:00") for id in ("alarm", "cup")]
    found = of(room, records, "2026-03-05T18:00", "2026-03-12T18:00")
    assert [(each.kind, each.id, wall(each.at)) for each in found.fails_first] == [
        ("task", "reef/alarm", "03-06 16:00")
    ]  # fmt: skip


def test_done_early_it_is_not_late_before_the_return():
    """Done on the 5th, due on the 10th at 04:00 and fine for 30 hours; what comes again meanwhile does not say so."""
    keys = 'importance = "life support"'
    room = room_with(task("float", 'again_after = "5 days"', keys) + task("alarm", 'again_after = "2 days"', keys))
    records = [done(f"reef/{id}", "2026-03-04T10:00") for id in ("float", "alarm")]
    found = of(room, records, "2026-03-05T18:00", "2026-03-11T09:00")
    said = {each.id: "done just before leaving it is fine until the return" in each.why for each in found.fails_first}
    assert said == {"reef/float": True, "reef/alarm": False}


def test_off_normal_concerns_and_kits_are_seen_to_before_leaving():
    """Put back, looked at, replaced; equipment that is still off fails when its time has passed."""
    room = room_with(
        '[[equipment]]\nid = "uv"\nkind = "UV"\nname = "UV unit"\nstation = "sump"\n'
        '[[instruments]]\nid = "kit"\nkind = "test kit"\nname = "nitrate kit"\nexpires = 2026-03-07\n'
        '[[instruments]]\nid = "new"\nkind = "test kit"\nname = "other kit"\nexpires = 2026-04-07\n'
    )
    records = [
        record(
            OFF_NORMAL,
            "reef/uv",
            "2026-03-03T09:00",
            station="sump",
            until="2026-03-06T18:00",
            words=("off",),
            reason="treatment",
        ),
        record(CONCERN, None, "2026-03-02T09:00", system="reef", station="tank", note="pale tips"),
    ]
    found = of(room, records, "2026-03-04T18:00", "2026-03-10T18:00")
    assert [(each.kind, each.title) for each in found.before] == [
        ("kit", "Have a new nitrate kit ready"),
        ("look", "Look at: pale tips"),
        ("put back", "Put back: UV unit (off)"),
    ]
    assert [(each.kind, each.what, wall(each.at)) for each in found.fails_first] == [
        ("off normal", "UV unit is still off", "03-06 18:00")
    ]  # fmt: skip
    assert during(found, "reef/uv-put-back") == ["03-06 18:00"]
    assert found.during[0].why == "Unless it was put back before leaving."


# -- forms -----------------------------------------------------------------------------------------

HOSTILE = '</li></ul><script>alert("x")</script> <img src=x onerror=y> [x](http://y) # `z` | &amp; \x1b[31m'


class Elements(HTMLParser):
    """Every element with its attributes, and all text."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: set[str] = set()
        self.attributes: set[str] = set()
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.add(tag)
        self.attributes |= {name for name, _ in attrs}

    def handle_data(self, data: str) -> None:
        self.text += data


def hostile() -> tuple[Room, Away]:
    keys = f"grace = '6 hours'\nsteps = ['''{HOSTILE}''']\nlook_for = '''{HOSTILE}'''\ncaution = '''{HOSTILE}'''"
    title = HOSTILE.replace("\x1b", "")
    reef = REEF.replace('"Reef"', f"'''{title}'''") + task("cup", 'again_after = "2 days"', keys.replace("\x1b", ""))
    room = room_from(head(KEEPERS), reef=reef.replace('title = "Do cup"', f"title = '''{title}'''"))
    records = [
        done("reef/cup", "2026-03-04T10:00"),
        record(CONCERN, None, "2026-03-02T09:00", system="reef", station="tank", note=HOSTILE),
    ]
    return room, of(room, records, "2026-03-05T18:00", "2026-03-12T18:00")


@pytest.mark.parametrize("document", [away_document, sheet_document])
def test_hostile_texts_stay_text(document):
    """In HTML no element or attribute comes of them, in Markdown and text no control character."""
    room, found = hostile()
    page = as_html(document(room, found))
    parsed = Elements()
    parsed.feed(page)
    assert parsed.elements <= {"html", "head", "meta", "title", "style", "body", "h1", "h2", "h3", "p", "strong",
                               "ul", "li", "span", "div"}  # fmt: skip
    assert parsed.attributes <= {"lang", "charset", "http-equiv", "content", "name", "class"}
    assert '<script>alert("x")</script>' in parsed.text
    for form in (page, as_text(document(room, found)), as_markdown(document(room, found))):
        assert "\x1b" not in form
    assert "<script" not in as_markdown(document(room, found))
    assert "[x](" not in as_markdown(document(room, found))


def test_text_is_no_wider_than_a_page():
    """Eighty columns."""
    room = room_with(BARREL + ALKALINITY)
    found = of(room, [*LEVELS, *falling()], "2026-03-04T18:00", "2026-03-20T18:00")
    for document in (away_document, sheet_document):
        assert max(len(line) for line in as_text(document(room, found)).splitlines()) <= 80


def test_the_range_is_said_in_days():
    """With the hour where they are one day; and how long it would last if it were filled."""
    rng = random.Random(1)
    records = [
        level("reef/barrel", f"2026-03-{d:02}T08:00", 72 - 4.2 * d + rng.choice((-1, 0, 1))) for d in range(1, 9)
    ]
    room = room_with(BARREL)
    found = of(room, records, "2026-03-08T18:00", "2026-03-20T18:00", now="2026-03-08T12:00")
    text = " ".join(as_text(away_document(room, found)).split())
    assert "- about Wed 11 Mar 12:34: Reef, Sump: barrel comes to its reserve of 25.0 L" in text
    assert "- about Sun 15 Mar (Sat 14 Mar to Mon 16 Mar): Reef, Sump: barrel is empty; 8.0 L" in text
    assert "If it is refilled just before leaving: about Sat 21 Mar." in text


def test_the_sheet_of_the_sitter():
    """Telephone lines left blank, what not to do, and each day by station with steps, marks, bands and cautions."""
    room = room_with(
        BARREL
        + ALKALINITY
        + task(
            "cup", 'again_after = "2 days"',
            'grace = "6 hours"\nsteps = ["Pump off", "Rinse"]\nlook_for = "no foam"\ncaution = "Gloves."',
        )
    )  # fmt: skip
    records = [*LEVELS, *falling(), done("reef/cup", "2026-03-04T10:00")]
    found = of(room, records, "2026-03-04T18:00", "2026-03-16T18:00")
    text = as_text(sheet_document(room, found))
    for label in TO_CALL:
        assert f"  {label}: ____" in text
    for said in NOT_TO_DO:
        assert said in text
    first, second = text[text.index("Fri 6 Mar") :].split("\nSun 8 Mar", 1)
    for said in ("1. Pump off", "2. Rinse", "Look: no foam", "Caution: Gloves."):
        assert said in first
    assert "Caution: Gloves." in second
    assert "As on Fri 6 Mar." in second
    assert "usually 7.5 to 8.6 dKH; call at once if it is below 7.1 dKH" in " ".join(text.split())
    assert "refill it before it is below 25.0 L; full is 80.0 L" in " ".join(text.split())


def test_json_has_stable_keys():
    """Times with the room's offset."""
    room = room_with(BARREL + task("cup", 'again_after = "2 days"', 'grace = "6 hours"'))
    found = of(room, [*LEVELS, done("reef/cup", "2026-03-04T10:00")], "2026-03-04T18:00", "2026-03-30T18:00")
    data = away_json(room, found)
    assert list(data) == ["room", "at", "from", "to", "sitter", "before", "during", "fails_first", "after"]
    assert (data["from"], data["to"]) == ("2026-03-04T18:00:00+00:00", "2026-03-30T18:00:00+01:00")
    assert set(data["before"][0]) == {
        "kind", "id", "system", "station", "title", "minutes", "due_at", "again_at", "can_wait", "why",
    }  # fmt: skip
    assert set(data["during"][0]) == {
        "day", "id", "system", "station", "title", "at", "due_at", "fine_until", "importance", "who", "may_skip",
        "feed", "minutes", "why",
    }  # fmt: skip
    assert set(data["fails_first"][0]) == {
        "kind", "id", "system", "station", "what", "at", "earliest", "latest", "about", "importance", "why",
        "if_prepared_at",
    }  # fmt: skip
    assert set(data["after"][0]) == {"kind", "id", "system", "station", "title", "due_at", "fine_until", "why"}
    sheet = sheet_json(room, found)
    assert list(sheet) == ["room", "from", "to", "sitter", "fill_in", "if_wrong", "not_to_do", "days"]
    assert sheet["days"][0]["day"] == "2026-03-06"
    assert sheet["days"][0]["stations"][0]["tasks"][0]["id"] == "reef/cup"
