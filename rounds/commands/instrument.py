"""`rounds instrument`: a new kit batch or a calibration."""

from __future__ import annotations

import argparse

from rounds.commands import Command
from rounds.commands.opening import instant_of, keeper_of, open_room
from rounds.commands.writing import write_down
from rounds.core.errors import CannotRead


def options(command: Command) -> None:
    command.option("reading", metavar="SYSTEM/READING", help="what it is read for, such as nursery/alkalinity")
    command.option("note", metavar="NOTE", nargs="*", help="what else there is to say")
    command.option("--batch", one_of=True, metavar="BATCH", help="a new kit batch, as printed on it")
    command.option("--calibrated", one_of=True, action="store_true", help="a probe, meter or refractometer set right")
    command.option("--old", metavar="VALUE", help="the water or the standard as it was read before")
    command.option("--new", metavar="VALUE", help="the same water or standard as it is read since")
    command.at("when it was done")
    command.sure()
    command.json("print the record as JSON")


def run(options: argparse.Namespace) -> int:
    from rounds.core.recording import draft_instrument_step
    from rounds.core.series import find_reading

    if not options.calibrated and not (options.batch or "").strip():
        raise CannotRead("say what has changed: --batch with the new batch, or --calibrated")
    room = open_room(options)
    by = keeper_of(room, options)
    draft = draft_instrument_step(
        room.model, find_reading(room.model, options.reading), instant_of(room, options),
        batch=options.batch or "", old=options.old or "", new=options.new or "", note=" ".join(options.note),
        seawater=room.seawater,
    )  # fmt: skip
    record = write_down(room, draft, by, options)
    if record is None:
        return 0
    print("  Trends begin anew here." if not record.values else "  Older values are shifted by the difference.")
    if options.batch and record.task in room.model.instruments:
        print("  Write the new batch and its days into its table under [[instruments]] too.")
    return 0
