"""The commands of the command line, one module each; a module is loaded only when its command is given.

Each has ``options(command)``, which declares what can stand after the command, and ``run(options)``,
which carries it out and returns the exit status.
"""

from __future__ import annotations

import argparse
from typing import Any, NoReturn, Protocol

from rounds.core.errors import CannotRead

COMMANDS = {
    "demo": "a fresh copy of the demo room with its history up to now, opened in the app",
    "new": "a new room, set up by questions in the app",
    "sheet": "the round as text or JSON",
    "record": "record one task, reading or refill",
    "overdue": "what is late across all systems, and the load of the coming days; postpone several at once",
    "strike": "take a record out of account; it stays visible as struck",
    "history": "who did what, when",
    "concern": "open, update or close a concern; alone: those that are open",
    "off-normal": "equipment left off, running, open, shut, muted or on manual until a time; alone: what is",
    "put-back": "something off normal is as it should be again",
    "valve": "a tank valved off from its system, or opened to it; alone: the waters of the systems",
    "protocol": "call a named list of steps; alone: those under way and those that can be called",
    "handover": "the report of the shift, to sign, to accept and to read back",
    "review": "a day or a month: what was late, not done, struck or entered late; to sign",
    "cover": "one keeper does the work of another for a time; alone: who covers whom",
    "batch": "what stands where: add, move, split, combine, count and close batches; alone: all of them",
    "trend": "where a reading is heading, when it leaves its band, when to test again",
    "instrument": "a new kit batch or a calibration: a step of the instrument, not of the water",
    "convert": "a value in another unit, with its arithmetic",
    "calc": "the water arithmetic: carbonate, ammonia, light, evaporation, water changes and more",
    "levels": "reservoirs: use, days left, refill-by, what is out of the ordinary",
    "away": "before, during and after an absence, what fails first, and the sitter's sheet",
    "staged": "what is changed in steps, what is next, and when to hold it",
    "stock": "spares, salt, resin, reagents, feed: count, delivered, ordered; alone: what is left",
    "check": "validate the room and its sheets; changes nothing",
    "backup": "room and sheets in one zip file with a list of SHA-256 sums",
}
"""Each command with what it does; its module has the same name, hyphens as underscores."""


class Parser(argparse.ArgumentParser):
    """Says in one sentence what cannot be read, and ends with 2."""

    def error(self, message: str) -> NoReturn:
        raise CannotRead(f"{message}; see {self.prog} --help")


class Command:
    """What can stand after one command; see `argparse.ArgumentParser.add_argument`."""

    def __init__(self, parser: Parser) -> None:
        self._parser = parser
        self._exclusive: argparse._ActionsContainer | None = None

    def option(self, *names: str, one_of: bool = False, **settings: Any) -> None:
        """An option as argparse takes it; of those that are `one_of`, one can be given."""
        if one_of and self._exclusive is None:
            self._exclusive = self._parser.add_mutually_exclusive_group()
        (self._exclusive if one_of and self._exclusive is not None else self._parser).add_argument(*names, **settings)

    def at(self, help: str = "as it stood or will stand at this time") -> None:
        """``--at``: see `opening.instant_of`."""
        self.option("--at", metavar="T", help=help)

    def sure(self) -> None:
        """``--sure``, of every command that may ask: see `writing`."""
        self.option("--sure", action="store_true", help="answer every question with yes")

    def json(self, help: str = "as JSON", *, one_of: bool = False) -> None:
        """``--json``: see `opening.print_json`."""
        self.option("--json", one_of=one_of, action="store_true", help=help)


class CommandModule(Protocol):
    """What a module in this package offers."""

    def options(self, command: Command) -> None: ...

    def run(self, options: argparse.Namespace) -> int: ...
