"""Protocols that were called, and how far each has come."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

import msgspec

from rounds.core.durations import Span
from rounds.core.history import History, closings_of
from rounds.core.model import Protocol, ProtocolStep, Room, Task
from rounds.core.record import PROTOCOL, Record, short

COMPLETED = "completed"
"""The word on the record that ends a protocol of which every step was done."""


class CalledStep(msgspec.Struct, frozen=True, kw_only=True):
    """One step of a protocol that was called."""

    task: str
    """Full id of its due item."""
    step: ProtocolStep
    declared: Task | None
    """The task of the room's files that it calls; None: the step says itself what to do."""
    closings: tuple[Record, ...]
    """What closed it since the call, in history order."""
    due_at: datetime | None
    """None: there is nothing more to do."""
    waits_for: tuple[str, ...] = ()
    """Of a step done once, the due items of the repeated steps that it is planned after."""
    not_before: datetime | None = None
    """One interval after the last time of what it waits for, as far as that has come; see `due_of`."""

    @property
    def done(self) -> bool:
        return self.due_at is None

    @property
    def title(self) -> str:
        return self.declared.title if self.declared is not None else self.step.title


class Running(msgspec.Struct, frozen=True, kw_only=True):
    """A protocol that was called and has not ended."""

    call: Record
    """`task` names the protocol, `note` says what for."""
    protocol: Protocol | None
    """None: it is no longer in the room's files."""
    steps: tuple[CalledStep, ...]

    @property
    def name(self) -> str:
        return self.protocol.name if self.protocol is not None else self.call.task or "a protocol without a name"

    @property
    def done(self) -> int:
        """How many of its steps are done."""
        return sum(1 for step in self.steps if step.done)

    @property
    def next(self) -> CalledStep | None:
        """The step that comes due first."""
        left = [(step.due_at, number) for number, step in enumerate(self.steps) if step.due_at is not None]
        return self.steps[min(left)[1]] if left else None

    @property
    def completed(self) -> bool:
        return self.protocol is not None and self.next is None


def running(room: Room, history: History, now: datetime) -> list[Running]:
    """What was called and neither stopped nor completed at `now`, the oldest first.

    Raises `Incomplete` where not enough of the history was kept.
    """
    return [
        found
        for call in history.opened(PROTOCOL, now)
        if history.ended(call.id, now) is None and not (found := of_call(room, history, call, now)).completed
    ]


def of_call(room: Room, history: History, call: Record, now: datetime) -> Running:
    """The protocol of one call, whether it has ended or not."""
    protocol = room.protocol.get(call.task or "")
    steps = tuple(_steps(room, history, protocol, call, now)) if protocol is not None else ()
    return Running(call=call, protocol=protocol, steps=steps)


def steps_for(room: Room, protocol: Protocol, system: str) -> Iterator[tuple[int, ProtocolStep, Task | None]]:
    """The steps that a system asks for, each with its number and the task of the room's files that it calls."""
    whole = room.system.get(system)
    kinds = {equipment.kind for equipment in whole.equipment} if whole is not None else set()
    for number, step in enumerate(protocol.steps, 1):
        if step.if_kind and step.if_kind not in kinds:
            continue
        declared = None
        if step.task is not None:
            declared = room.tasks.get(step.task if "/" in step.task else f"{system}/{step.task}")
            if declared is None:
                continue
        yield number, step, declared


def _steps(room: Room, history: History, protocol: Protocol, call: Record, now: datetime) -> Iterator[CalledStep]:
    found = []
    for number, step, declared in steps_for(room, protocol, call.system or ""):
        id = declared.id if declared is not None else step_id(call, number)
        log = closings_of(history, declared) if declared is not None else history.closings(id)
        closings = tuple(log.through(call.at, now)) if call.at <= now else ()
        found.append((id, step, declared, closings))
    repeated = [(id, step, closings) for id, step, _, closings in found if step.every is not None]
    for id, step, declared, closings in found:
        once = step.every is None
        waits = [each for each in repeated if once and _planned_end(each[1]) < step.after]
        not_before = max((_end(room, other, call, done) for _, other, done in waits), default=None)
        yield CalledStep(
            task=id,
            step=step,
            declared=declared,
            closings=closings,
            due_at=due_of(room, step, call, closings, not_before),
            waits_for=tuple(other for other, _, _ in waits),
            not_before=not_before,
        )


def _planned_end(step: ProtocolStep) -> timedelta:
    """After the call: the last time of a repeated step, each done as soon as it is due."""
    assert step.every is not None
    return step.after + step.every.nominal * (step.times - 1)


def _end(room: Room, step: ProtocolStep, call: Record, closings: tuple[Record, ...]) -> datetime:
    """One interval after the last time of a repeated step, as far as it has come."""
    assert step.every is not None
    last = closings[-1].at if closings else call.at + step.after
    for _ in range(step.times - max(len(closings), 1)):
        last = due_again(room, step.every, last)
    return due_again(room, step.every, last)


def step_id(call: Record, number: int) -> str:
    """The full id of the due item of a step: ``nursery/step-6f0c9a1b2d3e-2``."""
    return f"{call.system}/step-{short(call.id)}-{number}"


def due_of(
    room: Room,
    step: ProtocolStep,
    call: Record,
    closings: tuple[Record, ...],
    not_before: datetime | None = None,
) -> datetime | None:
    """When the step is due next: a time that was left out comes later, and is not made up by two at once.

    `not_before`: what is done once and comes after a repeated step in the plan waits for it, at least one interval
    after its last time, so that a course that became longer is not ended by what follows it.
    """
    if not closings:
        due = call.at + step.after
        return due if not_before is None else max(due, not_before)
    if step.every is None or len(closings) >= step.times:
        return None
    return due_again(room, step.every, closings[-1].at)


def due_again(room: Room, every: Span, last: datetime) -> datetime:
    """When a step that is repeated is due, done last at `last`: days and longer keep the wall clock."""
    if every.exact or every.nominal % timedelta(days=1):
        return last + every.nominal
    local = room.calendar.local(last)
    return room.calendar.instant(local.date() + every.nominal, local.time().replace(microsecond=0))
