"""Putting changes of a room's files on disk: all of them or none, and none over what came meanwhile."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path

import msgspec

from rounds.core.errors import Refused
from rounds.core.model import Room
from rounds.core.units import Seawater
from rounds.storage.atomic import replace_file, sync_folder
from rounds.storage.device import BEGUN
from rounds.storage.room_files import load_room
from rounds.storage.sheets import POLL, WAIT


class ChangedMeanwhile(Refused):
    """A file is no longer as it was when the change of it was begun."""

    def __init__(self, file: str) -> None:
        super().__init__(f"{file} was changed meanwhile by hand or by another device; look at it and change it again")


class FileChange(msgspec.Struct, frozen=True):
    """One file of a room as it was read and as it is to be."""

    file: str
    """Path inside the room."""
    before: bytes | None
    """None: there was no such file."""
    after: bytes | None
    """None: it is to be no more."""

    def __bool__(self) -> bool:
        return self.before != self.after


def moved_file(folder: Path, change: FileChange, file: str) -> tuple[FileChange, FileChange]:
    """The change of one file as that of another, which is new; then the first is to be no more.

    Raises `Refused` where there is a file of the new name.
    """
    if (folder / file).exists():
        raise Refused(f"there is {file} already; choose another name")
    return FileChange(file, None, change.after), FileChange(change.file, change.before, None)


def room_with(folder: Path, changes: Iterable[FileChange], seawater: Seawater | None = None) -> Room:
    """The room as it would be; raises `RoomFaults` with every fault, and `NoRoom`."""
    return load_room(folder, seawater, {change.file: change.after for change in changes})


def write_changes(folder: Path, changes: Sequence[FileChange], lock: Path, seawater: Seawater | None = None) -> Room:
    """Put the changes on disk and return the room as it is then.

    Raises `Refused`, and writes nothing, when a file is no longer as it was read; `RoomFaults` when the room would
    have faults.
    """
    from filelock import FileLock, Timeout

    try:
        lock.parent.mkdir(parents=True, exist_ok=True)
        with FileLock(lock, timeout=WAIT, poll_interval=POLL):
            for change in changes:
                if content_of(folder / change.file) != change.before:
                    raise ChangedMeanwhile(change.file)
            room = room_with(folder, changes, seawater)
            _write_all(folder, [change for change in changes if change], lock.with_name(BEGUN))
            return room
    except Timeout:
        raise Refused(f"another Rounds on this device holds {lock}; nothing was changed: try again") from None
    except OSError as error:
        raise Refused(f"{lock} cannot be written ({error.strerror or error}); nothing was changed") from None


def finish_changes(folder: Path, lock: Path) -> None:
    """Bring to its end what a process began that was killed meanwhile, unless a file was changed since.

    Where the disk refuses it, the next opening tries again.
    """
    from filelock import FileLock, Timeout

    begun = lock.with_name(BEGUN)
    with suppress(OSError, Refused, Timeout), FileLock(lock, timeout=WAIT, poll_interval=POLL):
        changes = _begun(begun)
        if all(content_of(folder / change.file) in (change.before, change.after) for change in changes):
            for change in changes:
                _put(folder / change.file, change.after)
        _forget(begun)


def _begun(path: Path) -> list[FileChange]:
    try:
        return msgspec.msgpack.decode(path.read_bytes(), type=list[FileChange])
    except (FileNotFoundError, msgspec.MsgspecError):
        return []


def _write_all(folder: Path, changes: Sequence[FileChange], begun: Path) -> None:
    """All of them or none: what was written is put back when the disk refuses a later one.

    While several are written `begun` holds them all, for `finish_changes`.
    """
    at = begun.name
    written: list[FileChange] = []
    try:
        if len(changes) > 1:
            replace_file(begun, msgspec.msgpack.encode(changes))
        for change in changes:
            at = change.file
            written.append(change)
            _put(folder / change.file, change.after)
    except OSError as error:
        for change in written:
            with suppress(OSError):
                _put(folder / change.file, change.before)
        _forget(begun)
        raise Refused(f"{at} cannot be written ({error.strerror or error}); nothing was changed") from None
    _forget(begun)


def _forget(begun: Path) -> None:
    with suppress(OSError):
        begun.unlink(missing_ok=True)


def _put(path: Path, content: bytes | None) -> None:
    """Make the file hold this; None: make it be no more."""
    if content is None:
        path.unlink(missing_ok=True)
        sync_folder(path.parent)
    else:
        replace_file(path, content)


def content_of(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise Refused(f"{path.name} cannot be read ({error.strerror or error}); make it readable") from None
