"""The command line: arguments in, one door to the room, words or JSON out, an exit status."""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from rounds.core.errors import CannotRead, NeedsConfirmation, NoRoom, Refused, RoundsError

if TYPE_CHECKING:
    from rounds.core.history import History
    from rounds.core.recording import Draft
    from rounds.storage.room import RoomFolder

SHOWN = 40
"""Records that `rounds history` prints when not asked for more."""


class _Parser(argparse.ArgumentParser):
    """Says in one sentence what cannot be read, and ends with 2."""

    def error(self, message: str) -> NoReturn:
        raise CannotRead(f"{message}; see {self.prog} --help")


class _Command:
    """One word of the command line, with its options and what it does."""

    def __init__(self, name: str, help: str, run: Callable[[argparse.Namespace], int]) -> None:
        self.name = name
        self.help = help
        self.run = run
        self._options: list[tuple[tuple[str, ...], dict[str, Any], bool]] = []

    def option(self, *names: str, one_of: bool = False, **settings: Any) -> None:
        """An option as argparse takes it; of those that are `one_of`, one can be given."""
        self._options.append((names, settings, one_of))

    def parse(self, arguments: list[str], options: argparse.Namespace) -> argparse.Namespace:
        """Read what stands after the command; its parser is only made when it is needed."""
        parser = _Parser(prog=f"rounds {self.name}", description=self.help)
        _common(parser, argparse.SUPPRESS)
        exclusive: argparse._ActionsContainer = parser
        if any(one_of for _, _, one_of in self._options):
            exclusive = parser.add_mutually_exclusive_group()
        for names, settings, one_of in self._options:
            (exclusive if one_of else parser).add_argument(*names, **settings)
        return parser.parse_intermixed_args(arguments, namespace=options)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run `rounds`; returns the exit status and never shows a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        return _main(list(sys.argv[1:] if arguments is None else arguments))
    except RoundsError as told:
        print(_plain_lines(told), file=sys.stderr)
        return told.exit_status
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as unexpected:
        if os.environ.get("ROUNDS_TRACEBACK"):
            raise
        kind = type(unexpected).__name__
        print(
            f"rounds met something it did not expect ({kind}: {unexpected}); ROUNDS_TRACEBACK=1 shows where",
            file=sys.stderr,
        )
        return 1


def _plain_lines(told: RoundsError) -> str:
    from rounds.core.words import plain

    return "\n".join(plain(line) for line in str(told).splitlines())


def _main(arguments: list[str]) -> int:
    commands = _commands()
    top = _Parser(prog="rounds", description="The daily round of a room of coral systems.", add_help=False)
    _common(top, None)
    top.add_argument("-h", "--help", action="store_true", help="show this and end")
    top.add_argument("--version", action="store_true", help="show the version and end")
    before, name, after = _split(arguments, commands)
    options = top.parse_args(before)
    if options.version:
        from rounds import __version__

        print(f"rounds {__version__}")
        return 0
    if options.help:
        print(_help(top, commands), end="")
        return 0
    if name is None:
        return _app(options)
    command = commands[name]
    options = command.parse(after, options)
    return command.run(options)


def _common(parser: argparse.ArgumentParser, default: str | None) -> None:
    parser.add_argument("--room", metavar="DIR", type=Path, default=default, help="the room's folder")
    parser.add_argument("--by", metavar="XX", default=default, help="the keeper's initials")


def _split(arguments: list[str], commands: dict[str, _Command]) -> tuple[list[str], str | None, list[str]]:
    """What stands before the command, the command, and what stands after it."""
    skip = False
    for place, argument in enumerate(arguments):
        if skip:
            skip = False
        elif argument in ("--room", "--by"):
            skip = True
        elif not argument.startswith("-"):
            if argument not in commands:
                raise CannotRead(
                    f"{argument!r} is no command; write one of {', '.join(commands)}, or nothing for the app"
                )
            return arguments[:place], argument, arguments[place + 1 :]
    return arguments, None, []


