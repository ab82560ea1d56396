"""What tests of set-up press and see: its list, its forms, and what is asked in them."""

from __future__ import annotations

from pathlib import Path

from textual.pilot import Pilot
from textual.widgets import Input

from rounds.ui.screens.ask import Choice, Question
from rounds.ui.screens.form import FormScreen
from rounds.ui.screens.setup import Setup
from tests.ui.app import flat, to, until, write

ODD_NAMES = ('Skimmer "old" [x] cup', "[/sump] 'quotes' \\", "مضخة \u202e العودة", "🐠 🪸 tank", "x" * 200)


async def open_setup(pilot: Pilot[int], task: str = "nursery/cup") -> Setup:
    """Set-up at the station of a task."""
    await to(pilot, task)
    await pilot.press("z")
    await until(pilot, lambda: isinstance(pilot.app.screen, Setup))
    await pilot.pause()
    screen = pilot.app.screen
    assert isinstance(screen, Setup)
    return screen


async def choose_row(pilot: Pilot[int], name: str) -> None:
    screen = pilot.app.screen
    assert isinstance(screen, Setup)
    system, key, id = name.split("/")
    screen.choose_part(system, key, id)
    screen.draw()
    await pilot.pause()


async def open_form(pilot: Pilot[int], name: str) -> FormScreen:
    """The form of ``system/list/id``, when it is checked."""
    await open_setup(pilot, "nursery/return")
    await choose_row(pilot, name)
    await pilot.press("enter")
    return await form(pilot)


async def form(pilot: Pilot[int]) -> FormScreen:
    await until(pilot, lambda: isinstance(pilot.app.screen, FormScreen) and pilot.app.screen._checked is not None)
    screen = pilot.app.screen
    assert isinstance(screen, FormScreen)
    return screen


async def answer(pilot: Pilot[int], title: str, text: str) -> None:
    """Type into the list of choices that has this title, and take what is typed or found."""
    await until(pilot, lambda: isinstance(pilot.app.screen, Choice) and title in flat(pilot))
    pilot.app.screen.query_one(Input).value = ""
    await pilot.pause()
    await write(pilot, text)


async def fill(pilot: Pilot[int], label: str, text: str) -> None:
    """Type a text into the field with this label."""
    await field(pilot, label)
    await pilot.press("enter")
    await answer(pilot, f": {label}", text)
    await form(pilot)


async def field(pilot: Pilot[int], label: str) -> None:
    """Put the pointer on the field, or the row, with this label."""
    screen = await form(pilot)
    screen.go([line.label.strip() for line in screen.lines].index(label))
    await pilot.pause()


async def open_row(pilot: Pilot[int], label: str) -> None:
    """Open the small form of the row, or of the part, with this label."""
    await field(pilot, label)
    above = pilot.app.screen
    await pilot.press("enter")
    await until(pilot, lambda: pilot.app.screen is not above)
    await form(pilot)


async def back(pilot: Pilot[int]) -> None:
    """From a small form to the one above."""
    inner = pilot.app.screen
    await pilot.press("escape")
    await until(pilot, lambda: pilot.app.screen is not inner)
    await form(pilot)


async def pick(pilot: Pilot[int], label: str, *texts: str) -> None:
    """Choose in the field with this label what the texts find, one after the other."""
    await field(pilot, label)
    await pilot.press("enter")
    for text in texts:
        await answer(pilot, f": {label}", text)
    await form(pilot)


async def save(pilot: Pilot[int]) -> str:
    """Press s and yes; what was said of the coming two weeks."""
    await form(pilot)
    await pilot.press("s")
    await until(pilot, lambda: isinstance(pilot.app.screen, Question))
    said = flat(pilot)
    await pilot.press("y")
    await until(pilot, lambda: not isinstance(pilot.app.screen, Question))
    return said


def nursery(folder: Path) -> str:
    return (folder / "systems" / "nursery.toml").read_text(encoding="utf-8")


async def yes(pilot: Pilot[int], then: str = "") -> None:
    """Say yes to what comes in two weeks; `then` is what is asked or said after it."""
    await until(pilot, lambda: isinstance(pilot.app.screen, Question))
    await pilot.press("y")
    await until(pilot, lambda: then in flat(pilot) if then else isinstance(pilot.app.screen, Setup))
    await pilot.pause()
