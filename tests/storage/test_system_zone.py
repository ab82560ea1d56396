"""The time zone that this device is set to."""

from __future__ import annotations

import pytest

from rounds.storage.device import system_zone


@pytest.mark.parametrize("text", ["Europe/Dublin", ":Europe/Dublin"])
def test_the_environment_comes_first(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setenv("TZ", text)
    assert system_zone() == "Europe/Dublin"


@pytest.mark.parametrize("text", ["", "Mars/Olympus", "../../etc/passwd", "EST5EDT,M3.2.0"])
def test_what_is_no_zone_is_passed_over(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setenv("TZ", text)
    found = system_zone()
    assert found != text
    assert found