def _help(top: argparse.ArgumentParser, commands: dict[str, _Command]) -> str:
    rows = "\n".join(f"  {command.name:<10} {command.help}" for command in commands.values())
    return f"{top.format_help()}\ncommands (without one, the app opens):\n{rows}\n\nrounds COMMAND --help tells more.\n"


def _commands() -> dict[str, _Command]:
    demo = _Command("demo", "a fresh copy of the demo room with its history up to now, opened in the app", _demo)
    demo.option("--into", metavar="DIR", type=Path, help="write it there, for you to keep and change")
    sheet = _Command("sheet", "the round as text or JSON", _sheet)
    sheet.option("--at", metavar="T", help="as it stood or will stand at this time")
    sheet.option("--system", metavar="S", help="one system only")
    sheet.option("--all", action="store_true", help="also what comes due after today")
    sheet.option("--json", action="store_true", help="as JSON")
    record = _Command("record", "record one task, reading or refill", _record)
    record.option("task", metavar="TASK", help="full id, such as nursery/alkalinity")
    record.option("entry", metavar="ENTRY", nargs="*", help="values in order, then a note")
    record.option("--at", metavar="T", help="when it was done")
    record.option("--not-needed", one_of=True, metavar="WHY", help="close it without doing it")
    record.option("--could-not", one_of=True, metavar="WHY", help="it stays open and shows why")
    record.option("--postpone", one_of=True, metavar="T", help='to a time, "tomorrow" or "2 hours"')
    record.option("--sure", action="store_true", help="answer every question with yes")
    record.option("--json", action="store_true", help="print the record as JSON")
    strike = _Command("strike", "take a record out of account; it stays visible as struck", _strike)
    strike.option("id", metavar="ID", help="the record's id")
    strike.option("--reason", metavar="WHY", required=True, help="why")
    strike.option("--json", action="store_true", help="print the strike as JSON")
    history = _Command("history", "who did what, when", _history)
    history.option("about", metavar="TASK|STATION", nargs="?", help="one task, station or system")
    history.option("--json", action="store_true", help="as JSON, oldest first")
    history.option("--all", action="store_true", help=f"more than the last {SHOWN}")
    check = _Command("check", "validate the room and its sheets; changes nothing", _check)
    check.option("file", metavar="FILE", nargs="?", type=Path, help="one room file, one sheet, or a backup to verify")
    check.option("--repair", action="store_true", help="write readable records of damaged sheets beside them")
    backup = _Command("backup", "room and sheets in one zip file with a list of SHA-256 sums", _backup)
    backup.option("file", metavar="FILE.zip", type=Path, help="a new file")
    return {command.name: command for command in (demo, sheet, record, strike, history, check, backup)}


# -- the room ----------------------------------------------------------------------------------------


def find_room(given: Path | None) -> Path:
    """The room's folder; raise `NoRoom` when there is none."""
    from rounds.storage.device import user_data
    from rounds.storage.files import ROOM_FILE

    named = given or (Path(os.environ["ROUNDS_ROOM"]) if os.environ.get("ROUNDS_ROOM") else None)
    if named is not None:
        if not named.is_dir():
            raise NoRoom(f"{named} is no folder; name the room's folder with --room")
        return named
    here = Path.cwd()
    for folder in (here, *here.parents, user_data()):
        if (folder / ROOM_FILE).is_file():
            return folder
    raise NoRoom(f"there is no room here ({ROOM_FILE} is missing); name its folder with --room, or try: rounds demo")


def _open(options: argparse.Namespace, *, runs_on: bool = False) -> RoomFolder:
    from rounds.core.words import plain
    from rounds.storage.room import RoomFolder

    room = RoomFolder(find_room(options.room), seawater=_seawater, runs_on=runs_on)
    if not runs_on:
        for problem in room.problems:
            print(f"warning: {plain(str(problem))}", file=sys.stderr)
    return room


def _seawater(value: float, unit: str, temperature: float | None) -> float:
    from rounds.water.seawater import practical_salinity

    return practical_salinity(value, unit, temperature)


