"""The panel of text beside a list."""

from __future__ import annotations

from typing import Any

import pytest
from textual.app import App, ComposeResult
from textual.content import Content

from rounds.ui.widgets.details import Details
from tests.ui.app import until

SHORT = Content("one line")
LONGER = Content("\n".join(f"line {number}" for number in range(6)))
LONG = Content("\n".join(f"line {number}" for number in range(60)))


class Panel(App[None]):
    CSS = "Details { height: 1fr; scrollbar-size: 0 1; scrollbar-gutter: stable; }"

    def compose(self) -> ComposeResult:
        yield Details(id="details")


async def test_another_text_that_fits_lays_nothing_out_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[bool] = []
    refresh = Details.refresh

    def noted(self: Details, *regions: Any, layout: bool = False, **more: Any) -> Details:
        asked.append(layout)
        return refresh(self, *regions, layout=layout, **more)

    app = Panel()
    async with app.run_test(size=(40, 20)) as pilot:
        panel = app.query_one(Details)
        panel.show(SHORT)
        await pilot.pause()
        monkeypatch.setattr(Details, "refresh", noted)
        for text in (LONGER, SHORT):
            panel.show(text)
            await pilot.pause()
    assert asked
    assert not any(asked)


@pytest.mark.parametrize(("text", "lines"), [(SHORT, 1), (LONGER, 6), (LONG, 60)], ids=["short", "longer", "long"])
async def test_a_text_scrolls_where_the_panel_is_lower_than_it_and_only_there(text: Content, lines: int) -> None:
    app = Panel()
    async with app.run_test(size=(40, 20)) as pilot:
        panel = app.query_one(Details)
        panel.show(text)
        for height in (20, 5, 12, 4, 70, 20):
            await pilot.resize_terminal(40, height)
            await until(pilot, lambda: panel.max_scroll_y == max(0, lines - panel.app.size.height))
            await until(pilot, lambda: panel.show_vertical_scrollbar == (lines > panel.app.size.height))


async def test_a_text_is_broken_where_the_scroll_bar_begins() -> None:
    """No letter stands behind it, and it comes and goes without the text moving."""
    app = Panel()
    async with app.run_test(size=(40, 20)) as pilot:
        panel = app.query_one(Details)
        for words in (12, 900, 12):
            panel.show(Content("coral " * words))
            await pilot.pause()
            assert panel.show_vertical_scrollbar == (words == 900)
            lines = [panel.render_line(y).text.rstrip() for y in range(2)]
            assert lines == ["coral coral coral coral coral coral", "coral coral coral coral coral coral"]
