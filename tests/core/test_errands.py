"""What records ask for, in the round: where it stands, how it is ordered, what the planner makes of it."""

from __future__ import annotations

from rounds.core.planner import Planner
from rounds.core.walk import counts, stops
from rounds.core.why import why
from tests.core.followed import ROOM, Story, wall
from tests.support import instant, record

NOW = "2026-03-04 10:20"


def full_story():
    story = Story()
    story.concern("2026-03-03 10:00", again="2026-03-04 10:00")
    story.off("2026-03-04 10:00", "2026-03-04 10:15")
    story.call("reef/check", "2026-03-04 10:00")
    return story


def test_at_each_station_they_come_after_the_work_of_the_files():
    """Stations in walking order, at each first what its tasks ask for."""
    items = full_story().items(NOW)
    places = [item.task.station for item in items]
    assert places == sorted(places, key=["", "sump", "rack"].index)
    for station in ("sump", "rack"):
        asked = [bool(item.because) for item in items if item.task.station == station]
        assert asked == sorted(asked)
    assert sum(1 for item in items if item.because) == 4


def test_they_stand_in_the_walk():
    """And count as left."""
    items = full_story().items(NOW)
    (rack,) = [stop for stop in stops(ROOM, items) if stop.key == ("reef", "rack")]
    titles = {item.task.title for item in rack.items}
    assert {"Look again: pale corner", "Clean the pump's basket", "Test temperature"} <= titles
    assert counts(items).left == sum(1 for item in items if item.in_round and item.closed_at is None
                                     and item.state != "missed")  # fmt: skip


def test_each_says_why():
    """Who asked for it, when."""
    story, at = full_story(), instant(NOW)
    said = {item.task.source: why(ROOM, item, at) for item in story.items(NOW)}
    assert said["look"].startswith("A concern that TV opened yesterday 10:00.")
    assert said["put back"].startswith("TV left it off 10:00: feeding.")


def test_a_place_that_is_no_more_falls_back_on_its_system_then_on_the_room():
    """Nothing is lost because a station was renamed."""
    concern = {"note": "pale", "until": "2026-03-04 10:00"}
    story = Story()
    story.records = [
        record("concern", None, "2026-03-03 10:00", system="reef", station="gone", **concern),
        record("concern", None, "2026-03-03 10:01", system="gone", station="sump", **concern),
    ]
    found = {(item.task.system, item.task.station) for item in story.of("look", NOW)}
    assert found == {("reef", ""), ("room", "")}


def test_the_planner_answers_the_same_at_every_step_of_time():
    """What it remembers of tasks never hides that something was put back, looked at, or has passed its time."""
    story, planner = full_story(), Planner()
    story.back("2026-03-04 10:40")
    history = story.history
    for minute in range(0, 60, 5):
        now = f"2026-03-04 10:{minute:02}"
        assert planner.items(ROOM, history, instant(now)) == story.items(now), now


def test_the_round_of_tomorrow_shows_what_comes_due_then():
    """A later item of today is in the round, one of tomorrow is not."""
    story = Story()
    story.concern("2026-03-04 09:00", again="2026-03-05 09:00")
    story.concern("2026-03-04 09:00", text="algae", again="2026-03-05 03:00")
    found = {item.task.title: (item.in_round, wall(item.due_at)) for item in story.of("look", NOW)}
    assert found == {
        "Look again: pale corner": (False, "2026-03-05 09:00"),
        "Look again: algae": (True, "2026-03-05 03:00"),
    }
