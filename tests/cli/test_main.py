"""The command line as a whole: rooms, refusals, exit statuses, `check`."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from rounds import __version__
from rounds.cli import main
from rounds.commands import COMMANDS
from tests.cli.conftest import REEF, ROOM
from tests.support import write_room

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")

COMMON = ("--room", "--by", "--help")
"""Options of every command, told above the table."""


def test_help_lists_every_command(rounds):
    """What there is, with a line each."""
    status, out, _ = rounds("--help", by=None)
    assert status == 0
    assert all(f"\n  {command} " in out for command in COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help(command, capsys):
    """`rounds COMMAND --help` ends with 0."""
    with pytest.raises(SystemExit) as ended:
        main([command, "--help"])
    assert ended.value.code == 0
    assert f"usage: rounds {command}" in capsys.readouterr().out


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme_with_its_options(command, capsys):
    """In the table of commands; an option that is not told there would be found by nobody."""
    with pytest.raises(SystemExit):
        main([command, "--help"])
    usage = capsys.readouterr().out.partition("\n\n")[0]
    rows = [line for line in README.splitlines() if line.startswith(f"| `rounds {command}")]
    told = " ".join(rows)
    assert rows
    assert [option for option in re.findall(r"--[a-z-]+", usage) if option not in told and option not in COMMON] == []


def test_the_version(rounds):
    """Of the package."""
    assert rounds("--version", by=None)[1] == f"rounds {__version__}\n"


UNREADABLE = {
    "unknown command": ("dance",),
    "unknown option": ("--loud",),
    "unknown option of a command": ("sheet", "--loud"),
    "no task": ("record",),
    "an option without its value": ("sheet", "--at"),
    "a surplus word": ("sheet", "reef"),
    "no terminal for the app": (),
}


@pytest.mark.parametrize("arguments", UNREADABLE.values(), ids=UNREADABLE)
def test_a_line_that_cannot_be_read_ends_with_2(rounds, arguments):
    """One sentence and the way to help."""
    rounds.refused(*arguments, status=2, by=None)


@pytest.mark.parametrize("text", ["noon", "2026-13-01", "\x1b"])
def test_a_set_clock_that_cannot_be_read_ends_with_2(rounds, monkeypatch, text):
    """$ROUNDS_NOW is named."""
    monkeypatch.setenv("ROUNDS_NOW", text)
    assert "ROUNDS_NOW" in rounds.refused("sheet", status=2)


def test_a_set_clock_is_local_to_the_room(rounds, monkeypatch):
    """Without an offset."""
    monkeypatch.setenv("ROUNDS_NOW", "2026-07-01T12:00")
    assert rounds.json("sheet")["at"] == "2026-07-01T12:00:00+01:00"


# -- which room ----------------------------------------------------------------------------------------


def other_room(folder):
    return write_room(folder, ROOM.replace("Test room", folder.name).replace('route = ["reef"]\n', ""))


def shown(rounds, *arguments):
    return rounds.json(*arguments, "sheet", by=None)["room"]


def test_the_option_names_the_room(rounds, tmp_path):
    """--room, before or after the command, is stronger than the environment."""
    other = other_room(tmp_path / "other")
    assert shown(rounds, "--room", other) == "other"
    assert rounds.json("sheet", "--room", other)["room"] == "other"
    assert shown(rounds, f"--room={other}") == "other"


def test_the_environment_names_the_room(rounds, tmp_path, monkeypatch):
    """$ROUNDS_ROOM is stronger than the current folder."""
    monkeypatch.chdir(other_room(tmp_path / "other"))
    assert shown(rounds) == "Test room"


def test_the_current_folder_or_one_above_is_the_room(rounds, folder, monkeypatch):
    """Without either."""
    monkeypatch.delenv("ROUNDS_ROOM")
    monkeypatch.chdir(folder / "systems")
    assert shown(rounds) == "Test room"


def test_the_user_data_folder_is_the_last_room(rounds, away_from_the_machine, monkeypatch, tmp_path):
    """Where nothing else is one."""
    monkeypatch.delenv("ROUNDS_ROOM")
    monkeypatch.chdir(tmp_path)
    other_room(away_from_the_machine / "data" / "coral-rounds")
    assert shown(rounds) == "coral-rounds"


@pytest.mark.parametrize("name", ["nowhere", "room.toml", "."], ids=["no folder", "a file", "a folder without a room"])
@pytest.mark.parametrize("command", [("sheet",), ("record", "reef/cup"), ("history",), ("check",)], ids=lambda c: c[0])
def test_no_room_ends_with_3(rounds, tmp_path, name, command):
    """One sentence that names the folder and --room."""
    (tmp_path / "room.toml2").touch()
    told = rounds.refused("--room", tmp_path / name, *command, status=3)
    assert "--room" in told
    assert str(tmp_path) in told


def test_no_room_at_all_ends_with_3(rounds, tmp_path, monkeypatch):
    """With what to do."""
    monkeypatch.delenv("ROUNDS_ROOM")
    monkeypatch.chdir(tmp_path)
    assert "rounds demo" in rounds.refused("sheet", status=3)


def test_faults_of_the_room_end_with_3(rounds, folder):
    """Each with its place, nothing on standard output."""
    (folder / "systems" / "reef.toml").write_text(
        REEF.replace("minutes = 5", 'minutes = "5"').replace('"1 month"', '"1 moon"')
    )
    status, out, err = rounds("sheet")
    assert (status, out, err.count("\n")) == (3, "", 2)
    assert all(line.startswith("systems/reef.toml, line ") for line in err.splitlines())


# -- sheets that are damaged ------------------------------------------------------------------------------


def test_a_damaged_sheet_is_a_warning(rounds, folder):
    """On standard error, by name; the round goes on and the status is 0."""
    (folder / "sheets" / "2026").mkdir(parents=True)
    (folder / "sheets" / "2026" / "2026-03-03.tablet.json").write_text("{")
    status, out, err = rounds("sheet")
    assert (status, "Rinse the cup" in out) == (0, True)
    assert err.startswith("warning: sheets/2026/2026-03-03.tablet.json: ")
    assert err.count("\n") == 1


# -- check -----------------------------------------------------------------------------------------------


def test_a_good_room_has_no_fault(rounds):
    """Exit 0."""
    rounds("record", "reef/cup")
    status, out, err = rounds("check")
    assert (status, err) == (0, "")
    assert "no fault found" in out


def test_check_names_each_fault_and_changes_nothing(rounds, folder):
    """Room files, sheets and what is no sheet, all in one go; exit 1."""
    rounds("record", "reef/cup")
    (folder / "systems" / "lab.toml").write_text("name = 1\n")
    (folder / "sheets" / "2026" / "bad.json").write_text("{")
    (folder / "sheets" / "notes.txt").write_text("x")
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    status, out, _ = rounds("check")
    assert status == 1
    for name in ("systems/lab.toml", "sheets/2026/bad.json", "sheets/notes.txt", "3 faults found"):
        assert name in out
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before


def test_check_of_one_file(rounds, folder):
    """Only its faults."""
    (folder / "systems" / "lab.toml").write_text("name = 1\n")
    assert rounds("check", folder / "systems" / "reef.toml")[0] == 0
    assert rounds("check", folder / "systems" / "lab.toml")[0] == 1


def test_check_of_a_folder(rounds, tmp_path):
    """A folder is a room."""
    assert rounds("check", other_room(tmp_path / "other"))[0] == 0


@pytest.mark.parametrize("name", ["nowhere.toml", "../outside.toml"])
def test_check_of_a_file_that_is_not_the_rooms_is_refused(rounds, folder, name):
    """Exit 1."""
    (folder.parent / "outside.toml").touch()
    rounds.refused("check", folder / name)


def test_check_names_two_contents_of_one_id(rounds, folder):
    """Both files."""
    rounds("record", "reef/cup")
    sheet = folder / "sheets" / "2026" / "2026-03-04.tablet.json"
    data = json.loads(sheet.read_text())
    data["records"]["1"]["by"] = "ZZ"
    (sheet.parent / "conflict.json").write_text(json.dumps(data))
    _, out, _ = rounds("check")
    assert "conflict.json" in out
    assert "2026-03-04.tablet.json" in out


def test_check_names_values_that_cannot_be(rounds, folder):
    """A value from elsewhere that no water has."""
    rounds("record", "reef/alkalinity", "8.1")
    sheet = folder / "sheets" / "2026" / "2026-03-04.tablet.json"
    sheet.write_text(sheet.read_text().replace('"value": 2.', '"value": 9992.'))
    status, out, _ = rounds("check")
    assert (status, "cannot be right for reef/alkalinity" in out) == (1, True)


def test_check_remarks_on_keys_without_effect(rounds, folder):
    """No fault: exit 0."""
    (folder / "systems" / "reef.toml").write_text(REEF.replace("minutes = 5", "minutes = 5\nmake_up = false"))
    status, out, _ = rounds("check")
    assert (status, "make_up has no effect" in out) == (0, True)


@pytest.mark.parametrize(
    ("rule", "idle"),
    [
        ('again_after = "45 days"', False),
        ('rrule = "FREQ=WEEKLY"', False),
        ('again_after = "6 hours"', True),
        ("once = 2026-03-09", True),
    ],
)
def test_check_remarks_on_early_where_nothing_reads_it(rounds, folder, rule, idle):
    """Counted in days it bounds what is brought forward, fixed in the calendar it opens the window."""
    task = f'\n[[tasks]]\nid = "extra"\nstation = "sump"\ntitle = "Extra"\nearly = "1 hour"\n{rule}\n'
    (folder / "systems" / "reef.toml").write_text(REEF + task)
    status, out, _ = rounds("check")
    assert (status, "reef/extra: early has no effect" in out) == (0, idle)


# -- the program itself ------------------------------------------------------------------------------------


def test_something_unexpected_is_one_sentence(rounds, monkeypatch):
    """A fault of the program ends with 1 and says how to see where."""
    monkeypatch.setattr("rounds.report.sheet.sheet_text", lambda *_, **__: 1 / 0)
    assert "ROUNDS_TRACEBACK=1" in rounds.refused("sheet")


def test_the_demo_does_not_overwrite(rounds, folder):
    """A folder with something in it is refused."""
    assert "not an empty folder" in rounds.refused("demo", "--into", folder)


def run(*arguments, **env):
    root = Path(__file__).parents[2]
    return subprocess.run(
        [sys.executable, "-m", "rounds", *map(str, arguments)],
        env={**os.environ, "PYTHONPATH": str(root), **env}, capture_output=True, check=False,
    )  # fmt: skip


def test_as_a_module_in_any_locale(folder):
    """`python -m rounds` writes JSON in a terminal that knows no Unicode, with the exit status of the command."""
    done = run("sheet", "--json", LC_ALL="C", PYTHONUTF8="0", PYTHONCOERCECLOCALE="0")
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout)["room"] == "Test room"


def test_as_a_module_with_a_refusal(folder):
    """Bytes that are no UTF-8 on the line are a plain refusal."""
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [os.fsencode(sys.executable), b"-m", b"rounds", b"record", b"caf\xe9", b"--by", b"TV"],
        env={**os.environ, "PYTHONPATH": str(root)}, capture_output=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr.count(b"\n")) == (1, b"", 1)
    assert b"does not exist in this room" in done.stderr
