"""A room in one zip file with a list of SHA-256 sums; restoring is unpacking."""

from __future__ import annotations

import os
import zipfile
import zlib
from hashlib import sha256
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from rounds.core.errors import Refused
from rounds.storage.atomic import sync_folder
from rounds.storage.files import care_files, room_files
from rounds.storage.sheets import SHEETS

_UNREADABLE = (
    zipfile.BadZipFile,  # headers and checksums that do not fit
    zlib.error,  # compressed bytes that cannot be unpacked
    EOFError,  # the compressed bytes end too early
    UnicodeDecodeError,  # a name that is no text
    NotImplementedError,  # a way to compress, or a version, that zipfile does not know
    RuntimeError,  # a flag that says the file is encrypted
    OSError,  # the disk, and offsets before the beginning of the file
)
"""What zipfile raises on a damaged archive; changing single bytes brings each of them about."""

MANIFEST = "MANIFEST.sha256"
"""One line a file, as ``sha256sum`` writes and checks them."""


def write_backup(room: Path, target: Path) -> int:
    """Write room files, its care catalogue and all under ``sheets/``, damaged sheets too; returns how many files.

    Raises `Refused` when the target exists or cannot be written; then nothing is left of it.
    """
    if target.exists():
        raise Refused(f"{target} exists; name a new file")
    temporary = target.with_name(f".{target.name}.{os.getpid()}.tmp")
    try:
        with temporary.open("wb") as stream:
            count = _write(room, stream)
            stream.flush()
            os.fsync(stream.fileno())
        temporary.replace(target)
        sync_folder(target.parent)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise Refused(f"{error.filename or target}: {error.strerror or error}; nothing was backed up") from error
    return count


def _write(room: Path, stream: BinaryIO) -> int:
    sums = []
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in (*room_files(room), *care_files(room), *_sheet_tree(room)):
            name = path.relative_to(room).as_posix()
            content = path.read_bytes()
            archive.writestr(zipfile.ZipInfo.from_file(path, name), content, zipfile.ZIP_DEFLATED)
            sums.append(f"{sha256(content).hexdigest()}  {name}\n")
        archive.writestr(MANIFEST, "".join(sums))
    return len(sums)


def _sheet_tree(room: Path) -> list[Path]:
    found = []
    for folder, _, names in os.walk(room / SHEETS):
        paths = (Path(folder) / name for name in names if not name.startswith("."))
        found += [path for path in paths if path.is_file() and not path.is_symlink()]
    return sorted(found)


def check_backup(file: Path) -> list[str]:
    """What is wrong with a backup; empty when every file is as it was."""
    try:
        with zipfile.ZipFile(file) as archive:
            return _check(archive)
    except _UNREADABLE as error:
        return [f"{file} is no zip file that can be read ({error}); take another backup"]


def _check(archive: zipfile.ZipFile) -> list[str]:
    names = [info.filename for info in archive.infolist() if not info.is_dir()]
    if MANIFEST not in names:
        return [f"{MANIFEST} is missing: this is no backup of a room"]
    faults = [f"{name}: stands twice" for name in {name for name in names if names.count(name) > 1}]
    listed: dict[str, str] = {}
    for line in archive.read(MANIFEST).decode("utf-8", "replace").splitlines():
        total, _, name = line.partition("  ")
        listed[name] = total
    for name, total in listed.items():
        if PurePosixPath(name).is_absolute() or ".." in PurePosixPath(name).parts:
            faults.append(f"{name}: leads out of the room; do not unpack this file")
        elif name not in names:
            faults.append(f"{name}: is listed and missing")
        else:
            try:
                right = sha256(archive.read(name)).hexdigest() == total
            except _UNREADABLE:
                right = False
            if not right:
                faults.append(f"{name}: its content is not what was backed up")
    faults += [f"{name}: is not listed in {MANIFEST}" for name in names if name != MANIFEST and name not in listed]
    return faults
