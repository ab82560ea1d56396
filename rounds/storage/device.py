"""What belongs to this device and not to the room: its name, the keeper it remembers, its clock."""

from __future__ import annotations

import os
import re
import socket
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import msgspec

from rounds.core.errors import CannotRead, Refused
from rounds.core.words import quoted
from rounds.storage.atomic import replace_file

APP = "coral-rounds"
_DEVICE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,40}", re.ASCII)


def user_config() -> Path:
    from platformdirs import user_config_path

    return user_config_path(APP, appauthor=False)


def user_cache() -> Path:
    from platformdirs import user_cache_path

    return user_cache_path(APP, appauthor=False)


def user_data() -> Path:
    from platformdirs import user_data_path

    return user_data_path(APP, appauthor=False)


def _settings_file() -> Path:
    return user_config() / "device.json"


def settings() -> dict[str, Any]:
    """What this device remembers; empty when there is nothing or it cannot be read."""
    try:
        found = msgspec.json.decode(_settings_file().read_bytes())
    except (OSError, msgspec.DecodeError):
        return {}
    return found if isinstance(found, dict) else {}


def remember(**values: Any) -> None:
    """Keep settings on this device; raises `Refused` when the config folder cannot be written."""
    try:
        replace_file(_settings_file(), msgspec.json.format(msgspec.json.encode({**settings(), **values})) + b"\n")
    except OSError as error:
        raise Refused(f"{_settings_file()} cannot be written ({error.strerror or error}); make it writable") from None


def device_name() -> str:
    """This device's name: ``$ROUNDS_DEVICE``, else one made once and kept."""
    given = os.environ.get("ROUNDS_DEVICE")
    if given:
        if not _DEVICE.fullmatch(given):
            raise CannotRead(f"ROUNDS_DEVICE={quoted(given)} is no device name; use letters, digits and hyphens")
        return given
    known = settings().get("device")
    if isinstance(known, str) and _DEVICE.fullmatch(known):
        return known
    host = re.sub("[^a-z0-9-]+", "-", socket.gethostname().lower()).strip("-")[:20].strip("-") or "device"
    name = f"{host}-{os.urandom(2).hex()}"
    remember(device=name)
    return name


def room_key(folder: Path) -> str:
    """A short name for the room's path in the cache folder."""
    return sha256(os.fsencode(folder.resolve())).hexdigest()[:20]


def cache_folder(folder: Path) -> Path:
    """Where what can be worked out again of this room is kept."""
    return user_cache() / room_key(folder)


BEGUN = "begun.msgpack"
"""In a room's cache folder: the change of several of its files that is under way."""


def lock_file(folder: Path) -> Path:
    return cache_folder(folder) / "write.lock"


def system_zone() -> str:
    """The IANA name of the time zone this device is set to; ``UTC`` where it does not say."""
    link = Path("/etc/localtime")
    candidates = [os.environ.get("TZ", "").removeprefix(":")]
    with suppress(OSError):
        candidates.append(os.fspath(link.resolve()).partition("zoneinfo/")[2])
    with suppress(OSError, UnicodeDecodeError):
        candidates.append(Path("/etc/timezone").read_text(encoding="ascii").strip())
    return next((name for name in candidates if name and is_zone(name)), "UTC")


def is_zone(name: str) -> bool:
    """Whether there is a time zone of this IANA name."""
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return False
    return True


class Clock:
    """Tells the time, or what ``$ROUNDS_NOW`` says it is."""

    def __init__(self, zone: ZoneInfo, *, runs_on: bool = False) -> None:
        given = os.environ.get("ROUNDS_NOW")
        self._fixed = _given_now(given, zone) if given else None
        self._shift = self._fixed - datetime.now(UTC) if self._fixed is not None and runs_on else None

    @property
    def set_by_hand(self) -> bool:
        """Whether this is another time than the device's own."""
        return self._fixed is not None

    def now(self) -> datetime:
        """The present instant in UTC, whole seconds."""
        now = datetime.now(UTC)
        if self._fixed is not None:
            now = now + self._shift if self._shift is not None else self._fixed
        return now - timedelta(microseconds=now.microsecond)


def _given_now(text: str, zone: ZoneInfo) -> datetime:
    try:
        given = datetime.fromisoformat(text.strip())
    except ValueError:
        raise CannotRead(
            f"ROUNDS_NOW={quoted(text)} is no time; write it in ISO 8601, such as 2026-11-25T09:30"
        ) from None
    if not 1900 <= given.year <= 2200:
        raise CannotRead(f"ROUNDS_NOW={quoted(text)} lies outside the years 1900 to 2200; write another time")
    return (given if given.tzinfo else given.replace(tzinfo=zone)).astimezone(UTC)
