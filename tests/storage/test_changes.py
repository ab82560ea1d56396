"""Changes of a room's files on disk: all of them or none, and none over what came meanwhile."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from filelock import FileLock

from rounds.core.errors import Refused
from rounds.storage import changes as changes_module
from rounds.storage import device
from rounds.storage.changes import FileChange, moved_file, room_with, write_changes
from rounds.storage.editing import change_file, put, set_keys
from rounds.storage.faults import RoomFaults
from rounds.storage.room import RoomFolder
from rounds.storage.toml_text import Document


@pytest.fixture
def room(tmp_path: Path) -> Path:
    """A room of one system."""
    (tmp_path / "systems").mkdir()
    (tmp_path / "room.toml").write_text('name = "R"\ntimezone = "Europe/Dublin"\nbegan = 2026-01-05\n')
    (tmp_path / "systems" / "reef.toml").write_text('# the reef\nname = "Reef"\n\n[[stations]]\nid = "tank"\n')
    return tmp_path


def _rename(text: str) -> Callable[[Document], object]:
    return lambda document: set_keys(document, {"name": text})


def test_changes_are_written_and_read_again(room: Path) -> None:
    change = change_file(room, "systems/reef.toml", _rename("Reef II"))
    written = write_changes(room, [change], room / "lock")
    assert written.system["reef"].name == "Reef II"
    assert (room / "systems/reef.toml").read_text() == '# the reef\nname = "Reef II"\n\n[[stations]]\nid = "tank"\n'


def test_a_file_changed_meanwhile_is_not_overwritten(room: Path) -> None:
    changes = [change_file(room, "room.toml", _rename("R2")), change_file(room, "systems/reef.toml", _rename("B"))]
    (room / "systems/reef.toml").write_text('name = "by hand"\n')
    with pytest.raises(Refused, match=r"systems/reef\.toml was changed meanwhile"):
        write_changes(room, changes, room / "lock")
    assert (room / "systems/reef.toml").read_text() == 'name = "by hand"\n'
    assert 'name = "R"' in (room / "room.toml").read_text()


def test_a_new_file_that_has_come_meanwhile_is_not_overwritten(room: Path) -> None:
    change = change_file(room, "systems/new.toml", _rename("N"))
    (room / "systems/new.toml").write_text('name = "by hand"\n')
    with pytest.raises(Refused, match="changed meanwhile"):
        write_changes(room, [change], room / "lock")


def test_faults_are_refused_and_nothing_is_written(room: Path) -> None:
    before = (room / "systems/reef.toml").read_bytes()
    change = change_file(room, "systems/reef.toml", lambda d: put(d, "tasks", {"id": "x", "title": "X"}))
    with pytest.raises(RoomFaults, match="a rule is missing"):
        write_changes(room, [change], room / "lock")
    assert (room / "systems/reef.toml").read_bytes() == before


def test_a_second_file_that_cannot_be_written_takes_the_first_back(room: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = {name: (room / name).read_bytes() for name in ("room.toml", "systems/reef.toml")}
    changes = [change_file(room, name, _rename("new")) for name in before]
    real = changes_module.replace_file

    def full(path: Path, content: bytes) -> None:
        if path.name == "reef.toml" and b"new" in content:
            raise OSError(28, "No space left on device")
        real(path, content)

    monkeypatch.setattr(changes_module, "replace_file", full)
    with pytest.raises(Refused, match=r"systems/reef\.toml cannot be written \(No space left on device\); nothing"):
        write_changes(room, changes, room / "lock")
    assert {name: (room / name).read_bytes() for name in before} == before


def test_a_lock_that_is_held_is_not_waited_for_without_end(room: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(changes_module, "WAIT", 0.01)
    change = change_file(room, "systems/reef.toml", _rename("B"))
    with FileLock(room / "lock"), pytest.raises(Refused, match="another Rounds on this device holds"):
        write_changes(room, [change], room / "lock")
    assert '"Reef"' in (room / "systems/reef.toml").read_text()


def test_a_lock_that_cannot_be_written_is_said(room: Path) -> None:
    (room / "file").write_text("")
    change = change_file(room, "systems/reef.toml", _rename("B"))
    with pytest.raises(Refused, match=r"cannot be written .* nothing was changed"):
        write_changes(room, [change], room / "file" / "lock")


def test_the_new_file_is_written_before_the_old_one_goes(room: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A process that is killed between the two loses nothing."""
    change = change_file(room, "systems/reef.toml", lambda d: None)
    monkeypatch.setattr(Path, "unlink", lambda path, missing_ok=False: (_ for _ in ()).throw(KeyboardInterrupt))
    with pytest.raises(KeyboardInterrupt):
        write_changes(room, moved_file(room, change, "systems/lagoon.toml"), room / "lock")
    assert (room / "systems/lagoon.toml").read_bytes() == (room / "systems/reef.toml").read_bytes()


