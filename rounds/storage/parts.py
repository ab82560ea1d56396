"""What the room's files say, table by table as it is written: what forms show and change."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from rounds.core.model import ROOM
from rounds.storage.care import brought_by, differing, program_files, read_kinds
from rounds.storage.files import ROOM_FILE, SYSTEMS, care_files, read_files
from rounds.storage.tables import File

BY = {"keepers": "initials", "shifts": "name"}
"""By what the tables of a list are known, where that is not their id."""


class Part(msgspec.Struct, frozen=True, kw_only=True):
    """One table of the room's files, or a system as a whole."""

    system: str
    """The system in whose file it stands."""
    key: str = ""
    """Of its list, such as ``tasks``; empty: the system itself."""
    id: str = ""
    """Within its list: the value of `by`."""
    own: dict[str, Any] | None = None
    """What its file says; None: the care catalogue alone says it."""
    brought: dict[str, Any] = {}
    """What the care catalogue says of it."""

    @property
    def file(self) -> str:
        """Path inside the room."""
        return file_of(self.system)

    @property
    def key_in_room(self) -> tuple[str, str, str]:
        """By which it is told from every other."""
        return self.system, self.key, self.id

    @property
    def by(self) -> str:
        """The key by which it is known."""
        return by_of(self.key)

    @property
    def values(self) -> dict[str, Any]:
        """What holds of it: its own keys before those that were brought."""
        return differing(self.brought, self.own or {})

    @property
    def station(self) -> str:
        """Where it stands; empty: the system as a whole."""
        station = self.id if self.key == "stations" else self.values.get("station", "")
        return station if isinstance(station, str) else ""


def file_of(system: str) -> str:
    """The file of a system, as a path inside the room."""
    return ROOM_FILE if system == ROOM else f"{SYSTEMS}/{system}.toml"


def by_of(key: str) -> str:
    """The key by which the tables of a list are known."""
    return BY.get(key, "id")


def read_parts(folder: Path) -> list[Part]:
    """Every table of every file in the order of the files; files that are not TOML are left out."""
    contents = read_files(folder)
    own_care = [
        (File(path.name, "", []), data)
        for path in care_files(folder)
        if (data := _data(contents.get(path.relative_to(folder).as_posix(), b""))) is not None
    ]
    kinds = read_kinds((*program_files([]), *own_care))
    found: list[Part] = []
    for name, content in contents.items():
        path = Path(name)
        data = _data(content)
        if data is None or (name != ROOM_FILE and path.parent.name != SYSTEMS):
            continue
        system = ROOM if name == ROOM_FILE else path.stem
        head = {key: value for key, value in data.items() if not _is_list(value)}
        found.append(Part(system=system, id=system, own=head))
        brought = brought_by(data, kinds, "room" if system == ROOM else "system")
        found += _listed(system, data, brought)
    return found


def _listed(system: str, data: dict[str, Any], brought: dict[str, dict[str, dict[str, Any]]]) -> Iterator[Part]:
    for key in dict.fromkeys((*data, *brought)):
        theirs = dict(brought.get(key, {}))
        tables = data.get(key, [])
        for table in tables if _is_list(tables) else []:
            id = table.get(by_of(key))
            if isinstance(id, str):
                yield Part(system=system, key=key, id=id, own=table, brought=theirs.pop(id, {}))
        for id, table in theirs.items():
            yield Part(system=system, key=key, id=id, brought=table)


def _is_list(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(each, dict) for each in value)


def _data(content: bytes) -> dict[str, Any] | None:
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError):
        return None
