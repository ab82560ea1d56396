"""Where a keeper stands in the round, without a screen."""

from __future__ import annotations

from datetime import datetime

from rounds.core.history import History
from rounds.core.plan import due_items
from rounds.core.record import Record
from rounds.ui.position import Position
from tests.support import done, head, instant, room_from

ROOM = room_from(
    head(),
    reef="""name = "Reef"
[[stations]]
id = "racks"
[[stations]]
id = "shelf"
[[stations]]
id = "sump"
[[tasks]]
id = "look"
station = "racks"
title = "Look"
again_after = "1 day"
[[tasks]]
id = "feed"
station = "racks"
title = "Feed"
again_after = "1 day"
[[tasks]]
id = "cup"
station = "sump"
title = "Cup"
again_after = "1 day"
""",
)
NOW = instant("2026-03-31T09:00")
RACKS, SHELF, SUMP = range(3)


def standing(*records: Record, now: datetime = NOW) -> Position:
    position = Position()
    position.take(ROOM, due_items(ROOM, History(records), now), now)
    return position


def current(position: Position) -> str:
    assert position.current is not None
    return position.current.task.id


def test_it_stays_on_its_item_when_the_round_changes() -> None:
    """Work done elsewhere, and a row above that is no longer shown, move nothing."""
    position = standing()
    position.put(RACKS, 1)
    assert current(position) == "reef/feed"
    position.only_left = True
    position.take(ROOM, due_items(ROOM, History([done("reef/look", NOW)]), NOW), NOW)
    assert (current(position), position.row) == ("reef/feed", 0)


def test_a_station_with_nothing_to_show_is_passed_by() -> None:
    position = standing()
    assert position.beyond(1) == (SUMP, 0)
    position.put(SUMP, 0)
    assert position.beyond(1) is None
    assert position.beyond(-1, last=True) == (RACKS, 1)


def test_the_next_thing_to_do_lies_after_the_one_just_done() -> None:
    """Then at later stops, and at none when nothing is left."""
    position = standing(done("reef/look", NOW))
    closed = position.rows[0]
    assert position.next_to_do(closed) == (RACKS, 1)
    position = standing(done("reef/look", NOW), done("reef/feed", NOW))
    assert position.next_to_do() == (SUMP, 0)
    everything = [done(task, NOW) for task in ("reef/look", "reef/feed", "reef/cup")]
    assert standing(*everything).next_to_do() is None


def test_going_on_leads_past_what_is_left_here() -> None:
    """Once round everything: what was passed over at this station comes again after all other stations."""
    position = standing()
    position.put(RACKS, 0)
    seen = []
    for _ in range(4):
        there = position.next_to_do()
        assert there is not None
        position.put(*there)
        seen.append(current(position))
    assert seen == ["reef/feed", "reef/cup", "reef/look", "reef/feed"]


def test_after_a_record_what_was_passed_over_here_comes_first() -> None:
    """The station is finished before the keeper is led away from it."""
    position = standing(done("reef/feed", NOW))
    closed = next(item for item in position.rows if item.closed_at is not None)
    assert position.next_to_do(closed) == (RACKS, 0)


def test_showing_only_what_is_left_goes_on_when_its_item_is_done() -> None:
    position = standing(done("reef/look", NOW), done("reef/feed", NOW))
    position.put(RACKS, 0)
    position.show(only_left=True, only_shift=False)
    assert current(position) == "reef/cup"


def test_a_place_that_is_not_there_is_the_nearest_one() -> None:
    position = standing()
    position.put(RACKS, 99)
    assert position.row == 1
    position.put(SHELF, 0)
    assert (position.rows, position.current) == ([], None)
    position.put_on(("reef", "elsewhere"), "reef/cup")
    assert position.stop == SHELF
    position.put_on(("reef", "sump"), "reef/cup")
    assert current(position) == "reef/cup"
