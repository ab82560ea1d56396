"""Stock in the app: listed, counted, taken in and ordered, and its due items in the walk."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.widgets import Input

from rounds.ui.screens.stock import StockShelf
from tests.ui.app import WIDE, flat, records, row_text, shown, to, until, walk, walking, write
from tests.ui.conftest import NURSERY
from tests.ui.test_following import answer

STOCK = """
[[stock]]
id = "socks"
name = "filter [socks]"
kind = "spare"
station = "sump"
unit = "piece"
minimum = "2 piece"
pack = "5 piece"

[[stock]]
id = "buffer"
kind = "reagent"
unit = "mL"
expires = 2026-11-30
"""


@pytest.fixture
def shelf(kept: Path) -> Path:
    """The small room; each emptying of the cup takes a sock."""
    uses = NURSERY.replace('title = "Empty the skimmer cup"', 'title = "Empty the skimmer cup"\nuses = { socks = "1" }')
    (kept / "systems" / "nursery.toml").write_text(uses + STOCK, encoding="utf-8")
    return kept


def told(folder: Path) -> list[tuple[str, list[str]]]:
    return [(entry["task"], entry["words"]) for entry in records(folder) if entry["kind"] == "stock"]


async def test_counted_drawn_ordered_and_taken_in(shelf: Path) -> None:
    """Counted on the screen, drawn in the walk, ordered and taken in at the due item."""
    async with walking(shelf, size=WIDE) as pilot:
        await pilot.press("T")
        await until(pilot, lambda: isinstance(pilot.app.screen, StockShelf) and "filter [socks]" in shown(pilot))
        assert "▲ 2 to see to" in shown(pilot)
        await pilot.press("enter")
        await answer(pilot, "How much filter [socks] is there?", "2")
        await until(pilot, lambda: told(shelf) == [("nursery/socks", ["counted"])])
        await until(pilot, lambda: "Left  TV counted 2 pieces 09:30" in shown(pilot))
        await pilot.press("T")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        await to(pilot, "nursery/cup")
        await pilot.press("enter")
        await write(pilot, "40")
        await until(pilot, lambda: "Order filter [socks]" in shown(pilot))
        await to(pilot, "nursery/socks-order")
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.focused, Input) and "Ordered: from where?" in shown(pilot))
        await write(pilot, "the dealer")
        await until(pilot, lambda: told(shelf)[-1] == ("nursery/socks", ["ordered"]))
        await until(pilot, lambda: "✓" in row_text(pilot, "Order filter"))
        await pilot.press("T")
        await until(pilot, lambda: "○ 1 ordered" in shown(pilot))
        await pilot.press("down")
        await pilot.press("d")
        await answer(pilot, "How much filter [socks] came?", "5 piece")
        await answer(pilot, "Until when is it good?", "no day on it")
        await until(pilot, lambda: told(shelf)[-1] == ("nursery/socks", ["delivered"]))
        await until(pilot, lambda: "6 pieces" in shown(pilot))


async def test_an_amount_in_another_unit_is_said_and_stays_typed(shelf: Path) -> None:
    async with walking(shelf, size=WIDE) as pilot:
        await pilot.press("T")
        await until(pilot, lambda: isinstance(pilot.app.screen, StockShelf))
        await pilot.press("c")
        await answer(pilot, "is there?", "7 kg")
        await until(pilot, lambda: "it is counted in pieces" in flat(pilot))
        assert isinstance(pilot.app.focused, Input)
        assert pilot.app.focused.value == "7 kg"
        assert told(shelf) == []


async def test_what_expires_stands_in_the_walk(shelf: Path) -> None:
    """Good until Monday, so it is to be ordered; not needed is refused, and the line stays."""
    async with walking(shelf, size=WIDE) as pilot:
        await to(pilot, "nursery/buffer-order")
        assert "good until Mon 30 Nov 2026" in flat(pilot)
        await pilot.press("n")
        await write(pilot, "enough")
        await until(pilot, lambda: "a delivery or a count" in flat(pilot))
        assert walk(pilot).typing
