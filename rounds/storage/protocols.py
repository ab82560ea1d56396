"""Protocols, read from the room's files and from those that every room has."""

from __future__ import annotations

import tomllib
from collections.abc import Container
from datetime import timedelta
from pathlib import Path
from typing import Any

from rounds.core.durations import Span, parse_elapsed, parse_span
from rounds.core.model import IMPORTANCES, PROTOCOL_PLACES, ROOM, Protocol, ProtocolStep
from rounds.core.words import quoted
from rounds.storage.faults import Fault, Missing, RoomFaults
from rounds.storage.references import References
from rounds.storage.tables import File, Table

CATALOGUE = Path(__file__).parents[1] / "care" / "protocols.toml"
"""The protocols of every room; a room's own with the same id stands instead."""

PROTOCOLS = "protocols"
"""The list of the room's files, and of the catalogue, in which they stand."""

_GRACE_AT_LEAST = timedelta(minutes=15)
_GRACE_AT_MOST = timedelta(days=14)


def read_protocol(table: Table, system: str) -> Protocol:
    """One ``[[protocols]]`` table of a system's file, or of the room's."""
    id = table.id()
    found = Protocol(
        id=f"{system}/{id}",
        name=table.text("name", required=True),
        place=table.choice("place", PROTOCOL_PLACES, PROTOCOL_PLACES[0]),
        basis=table.text("basis"),
        steps=tuple(_step(each) for each in table.within("steps")),
    )
    if not table.has("steps"):
        table.fault("", "steps are missing; add a table under [[protocols.steps]] for each", Missing("steps"))
    table.close()
    return found


def check_step(
    table: Table, system: str, stations: Container[str], step: ProtocolStep, names: References
) -> str | None:
    """Look up what a step, read from its table, names, and give the full id of the task that it calls.

    What a step in the room's own file names without a system is looked for where the protocol is called.
    """

    def name(key: str, what: str, written: str, remedy: str) -> str | None:
        anywhere = system == ROOM and "/" not in written
        return None if anywhere else names.name(table, key, what, written, system, remedy)

    if step.station and system != ROOM and step.station not in stations:
        table.fault("station", f"the station {quoted(step.station)} does not exist; add it under [[stations]]")
    for reading in step.takes:
        name("takes", "reading", reading, "add it under [[readings]]")
    return name("task", "task", step.task, "write one that has called = true") if step.task is not None else None


def catalogue_tables() -> list[dict[str, Any]]:
    """The protocols of every room as they are written."""
    found: list[dict[str, Any]] = tomllib.loads(CATALOGUE.read_text(encoding="utf-8"))[PROTOCOLS]
    return found


def catalogue() -> tuple[Protocol, ...]:
    """The protocols of every room; raises `RoomFaults` when the file that came with the program was changed."""
    faults: list[Fault] = []
    text = CATALOGUE.read_text(encoding="utf-8")
    head = Table(File(CATALOGUE.name, text, faults), tomllib.loads(text))
    found = tuple(read_protocol(each, ROOM) for each in head.tables(PROTOCOLS))
    head.close()
    if faults:
        raise RoomFaults(faults)
    return found


def _step(table: Table) -> ProtocolStep:
    after = _elapsed(table, "after") or timedelta(0)
    every = _span(table, "every")
    times = table.whole("times", 1, 1000)
    task = table.text("task")
    title = table.text("title")
    if not title and not task:
        table.fault("title", 'a step says what to do; add title = "…", or task with the id of a task that is called')
    if table.has("every") != table.has("times"):
        table.fault("every", 'every and times go together: every = "1 day", times = 7')
    step = ProtocolStep(
        title=title,
        after=after,
        grace=table.elapsed("grace") or _grace(every.nominal if every else after),
        every=every,
        times=times or 1,
        task=task or None,
        station=table.text("station"),
        if_kind=table.text("if_kind"),
        importance=table.choice("importance", IMPORTANCES, "husbandry"),
        minutes=table.whole("minutes", 0, 1440),
        takes=table.texts("takes"),
        steps=table.texts("steps"),
        look_for=table.text("look_for"),
        caution=table.text("caution"),
    )
    table.close()
    return step


def _grace(interval: timedelta) -> timedelta:
    """A quarter of the time since the call or the last time, like that of a task."""
    return max(_GRACE_AT_LEAST, min(interval / 4, _GRACE_AT_MOST))


def _elapsed(table: Table, key: str) -> timedelta | None:
    text = table.text(key)
    return table.read(key, text, parse_elapsed) if text else None


def _span(table: Table, key: str) -> Span | None:
    text = table.text(key)
    return table.read(key, text, parse_span) if text else None
