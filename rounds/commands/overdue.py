"""`rounds overdue`: what is late across all systems, the load of the coming days, and postponing several at once."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from rounds.commands import Command
from rounds.commands.opening import instant_of, keeper_of, open_room, print_json, system_of
from rounds.commands.writing import say, write_all
from rounds.core.errors import CannotRead, Refused
from rounds.core.words import quoted

if TYPE_CHECKING:
    from datetime import datetime

    from rounds.core.history import History
    from rounds.core.items import DueItem
    from rounds.core.load import Earlier, Load
    from rounds.report.overdue import Choice
    from rounds.storage.room import RoomFolder


def options(command: Command) -> None:
    command.option("tasks", metavar="TASK", nargs="*", help="with --postpone: these; without, all that is chosen")
    command.option("--system", metavar="S", help="one system only")
    command.option("--keeper", metavar="XX", help="what is this keeper's, and what is everyone's")
    command.option("--importance", metavar="I", help='people, "life support", husbandry or upkeep only')
    command.option("--load", action="store_true", help="only the load of the coming 14 days")
    command.option("--postpone", metavar="T", help="put off what is due and overdue to this time")
    command.option("--cause", metavar="WHY", help="why it is put off, such as a power cut")
    command.at()
    command.sure()
    command.json()


def run(options: argparse.Namespace) -> int:
    from rounds.core.shifts import covering_at, covers
    from rounds.report import overdue

    room = open_room(options)
    now = instant_of(room, options)
    choice = _choice(room, options)
    if options.postpone is not None:
        return _postpone(room, options, choice, now)
    if options.tasks or options.cause is not None:
        raise CannotRead("tasks and a cause go with --postpone T")
    late, load = None, None
    if not options.load:
        items = room.items(now)
        late = room.ask(
            lambda history: overdue.overdue(items, now, choice, covering_at(covers(history, now), now)),
            now,
            now,
        )
    if options.load or choice.everything:
        load = room.ask(lambda history: _levelled(room, history, choice, now), now, now)
    if options.json:
        found = overdue.overdue_json(room.model, late, now) if late is not None else {}
        print_json(found | ({"load": overdue.load_json(room.model, *load)} if load is not None else {}))
        return 0
    texts = [overdue.overdue_text(room.model, late, now)] if late is not None else []
    texts += [overdue.load_text(room.model, *load)] if load is not None else []
    print("\n".join(texts), end="")
    return 0


def _choice(room: RoomFolder, options: argparse.Namespace) -> Choice:
    from rounds.core.model import IMPORTANCES
    from rounds.report.overdue import Choice

    importance = options.importance and options.importance.casefold().replace("-", " ")
    system = system_of(room, options)
    if importance is not None and importance not in IMPORTANCES:
        raise Refused(f"{quoted(options.importance)} is no importance; write one of {', '.join(IMPORTANCES)}")
    keeper = room.keeper(options.keeper) if options.keeper is not None else None
    return Choice(system=system, keeper=keeper, importance=importance)


def _levelled(room: RoomFolder, history: History, choice: Choice, now: datetime) -> tuple[Load, list[Earlier]]:
    from rounds.core.ahead import DAYS, coming
    from rounds.core.calendar import ONE_DAY
    from rounds.core.load import levelling, load
    from rounds.core.shifts import covers_from
    from rounds.report.overdue import chosen

    model = room.model
    every = coming(model, history, now, forecasts=room.forecasts(history, now))
    ahead = chosen(every, choice, covers_from(history, now, now + DAYS * ONE_DAY))
    found = load(model, ahead, model.calendar.round_day(now))
    return found, levelling(model, history, now, ahead, found)


def _postpone(room: RoomFolder, options: argparse.Namespace, choice: Choice, at: datetime) -> int:
    from rounds.core.moments import parse_until
    from rounds.core.recording import draft_postponed_all
    from rounds.core.words import plain

    if options.load:
        raise CannotRead("--load shows and --postpone records; give one of them")
    if options.cause is None:
        raise CannotRead("say why they are postponed: --postpone T --cause WHY")
    by = keeper_of(room, options)
    until = parse_until(options.postpone, room.model.calendar, room.now(), at)
    items = _to_postpone(room, options, choice, at)
    drafts = draft_postponed_all(room.model, items, until, at, options.cause)
    write_all(room, drafts, by, options)
    say((f"{plain(item.task.title)}: {remark}" for item, draft in zip(items, drafts, strict=True)
         for remark in draft.remarks), options)  # fmt: skip
    return 0


def _to_postpone(room: RoomFolder, options: argparse.Namespace, choice: Choice, at: datetime) -> list[DueItem]:
    """The open items of the tasks that were named, else everything chosen that is due or overdue."""
    from rounds.core.items import OPEN_STATES
    from rounds.core.shifts import covering_at, covers
    from rounds.report.overdue import can_be_postponed

    items = [item for item in room.items(at) if item.state in OPEN_STATES]
    if not options.tasks:
        covering = room.ask(lambda history: covering_at(covers(history, at), at), at, at)
        return [item for item in items if can_be_postponed(item) and choice.has(item.task, covering)]
    found = []
    for id in dict.fromkeys(room.task(name).id for name in options.tasks):
        item = next((item for item in items if item.task.id == id), None)
        if item is None:
            raise Refused(f"{id} is not asked for, so there is nothing to postpone; rounds sheet --all lists what is")
        found.append(item)
    return found
