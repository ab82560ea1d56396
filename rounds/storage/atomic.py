"""Replacing a file so that it is at every instant either the old one or the new one."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path


def replace_file(path: Path, content: bytes, *, durable: bool = True) -> None:
    """Write `content` to `path`: a temporary file beside it, synced, renamed, the folder synced.

    When this returns the content survives a power cut; when it raises `OSError` the old file stands
    and no temporary file is left. Not `durable`: without the syncs, for what can be made again.
    """
    folder = path.parent
    new = not path.exists()
    make_folder(folder)
    temporary = folder / f".{path.name}.{os.getpid()}.tmp"
    try:
        descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666)
        try:
            left = memoryview(content)
            while left:
                left = left[os.write(descriptor, left) :]
            os.fchmod(descriptor, _mode_for(folder))
            if durable:
                os.fsync(descriptor)
        finally:
            os.close(descriptor)
        temporary.replace(path)
    except BaseException as error:
        if isinstance(error, OSError):
            error.filename = os.fspath(path)  # what a keeper knows; the temporary name says nothing
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
        raise
    if durable and new:
        sync_new(path)
    elif durable:
        sync_folder(folder)


def make_folder(folder: Path) -> None:
    """Make the folder where it is missing, as open or closed to others as the one above it."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    try:
        folder.mkdir()
    except FileExistsError:
        if not folder.is_dir():
            raise
        return
    folder.chmod(folder.parent.stat().st_mode & 0o7777)


def make_own_folder(folder: Path) -> None:
    """Make the folder where it is missing, its owner's alone: what the program makes by itself is shared by choice."""
    if not folder.is_dir():
        make_folder(folder)
        folder.chmod(0o700)


def sync_new(path: Path) -> None:
    """Make a new file last, also where the folders above it may be new: its sheet's year, ``sheets``, the room."""
    for folder in tuple(path.parents)[:3]:
        sync_folder(folder)


def sync_folder(folder: Path) -> None:
    """Make a rename in the folder last; does nothing where the platform cannot open folders."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _mode_for(folder: Path) -> int:
    """The folder's mode without the execute bits: a shared room has shared sheets."""
    return folder.stat().st_mode & 0o666 | 0o600
