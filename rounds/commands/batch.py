"""`rounds batch`: how many of what stand where, from arrival to the last one that has left."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from rounds.commands import Command
from rounds.commands.opening import instant_of, keeper_of, open_room, print_json, recorded_as
from rounds.commands.writing import say, write_all
from rounds.core.errors import CannotRead, Refused
from rounds.core.words import quoted

if TYPE_CHECKING:
    from datetime import datetime

    from rounds.core.batches import Batch
    from rounds.core.history import History
    from rounds.core.record import Record
    from rounds.core.recording import Draft
    from rounds.storage.room import RoomFolder


def options(command: Command) -> None:
    command.option("about", metavar="STATION|ID", nargs="?", help="where a new batch stands; or a batch's id")
    command.option("what", metavar="COUNT WHAT", nargs="*", help="how many of what, as on a label")
    command.option("--from", dest="source", metavar="WORDS", help="where it came from, in general words")
    command.option("--released-at", metavar="STATION", help="larvae that colonies there released")
    command.option("--light", metavar="NEED", help="which light it needs, such as low")
    command.option("--flow", metavar="NEED", help="which flow it needs, such as strong")
    command.option("--fish", action="store_true", help="there are fish in it (known by the word fish otherwise)")
    command.option("--settled", action="store_true", help="it stands there already: calls no protocol for an arrival")
    command.option("--move", one_of=True, metavar="STATION", help="to another place; with --count, so many of it")
    command.option("--split", one_of=True, nargs=2, metavar=("N", "STATION"), help="so many as a batch of their own")
    command.option("--combine", one_of=True, metavar="ID", help="join it to the batch ID")
    command.option("--close", one_of=True, metavar="WHY", help="grown on, given away, died or missing: why")
    command.option("--note", one_of=True, metavar="TEXT", help="what is seen of it")
    command.option("--find", one_of=True, metavar="TEXT", help="pests: the isolation of its water begins anew")
    command.option("--count", metavar="N", help="how many there are; with --move and --close, of how many it is said")
    command.option("--size", metavar="SIZE", help='how large they are, such as "31 mm"')
    command.option(
        "--reason", metavar="WHY", help="why; needed where it leaves an isolation that is not over, died or is missing"
    )
    command.at("when it happened")
    command.sure()
    command.json("print the record as JSON; alone, what stands in the room")


def run(options: argparse.Namespace) -> int:
    room = open_room(options)
    at = instant_of(room, options)
    if options.about is None:
        return _list(room, options, at)
    if not _changes(options) and not options.what:
        return _tell(room, options, at)
    by = keeper_of(room, options)
    drafts = room.ask(lambda history: _drafts(room, history, options, at))
    _say_next(room, write_all(room, drafts, by, options), options)
    return 0


def _changes(options: argparse.Namespace) -> bool:
    """Whether something is to be recorded about a batch that is there."""
    given = (options.move, options.split, options.combine, options.close, options.note, options.find)
    return any(each is not None for each in (*given, options.count, options.size))


# -- what stands there -----------------------------------------------------------------------------


def _list(room: RoomFolder, options: argparse.Namespace, now: datetime) -> int:
    from rounds.core.batches import standing
    from rounds.report.batches import batches_text

    if _changes(options):
        raise CannotRead("say which batch: give the id that rounds batch shows")
    if options.json:
        found = room.ask(lambda history: standing(history, now), now, now)
        print_json([_json(room, each, now) for each in found])
    else:
        print(room.ask(lambda history: batches_text(room.model, history, now), now, now), end="")
    return 0


def _json(room: RoomFolder, batch: Batch, now: datetime) -> object:
    from rounds.core.isolation import isolation
    from rounds.report.batches import batch_json

    clock = room.ask(lambda history: isolation(room.model, history, batch.place, now), now, now)
    return batch_json(room.model, batch, clock if batch.ended is None else None, now)


def _tell(room: RoomFolder, options: argparse.Namespace, now: datetime) -> int:
    """One batch and its past."""
    from rounds.report.batches import batch_lines, history_lines

    batch = room.ask(lambda history: _named(history, options.about, now), now, now)
    if options.json:
        print_json(_json(room, batch, now))
        return 0
    past = [record for system in {stay.place[0] for stay in batch.stays} for record in room.standing_of(system)]
    lines = room.ask(lambda history: history_lines(room.model, history, batch, past, now), now, now)
    for line in (*batch_lines(room.model, batch, now), *lines):
        print(line)
    return 0


def _named(history: History, name: str, at: datetime) -> Batch:
    """The batch with this id, or with an id that ends so; raises `Refused`."""
    from rounds.core.batches import batches

    found = [each for each in batches(history, at).values() if recorded_as(name, each.id)]
    if not found:
        raise Refused(
            f"there is no batch {quoted(name)}; rounds batch lists them, and rounds batch STATION COUNT WHAT adds one"
        )
    return found[0]


# -- what is recorded ------------------------------------------------------------------------------


def _drafts(room: RoomFolder, history: History, options: argparse.Namespace, at: datetime) -> list[Draft]:
    if not _changes(options):
        return _new(room, options, at)
    if options.what:
        raise CannotRead("of a batch that is there, what is said goes into the option itself, in quotes")
    return [_change(room, history, _named(history, options.about, at), options, at)]


def _new(room: RoomFolder, options: argparse.Namespace, at: datetime) -> list[Draft]:
    from rounds.core import moving
    from rounds.core.named import find_place

    model, what = room.model, " ".join(options.what[1:])
    place, count = find_place(model, options.about), moving.parse_count(options.what[0])
    if options.released_at is not None:
        return [moving.draft_released(model, find_place(model, options.released_at), place, count, what, at)]
    origin = moving.Origin(options.source or "", options.light or "", options.flow or "", options.fish)
    draft = moving.draft_batch(place, count, what, at, origin)
    return [draft] if options.settled else moving.draft_arrival(model, draft)


def _change(room: RoomFolder, history: History, batch: Batch, options: argparse.Namespace, at: datetime) -> Draft:
    from rounds.core import moving
    from rounds.core.batches import LOST
    from rounds.core.named import find_place

    model, why = room.model, options.reason or ""
    count = moving.parse_count(options.count) if options.count is not None else None
    if options.split is not None:
        many, place = moving.parse_count(options.split[0]), find_place(model, options.split[1])
        return moving.draft_split(model, history, batch, many, place, at, why=why)
    if options.move is not None:
        place = find_place(model, options.move)
        if count is not None and count != batch.count:
            return moving.draft_split(model, history, batch, count, place, at, why=why)
        return moving.draft_moved(model, history, batch, place, at, why=why)
    if options.combine is not None:
        into = _named(history, options.combine, at)
        return moving.draft_combined(model, history, batch, into, at, why=why)
    if options.close is not None:
        way, because = moving.parse_way(options.close)
        if way in LOST and not because and options.reason is None:
            raise CannotRead(f'say why: --close "{way}: WHY", or --close {way} --reason WHY')
        return moving.draft_left(model, history, batch, way, because or why, at, count=count)
    if options.note is not None or options.find is not None:
        text = options.note if options.find is None else options.find
        return moving.draft_batch_note(model, batch, text, at, found=options.find is not None)
    size = moving.parse_size(options.size) if options.size is not None else None
    return moving.draft_counted(model, batch, count, at, size=size, note=why)


def _say_next(room: RoomFolder, records: list[Record], options: argparse.Namespace) -> None:
    """What follows from it: the isolation that runs, a protocol to call, a task to make of it."""
    from rounds.core import moving
    from rounds.core.isolation import isolation
    from rounds.core.words import plain
    from rounds.report.batches import isolation_text

    record, now = records[0], room.now()
    place = f"{record.system}/{record.station}" if record.station else f"{record.system}"
    stands = (record.system or "", record.station or "")
    clock = room.ask(lambda history: isolation(room.model, history, stands, now), now, now)
    lines = []
    if clock is not None:
        lines.append(f"{plain(clock.water.name)}: {isolation_text(room.model, clock, now)}.")
    if moving.death_protocol(room.model, record) is not None:
        lines.append(f"Work through what follows a death: rounds protocol dead-animal {place}")
    if moving.wants_space(record.words):
        lines.append(f'Make a task of it: rounds concern {place} "move or space it" --look-again "1 day"')
    say(lines, options)
