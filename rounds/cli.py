"""The command line: what was typed to the command it names, and an exit status."""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Sequence
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, cast

from rounds.commands import COMMANDS, Command, Parser
from rounds.core.errors import CannotRead, RoundsError
from rounds.core.words import quoted

if TYPE_CHECKING:
    from rounds.commands import CommandModule


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
    top = Parser(prog="rounds", description="The daily round of a room of coral systems.", add_help=False)
    _common(top, None)
    top.add_argument("-h", "--help", action="store_true", help="show this and end")
    top.add_argument("--version", action="store_true", help="show the version and end")
    before, name, after = _split(arguments)
    options = top.parse_args(before)
    if options.version:
        from rounds import __version__

        print(f"rounds {__version__}")
        return 0
    if options.help:
        print(_help(top), end="")
        return 0
    if name is None:
        from rounds.commands.opening import run_app

        return run_app(options)
    module = cast("CommandModule", import_module(f"rounds.commands.{name.replace('-', '_')}"))
    parser = Parser(prog=f"rounds {name}", description=COMMANDS[name])
    _common(parser, argparse.SUPPRESS)
    module.options(Command(parser))
    return module.run(_as_typed(parser.parse_intermixed_args(_no_options(after), namespace=options)))


def _no_options(arguments: list[str]) -> list[str]:
    """What begins below zero (``-40°C``, ``-0,5``) with a space before it, so that it is not taken for an option."""
    return [f" {each}" if re.match(r"-[.,]?[0-9]", each) else each for each in arguments]


def _as_typed(options: argparse.Namespace) -> argparse.Namespace:
    """Without that space, so that what is refused is named as it was typed."""

    def typed(value: object) -> object:
        if isinstance(value, list):
            return [typed(each) for each in value]
        return value[1:] if isinstance(value, str) and re.match(r" -[.,]?[0-9]", value) else value

    for name, value in vars(options).items():
        setattr(options, name, typed(value))
    return options


def _common(parser: argparse.ArgumentParser, default: str | None) -> None:
    parser.add_argument("--room", metavar="DIR", type=Path, default=default, help="the room's folder")
    parser.add_argument("--by", metavar="XX", default=default, help="the keeper's initials")


def _split(arguments: list[str]) -> tuple[list[str], str | None, list[str]]:
    """What stands before the command, the command, and what stands after it."""
    skip = False
    for place, argument in enumerate(arguments):
        if skip:
            skip = False
        elif argument in ("--room", "--by"):
            skip = True
        elif not argument.startswith("-"):
            if argument not in COMMANDS:
                raise CannotRead(
                    f"{quoted(argument)} is no command; write one of {', '.join(COMMANDS)}, or nothing for the app"
                )
            return arguments[:place], argument, arguments[place + 1 :]
    return arguments, None, []


def _help(top: argparse.ArgumentParser) -> str:
    rows = "\n".join(f"  {name:<10} {help}" for name, help in COMMANDS.items())
    return f"{top.format_help()}\ncommands (without one, the app opens):\n{rows}\n\nrounds COMMAND --help tells more.\n"
