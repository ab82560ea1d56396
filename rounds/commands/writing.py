"""What the commands that record have in common: asking first, writing down, saying what was written."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from rounds.commands.opening import print_json
from rounds.core.errors import NeedsConfirmation

if TYPE_CHECKING:
    from rounds.core.record import Record
    from rounds.core.recording import Draft
    from rounds.storage.room import RoomFolder


def write_down(room: RoomFolder, draft: Draft, by: str, options: argparse.Namespace) -> Record | None:
    """Record the draft and print it; None when it was printed as JSON and nothing more is to be said.

    Raises `NeedsConfirmation` where it asks something, or the clock may be wrong and no `--at` was given, without
    `--sure`.
    """
    from rounds.core.account import record_line
    from rounds.report.history import record_json

    questions = list(draft.questions)
    if options.at is None and (doubt := room.clock_question()):
        questions.append(f"{doubt} Give the time with --at.")
    if questions and not options.sure:
        raise NeedsConfirmation(f"{' '.join(questions)} Nothing was recorded; add --sure if it is right.")
    record = room.record(draft, by)
    if options.json:
        print_json(record_json(room.history, record))
        return None
    print(f"Recorded. {record_line(room.model, room.history, record)}\n  id {record.id}")
    return record
