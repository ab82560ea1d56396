"""What every test stands on: nothing of the machine it runs on reaches it."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile("here", deadline=None, suppress_health_check=[HealthCheck.too_slow], database=None)
settings.register_profile("ci", parent=settings.get_profile("here"), derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")


@pytest.fixture(autouse=True)
def away_from_the_machine(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Home, user folders, time zone, language and the program's own settings: the one seam to the machine."""
    home = tmp_path_factory.mktemp("home")
    for name in [name for name in os.environ if name.startswith(("ROUNDS_", "XDG_", "LC_"))]:
        monkeypatch.delenv(name)
    for name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "LINES", "LANGUAGE"):
        monkeypatch.delenv(name, raising=False)
    for name, value in {
        "HOME": str(home),
        "USERPROFILE": str(home),
        "XDG_CONFIG_HOME": str(home / "config"),
        "XDG_CACHE_HOME": str(home / "cache"),
        "XDG_DATA_HOME": str(home / "data"),
        "XDG_STATE_HOME": str(home / "state"),
        "TZ": "UTC",
        "LC_ALL": "C.UTF-8",
        "LANG": "C.UTF-8",
    }.items():
        monkeypatch.setenv(name, value)
    if hasattr(time, "tzset"):
        time.tzset()
    return home
