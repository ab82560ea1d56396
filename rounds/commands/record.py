"""`rounds record`: one task, reading or refill."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from rounds.commands import Command
from rounds.commands.opening import instant_of, keeper_of, open_room
from rounds.commands.writing import say_what_stops, write_down
from rounds.core.errors import CannotRead

if TYPE_CHECKING:
    from rounds.core.history import History
    from rounds.core.recording import Draft
    from rounds.storage.room import RoomFolder


def options(command: Command) -> None:
    command.option("task", metavar="TASK", help="full id, such as nursery/alkalinity")
    command.option("entry", metavar="ENTRY", nargs="*", help="values in order, then a note")
    command.at("when it was done")
    command.option("--not-needed", one_of=True, metavar="WHY", help="close it without doing it")
    command.option("--could-not", one_of=True, metavar="WHY", help="it stays open and shows why")
    command.option("--postpone", one_of=True, metavar="T", help='to a time, "tomorrow" or "2 hours"')
    command.option("--cause", metavar="WHY", help="why it is postponed, such as a power cut")
    command.sure()
    command.json("print the record as JSON")


def run(options: argparse.Namespace) -> int:
    from rounds.core.bands import advice, steps
    from rounds.core.words import plain

    room = open_room(options)
    by = keeper_of(room, options)
    draft = room.ask(lambda history: _draft(room, history, options))
    turned_off = room.ask(lambda history: _turned_off(room, history, draft))
    if write_down(room, draft, by, options, turned_off) is None:
        return 0
    for each in turned_off:
        say_what_stops(room, each.task, options)
    for standing in draft.standings:
        print(f"  {_capital(standing.sentence)}.")
    for line in advice(draft.standings, room.model.calendar, room.now()):
        print(f"    {line}")
    for step in steps(draft.standings):
        print(f"    - {plain(step)}")
    for remark in draft.remarks:
        print(f"  {_capital(remark)}.")
    return 0


def _turned_off(room: RoomFolder, history: History, draft: Draft) -> list[Draft]:
    """What the work turns off, unless it is so long ago that all of it should be back."""
    from rounds.core.following import draft_turned_off
    from rounds.core.record import DONE

    task = room.model.tasks.get(draft.task or "")
    if draft.kind != DONE or task is None or task.countdown is None or draft.at + task.countdown <= room.now():
        return []
    return draft_turned_off(room.model, history, task, draft.at)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _draft(room: RoomFolder, history: History, options: argparse.Namespace) -> Draft:
    from rounds.core import recording
    from rounds.core.following import draft_done
    from rounds.core.moments import parse_until

    task = room.task(options.task)
    model, now = room.model, room.now()
    at = instant_of(room, options)
    others = (options.not_needed, options.could_not, options.postpone)
    if options.entry and any(other is not None for other in others):
        raise CannotRead("values and a note go with work that was done; give the reason in the option itself")
    if options.cause is not None and options.postpone is None:
        raise CannotRead("a cause goes with --postpone; the other options take their reason themselves")
    if options.not_needed is not None:
        return recording.draft_not_needed(model, history, task, options.not_needed, at)
    if options.could_not is not None:
        return recording.draft_could_not(task, options.could_not, at)
    if options.postpone is not None:
        until = parse_until(options.postpone, model.calendar, now, at)
        return recording.draft_postponed(model, task, until, at, options.cause or "")
    return draft_done(model, history, task, " ".join(options.entry), at, seawater=room.seawater)