def _print_json(data: object) -> None:
    import json

    print(json.dumps(data, ensure_ascii=False, indent=2))


# -- commands ------------------------------------------------------------------------------------------


def _app(options: argparse.Namespace) -> int:
    from zoneinfo import ZoneInfo

    from rounds.storage.device import Clock

    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise CannotRead("the app needs a terminal; without one use rounds sheet, record or history")
    Clock(ZoneInfo("UTC"))  # a clock that cannot be read is said before the screen is taken
    gc.disable()  # nothing is worth collecting before the first paint; the app collects again after it
    from rounds.ui.app import run

    return run(find_room(options.room), options.by, seawater=_seawater)


def _demo(options: argparse.Namespace) -> int:
    from datetime import UTC, datetime
    from zoneinfo import ZoneInfo

    from rounds.demo import DEMO_ZONE, write_demo
    from rounds.storage.device import Clock, user_data
    from rounds.storage.room import RoomFolder

    now = Clock(ZoneInfo(DEMO_ZONE)).now()
    into: Path | None = options.into
    if into is None:
        into = user_data() / "demo" / datetime.now(UTC).strftime("%Y-%m-%d-%H%M%S-%f")
    elif into.exists() and (not into.is_dir() or any(into.iterdir())):
        raise Refused(f"{into} is not an empty folder; name a new one with --into")
    try:
        write_demo(into, now)
        RoomFolder(into, seawater=_seawater)  # which reads every sheet once and keeps what the app starts from
    except OSError as error:
        raise Refused(
            f"{error.filename or into} cannot be written ({error.strerror or error}); name another with --into"
        ) from None
    if sys.stdin.isatty() and sys.stdout.isatty():
        options.room = into
        status = _app(options)
        print(f"The demo room stays in {into}\nOpen it again: rounds --room '{into}'")
        return status
    print(f"The demo room is written to {into}")
    return 0


def _sheet(options: argparse.Namespace) -> int:
    from rounds.core.moments import parse_moment
    from rounds.report import sheet

    room = _open(options)
    now = room.now()
    if options.at is not None:
        now = parse_moment(options.at, room.model.calendar, now)
    if options.system is not None and options.system not in room.model.system:
        raise Refused(f"the system {options.system!r} does not exist; write one of {', '.join(room.model.system)}")
    choice = {"system": options.system, "all_items": options.all}
    if options.json:
        _print_json(room.ask(lambda history: sheet.sheet_json(room.model, history, now, **choice)))
    else:
        print(room.ask(lambda history: sheet.sheet_text(room.model, history, now, **choice)), end="")
    return 0


def _record(options: argparse.Namespace) -> int:
    from rounds.core.account import record_line
    from rounds.report.history import record_json

    room = _open(options)
    by = room.keeper(options.by or os.environ.get("ROUNDS_BY"))
    draft = room.ask(lambda history: _draft(room, history, options))
    questions = list(draft.questions)
    if options.at is None and (doubt := room.clock_question()):
        questions.append(f"{doubt} Give the time with --at.")
    if questions and not options.sure:
        raise NeedsConfirmation(f"{' '.join(questions)} Nothing was recorded; add --sure if it is right.")
    record = room.record(draft, by)
    if options.json:
        _print_json(record_json(room.history, record))
        return 0
    print(f"Recorded. {record_line(room.model, room.history, record)}\n  id {record.id}")
    for standing in draft.standings:
        print(f"  {standing.sentence}.")
        if standing.act:
            steps = [step for value in record.values for step in room.model.readings[value.reading].act_steps]
            print("\n".join(f"    - {step}" for step in steps))
    return 0


