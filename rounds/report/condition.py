"""What keepers have seen of the animals, and what made the light over them another."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from itertools import pairwise

from rounds.core.due import interval_of
from rounds.core.history import History
from rounds.core.model import Lights, Room, System
from rounds.core.record import CHANGE_STEP, CONCERN, CONCERN_UPDATE, DONE, NOTE, READING, Record
from rounds.core.staged import HELD, steps
from rounds.core.words import plain
from rounds.report.series import when
from rounds.water.programme import LightStep
from rounds.water.prompts import AFTER_LIGHT

SEEN = frozenset((DONE, NOTE, READING, CONCERN, CONCERN_UPDATE))
"""Kinds of records that say what was seen; in the others a word is only mentioned."""


def sightings(history: History, system: System, words: Iterable[str], begin: datetime, now: datetime) -> list[Record]:
    """Records of the system from `begin` to `now` that have one of the condition words."""
    wanted = frozenset(words)
    return [
        record
        for record in history.since(begin, now)
        if record.system == system.id and record.kind in SEEN and not wanted.isdisjoint(record.words)
    ]


def last_look(history: History, system: System, now: datetime) -> tuple[datetime, str] | None:
    """When the animals were last looked over, and the record of it."""
    found = [
        record
        for task in system.tasks
        if task.animals_seen and (record := _last_done(history, task.id, now)) is not None
    ]
    last = max(found, key=lambda record: record.key, default=None)
    return (when(last), last.id) if last is not None else None


def _last_done(history: History, task: str, now: datetime) -> Record | None:
    return next((record for record in history.closings(task).latest(now) if record.kind == DONE), None)


def light_steps(room: Room, history: History, lights: Lights, begin: datetime, now: datetime) -> list[LightStep]:
    """Everything that changed the light from `begin` to `now`, the oldest first.

    Steps of the programme, steps written with a PAR reading alone, and what makes the same lamps
    brighter: tasks with ``light_step = true``.
    """
    found = [
        LightStep(
            at=when(step.record), what="light step", record=step.record.id, planned=True,
            rise=step.after / step.before - 1 if step.before else None,
        )
        for step in steps(history, lights.id, now)
        if step.outcome != HELD and step.record.at >= begin
    ]  # fmt: skip
    found += [step for step in _measured_steps(history, lights, now) if step.at >= begin]
    for task in room.system[lights.system].tasks:
        if task.light_step:
            routine = interval_of(room, task, now) <= AFTER_LIGHT
            found += [
                LightStep(at=when(record), what=plain(task.title), record=record.id, planned=False, routine=routine)
                for record in history.closings(task.id).through(begin, now)
                if record.kind == DONE
            ]
    return sorted(found, key=lambda step: step.at)


def _measured_steps(history: History, lights: Lights, now: datetime) -> Iterable[LightStep]:
    """Steps written as a PAR reading only, each compared with the one before; the first says where it began."""
    if lights.measured is None:
        return
    written = [
        (record, value.value)
        for record in history.valued(lights.measured).latest(now)
        for value in record.values
        if record.kind == CHANGE_STEP and value.reading == lights.measured and value.value
    ][::-1]
    for (_, before), (record, after) in pairwise(written):
        yield LightStep(
            at=when(record), what="light step", record=record.id, planned=True, rise=after / before - 1
        )  # fmt: skip
