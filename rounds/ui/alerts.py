"""What stands at the top of every screen while something is off normal, and the bell."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from rounds.core.model import Room
from rounds.core.off_normal import OffNormal
from rounds.core.words import plural
from rounds.storage import device

if TYPE_CHECKING:
    from textual.app import App

LINES = 3
"""So many things that have passed their time are named; of the others their number."""

PASSED = "bold $text-error"
COUNTED = "$text-warning"

_rung: set[str] = set()
"""Ids of the records for which the bell was rung in this run of the app."""


def alert_lines(room: Room, left: Sequence[OffNormal], now: datetime) -> Iterator[tuple[str, str]]:
    """Lines with their styles: each thing past its time, then the countdown that ends first."""
    if not left:
        return
    from rounds.report.watch import alert

    passed = [each for each in left if each.passed(now)]
    counted = [each for each in left if not each.passed(now)]
    for each in passed[:LINES]:
        yield f"▲ {alert(room, each, now)}", PASSED
    if len(passed) > LINES:
        yield f"▲ and {plural(len(passed) - LINES, 'more thing')} to put back: x", PASSED
    if counted:
        more = f"; {len(counted) - 1} more off normal: x" if len(counted) > 1 else ""
        yield f"◷ {alert(room, counted[0], now)}{more}", COUNTED


def ring(app: App[Any], left: Iterable[OffNormal], now: datetime) -> None:
    """Ring the terminal's bell once for each thing that has passed its time, where the device wants it."""
    new = {each.last.id for each in left if each.passed(now)} - _rung
    if new:
        _rung.update(new)
        if bell_wanted():
            app.bell()


def bell_wanted() -> bool:
    """Whether this device rings."""
    return device.settings().get("bell") is True
