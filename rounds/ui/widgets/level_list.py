"""The list of reservoirs, drawn line by line, one of them current."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from textual.content import Content

from rounds.core.model import Room
from rounds.core.words import plain
from rounds.report.levels import LATER, NEVER, NOW, TODAY, UNKNOWN, system_name, to_do_text, urgency, use_text
from rounds.report.reservoirs import LevelAccount, gauge, now_text
from rounds.ui.text import MUTED, fit
from rounds.ui.widgets.pick_list import PickList

SHAPES = {NOW: "▲", TODAY: "○", LATER: "·", NEVER: "–", UNKNOWN: "?"}
STYLES = {
    NOW: "bold $text-error",
    TODAY: "bold $text-warning",
    LATER: "",
    NEVER: MUTED,
    UNKNOWN: MUTED,
}

_TO_DO, _NOW, _DAYS = 21, 16, 10
GAUGE = 18
"""Columns of a gauge."""


def headings(width: int) -> str:
    """What stands in the columns."""
    name = fit("reservoir, system", max(8, width - 7 - _TO_DO - _NOW - _DAYS))
    return f"    {fit('to do', _TO_DO)} {name} {fit('now, by use', _NOW, right=True)} {'reserve in':>{_DAYS}}"


def row_lines(
    room: Room, account: LevelAccount, now: datetime, width: int, *, current: bool, two: bool
) -> list[Content]:
    """One reservoir: what is to be done, its name, what is in it, days to its reserve; then gauge and use.

    What is out of the ordinary has a line of its own.
    """
    each = account.level
    soon = urgency(room, each, now)
    style = STYLES[soon]
    name = plain(account.tank.name)
    whole = fit(f"{name}, {system_name(room, account.tank.system)}", max(8, width - 7 - _TO_DO - _NOW - _DAYS))
    days = "passed" if soon == NOW else f"{each.days_to_reserve:.1f} days" if each.days_to_reserve is not None else ""
    lines = [
        Content.assemble(
            ("▸ " if current else "  ", "bold $text-accent"),
            (f"{SHAPES[soon]} {fit(to_do_text(room, each, now), _TO_DO)} ", style),
            (whole[: len(name)], "bold" if current else ""),
            (whole[len(name) :], MUTED),
            f" {fit(now_text(room, each), _NOW, right=True)} ",
            (fit(days, _DAYS, right=True), style),
        )
    ]
    if two:
        span = f"{each.days_low:.1f} to {each.days_high:.1f}" if each.days_low is not None and each.days_high else ""
        use = fit(use_text(room, each), max(8, width - 7 - GAUGE - len(span)))
        lines.append(Content.assemble("    ", (gauge(each, GAUGE), "$text-secondary"), ("  " + use, MUTED), " ", span))
    if each.abnormal:
        lines.append(Content.styled(fit(f"    ! {plain(each.abnormal)}", width), "bold $text-warning"))
    return lines


class LevelList(PickList):
    """All reservoirs, what runs out first at the head."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._shown: tuple[Room, Sequence[LevelAccount], datetime] | None = None
        self._two = False

    def show(self, room: Room, accounts: Sequence[LevelAccount], now: datetime, current: int, *, two: bool) -> None:
        """`two`: each on two lines, the second with gauge and use."""
        self._shown, self._two = (room, accounts, now), two
        self.mark(current)

    def heights(self) -> list[int]:
        if self._shown is None:
            return []
        accounts = self._shown[1]
        apart = self._two and 3 * len(accounts) <= self.scrollable_content_region.height
        return [1 + self._two + bool(account.level.abnormal) + apart for account in accounts]

    def row_lines(self, place: int, width: int) -> list[Content]:
        if self._shown is None:
            return []
        room, accounts, now = self._shown
        return row_lines(room, accounts[place], now, width, current=place == self.current, two=self._two)
