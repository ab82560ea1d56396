"""The planner remembers, and still answers like the plan made anew."""

from __future__ import annotations

import random
from datetime import timedelta

import pytest

from rounds.core.history import History
from rounds.core.plan import due_items
from rounds.core.planner import Planner
from rounds.core.record import Record
from tests.support import head, instant, room_from

RULES = (
    'again_after = "3 days"',
    'again_after = "8 hours"',
    'again_after = "1 month"\nat = "09:00"',
    'rrule = "FREQ=DAILY"\nat = ["09:00", "17:00"]\nmake_up = false',
    'rrule = "FREQ=DAILY"\nat = ["09:00", "17:00"]\nmake_up = false\nlapse = "30 hours"',
    'rrule = "FREQ=WEEKLY;BYDAY=MO,TH"\nat = "10:00"\ngrace = "2 hours"',
    "once = 2026-03-05",
    "called = true",
)


@pytest.mark.parametrize("seed", range(12))
def test_what_is_remembered_is_what_would_be_worked_out(seed):
    """Through days of minutes, records, strikes and postponements, also some dated ahead."""
    chance = random.Random(seed)
    tasks = "\n".join(f'[[tasks]]\nid = "t{n}"\ntitle = "T"\n{rule}\n' for n, rule in enumerate(RULES))
    room = room_from(head(), reef=f'name = "Reef"\n{tasks}')
    history, planner, now = History(), Planner(), instant("2026-03-02 05:00")
    made = []
    for number in range(160):
        now += timedelta(minutes=chance.choice((1, 1, 7, 55, 60, 180)))
        if chance.random() < 0.4:
            kind = chance.choice(("done", "done", "not needed", "could not", "postponed", "strike"))
            at = now + timedelta(minutes=chance.choice((-600, -30, 0, 0, 0, 45)))
            task = f"reef/t{chance.randrange(len(RULES))}"
            record = Record(
                id=f"{number:04}", kind=kind, at=at, recorded=now, by="TV", task=task, reason="why",
                until=now + timedelta(hours=chance.randrange(1, 30)),
                ref=chance.choice(made).id if made and kind == "strike" else None,
            )  # fmt: skip
            made.append(record)
            history.add(record)
        assert planner.items(room, history, now) == due_items(room, history, now)
