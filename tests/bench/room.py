"""A large room with years of records, the same every time it is built."""

from __future__ import annotations

import random
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import msgspec

ZONE = ZoneInfo("Europe/Dublin")
STATIONS = 5
RULES = (
    'again_after = "1 day"',
    'again_after = "2 days"',
    'rrule = "FREQ=DAILY"\nat = ["09:00", "17:00"]\nmake_up = false',
    'again_after = "1 day"\nshift = "early"',
    'rrule = "FREQ=WEEKLY;BYDAY=MO,WE,FR"\nat = "10:00"',
    'again_after = "12 hours"',
    'rrule = "FREQ=DAILY"\nat = "08:30"\nmake_up = false',
    'again_after = "1 month"',
)
"""One after the other; the readings come on top."""


class Size(msgspec.Struct, frozen=True):
    """How large the room is."""

    systems: int
    tasks: int
    """Of all systems together."""
    days: int
    records: int
    """About so many."""


FULL = Size(30, 600, 1826, 1_000_000)
SMALL = Size(6, 60, 60, 6_000)


def build(folder: Path, size: Size, now: datetime) -> int:
    """Write the room and its sheets up to `now`; returns the number of records."""
    folder.mkdir(parents=True)
    began = (now - timedelta(days=size.days)).date()
    systems = [f"system-{number:02}" for number in range(size.systems)]
    (folder / "room.toml").write_text(
        f'name = "Bench room"\ntimezone = "Europe/Dublin"\nday_begins = "04:00"\nbegan = {began}\n'
        f"route = {systems!r}\n".replace("'", '"')
        + '[[keepers]]\ninitials = "TV"\nname = "T"\n[[keepers]]\ninitials = "OM"\nname = "O"\n'
        '[[shifts]]\nname = "early"\nbegins = "07:00"\nends = "13:00"\n',
        encoding="utf-8",
    )
    (folder / "systems").mkdir()
    per_system = size.tasks // size.systems
    tasks: list[tuple[str, str, str, bool]] = []
    for system in systems:
        lines = [f'name = "{system.capitalize()}"\nvolume = "900 L"\n']
        lines += [f'[[stations]]\nid = "s{n}"\nname = "Station {n}"\n' for n in range(STATIONS)]
        for number in range(per_system):
            station = f"s{number * STATIONS // per_system}"
            if number % 10 == 9:
                lines.append(
                    f'[[readings]]\nid = "r{number}"\nstation = "{station}"\nquantity = "alkalinity"\nunit = "dKH"\n'
                    'low = "7.5 dKH"\nhigh = "8.6 dKH"\nagain_after = "2 days"\n'
                )
                tasks.append((system, station, f"{system}/r{number}", True))
            else:
                rule = RULES[number % len(RULES)]
                lines.append(
                    f'[[tasks]]\nid = "t{number}"\nstation = "{station}"\ntitle = "Care number {number} here"\n{rule}\n'
                )
                tasks.append((system, station, f"{system}/t{number}", False))
        (folder / "systems" / f"{system}.toml").write_text("\n".join(lines), encoding="utf-8")
    return _write_sheets(folder, size, tasks, began, now)


def _write_sheets(folder: Path, size: Size, tasks: list[tuple[str, str, str, bool]], began: date, now: datetime) -> int:
    chance = random.Random(20261125)
    share = size.records / size.days / len(tasks)
    total = 0
    for offset in range(size.days):
        day = began + timedelta(days=offset)
        sheets: dict[str, list[bytes]] = {"bench-3f1c": [], "walk-a20b": []}
        for number, (system, station, task, reading) in enumerate(tasks):
            if chance.random() >= share:
                continue
            at = datetime(day.year, day.month, day.day, 8, 0, tzinfo=ZONE) + timedelta(seconds=61 * number % 36_000)
            device, by = ("bench-3f1c", "TV") if number % 2 else ("walk-a20b", "OM")
            milliseconds = int(at.timestamp() * 1000)
            record = {
                "id": f"{milliseconds >> 16:08x}-{milliseconds & 0xFFFF:04x}-7{number % 4096:03x}-8000-{total:012x}",
                "kind": "reading" if reading else "done",
                "at": at,
                "recorded": at,
                "by": by,
                "device": device,
                "system": system,
                "station": station,
                "task": task,
            }
            if reading:
                value = 2.85 + chance.gauss(0, 0.05)
                record["values"] = [{"reading": task, "entered": "8.0", "value": value, "unit": "meq/L"}]
            elif number % 7 == 0:
                record["note"] = "as usual, nothing odd"
            sheets[device].append(msgspec.json.encode(record))
            total += 1
        year = folder / "sheets" / f"{day.year:04}"
        year.mkdir(parents=True, exist_ok=True)
        for device, records in sheets.items():
            entries = b",".join(b'"%d":%s' % (number, record) for number, record in enumerate(records, 1))
            (year / f"{day.isoformat()}.{device}.json").write_bytes(b'{"records":{%s}}' % entries)
    return total
