"""Prompts and the time line from the records of a small made-up room."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rounds.core.record import Record, Value
from rounds.report.past import Past
from rounds.report.prompts import (
    gather,
    prompt_lines,
    system_prompts,
    timeline,
    timeline_lines,
)
from rounds.water.prompts import Missed, Prompt
from tests.support import done, head, instant, not_needed, record, room_from

REEF = """name = "Reef"

[[stations]]
id = "left"
name = "Left racks"

[[stations]]
id = "right"
name = "Right racks"

[[tasks]]
id = "feed"
title = "Feed"
station = "left"
rrule = "FREQ=DAILY"
at = "17:00"
make_up = false
feed = true
takes = ["flakes"]

[[tasks]]
id = "rinse"
title = "Rinse"
rrule = "FREQ=DAILY"
at = "17:00"
make_up = false

[[tasks]]
id = "carbon"
title = "Renew carbon"
again_after = "1 month"
light_step = true

[[readings]]
id = "flakes"
quantity = "mass"

[[readings]]
id = "nitrate"
quantity = "nitrate"
low = "2 mg/L"
high = "10 mg/L"

[[readings]]
id = "phosphate"
quantity = "phosphate"
low = "0.03 mg/L"
high = "0.1 mg/L"

[[readings]]
id = "salinity"
quantity = "salinity"

[[reservoirs]]
id = "barrel"
kind = "top-off"
capacity = "80 L"

[[lights]]
id = "lights"
begins = "10:00"
plateau = "8 hours"
channels = [{ name = "blue", peak = "60 %" }]
"""
ROOM = room_from(head(), reef=REEF)
REEF_SYSTEM = ROOM.system["reef"]
NOW = instant("2026-03-31T12:00")
DAY = timedelta(days=1)


def value(reading: str, days: float, number: float, bound: str | None = None, kind: str = "reading") -> Record:
    shown = Value(reading=f"reef/{reading}", entered=f"{number:g}", value=number, unit="x", bound=bound)
    return record(kind, f"reef/{reading}", NOW - days * DAY, values=(shown,))


def fed(days: float, grams: float) -> Record:
    given = Value(reading="reef/flakes", entered=f"{grams:g} g", value=grams, unit="g")
    return done("reef/feed", NOW - days * DAY, values=(given,), note="flakes")


def pale(days: float, station: str) -> Record:
    return record(
        "note", None, NOW - days * DAY, system="reef", station=station, note="tips pale", words=("pale",)
    )  # fmt: skip


def prompts(*records: Record) -> dict[str, Prompt]:
    return {each.rule: each for each in system_prompts(ROOM, Past(records), REEF_SYSTEM, NOW)}


FED_TODAY = [fed(0.8, 10)]


def test_pale_at_two_stations_with_low_nutrients() -> None:
    """A value beyond the kit's limit counts as below its band where the limit is."""
    records = [pale(6, "left"), pale(2, "right"), value("nitrate", 3, 2.0, "<"), value("phosphate", 3, 0.02)]
    found = prompts(*records, done("reef/carbon", NOW - 9 * DAY), *FED_TODAY)
    said = found["pale, low nutrients"]
    assert said.text == (
        "Pale at Left racks and Right racks (Wed 25 Mar, Sun 29 Mar); nitrate <2.0 mg/L (Sat 28 Mar) and phosphate "
        "0.02 mg/L (Sat 28 Mar) below their bands: check feeding; Renew carbon (counts as a light step) 9 days ago"
    )
    assert said.records[:4] == tuple(each.id for each in records)
    assert "hold the rise until Sun 12 Apr" in found["pale after light"].text


@pytest.mark.parametrize(("bound", "number", "below"), [("<", 5.0, False), (">", 1.0, False), (None, 1.9, True)])
def test_a_bound_is_compared_only_where_it_is_certain(bound: str | None, number: float, below: bool) -> None:
    evidence = gather(ROOM, Past([value("nitrate", 1, number, bound)]), REEF_SYSTEM, NOW)
    assert evidence.nitrate[0].below is below


def test_heavier_feeding_is_measured_in_what_was_fed() -> None:
    """10 g a day for four weeks, 15 g for two: twelve more a week, and nitrate is above its band."""
    records = [fed(days + 0.5, 15 if days < 14 else 10) for days in range(42)]
    said = prompts(*records, value("nitrate", 1, 14.0))["high nitrate, heavier feeding"]
    assert "feeding went from 10.0 to 15.0 g a day" in said.text
    assert len(said.records) == 12
    by = {each.what: (each.before, each.lately) for each in gather(ROOM, Past(records), REEF_SYSTEM, NOW).feeding}
    assert by == {"feeds": (1, 1), "g": pytest.approx((10, 15))}


def test_missed_feeds_come_from_the_round() -> None:
    """Only feeds, and only those that were not given: "not needed" is a decision."""
    evidence = gather(ROOM, Past(()), REEF_SYSTEM, NOW)
    assert evidence.missed == (Missed("Feed", instant("2026-03-30T17:00")),)
    assert gather(ROOM, Past([not_needed("reef/feed", NOW - 0.8 * DAY)]), REEF_SYSTEM, NOW).missed == ()


def test_an_emptied_barrel_with_falling_salinity() -> None:
    """5 L a day, refilled once on the way, then 52 L overnight."""
    levels = [60.0, 55.0, 50.0, 45.0, 70.0, 65.0, 62.0]
    kinds = ["reading", "reading", "reading", "reading", "refill", "reading", "reading"]
    records = [
        value("barrel-level", 8 - number, litres, kind=kind)
        for number, (litres, kind) in enumerate(zip(levels, kinds, strict=True))
    ]
    records += [value("barrel-level", 0.2, 10.0), *FED_TODAY]
    records += [value("salinity", days, 35.0) for days in (8, 6, 4, 2)] + [value("salinity", 0.1, 33.2)]
    said = prompts(*records)["diluted"]
    assert "35.0 before, and barrel gave 52.0 L in 43 h (5.0 L a day is usual)" in said.text
    assert said.records == (records[6].id, records[7].id, records[-1].id)


def test_prompts_show_their_records() -> None:
    records = [pale(2, "left"), value("nitrate", 3, 1.0), *FED_TODAY]
    past = Past(records)
    found = system_prompts(ROOM, past, REEF_SYSTEM, NOW)
    lines = prompt_lines(ROOM, past.history, REEF_SYSTEM, found)
    assert lines[0].startswith("Reef: Pale at Left racks")
    assert "    Sun 29 Mar 12:00 TV tips pale" in lines
    assert found[0].records == (records[0].id, records[1].id)


def test_the_time_line_holds_feed_nutrients_condition_and_light_in_order() -> None:
    records = [
        fed(5, 12), value("nitrate", 4, 1.0), pale(3, "right"), done("reef/carbon", NOW - 2 * DAY),
        done("reef/rinse", NOW - DAY), fed(9, 12),
    ]  # fmt: skip
    events = timeline(ROOM, Past(records), REEF_SYSTEM, NOW - 7 * DAY, NOW)
    assert [(event.kind, event.record) for event in events] == [
        ("feed", records[0].id), ("nitrate", records[1].id), ("condition", records[2].id), ("light", records[3].id),
    ]  # fmt: skip
    assert timeline_lines(ROOM, events)[0] == "Thu 26 Mar 12:00 feed: Feed; flakes 12 g; flakes"
    assert events[2].text == "Right racks: tips pale"
