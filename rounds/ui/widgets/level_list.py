"""The list of reservoirs, drawn line by line, one of them current."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from textual import events
from textual.content import Content
from textual.geometry import Region, Size
from textual.scroll_view import ScrollView
from textual.strip import Strip
from textual.visual import Visual

from rounds.core.model import Room
from rounds.core.words import plain
from rounds.report.levels import LATER, NEVER, NOW, TODAY, UNKNOWN, system_name, to_do_text, urgency, use_text
from rounds.report.reservoirs import LevelAccount, gauge, now_text
from rounds.ui.messages import ReservoirPicked
from rounds.ui.text import fit

MUTED = "$foreground 65%"

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
    days = f"{each.days_to_reserve:.1f} days" if each.days_to_reserve is not None else ""
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


class LevelList(ScrollView, inherit_bindings=False):
    """All reservoirs, what runs out first at the head."""

    can_focus = True

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._room: Room | None = None
        self._accounts: Sequence[LevelAccount] = ()
        self._now: datetime | None = None
        self._current = 0
        self._two = False
        self._lines: list[tuple[int, Content]] = []
        """Of which reservoir each line is; -1: of none."""

    def show(self, room: Room, accounts: Sequence[LevelAccount], now: datetime, current: int, *, two: bool) -> None:
        """`two`: each on two lines, the second with gauge and use."""
        self._room, self._accounts, self._now, self._two = room, accounts, now, two
        self.mark(current)

    def mark(self, current: int) -> None:
        """Move the pointer, and the list as far as it has to be seen."""
        self._current = current
        self._lay_out()
        lines = [line for line, (place, _) in enumerate(self._lines) if place == current]
        if lines:
            region = Region(0, lines[0], 1, len(lines))
            self.scroll_to_region(region, animate=False, force=True, immediate=True)

    def on_resize(self) -> None:
        self.mark(self._current)

    def _lay_out(self) -> None:
        width = self.scrollable_content_region.width
        if self._room is None or self._now is None or width <= 0:
            return
        before = len(self._lines)
        apart = self._two and 3 * len(self._accounts) <= self.scrollable_content_region.height
        self._lines = []
        for place, account in enumerate(self._accounts):
            lines = row_lines(self._room, account, self._now, width, current=place == self._current, two=self._two)
            self._lines += [(place, line) for line in lines]
            if apart:
                self._lines.append((-1, Content("")))
        self.virtual_size = Size(0, len(self._lines))
        self.refresh(layout=len(self._lines) != before)

    def notify_style_update(self) -> None:
        """Another theme: the lines are drawn again."""
        super().notify_style_update()
        self.refresh()

    def render_line(self, y: int) -> Strip:
        width = self.scrollable_content_region.width
        line = y + self.scroll_offset.y
        if width <= 0 or line >= len(self._lines):
            return Strip.blank(width, self.rich_style)
        place, content = self._lines[line]
        if place == self._current:
            content = Content.assemble(content, " " * max(0, width - content.cell_length)).stylize_before("on $panel")
        strips = Visual.to_strips(self, content, width, 1, self.visual_style)
        return strips[0] if strips else Strip.blank(width, self.rich_style)

    def on_click(self, event: events.Click) -> None:
        event.stop()
        line = event.y + self.scroll_offset.y
        if line < len(self._lines) and self._lines[line][0] >= 0:
            self.post_message(ReservoirPicked(self._lines[line][0]))
