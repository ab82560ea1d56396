"""A large room that is opened for the first time on a device says how far it is read, and then shows the walk."""

from __future__ import annotations

from pathlib import Path

import pytest

from rounds.storage import records as records_module
from rounds.ui.app import RoundsApp
from rounds.ui.screens.reading import FirstReading
from rounds.ui.screens.walk import Walk
from tests.ui.app import until
from tests.ui.conftest import record


async def test_the_first_reading_is_shown_and_the_walk_follows(kept: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    record(kept, "done", "nursery/feed", "2026-11-25T08:00")
    monkeypatch.setattr(records_module, "HELD", 0)
    shown = []
    show = FirstReading._show
    monkeypatch.setattr(FirstReading, "_show", lambda self, percent: (shown.append(percent), show(self, percent)))
    async with RoundsApp(kept, "TV").run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: isinstance(pilot.app.screen, Walk) and pilot.app.screen.entry_line is not None)
        assert shown[0] == 0
        assert shown[-1] == 100
        assert "nursery/feed" in [item.task.id for stop in pilot.app.screen.position.stops for item in stop.items]
