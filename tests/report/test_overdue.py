"""The list of what is overdue, whose it is, and what the load says in words."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rounds.core.ahead import coming
from rounds.core.errors import Refused
from rounds.core.following import draft_off_normal
from rounds.core.history import History
from rounds.core.load import levelling, load
from rounds.core.plan import due_items
from rounds.core.record import COVER
from rounds.core.recording import draft_postponed_all, finish
from rounds.core.shifts import Cover, own_work
from rounds.report.overdue import (
    Choice,
    can_be_postponed,
    chosen,
    item_line,
    load_json,
    load_text,
    overdue,
    overdue_json,
    overdue_text,
)
from tests.support import could_not, done, head, instant, postponed, record, room_from

NOW = instant("2026-03-10 12:00")

PEOPLE = """
[[keepers]]
initials = "TV"
name = "Tove"
[[keepers]]
initials = "MK"
name = "Mika"
[[keepers]]
initials = "OM"
name = "Oona"
[[shifts]]
name = "early"
begins = "07:00"
ends = "13:00"
keepers = ["MK"]
[[shifts]]
name = "late"
begins = "13:00"
ends = "19:00"
"""


def task(id, more, rule='again_after = "2 days"'):
    return f'[[tasks]]\nid = "{id}"\nstation = "sump"\ntitle = "Care {id}"\n{rule}\n{more}\n'


def room_of(*tasks, other=()):
    station = (
        '[[stations]]\nid = "sump"\nname = "Sump"\n'
        '[[equipment]]\nid = "uv"\nkind = "UV lamp"\nname = "UV lamp"\nstation = "sump"\n'
    )
    return room_from(
        head(PEOPLE),
        reef=f'name = "Reef [bold]"\n{station}{"".join(tasks)}',
        shelf=f'name = "Shelf"\n{station}{"".join(other)}',
    )


def late(room, records=(), choice=None, covering=own_work, now=NOW):
    history = History(records)
    return overdue(due_items(room, history, now), now, choice, covering)


def ids(items):
    return [item.task.id for item in items]


def off(room, until, id="9"):
    draft = draft_off_normal(room.equipment["reef/uv"], "off", instant(until), "a course", instant("2026-03-01 08:00"))
    return finish(draft, id=id, by="TV", device="test", recorded=draft.at, room=room)


# -- the list --------------------------------------------------------------------------------------


def test_importance_comes_first_then_lateness_across_the_systems():
    """Of the same importance the one that is late by more of its intervals."""
    room = room_of(
        task("cup", ""), task("alarm", 'importance = "people"'),
        other=[task("heads", ""), task("pump", 'importance = "life support"'), task("paint", 'importance = "upkeep"')],
    )  # fmt: skip
    records = [
        done("reef/cup", "2026-03-05 08:00"), done("reef/alarm", "2026-03-06 08:00"),
        done("shelf/heads", "2026-03-02 08:00"), done("shelf/pump", "2026-03-04 08:00"),
    ]  # fmt: skip
    found = late(room, records)
    assert ids(found.items) == ["reef/alarm", "shelf/pump", "shelf/heads", "reef/cup", "shelf/paint"]


def test_what_is_off_normal_past_its_time_stands_first():
    """Before what protects people; while there is time left it is not late."""
    room = room_of(task("alarm", 'importance = "people"'))
    assert ids(late(room, [off(room, "2026-03-10 11:00")]).off_normal) == ["reef/uv-put-back"]
    assert ids(late(room, [off(room, "2026-03-10 12:00")]).off_normal) == ["reef/uv-put-back"]
    assert late(room, [off(room, "2026-03-10 13:00")]).off_normal == ()
    text = overdue_text(room, late(room, [off(room, "2026-03-10 11:00")]), NOW)
    assert text.index("Off normal, past its time") < text.index("People")
    first, _, rest = " ".join(text.split()).partition("People")
    assert "It is 1 hour late." in first  # it has no interval
    assert "of its interval" in rest
    assert ids(late(room, [off(room, "2026-03-10 11:00")]).items) == ["reef/alarm"]


def test_what_needs_equipment_that_is_off_is_listed_apart():
    """It is not late, and says which equipment is off; what would not be late is in neither list."""
    room = room_of(task("lamp", 'equipment = "uv"'), task("cup", ""))
    found = late(room, [off(room, "2026-03-11 13:00")])
    assert (ids(found.items), ids(found.out_of_service)) == (["reef/cup"], ["reef/lamp"])
    assert "UV lamp not in service" in item_line(room, found.out_of_service[0], NOW)
    found = late(room, [off(room, "2026-03-11 13:00"), done("reef/lamp", "2026-03-09 10:00")])
    assert found.out_of_service == ()


@pytest.mark.parametrize(
    ("choice", "wanted"),
    [
        pytest.param(Choice(), ["cup", "shift", "late", "mine"], id="all"),
        pytest.param(Choice(keeper="TV"), ["cup", "late", "mine"], id="its own and everyone's"),
        pytest.param(Choice(keeper="MK"), ["cup", "shift", "late"], id="by the shift, and everyone's"),
        pytest.param(Choice(keeper="OM"), ["cup", "late"], id="everyone's only"),
        pytest.param(Choice(system="shelf"), [], id="another system"),
        pytest.param(Choice(importance="upkeep"), ["mine"], id="importance"),
        pytest.param(Choice(importance="upkeep", keeper="MK"), [], id="both"),
    ],
)
def test_the_list_can_be_narrowed(choice, wanted):
    """By system, keeper and importance; what is nobody's in particular is everyone's."""
    room = room_of(
        task("cup", ""), task("shift", 'shift = "early"'), task("late", 'shift = "late"'),
        task("mine", 'keeper = "TV"\nshift = "early"\nimportance = "upkeep"'),
    )  # fmt: skip
    assert sorted(ids(late(room, choice=choice).items)) == sorted(f"reef/{id}" for id in wanted)


def test_whoever_covers_has_the_work():
    """While OM covers for MK, the early shift is OM's."""
    room = room_of(task("shift", 'shift = "early"'))
    covers = {"MK": "OM"}
    found = {
        keeper: ids(late(room, (), Choice(keeper=keeper), lambda each: covers.get(each, each)).items)
        for keeper in ("MK", "OM", "TV")
    }
    assert found == {"MK": [], "OM": ["reef/shift"], "TV": []}


