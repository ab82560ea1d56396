"""The demo room's batches: what stands where, as the recipe tells, in the program's own records."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from rounds.core import moving
from rounds.core.batches import Batch, Place, batches
from rounds.core.following import draft_protocol_completed
from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.protocols import of_call
from rounds.core.record import BATCH, PROTOCOL, Record
from rounds.core.recording import Draft
from rounds.demo.recipe import BatchStep
from rounds.demo.writing import Writer


class Animals:
    """Makes records of batches over the history as it stands; keeps which batch the recipe calls how."""

    def __init__(self, room: Room, history: History, writer: Writer) -> None:
        self._room = room
        self._history = history
        self._writer = writer
        self._ids: dict[str, str] = {}

    def tell(self, told: BatchStep, at: datetime, by: str) -> Iterator[Record]:
        """The records of one thing that happened; the call of a protocol bears the name of the batch."""
        for draft in self._drafts(told, at):
            record = self._writer.drafted(draft, by, aside=True)
            if record.kind == BATCH:
                self._ids[told.batch] = record.id
            elif record.kind == PROTOCOL and record.ref is None:
                self._writer.remember(told.batch, record)
            yield record

    def _drafts(self, told: BatchStep, at: datetime) -> list[Draft]:
        room, history, note = self._room, self._history, told.note
        match told.does:
            case "settled":
                return [self._new(told, at)]
            case "arrived":
                return moving.draft_arrival(room, self._new(told, at))
            case "released":
                parents, place = _place(told.source), _place(told.station)
                return [moving.draft_released(room, parents, place, told.count or 0, note, at)]
            case "split":
                batch, place = self._batch(told.other, at), _place(told.station)
                return [moving.draft_split(room, history, batch, told.count or 0, place, at, why=note)]
            case "combined":
                batch, into = self._batch(told.batch, at), self._batch(told.other, at)
                return [moving.draft_combined(room, history, batch, into, at, why=note)]
            case "left":
                batch, (way, why) = self._batch(told.batch, at), moving.parse_way(note)
                return [moving.draft_left(room, history, batch, way, why, at, count=told.count)]
            case "counted":
                size = moving.parse_size(told.size) if told.size else None
                batch = self._batch(told.batch, at)
                return [moving.draft_counted(room, batch, told.count, at, size=size, note=note)]
            case "seen" | "found":
                batch = self._batch(told.batch, at)
                return [moving.draft_batch_note(room, batch, note, at, found=told.does == "found")]
            case "completed":
                call = self._writer.named(told.batch)
                return [draft_protocol_completed(of_call(room, history, call, at), at)]

    def _new(self, told: BatchStep, at: datetime) -> Draft:
        origin = moving.parse_origin(told.source)
        return moving.draft_batch(_place(told.station), told.count or 0, told.note, at, origin)

    def _batch(self, name: str, at: datetime) -> Batch:
        return batches(self._history, at)[self._ids[name]]


def _place(station: str) -> Place:
    system, _, id = station.partition("/")
    return system, id
