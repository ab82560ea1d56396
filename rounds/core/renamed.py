"""Records of what has another id now, read under the id that it has."""

from __future__ import annotations

from collections.abc import Mapping

import msgspec

from rounds.core.record import Record


def present(record: Record, formerly: Mapping[str, str]) -> Record:
    """The record under the ids of the room as it is; `formerly` as in `Room.formerly`."""
    if not formerly:
        return record
    system = formerly.get(record.system or "", record.system)
    task = present_id(record.task, formerly) if record.task is not None else None
    values = tuple(
        msgspec.structs.replace(value, reading=present_id(value.reading, formerly)) for value in record.values
    )
    if (system, task, values) == (record.system, record.task, record.values):
        return record
    return msgspec.structs.replace(record, system=system, task=task, values=values)


def present_id(id: str, formerly: Mapping[str, str]) -> str:
    """A full id as it is now, whether its system was renamed, it within its system, or both."""
    system, slash, own = id.partition("/")
    moved = f"{formerly.get(system, system)}{slash}{own}"
    return formerly.get(moved, moved)
