"""What the commands that record have in common: asking first, writing down, saying what was written."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from rounds.commands.opening import print_json
from rounds.core.errors import NeedsConfirmation

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from rounds.core.record import Record
    from rounds.core.recording import Draft
    from rounds.storage.room import RoomFolder


def say(lines: Iterable[str], options: argparse.Namespace) -> None:
    """More to say after a record, where it was not printed as JSON."""
    if not options.json:
        for line in lines:
            print(f"  {line}")


def say_what_stops(room: RoomFolder, thing: str | None, options: argparse.Namespace) -> None:
    """What must stop with equipment that was turned off, and how they are put back."""
    from rounds.report.following import stops_text

    equipment = room.model.equipment.get(thing or "")
    if equipment is not None:
        say(stops_text(room.model, equipment), options)


def write_all(room: RoomFolder, drafts: Sequence[Draft], by: str, options: argparse.Namespace) -> list[Record]:
    """Record several drafts in one step and print them.

    Raises `NeedsConfirmation` where one asks something, or the clock may be wrong and no `--at` was given, without
    `--sure`.
    """
    from rounds.report.history import record_json

    records = _record(room, drafts, by, options)
    if options.json:
        found = [record_json(room.history, record) for record in records]
        print_json(found[0] if len(found) == 1 else found)
    else:
        _print(room, records)
    return records


def write_down(
    room: RoomFolder, draft: Draft, by: str, options: argparse.Namespace, also: Sequence[Draft] = ()
) -> Record | None:
    """Record the draft and print it; None when it was printed as JSON and nothing more is to be said.

    What is to be recorded `also` is written in the same step, and printed as text only. Raises as `write_all`.
    """
    from rounds.report.history import record_json

    records = _record(room, (draft, *also), by, options)
    if options.json:
        print_json(record_json(room.history, records[0]))
        return None
    _print(room, records)
    return records[0]


def _record(room: RoomFolder, drafts: Sequence[Draft], by: str, options: argparse.Namespace) -> list[Record]:
    _ask(room, [question for draft in drafts for question in draft.questions], options)
    records = [record for draft in drafts for record in room.prepare_all(draft, by)]
    room.save(*records)
    return records


def _ask(room: RoomFolder, questions: Sequence[str], options: argparse.Namespace) -> None:
    asked = list(questions)
    if options.at is None and (doubt := room.clock_question()):
        asked.append(f"{doubt} Give the time with --at.")
    if asked and not options.sure:
        raise NeedsConfirmation(f"{' '.join(asked)} Nothing was recorded; add --sure if it is right.")


def _print(room: RoomFolder, records: Iterable[Record]) -> None:
    from rounds.core.account import record_line

    for record in records:
        print(f"Recorded. {record_line(room.model, room.history, record)}\n  id {record.id}")
