"""The program in a real pseudo-terminal, its output read as a terminal reads it."""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pyte
import pytest

from tests.bench.terminal import Terminal

ROOT = Path(__file__).parents[2]
COLUMNS, ROWS = 80, 24

ROOM = """
name = "Tern Quay reef room"
timezone = "Europe/Dublin"
day_begins = "04:00"
began = 2026-11-25

[[keepers]]
initials = "TV"
name = "Tove Vik"
"""

NURSERY = """
name = "Nursery raceway"

[[stations]]
id = "sump"
name = "Sump"

[[tasks]]
id = "return"
station = "sump"
title = "TITLE"
again_after = "1 day"

[[tasks]]
id = "floss"
station = "sump"
title = "Change the filter floss"
again_after = "1 week"
"""


class Screen:
    """A terminal and what stands on it."""

    def __init__(self, terminal: Terminal) -> None:
        self.terminal = terminal
        self._screen = pyte.Screen(COLUMNS, ROWS)
        self._stream = pyte.ByteStream(self._screen)
        self._read = 0

    @property
    def text(self) -> str:
        self.terminal.drain(0.05)
        self._stream.feed(self.terminal.output[self._read :])
        self._read = len(self.terminal.output)
        return "\n".join(line.rstrip() for line in self._screen.display)

    def wait_for(self, *texts: str, seconds: float = 30.0) -> str:
        """What is on screen as soon as all the texts are."""
        end = time.monotonic() + seconds
        while not all(text in (found := self.text) for text in texts):
            assert time.monotonic() < end, f"{texts} did not come up:\n{found}\n{self.terminal.output[-300:]!r}"
        return found

    def status(self, seconds: float = 20.0) -> int:
        """The exit status, once the program has ended."""
        end = time.monotonic() + seconds
        while True:
            self.terminal.drain(0.05)
            ended, status = os.waitpid(self.terminal._pid, os.WNOHANG)
            if ended:
                return os.waitstatus_to_exitcode(status)
            assert time.monotonic() < end, f"the program goes on:\n{self.text}"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_room(tmp_path / "room", "Feel the return pump")


def write_room(folder: Path, title: str) -> Path:
    (folder / "systems").mkdir(parents=True)
    (folder / "room.toml").write_text(ROOM, encoding="utf-8")
    (folder / "systems/nursery.toml").write_text(NURSERY.replace("TITLE", title), encoding="utf-8")
    return folder


@contextmanager
def rounds(folder: Path, **env: str) -> Iterator[Screen]:
    command = [sys.executable, "-m", "rounds", "--room", str(folder)]
    given = {
        **os.environ,
        "PYTHONPATH": str(ROOT),
        "TERM": "xterm-256color",
        "ROUNDS_DEVICE": "laptop",
        "ROUNDS_NOW": "2026-11-25T09:30",
        **env,
    }
    with Terminal(command, given, COLUMNS, ROWS) as terminal:
        yield Screen(terminal)


@pytest.fixture
def records(folder: Path) -> Callable[[], list[dict[str, object]]]:
    def read() -> list[dict[str, object]]:
        sheets = sorted((folder / "sheets").rglob("*.json"))
        return [entry for sheet in sheets for entry in json.loads(sheet.read_text())["records"].values()]

    return read


def test_a_task_is_recorded_and_is_done_at_the_next_start(
    folder: Path, records: Callable[[], list[dict[str, object]]]
) -> None:
    """Start, Enter, q: status 0, one record in the sheet, the terminal given back; started again, it is done."""
    with rounds(folder) as screen:
        found = screen.wait_for("Feel the return pump", "0 done  2 left  0 late", "? help")
        assert found.splitlines()[0].split() == [
            "Tern", "Quay", "reef", "room", "Wed", "25", "Nov", "09:30", "no", "shift", "TV",
        ]  # fmt: skip
        screen.terminal.press(b"\r")
        screen.wait_for("done 09:30 TV", "1 done  1 left")
        assert [(entry["task"], entry["by"]) for entry in records()] == [("nursery/return", "TV")]
        screen.terminal.press(b"q")
        assert screen.status() == 0
        assert b"\x1b[?1049l" in screen.terminal.output, "the screen from before comes back"
        assert b"\x1b[?25h" in screen.terminal.output, "the cursor is shown again"
        assert b"Traceback" not in screen.terminal.output
    assert len(records()) == 1
    with rounds(folder, ROUNDS_NOW="2026-11-25T09:50") as screen:
        screen.wait_for("✓ Feel the return pump", "done 09:30 TV", "1 done  1 left")
        screen.terminal.press(b"q")
        assert screen.status() == 0


def test_without_colour_the_same_words_are_painted(folder: Path) -> None:
    """NO_COLOR takes the colours away and nothing else."""
    with rounds(folder, NO_COLOR="1") as screen:
        screen.wait_for("▸ ○ Feel the return pump", "fine until tomorrow 04:00", "0 done  2 left  0 late")


def test_no_escape_of_a_title_reaches_the_terminal(tmp_path: Path) -> None:
    """A title that would colour the text, name the window or clear the screen is only text."""
    folder = write_room(tmp_path / "room", r"x \u001b[35;44mred \u001b]0;owned\u0007 \u009b2J [bold]y[/sump]")
    with rounds(folder) as screen:
        screen.wait_for("[35;44mred", "]0;owned", "2J [bold]y[/sump]", "Change the filter floss")
        for sequence in (b"\x1b[35;44m", b"\x1b]0;owned", "\x9b".encode()):
            assert sequence not in screen.terminal.output
        screen.terminal.press(b"q")
        assert screen.status() == 0


def test_a_room_that_cannot_be_opened_ends_with_three(folder: Path) -> None:
    """The faults are shown in full screen; q leaves."""
    (folder / "systems/nursery.toml").write_text("name = 3\n")
    with rounds(folder) as screen:
        screen.wait_for("The room cannot be opened: 1 fault", "systems/nursery.toml, line 1")
        screen.terminal.press(b"q")
        assert screen.status() == 3


def test_killed_right_after_a_record_was_shown_it_is_on_disk(
    folder: Path, records: Callable[[], list[dict[str, object]]]
) -> None:
    """What was painted as done survives a kill at that instant."""
    with rounds(folder) as screen:
        screen.wait_for("Feel the return pump", "? help")
        screen.terminal.press(b"\r")
        screen.wait_for("done 09:30 TV")
        screen.terminal.close()
        assert [entry["task"] for entry in records()] == ["nursery/return"]