def test_a_late_line_names_who_covers():
    """In whose place, on paper and as JSON; work of nobody in particular names nobody."""
    room = room_of(task("mine", 'keeper = "TV"'), task("any", ""))
    found = late(room, covering=lambda keeper: {"TV": "OM"}.get(keeper, keeper))
    text = " ".join(overdue_text(room, found, NOW).split())
    assert "Care mine; 64 days late; keeper OM for TV; never done" in text
    assert text.count("keeper") == 1
    assert {each["id"]: each["who"] for each in overdue_json(room, found, NOW)["overdue"]} == {
        "reef/mine": ("OM",),
        "reef/any": (),
    }


def test_a_line_says_place_lateness_what_was_missed_tried_and_done_last():
    """All of it in one line."""
    room = room_of(task("cup", 'at = "10:00"', 'rrule = "FREQ=DAILY"'))
    records = [done("reef/cup", "2026-03-06 10:30", "MK"), could_not("reef/cup", "2026-03-09 11:00", "no\nvinegar")]
    (item,) = late(room, records).items
    assert item_line(room, item, NOW) == (
        "Reef [bold], Sump: Care cup; 3 days late; 3 times missed since; could not: no vinegar; "
        "last Fri 6 Mar 10:30 by MK"
    )


def test_what_nobody_has_done_says_so():
    """Never done."""
    room = room_of(task("cup", ""))
    (item,) = late(room).items
    assert item_line(room, item, NOW).endswith("; never done")


