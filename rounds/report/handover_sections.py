"""From the records of a room to the lines of a shift's report; see `rounds.report.handover`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from rounds.core.calendar import ONE_DAY
from rounds.core.handovers import SHIFT, Handover
from rounds.core.history import History
from rounds.core.items import OVERDUE, Forecast
from rounds.core.model import ROOM, Room
from rounds.core.plan import due_items
from rounds.core.shifts import Duty, duty_at, span_of
from rounds.core.words import plain, plural
from rounds.report.handover import Line, Report, numbered
from rounds.report.handover_ongoing import concern_section, off_normal_section, protocol_section
from rounds.report.handover_people import people_section
from rounds.report.handover_shift import PastOf, ShiftState
from rounds.report.handover_water import out_of_band_section, refill_section, staged_section
from rounds.report.handover_work import done_section, entry_section, missed_section, next_due_section, not_done_section
from rounds.report.past import pasts_of

if TYPE_CHECKING:
    from rounds.storage.room import RoomFolder

_SECTIONS = (
    off_normal_section, not_done_section, missed_section, out_of_band_section, concern_section, protocol_section,
    staged_section, refill_section, next_due_section, done_section,
)  # fmt: skip
"""In their order; what each says of a system is summed up after them."""


def prepared(folder: RoomFolder, now: datetime, *, shift: str | None = None, kind: str = SHIFT) -> Report:
    """The report that a handover at `now` would sign; `shift` names another than the one that ends first.

    Raises `Refused` for a shift that is not there. Reads the archive of every system; the app asks for those in a
    thread (`pasts_of`) and then for `shift_report`.
    """
    room = folder.model
    duty = duty_at(room, now, shift)
    pasts = pasts_of(folder)
    signed = folder.last_handover(now)
    begin = min(span_of(room, duty, now)[0], room.calendar.start(room.calendar.round_day(now))) - ONE_DAY

    def report(history: History) -> Report:
        forecasts = folder.forecasts(history, now)
        return shift_report(room, history, now, duty, kind, forecasts, pasts.__getitem__, signed)

    return folder.ask(report, begin, now)


def shift_report(
    room: Room,
    history: History,
    now: datetime,
    duty: Duty,
    kind: str,
    forecasts: Sequence[Forecast],
    past_of: PastOf,
    signed: Handover | None,
) -> Report:
    """The report of the shift `duty` as it stands at `now`; `signed` is the handover that was signed last.

    Raises `Incomplete` where not enough of the history was kept.
    """
    items = due_items(room, history, now, forecasts)
    shift = ShiftState(room, history, now, duty, kind, items, forecasts, past_of)
    lines = [
        Line(about="room:name", text=plain(room.name)),
        *people_section(shift, signed),
        *(line for section in _SECTIONS for line in section(shift)),
    ]
    lines += [*_systems(shift, lines), *entry_section(shift)]
    return Report(
        lines=numbered(lines), at=now, kind=kind, shift=duty.name, begins=duty.begins, ends=duty.ends, signed=signed
    )


def _systems(shift: ShiftState, lines: Iterable[Line]) -> Iterator[Line]:
    """The state of each system in a line: ``Reef: 1 off normal, alkalinity 7.4 dKH below its band, 3 left of 27``"""
    by_system: dict[str, list[Line]] = {}
    for line in lines:
        by_system.setdefault(line.system, []).append(line)
    for system in shift.room.systems:
        of_it = by_system.get(system.id, [])
        counts = shift.counts(system.id)
        if system.id == ROOM and not of_it and not counts["round"]:
            continue
        said = [*_troubles(of_it), f"{counts['left']} left of {counts['round']}"]
        if system.paused:
            said.insert(0, "drained" if system.drained else "paused")
        yield Line(
            about=f"systems:{system.id}",
            text=f"{plain(system.name)}: {', '.join(said)}",
            strong=any(line.strong for line in of_it),
            system=system.id,
            data={"system": system.id, **counts},
        )


def _troubles(lines: Sequence[Line]) -> Iterator[str]:
    """What stands out of one system: how many off normal, late, missed, concerns, and each value out of band."""
    for section, one in (("off_normal", "off normal"), ("missed", "missed")):
        if number := sum(1 for line in lines if line.section == section):
            yield f"{number} {one}"
    if late := sum(1 for line in lines if line.section == "not_done" and line.data["state"] == OVERDUE):
        yield f"{late} late"
    for section, one in (("concerns", "concern"), ("protocols", "protocol"), ("refills", "refill")):
        if number := sum(1 for line in lines if line.section == section):
            yield plural(number, one)
    for line in lines:
        if line.section == "out_of_band":
            yield plain(f"{line.data['name']} {line.data['value']} {line.data['words']}")