def _draft(room: RoomFolder, history: History, options: argparse.Namespace) -> Draft:
    from rounds.core import recording
    from rounds.core.moments import parse_moment, parse_until

    task = room.task(options.task)
    model, now = room.model, room.now()
    at = parse_moment(options.at, model.calendar, now) if options.at is not None else now
    others = (options.not_needed, options.could_not, options.postpone)
    if options.entry and any(other is not None for other in others):
        raise CannotRead("values and a note go with work that was done; give the reason in the option itself")
    if options.not_needed is not None:
        return recording.draft_not_needed(model, history, task, options.not_needed, at)
    if options.could_not is not None:
        return recording.draft_could_not(task, options.could_not, at)
    if options.postpone is not None:
        return recording.draft_postponed(model, task, parse_until(options.postpone, model.calendar, now, at), at)
    return recording.draft_closing(model, history, task, " ".join(options.entry), at, seawater=room.seawater)


def _strike(options: argparse.Namespace) -> int:
    from rounds.core.account import record_line
    from rounds.report.history import record_json

    room = _open(options)
    by = room.keeper(options.by or os.environ.get("ROUNDS_BY"))
    strike = room.strike(options.id, options.reason, by)
    if options.json:
        _print_json(record_json(room.history, strike))
        return 0
    target = room.history.get(options.id)
    assert target is not None
    print(record_line(room.model, room.history, target))
    return 0


def _history(options: argparse.Namespace) -> int:
    from rounds.core.account import records_about
    from rounds.report.history import history_text, record_json

    room = _open(options)
    about = options.about
    which: dict[str, Any] = {}
    if about in room.model.system:
        which = {"station": (about, "")}
    elif about is not None and tuple(about.split("/", 1)) in room.model.stations and about not in room.model.tasks:
        which = {"station": tuple(about.split("/", 1))}
    elif about is not None:
        which = {"task": about if about in room.model.readings else room.task(about).id}
    records = room.ask(lambda history: records_about(history, **which))
    if options.json:
        _print_json([record_json(room.history, record) for record in records])
        return 0
    if len(records) > SHOWN and not options.all:
        print(f"The last {SHOWN} of {len(records)} records; --all shows the others.\n")
        records = records[-SHOWN:]
    print(history_text(room.model, room.history, records), end="")
    return 0


def _check(options: argparse.Namespace) -> int:
    from rounds.core.words import plain, plural
    from rounds.report.check import check_room

    file: Path | None = options.file
    if file is not None and file.suffix == ".zip":
        return _check_backup(file)
    folder = find_room(options.room) if file is None or not file.is_dir() else file
    if options.repair:
        _repair(folder)
    found = check_room(folder, file if file is not None and not file.is_dir() else None, _seawater)
    for line in found.faults:
        print(plain(line))
    for line in found.remarks:
        print(f"remark: {plain(line)}")
    print(f"{plain(str(found.what))}: {plural(len(found.faults), 'fault') if found.faults else 'no fault'} found")
    return 1 if found.faults else 0


def _check_backup(file: Path) -> int:
    from rounds.core.words import plain, plural
    from rounds.storage.backup import check_backup

    if not file.is_file():
        raise Refused(f"{file} does not exist; name a backup")
    faults = check_backup(file)
    for fault in faults:
        print(plain(fault))
    print(f"{plain(str(file))}: {plural(len(faults), 'fault') if faults else 'no fault'} found")
    return 1 if faults else 0


def _repair(folder: Path) -> None:
    from rounds.core.words import plain, plural
    from rounds.storage.repair import repair_sheets

    try:
        repaired = repair_sheets(folder)
    except OSError as error:
        raise Refused(f"{error.filename or folder}: {error.strerror or error}; nothing more was repaired") from error
    for each in repaired:
        where = f"written to {each.beside.relative_to(folder)}" if each.beside else "nothing new to write"
        sheet = each.sheet.relative_to(folder)
        print(plain(f"{sheet}: {plural(each.records, 'record')} readable, {where}; {each.lost}"))


def _backup(options: argparse.Namespace) -> int:
    from rounds.core.words import plain, plural
    from rounds.storage.backup import write_backup

    count = write_backup(find_room(options.room), options.file)
    print(f"{plain(str(options.file))}: {plural(count, 'file')} backed up")
    return 0
