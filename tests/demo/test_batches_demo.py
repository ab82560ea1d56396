"""What stands where in the demo room, and how long it stays apart, on every weekday and when the clocks change."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime
from functools import cache

import pytest

from rounds.core.batches import RELEASED, Batch, batches, conditions, standing
from rounds.core.isolation import Isolation, isolation
from rounds.core.items import OVERDUE
from rounds.core.model import OnDates
from rounds.core.plan import due_items
from rounds.core.protocols import COMPLETED, of_call
from rounds.core.record import PROTOCOL
from tests.demo.opened import DAY, DemoRoom, moment

Q_A, Q_B = ("quarantine", "tank-q-a"), ("quarantine", "tank-q-b")

OPENED = {
    "Monday": "2026-11-23T10:00",
    "Tuesday": "2026-11-24T05:00",
    "Wednesday": "2026-11-25T13:00",
    "Thursday": "2026-11-26T21:00",
    "Friday": "2026-11-27T16:30",
    "Saturday": "2026-11-28T03:30",
    "Sunday": "2026-11-29T12:00",
    "the day the clocks go back": "2026-10-25T10:00",
    "the day the clocks go forward": "2027-03-28T10:00",
    "44 days after the clocks went back": "2026-12-08T10:00",
}


class Stands(DemoRoom):
    """What stands where in it."""

    def counts(self, now: datetime) -> dict[tuple[str, str], int]:
        """How many animals stand at each station."""
        counted: Counter[tuple[str, str]] = Counter()
        for batch in standing(self.history, now):
            counted[batch.place] += batch.count
        return dict(counted)

    def in_system(self, system: str, now: datetime, *, fish: bool = False) -> int:
        """How many there are in a system, fish or others."""
        return sum(each.count for each in standing(self.history, now, (system, "")) if each.fish is fish)

    def named(self, what: str) -> Batch:
        (found,) = (each for each in batches(self.history, self.now).values() if each.what == what)
        return found

    def isolation(self, now: datetime) -> Isolation:
        found = isolation(self.room, self.history, Q_A, now)
        assert found is not None
        assert found == isolation(self.room, self.history, Q_B, now)
        return found

    def last_count(self, reading: str, now: datetime) -> float:
        """The last value that was read of it."""
        return [v.value for r in self.records if r.at <= now for v in r.values if v.reading == reading and v.value][-1]


@cache
def opened(text: str) -> Stands:
    """The room opened at a wall time of its zone; made once."""
    return Stands(moment(text))


@pytest.fixture(params=OPENED.values(), ids=OPENED.keys())
def demo(request: pytest.FixtureRequest) -> Stands:
    text: str = request.param
    return opened(text)


# -- what stands where -----------------------------------------------------------------------------


def test_what_stands_at_each_station(demo: Stands) -> None:
    """310 frags and 9 fish on the racks, 42 colonies and 14 fish, 37 frags apart, the recruits."""
    assert demo.counts(demo.now) == {
        ("larval", "tanks-3-4"): 190,
        ("nursery", "racks-1-3"): 131 + 9,
        ("nursery", "racks-4-6"): 179,
        ("low-light", "shelf"): 77,
        ("broodstock", "tank-a"): 22 + 8,
        ("broodstock", "tank-b"): 20 + 6,
        Q_A: 24,
        Q_B: 13,
    }
    assert (demo.in_system("nursery", demo.now), demo.in_system("nursery", demo.now, fish=True)) == (310, 9)
    assert (demo.in_system("broodstock", demo.now), demo.in_system("broodstock", demo.now, fish=True)) == (42, 14)
    assert demo.in_system("quarantine", demo.now) == 37


@pytest.mark.parametrize("number", [-121, -91, -77, -63, -47, -31, -25, -18, -12, -1])
def test_the_batches_say_what_was_counted(demo: Stands, number: int) -> None:
    """In the nursery and in quarantine the ledger holds what the keepers counted last."""
    now = demo.at(number, "23:00")
    assert demo.in_system("nursery", now) == (250 if number < -20 else 310)
    if number >= -61:
        assert demo.in_system("quarantine", now) == demo.last_count("quarantine/frags", now)
    if number >= -33:
        assert demo.counts(now)["larval", "tanks-3-4"] == demo.last_count("larval/recruits", now)


def test_none_was_found_short(demo: Stands) -> None:
    """Nobody split off what was not there; only larvae, counted by the millilitre, went uncounted."""
    known = batches(demo.history, demo.now).values()
    assert [each.short for each in known] == [0] * len(known)
    assert {each.what for each in known if each.uncounted} == {"Pocillopora young"}


# -- isolation -------------------------------------------------------------------------------------


def test_the_isolation_ends_on_the_fourth_day(demo: Stands) -> None:
    """45 days from the find of day -41, whatever the weekday or the clocks; no fish are in it."""
    found = demo.isolation(demo.now)
    assert (found.days, found.fish, found.find) == (45, False, True)
    assert demo.day(found.since) == -41
    assert found.free_on == demo.today + 4 * DAY
    assert found.left(demo.today) == 4


def test_the_sign_and_the_batches_agree(demo: Stands) -> None:
    """The task of signing out falls on the day on which both batches may leave, and none is asked to before."""
    now = demo.at(4, "18:00")
    items = {item.task.id: item for item in due_items(demo.room, demo.history, now)}
    due: list[date] = []
    for item in items.values():
        if item.task.source == "release" or item.task.id == "quarantine/release":
            assert item.due_at is not None
            due.append(demo.room.calendar.round_day(item.due_at))
    assert due == [demo.today + 4 * DAY] * 3
    before = due_items(demo.room, demo.history, demo.now)
    assert not [item for item in before if item.task.source == "release" and item.in_round]


@pytest.mark.parametrize(
    ("number", "since", "find"),
    [(-61, -62, False), (-50, -62, False), (-48, -49, False), (-42, -49, False), (-40, -41, True)],
)
def test_the_isolation_restarts(demo: Stands, number: int, since: int, find: bool) -> None:
    """With the second arrival for both batches, and with the flatworm."""
    now = demo.at(number, "12:00")
    found = isolation(demo.room, demo.history, Q_A, now)
    assert found is not None
    assert (demo.day(found.since), found.find) == (since, find)
    assert found.free_on == demo.today + (since + 45) * DAY


def test_one_frag_was_discarded(demo: Stands) -> None:
    """Of batch 2, at the dip of day -41."""
    batch = demo.named("Montipora frags, batch 2")
    assert (batch.began, batch.count, batch.gone) == (14, 13, {"died": 1})
    assert demo.day(batch.last) == -41
    assert demo.named("Acropora frags, batch 1").gone == {}


def test_each_arrival_was_worked_through(demo: Stands) -> None:
    """The protocol is called by the batch and completed when its steps were done, four dips among them."""
    calls = [each for each in demo.records if (each.kind, each.task, each.ref) == (PROTOCOL, "room/arrival", None)]
    assert [(demo.day(each), each.station) for each in calls] == [(-62, "tank-q-a"), (-49, "tank-q-b")]
    for call, last in zip(calls, (-41, -27), strict=True):
        ended = demo.history.ended(call.id, demo.now)
        assert ended is not None
        assert (demo.day(ended), ended.words) == (last, (COMPLETED,))
        steps = of_call(demo.room, demo.history, call, ended.at).steps
        assert [len(step.closings) for step in steps] == [1, 1, 4, 1]
        assert all(step.done for step in steps)


def test_no_step_of_an_arrival_was_late(demo: Stands) -> None:
    """At noon and in the evening of each day of the two protocols."""
    for number in range(-62, -26):
        for clock in ("12:00", "19:30"):
            items = due_items(demo.room, demo.history, demo.at(number, clock))
            late = {item.task.id for item in items if item.state == OVERDUE and item.task.system == "quarantine"}
            assert not {id for id in late if id == "quarantine/dip" or id.startswith("quarantine/step")}, number


# -- larvae and recruits ---------------------------------------------------------------------------


def test_three_nights_of_larvae(demo: Stands) -> None:
    """Each is a batch that colonies of tank B released; joined they settle or die, and none is left swimming."""
    nights = [each for each in batches(demo.history, demo.now).values() if RELEASED in each.record.words]
    assert [demo.day(each.record) for each in nights] == [-58, -57, -56]
    assert {each.record.reason for each in nights} == {"released at Broodstock tanks, Tank B"}
    assert [each.began for each in nights] == [26_000, 13_000, 13_000]
    assert nights[0].joined == 26_000
    assert all(each.ended is not None for each in nights)
    assert demo.counts(demo.at(-54, "12:00"))["larval", "tanks-1-2"] == 52_000


def test_the_release_nights_are_listed(demo: Stands) -> None:
    """Three that were watched, each once, and three that begin tomorrow, whenever the room is opened."""
    rule = demo.room.tasks["broodstock/spawn-watch"].rule
    assert isinstance(rule, OnDates)
    assert isinstance(rule.dates, tuple)
    assert [(day - demo.today).days for day in rule.dates] == [-58, -57, -56, 1, 2, 3]
    watched = list(demo.history.closings("broodstock/spawn-watch").through(demo.at(-120, "12:00"), demo.now))
    assert [demo.day(each) for each in watched] == [-58, -57, -56]
    (item,) = (
        each for each in due_items(demo.room, demo.history, demo.now) if each.task.id == "broodstock/spawn-watch"
    )
    assert item.due_at == demo.at(1, "22:30")


def test_sixty_recruits_were_moved(demo: Stands) -> None:
    """On day -20 sixty left larval for rack 6; the two places together hold as many as before."""
    before, after = demo.counts(demo.at(-20, "12:00")), demo.counts(demo.at(-20, "12:30"))
    moved = {place: after[place] - before[place] for place in before if after[place] != before[place]}
    assert moved == {("larval", "tanks-3-4"): -60, ("nursery", "racks-4-6"): 60}
    (batch,) = (each for each in standing(demo.history, demo.now, ("nursery", "racks-4-6")) if each.record.ref)
    assert (demo.day(batch.record), batch.began, batch.count) == (-20, 60, 60)
    assert "rack 6" in batch.record.reason


# -- what was seen ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("rack", "number"), [(2, -46), (4, -46), (5, -11)])
def test_pale_is_said_of_the_batches(demo: Stands, rack: int, number: int) -> None:
    """As a word of the trade on the racks that paled."""
    batch = next(each for each in standing(demo.history, demo.now) if each.what.endswith(f"rack {rack}"))
    own = [each for each in conditions(batch, demo.records) if each.ref == batch.id]
    assert [(demo.day(each), "pale" in each.words) for each in own] == [(number, True)]


@pytest.mark.parametrize("rack", [1, 3, 6])
def test_the_other_racks_kept_their_colour(demo: Stands, rack: int) -> None:
    """Nobody said anything of the others."""
    batch = next(each for each in standing(demo.history, demo.now) if each.what.endswith(f"rack {rack}"))
    assert not [each for each in conditions(batch, demo.records) if each.ref == batch.id and "pale" in each.words]