def test_what_was_put_off_too_late_says_until_when_and_why():
    """It stays late; the cause is shown until it is done, also when that time has passed."""
    room = room_of(task("cup", ""))
    away = postponed("reef/cup", "2026-03-10 11:00", "2026-03-10 18:00", reason="power cut")
    records = [done("reef/cup", "2026-03-01 10:00"), away]
    text = " ".join(overdue_text(room, late(room, records), NOW).split())
    assert "7 days late; put off to 18:00 all the same (TV: power cut); last Sun 1 Mar 10:00 by TV" in text
    (found,) = overdue_json(room, late(room, records), NOW)["overdue"]
    assert found["put_off"] == {"until": "2026-03-10T18:00:00+00:00", "by": "TV", "reason": "power cut"}
    later = instant("2026-03-10 18:00")
    text = " ".join(overdue_text(room, late(room, records, now=later), later).split())
    assert "late; was put off to 18:00 (TV: power cut); last Sun 1 Mar 10:00 by TV" in text
    (found,) = overdue_json(room, late(room, records, now=later), later)["overdue"]
    assert found["put_off"]["reason"] == "power cut"
    assert late(room, [*records[1:], done("reef/cup", "2026-03-10 11:30")]).items == ()


def test_what_was_put_off_in_an_earlier_window_says_nothing_of_this_one():
    """The time of the day before was put off to after this one was due; that one was missed."""
    room = room_of(task("cup", 'at = "09:00"\ngrace = "1 hour"\nmake_up = false', 'rrule = "FREQ=DAILY"'))
    away = postponed("reef/cup", "2026-03-09 10:00", "2026-03-10 11:00", reason="power cut")
    records = [done("reef/cup", "2026-03-08 09:00"), away]
    (found,) = overdue_json(room, late(room, records), NOW)["overdue"]
    assert (found["id"], found["put_off"]) == ("reef/cup", None)


def test_nothing_is_overdue():
    """Said in the head of the list."""
    room = room_of()
    assert overdue_text(room, late(room), NOW) == "Test room\nOverdue on Tue 10 Mar 12:00: nothing\n"


def test_lines_are_not_wider_than_a_terminal():
    """Eighty characters at most."""
    room = room_of(task("cup", 'look_for = "x"'), task("lamp", 'equipment = "uv"'))
    records = [off(room, "2026-03-12 11:00"), could_not("reef/cup", "2026-03-09 11:00", "no vinegar " * 20)]
    assert max(len(line) for line in overdue_text(room, late(room, records), NOW).splitlines()) <= 80


# -- postponing several ----------------------------------------------------------------------------


def test_several_are_postponed_for_one_cause():
    """Each record names it; what is past its grace stays overdue, and is told so."""
    room = room_of(task("cup", ""), task("fresh", ""))
    records = [done("reef/cup", "2026-03-01 10:00"), done("reef/fresh", "2026-03-08 10:00")]
    history = History(records)
    items = [item for item in due_items(room, history, NOW) if can_be_postponed(item)]
    until = NOW + timedelta(hours=6)
    drafts = draft_postponed_all(room, items, until, NOW, " power cut ")
    assert [(draft.task, draft.reason, draft.until) for draft in drafts] == [
        ("reef/cup", "power cut", until), ("reef/fresh", "power cut", until),
    ]  # fmt: skip
    assert [draft.remarks for draft in drafts] == [
        ("it was fine until Wed 4 Mar 04:00 and stays overdue: postponing does not make it less late",), (),
    ]  # fmt: skip
    for number, draft in enumerate(drafts):
        history.add(finish(draft, id=f"9{number}", by="TV", device="test", recorded=NOW, room=room))
    states = {item.task.id: item.state for item in due_items(room, history, NOW)}
    assert states == {"reef/cup": "overdue", "reef/fresh": "postponed"}


def test_postponing_needs_a_cause_items_and_a_later_time():
    """Each refusal says what is missing."""
    room = room_of(task("cup", ""))
    items = due_items(room, History(), NOW)
    for wanted, some, until, cause in (
        ("say why", items, NOW + timedelta(hours=1), "  "),
        ("nothing that could be postponed", [], NOW + timedelta(hours=1), "power cut"),
        ("later time", items, NOW, "power cut"),
    ):
        with pytest.raises(Refused, match=wanted):
            draft_postponed_all(room, some, until, NOW, cause)


