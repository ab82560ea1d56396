"""`rounds handover`: the report of the shift, signed by the outgoing keeper and accepted by the incoming."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from rounds.commands import Command
from rounds.commands.opening import FORMATS, instant_of, keeper_of, open_room, print_json, recorded_as
from rounds.commands.writing import write_down
from rounds.core.errors import CannotRead, Refused
from rounds.core.handovers import HANDOVER_KINDS, SHIFT
from rounds.core.words import quoted

if TYPE_CHECKING:
    from datetime import datetime

    from rounds.core.handovers import Handover
    from rounds.report.handover import Report
    from rounds.storage.room import RoomFolder


def options(command: Command) -> None:
    command.at("as it stands at this time; when it was signed or accepted")
    command.option("--shift", metavar="NAME", help="of this shift, not of the one that ends first")
    command.option(
        "--kind", choices=HANDOVER_KINDS, default=SHIFT, help="at the end of a shift, within it, or to nobody"
    )
    command.option("--sign", one_of=True, action="store_true", help="the outgoing keeper signs the report")
    command.option("--accept", one_of=True, action="store_true", help="the incoming keeper accepts what was signed")
    command.option("--list", one_of=True, action="store_true", help="the handovers that were signed, the newest first")
    command.option("--read", metavar="ID", help="a handover as it was signed; with --accept, the one to accept")
    command.option("--note", metavar="WORDS", default="", help="the words of who signs or accepts")
    command.option(
        "--question", metavar="KEY=TEXT", action="append", default=[],
        help="with --accept: ask about the line of this number or key; the others are confirmed",
    )  # fmt: skip
    command.option("--format", choices=FORMATS, default="text", help="of the report")
    command.sure()
    command.json("as JSON; with --sign or --accept, the record")


def run(options: argparse.Namespace) -> int:
    options.json = options.json or options.format == "json"
    if options.question and not options.accept:
        raise CannotRead("questions go with accepting: rounds handover --accept --question KEY=TEXT")
    if options.note and not (options.accept or options.sign):
        raise CannotRead("a note goes with signing or accepting; add --sign or --accept")
    if options.read and (options.sign or options.list):
        raise CannotRead("--read names one handover; it stands alone or with --accept")
    room = open_room(options)
    now = instant_of(room, options)
    if options.list:
        return _list(room, options, now)
    if options.accept:
        return _accept(room, options, now)
    if options.sign:
        return _sign(room, options, now)
    return _show(room, options, now)


def _show(room: RoomFolder, options: argparse.Namespace, now: datetime) -> int:
    from rounds.report.handover import signed_report
    from rounds.report.handover_sections import prepared

    if options.read:
        _print(room, signed_report(_named(room, options.read, now)), options, now)
    else:
        _print(room, prepared(room, now, shift=options.shift, kind=options.kind), options, now)
    return 0


def _print(room: RoomFolder, report: Report, options: argparse.Namespace, now: datetime) -> None:
    from rounds.report.handover_forms import written

    print(written("json" if options.json else options.format, room.model, report, now), end="")


def _sign(room: RoomFolder, options: argparse.Namespace, now: datetime) -> int:
    from rounds.core.handovers import draft_handover
    from rounds.core.off_normal import off_normal
    from rounds.report.handover_sections import prepared

    by = keeper_of(room, options)
    report = prepared(room, now, shift=options.shift, kind=options.kind)
    left = room.ask(lambda history: off_normal(room.model, history, now), now, now)
    draft = draft_handover(
        room.model, report.shift, options.kind, report.points, now, options.note, left=left, again=report.again
    )
    if write_down(room, draft, by, options) is not None:
        print(f"  {len(report.open)} of its {len(report.lines)} lines are to be answered: rounds handover --accept")
    return 0


def _accept(room: RoomFolder, options: argparse.Namespace, now: datetime) -> int:
    from rounds.core.handovers import draft_accepted, to_accept

    by = keeper_of(room, options)
    handover = _named(room, options.read, now) if options.read else to_accept(room.last_handover(now))
    draft = draft_accepted(room.model, handover, _answers(options.question), by, now, options.note)
    if write_down(room, draft, by, options) is not None:
        asked = sum(1 for point in draft.points if point.answer)
        print(f"  {len(draft.points) - asked} lines confirmed, {asked} questioned; signed by {handover.record.by}")
    return 0


def _answers(questions: list[str]) -> dict[str, str]:
    answers = {}
    for question in questions:
        key, _, text = question.partition("=")
        if not key.strip() or not text.strip():
            raise CannotRead(
                f'{quoted(question)} asks nothing; write the line\'s number or key and the question: "3=since when?"'
            )
        answers[key.strip()] = text
    return answers


def _list(room: RoomFolder, options: argparse.Namespace, now: datetime) -> int:
    from rounds.core.record import short
    from rounds.report.handover import list_line
    from rounds.report.handover_forms import list_json

    found = room.handovers(now)[::-1]
    if options.json:
        print_json([list_json(room.model, each) for each in found])
    else:
        for each in found:
            print(f"{short(each.id)}  {list_line(room.model, each, now)}")
        if not found:
            print("No handover is signed yet.")
    return 0


def _named(room: RoomFolder, name: str, now: datetime) -> Handover:
    """The handover with this id, or with an id that ends so."""
    found = [each for each in room.handovers(now) if recorded_as(name, each.id)]
    if not found:
        raise Refused(f"there is no handover {quoted(name)}; rounds handover --list shows them")
    return found[0]
