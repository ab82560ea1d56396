"""A room with equipment, a task that is called and protocols, and the records of what is followed there."""

from __future__ import annotations

from datetime import datetime

from rounds.core import following
from rounds.core.history import History
from rounds.core.items import OPEN_STATES, DueItem
from rounds.core.model import Task
from rounds.core.off_normal import off_normal
from rounds.core.plan import due_items
from rounds.core.record import Record
from rounds.core.recording import Draft, finish
from tests.support import head, instant, room_from

REEF = """name = "Reef"
volume = "900 L"
[[stations]]
id = "sump"
[[stations]]
id = "rack"
[[equipment]]
id = "pump"
kind = "pump"
station = "sump"
name = "return pump"
stops_with = ["uv", "doser"]
put_back_order = ["pump", "doser", "uv"]
[[equipment]]
id = "uv"
kind = "UV"
station = "sump"
[[equipment]]
id = "doser"
kind = "dosing pump"
station = "sump"
stops_with = ["feeder"]
[[equipment]]
id = "feeder"
kind = "feeder"
station = "rack"
[[tasks]]
id = "feed"
station = "sump"
title = "Feed"
rrule = "FREQ=DAILY"
at = ["09:00", "17:00"]
make_up = false
equipment = "pump"
[[tasks]]
id = "cup"
station = "sump"
title = "Rinse the cup"
again_after = "2 days"
equipment = "pump"
[[tasks]]
id = "basket"
station = "rack"
title = "Clean the pump's basket"
called = true
turns_off = ["pump"]
countdown = "15 minutes"
[[readings]]
id = "temperature"
quantity = "temperature"
station = "rack"
called = true
[[protocols]]
id = "course"
name = "Course"
[[protocols.steps]]
title = "Dose"
station = "rack"
every = "1 day"
times = 3
importance = "life support"
[[protocols.steps]]
title = "Heater on"
if_kind = "heater"
[[protocols.steps]]
title = "Fresh carbon"
after = "2 hours"
[[protocols]]
id = "check"
name = "Check"
[[protocols.steps]]
task = "basket"
[[protocols.steps]]
task = "temperature"
after = "1 hour"
[[protocols]]
id = "basket-thrice"
name = "Basket thrice"
[[protocols.steps]]
task = "basket"
every = "1 day"
times = 3
[[protocols]]
id = "for-heaters"
name = "For heaters"
[[protocols.steps]]
title = "Heater on"
if_kind = "heater"
"""

ROOM = room_from(head(), reef=REEF)
PUMP = ROOM.equipment["reef/pump"]


class Story:
    """What is recorded in the room, and how things stand."""

    def __init__(self, room=ROOM, records=()):
        self.room = room
        self.records: list[Record] = list(records)

    @property
    def history(self) -> History:
        return History(self.records)

    def write(self, draft: Draft, by: str = "TV", device: str = "tablet") -> Record:
        number = f"story-{len(self.records) + 1:012}"
        made = finish(draft, id=number, by=by, device=device, recorded=draft.at, room=self.room)
        self.records.append(made)
        return made

    def concern(self, at: str, text: str = "pale corner", again: str | None = None, **more: str) -> Record:
        look_at = instant(again) if again else None
        return self.write(following.draft_concern("reef", "rack", text, instant(at), look_at=look_at, **more))

    def off(self, at: str, until: str, state: str = "off", thing=PUMP, reason: str = "feeding", **more: str) -> Record:
        standing = {each.thing: each for each in off_normal(self.room, self.history, instant(at))}
        now = standing.get(thing.id)
        draft = following.draft_off_normal(thing, state, instant(until), reason, instant(at), now=now)
        return self.write(draft, **more)

    def hose(self, at: str, until: str) -> Record:
        return self.write(
            following.draft_off_normal_other("reef", "rack", "hose", "open", instant(until), "filling", instant(at))
        )

    def back(self, at: str, place: int = 0, **more: str) -> Record:
        left = off_normal(self.room, self.history, instant(at))[place]
        return self.write(following.draft_put_back(self.room, left, instant(at)), **more)

    def call(self, protocol: str, at: str, about: str = "", station: str = "") -> Record:
        called = self.room.protocol[protocol]
        return self.write(following.draft_protocol(self.room, called, "reef", station, about, instant(at)))

    def items(self, now: str) -> list[DueItem]:
        return due_items(self.room, self.history, instant(now))

    def of(self, source: str, now: str) -> list[DueItem]:
        """The items of one source, those after the round too."""
        return [item for item in self.items(now) if item.task.source == source]

    def item(self, title: str, now: str) -> DueItem:
        """The one open item with this title."""
        found = [item for item in self.items(now) if item.task.title == title and item.state in OPEN_STATES]
        assert len(found) == 1, [(item.task.title, item.state) for item in self.items(now)]
        return found[0]

    def drafted(self, task: Task, at: str, text: str = "") -> Draft:
        return following.draft_done(self.room, self.history, task, text, instant(at))

    def do(self, title: str, at: str, text: str = "") -> Record:
        """Its open item done, with the ends of the protocols whose last step it is."""
        draft = self.drafted(self.item(title, at).task, at, text)
        ends = following.completed_by(self.room, self.history, draft, draft.at)
        made = self.write(draft)
        for end in ends:
            self.write(end)
        return made


def wall(at: datetime | None) -> str | None:
    """Local time to the minute."""
    return at.astimezone(instant("2026-01-01").tzinfo).strftime("%Y-%m-%d %H:%M") if at is not None else None
