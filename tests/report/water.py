"""An invented reef whose readings each tell one thing, for the list and the plots of readings over time."""

from __future__ import annotations

from datetime import datetime, timedelta

from rounds.core.constants import DKH_PER_MEQ
from rounds.core.record import READING, Record, Value
from rounds.report.past import Past
from rounds.water.trend import Trend
from tests.support import head, instant, record, room_from

REEF = """name = "Reef [bold]"
volume = "960 L"
[[stations]]
id = "sump"
[[stations]]
id = "canopy"
[[readings]]
id = "ph"
quantity = "pH"
station = "sump"
low = "7.9"
high = "8.2"
[[readings]]
id = "alkalinity"
quantity = "alkalinity"
unit = "dKH"
station = "sump"
low = "7.5 dKH"
high = "8.6 dKH"
act_low = "6.5 dKH"
act_high = "10.0 dKH"
instrument = "room/kit"
[[readings]]
id = "temperature"
quantity = "temperature"
unit = "°C"
station = "sump"
low = "24.5 °C"
high = "26.0 °C"
act_high = "27.0 °C"
rate = "1.0 °C in 3 hours"
[[readings]]
id = "nitrate"
quantity = "nitrate"
station = "sump"
low = "2 mg/L"
high = "10 mg/L"
act_low = "0.5 mg/L"
act_low_after = 2
[[readings]]
id = "salinity"
quantity = "salinity"
unit = "PSU"
station = "sump"
low = "34.5 PSU"
high = "35.5 PSU"
[[readings]]
id = "par"
quantity = "light"
station = "sump"
[[reservoirs]]
id = "solution"
name = "alkalinity solution"
kind = "dosing"
station = "sump"
capacity = "3 L"
[[reservoirs]]
id = "barrel"
kind = "top-off"
station = "sump"
capacity = "80 L"
reserve = "25 L"
[[reservoirs]]
id = "waste"
kind = "waste"
station = "sump"
capacity = "10 L"
[[tasks]]
id = "change"
station = "sump"
title = "Change water, 96 L"
again_after = "7 days"
water_change = "96 L"
[[tasks]]
id = "top-up"
station = "sump"
title = "Siphon the floor"
again_after = "7 days"
draws = [{ from = "room/vat", amount = "20 L" }]
[[equipment]]
id = "reactor"
kind = "media reactor"
station = "sump"
[[tasks]]
id = "carbon"
station = "sump"
title = "Fresh charge"
again_after = "1 month"
light_step = true
[[tasks]]
id = "chlorine"
station = "sump"
title = "Read chlorine after carbon"
again_after = "1 month"
[[tasks]]
id = "covers"
station = "canopy"
title = "Clean the glass"
again_after = "1 month"
light_step = true
[[tasks]]
id = "wipe"
station = "sump"
title = "Wipe the lenses of the camera, change the water of the cup"
again_after = "1 month"
[[tasks]]
id = "cup"
station = "sump"
title = "Rinse the cup"
again_after = "2 days"
"""
KIT = """[[stations]]
id = "vat"
[[readings]]
id = "air"
quantity = "temperature"
station = "vat"
[[reservoirs]]
id = "vat"
kind = "salt water"
station = "vat"
capacity = "300 L"
[[instruments]]
id = "kit"
kind = "test kit"
name = "alkalinity kit"
[[instruments]]
id = "other"
kind = "meter"
name = "a meter of other readings"
"""
ROOM = room_from(head(KIT), reef=REEF)
UNITS = {
    "alkalinity": "meq/L", "temperature": "°C", "nitrate": "mg/L", "salinity": "PSU", "pH": "pH",
    "light": "µmol/m2/s", "level": "L",
}  # fmt: skip
NOW = instant("2026-03-31T12:00")
DAY = timedelta(days=1)


def ago(days: float) -> datetime:
    return NOW - days * DAY


def took(reading: str, days_ago: float, number: float, **about: str) -> Record:
    """A test some days ago; the number in dKH for alkalinity, else in the canonical unit."""
    id = f"reef/{reading}"
    quantity = ROOM.readings[id].quantity
    canonical = number / DKH_PER_MEQ if quantity == "alkalinity" else number
    values = (Value(reading=id, value=canonical, unit=UNITS[quantity], **about),)
    return record(READING, id, ago(days_ago), values=values)


def falling(reading: str = "alkalinity", last: float = 7.6, a_day: float = 0.02, days: int = 29) -> list[Record]:
    """One value every two days up to six hours ago, falling evenly, with a hundredth of a day's fall beside it."""
    wave = (0.0, 0.1, -0.1, 0.05, -0.05)
    return [
        took(reading, 0.25 + back, last + a_day * (back + wave[back % 5] * 2))
        for back in range(days - days % 2, -1, -2)
    ]


def trend(reading: str, records: list[Record], **window: timedelta) -> Trend:
    return Past(records).trend(ROOM, ROOM.readings[f"reef/{reading}"], NOW, **window)