def test_what_is_off_normal_is_not_postponed():
    """It is extended, with a reason."""
    room = room_of()
    items = due_items(room, History([off(room, "2026-03-10 11:00")]), NOW)
    assert [can_be_postponed(item) for item in items] == [False]
    with pytest.raises(Refused, match="extended with a reason"):
        draft_postponed_all(room, items, NOW + timedelta(hours=1), NOW, "power cut")


# -- the load --------------------------------------------------------------------------------------


def levelled(*tasks, top="minutes_a_day = 30"):
    room = room_from(
        head(PEOPLE, top=top), reef=f'name = "Reef"\n[[stations]]\nid = "sump"\nname = "Sump"\n{"".join(tasks)}'
    )
    history = History([done(f"reef/{id}", "2026-02-12 10:00") for id in "ab"])
    ahead = coming(room, history, NOW, 3)
    found = load(room, ahead, room.calendar.round_day(NOW), 3)
    return room, found, levelling(room, history, NOW, ahead, found)


def test_of_the_coming_days_a_cover_counts_as_long_as_it_lasts():
    """From the second day on it is the keeper's own work again."""
    room = room_of(task("mine", 'keeper = "TV"', 'again_after = "1 day"'))
    given = Cover(record(COVER, None, "2026-03-10 08:00", keepers=("TV", "OM"), until="2026-03-11 03:00"))
    ahead = coming(room, History([]), NOW, 3)
    found = {
        keeper: [each.day.day for each in chosen(ahead, Choice(keeper=keeper), [given])] for keeper in ("TV", "OM")
    }
    assert found == {"OM": [10], "TV": [11, 12]}


MONTHLY = 'again_after = "28 days"'


def test_the_load_is_a_line_a_day_and_the_proposals_under_it():
    """Minutes, tasks, whether it is too full; then what could be done earlier and why."""
    text = load_text(*levelled(task("a", "minutes = 20", MONTHLY), task("b", "minutes = 25", MONTHLY), task("c", "")))
    lines = text.splitlines()
    assert lines[:9] == [
        "Load of the coming 3 days; of today what is left",
        "",
        "day          minutes  tasks",
        "Tue 10 Mar         0      1  1 without minutes",
        "Wed 11 Mar         0      0",
        "Thu 12 Mar        45      3  too full; 1 without minutes",
        "",
        "A day is too full above 30 minutes: minutes_a_day in room.toml.",
        "",
    ]
    assert lines[9] == "Done earlier, these would level it; nothing is recorded for it:"
    assert lines[10] == "  Reef, Sump: Care b, 25 min: on Wed 11 Mar instead of Thu 12 Mar"


def test_where_nothing_can_be_brought_forward_the_load_says_so():
    """Work on dates stays where it is."""
    text = load_text(*levelled(task("c", "minutes = 45", "once = 2026-03-12")))
    assert text.endswith("Nothing on those days can be brought forward to an earlier, lighter one.\n")
    assert "brought forward" not in load_text(*levelled(task("c", "minutes = 15", "once = 2026-03-12")))


def test_the_load_as_json_has_the_days_and_the_proposals():
    """Days as ISO dates, times with the offset of the room."""
    found = load_json(*levelled(task("a", "minutes = 20", MONTHLY), task("b", "minutes = 25", MONTHLY)))
    assert (found["limit"], found["because"]) == (30, "minutes_a_day in room.toml")
    assert found["days"][2] == {
        "day": "2026-03-12", "minutes": 45, "tasks": 2, "without_minutes": 0, "too_full": True,
    }  # fmt: skip
    (earlier,) = found["earlier"]
    assert {key: earlier[key] for key in ("id", "from_day", "to_day", "at", "due_at", "minutes")} == {
        "id": "reef/b", "from_day": "2026-03-12", "to_day": "2026-03-11", "at": "2026-03-11T04:00:00+00:00",
        "due_at": "2026-03-12T04:00:00+00:00", "minutes": 25,
    }  # fmt: skip
