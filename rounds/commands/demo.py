"""`rounds demo`: a fresh copy of the demo room."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from rounds.commands import Command
from rounds.commands.opening import run_app, seawater
from rounds.core.errors import Refused


def options(command: Command) -> None:
    command.option("--into", metavar="DIR", type=Path, help="write it there, for you to keep and change")


def run(options: argparse.Namespace) -> int:
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
        RoomFolder(into, seawater=seawater)  # which reads every sheet once and keeps what the app starts from
    except OSError as error:
        raise Refused(
            f"{error.filename or into} cannot be written ({error.strerror or error}); name another with --into"
        ) from None
    if sys.stdin.isatty() and sys.stdout.isatty():
        options.room = into
        status = run_app(options)
        print(f"The demo room stays in {into}\nOpen it again: rounds --room '{into}'")
        return status
    print(f"The demo room is written to {into}")
    return 0