def test_a_file_takes_another_name(room: Path) -> None:
    before = (room / "systems/reef.toml").read_bytes()
    change = change_file(room, "systems/reef.toml", lambda d: None)
    written = write_changes(room, moved_file(room, change, "systems/lagoon.toml"), room / "lock")
    assert "lagoon" in written.system
    assert "reef" not in written.system
    assert (room / "systems/lagoon.toml").read_bytes() == before
    assert not (room / "systems/reef.toml").exists()


def test_a_file_does_not_take_the_name_of_another(room: Path) -> None:
    with pytest.raises(Refused, match="choose another name"):
        moved_file(room, FileChange("systems/reef.toml", b"", b""), "room.toml")


def test_an_empty_file_that_is_to_be_is_read_as_empty(room: Path) -> None:
    with pytest.raises(RoomFaults, match="name is missing"):
        room_with(room, [FileChange("systems/reef.toml", None, b"")])


# -- a process that is killed ------------------------------------------------------------------------------


class Killed(BaseException):
    """What no handler of errors catches."""


def _killed_at(number: int, patch: pytest.MonkeyPatch) -> None:
    """At the change of so many files."""
    put_down, tried = changes_module._put, []

    def put(path: Path, content: bytes | None) -> None:
        tried.append(path)
        if len(tried) > number:
            raise Killed
        put_down(path, content)

    patch.setattr(changes_module, "_put", put)


def _taking_another_name(room: Path) -> list[FileChange]:
    """A system of another name, the route that names it, and another name of the room."""
    system = change_file(room, "systems/reef.toml", lambda document: None)
    route = change_file(room, "room.toml", lambda document: set_keys(document, {"name": "R II", "route": ["lagoon"]}))
    return [*moved_file(room, system, "systems/lagoon.toml"), route]


@pytest.mark.parametrize("number", range(4))
def test_what_a_killed_process_began_is_finished_at_the_next_opening(
    room: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """Whichever of the files it was killed at."""
    changes = _taking_another_name(room)
    with monkeypatch.context() as patch:
        _killed_at(number, patch)
        if number < len(changes):
            with pytest.raises(Killed):
                write_changes(room, changes, device.lock_file(room))
        else:
            write_changes(room, changes, device.lock_file(room))
    opened = RoomFolder(room)
    assert ([*opened.model.system], opened.model.name) == (["room", "lagoon"], "R II")
    assert not (room / "systems" / "reef.toml").exists()


def test_what_a_killed_process_began_is_left_where_somebody_changed_a_file_since(
    room: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also at every later opening."""
    changes = _taking_another_name(room)
    with monkeypatch.context() as patch:
        _killed_at(1, patch)
        with pytest.raises(Killed):
            write_changes(room, changes, device.lock_file(room))
    (room / "room.toml").write_text('name = "by hand"\ntimezone = "Europe/Dublin"\nbegan = 2026-01-05\n')
    assert [*RoomFolder(room).model.system] == ["room", "lagoon", "reef"]
    assert RoomFolder(room).model.name == "by hand"


def test_a_damaged_note_of_what_was_begun_is_passed_over(room: Path) -> None:
    begun = device.lock_file(room).with_name(device.BEGUN)
    begun.parent.mkdir(parents=True)
    begun.write_bytes(b"\xc1")
    assert RoomFolder(room).model.name == "R"
    assert not begun.exists()
