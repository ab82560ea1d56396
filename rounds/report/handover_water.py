"""What a handover says of the water: values out of band, changes in steps, reservoirs to refill."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from rounds.core.history import History
from rounds.core.model import IMPORTANCES, System
from rounds.core.staged import HELD, Step, steps
from rounds.core.units import show
from rounds.core.walk import place_name
from rounds.core.words import plain
from rounds.report.handover import Line
from rounds.report.handover_shift import ShiftState, line
from rounds.report.light import light_json, light_state
from rounds.report.readings import ACT, LEAVING, OUTSIDE, ReadingRow, is_level, rows_of
from rounds.water.reserves import reservoir_level

STAGED_WITHIN = timedelta(days=14)
"""A change made in steps is told so long after its last step; common practice, without a source."""


def out_of_band_section(shift: ShiftState) -> Iterator[Line]:
    """What is read and is not as usual: values outside their band, or leaving it before the next shift ends; levels."""
    yield from _values_out_of_band(shift)
    yield from _levels_out_of_the_ordinary(shift)


def _values_out_of_band(shift: ShiftState) -> Iterator[Line]:
    rows = [
        row
        for system in shift.room.systems
        for row in rows_of(shift.room, system.id, shift.past_of(system.id), shift.now)
    ]
    for row in sorted(rows, key=lambda row: row.rank):
        if is_level(row.reading) or not (row.state in (ACT, OUTSIDE) or _leaves_soon(shift, row)):
            continue
        reading = row.reading
        by = next((each.by for each in reversed(shift.past_of(reading.system).about((reading.id,)))
                   if each.at == row.at), "")  # fmt: skip
        said = f"{plain(row.system)}, {plain(reading.name)}: {plain(row.last)}, {plain(row.words)}"
        band = f" (band {row.band})" if row.band else ""
        slope = f"; {plain(row.slope)}" if row.slope else ""
        yield line(
            "out_of_band",
            reading.id,
            f"{said}{band}; {shift.when(row.at)} {plain(by)}{slope}".rstrip(),
            strong=row.state == ACT,
            system=reading.system,
            data={
                "reading": reading.id, "name": reading.name, "state": row.state, "value": row.last,
                "words": row.words, "band": row.band or None, "taken_at": shift.calendar.stamp(row.at),
                "by": by or None, "trend": row.slope or None,
            },
        )  # fmt: skip


def _levels_out_of_the_ordinary(shift: ShiftState) -> Iterator[Line]:
    """Reservoirs that fall or fill otherwise than usual, with the likely cause."""
    for system in shift.room.systems:
        past = shift.past_of(system.id)
        for tank in system.reservoirs:
            found = reservoir_level(past.levels, shift.room, past.history, tank, shift.now)
            if found.abnormal is None or found.level is None:
                continue
            reading = shift.room.readings[f"{tank.id}-level"]
            yield line(
                "out_of_band",
                reading.id,
                f"{place_name(shift.room, tank.system, tank.station)}, {plain(tank.name)}: {found.abnormal}",
                strong=True,
                system=tank.system,
                data={
                    "reading": reading.id, "name": reading.name, "state": "abnormal",
                    "value": show(reading, found.level), "words": "out of the ordinary", "band": None,
                    "taken_at": shift.calendar.stamp(found.as_of), "by": None, "trend": None,
                },
            )  # fmt: skip


def _leaves_soon(shift: ShiftState, row: ReadingRow) -> bool:
    days = row.rank[1]
    return row.state == LEAVING and shift.now + timedelta(days=days) <= shift.next.ends


def staged_section(shift: ShiftState) -> Iterator[Line]:
    """Lights and doses with a step of late, and what may come next."""
    for system in shift.room.systems:
        if system.lights or any(tank.kind in ("dosing", "limewater") for tank in system.reservoirs):
            known = shift.past_of(system.id).history
            yield from _staged_lights(shift, system, known)
            yield from _staged_doses(shift, system, known)


def _staged_lights(shift: ShiftState, system: System, known: History) -> Iterator[Line]:
    for lights in system.lights:
        state = light_state(shift.room, known, lights, shift.now)
        if not state.steps or state.steps[-1].at < shift.now - STAGED_WITHIN:
            continue
        last = state.steps[-1]
        yield line(
            "staged",
            lights.id,
            f"{plain(system.name)}, {plain(lights.name)}: {plain(last.said)} {shift.when(last.at)}; "
            f"next: {plain(state.verdict.why)}",
            system=system.id,
            data=light_json(shift.room, state),
        )


def _staged_doses(shift: ShiftState, system: System, known: History) -> Iterator[Line]:
    for tank in system.reservoirs:
        made = steps(known, tank.id, shift.now)
        if not made or made[-1].record.at < shift.now - STAGED_WITHIN:
            continue
        yield line(
            "staged",
            tank.id,
            f"{plain(system.name)}, {plain(tank.name)}: {_step(shift, made[-1])}",
            system=system.id,
            data={"id": made[-1].record.id, "before": made[-1].before, "after": made[-1].after,
                  "at": shift.calendar.stamp(made[-1].record.at)},
        )  # fmt: skip


def _step(shift: ShiftState, step: Step) -> str:
    record = step.record
    before, after = (plain(value.entered) for value in record.values)
    change = f"held at {after}" if step.outcome == HELD else f"{step.outcome}, {before} to {after}"
    until = f" until {shift.when(record.until)}" if record.until is not None else ""
    why = f": {plain(record.note)}" if record.note else ""
    return f"{change}{until} {shift.when(record.at)} by {plain(record.by)}{why}; next: test before another step"


def refill_section(shift: ShiftState) -> Iterator[Line]:
    """Reservoirs whose refill comes due before the next shift ends."""
    due = [each for each in shift.forecasts if not each.closed and each.due_at <= shift.next.ends]
    for forecast in sorted(due, key=lambda each: (IMPORTANCES.index(each.importance), each.fine_until)):
        tank = shift.room.reservoirs[forecast.task.removesuffix("-refill")]
        by = "was due" if forecast.fine_until <= shift.now else "by"
        yield line(
            "refills",
            tank.id,
            f"{place_name(shift.room, tank.system, tank.station)}: {plain(shift.room.tasks[forecast.task].title)}, "
            f"{by} {shift.when(forecast.fine_until)}; {plain(forecast.why)}",
            strong=forecast.fine_until <= shift.now,
            system=tank.system,
            data={
                "reservoir": tank.id, "due_at": shift.calendar.stamp(forecast.due_at),
                "refill_by": shift.calendar.stamp(forecast.fine_until), "importance": forecast.importance,
            },
        )  # fmt: skip
