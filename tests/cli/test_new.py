"""`rounds new`, and `rounds` where there is no room."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest

from rounds.cli import main
from rounds.storage import device
from rounds.storage.founding import keep_answers
from tests.storage.test_founding import ANSWERS


@pytest.fixture
def started(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Path, bool]]:
    """On a terminal: the folders that the app was started over, and whether for a new room."""
    found: list[tuple[Path, bool]] = []

    def run(folder: Path, by: str | None, *, new: bool = False, **_: Any) -> int:
        found.append((folder, new))
        return 0

    monkeypatch.setattr("rounds.commands.new.need_terminal", lambda: None)  # first: it may be imported only by this
    monkeypatch.setattr("rounds.commands.opening.need_terminal", lambda: None)
    monkeypatch.setattr("rounds.ui.app.run", run)
    return found


def test_without_a_room_the_set_up_begins(
    started: list[tuple[Path, bool]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main([]) == 0
    assert started == [(device.user_data(), True)]


def test_a_folder_for_the_new_room_is_named(started: list[tuple[Path, bool]], tmp_path: Path) -> None:
    assert main(["new", str(tmp_path / "room")]) == 0
    assert started == [(tmp_path / "room", True)]


def test_a_room_that_was_named_and_is_not_there_is_told(started: list[tuple[Path, bool]], tmp_path: Path) -> None:
    """Nothing is set up in its place."""
    assert main(["--room", str(tmp_path / "nowhere")]) == 3
    assert started == []


def test_a_folder_that_is_not_empty_is_refused(
    started: list[tuple[Path, bool]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "thesis.txt").write_text("years of work")
    assert main(["new", str(tmp_path)]) == 1
    assert "is not empty (thesis.txt stands in it); name a new folder" in capsys.readouterr().err
    assert started == []


def test_answers_that_are_left_are_spoken_of(
    started: list[tuple[Path, bool]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    keep_answers(ANSWERS)
    assert main(["new", str(tmp_path / "room")]) == 0
    assert "the answers are kept" in capsys.readouterr().out


def test_without_a_terminal_nothing_is_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO())
    assert main(["new", str(tmp_path / "room")]) == 2
    assert "needs a terminal" in capsys.readouterr().err


def test_a_command_without_a_room_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["sheet"]) == 3
    assert "there is no room here" in capsys.readouterr().err
