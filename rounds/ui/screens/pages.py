"""Screens that are read: help, faults."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from rounds.core.words import plain
from rounds.ui.keymap import EVERY, WALK, Action


class Page(Screen[None]):
    """A title and text to scroll; Escape goes back."""

    CSS_PATH = "../later.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [Binding("escape,q", "back", show=False)]

    def __init__(self, title: str, body: Content) -> None:
        super().__init__()
        self._title, self._body = title, body

    def compose(self) -> ComposeResult:
        yield Static(Content.styled(self._title, "bold"), classes="page-title")
        with VerticalScroll(classes="page"):
            yield Static(self._body)
        yield Static(
            Content.assemble(("Esc", "bold $text-accent"), " back   ", ("↑ ↓", "bold $text-accent"), " scroll")
        )

    def action_back(self) -> None:
        self.dismiss()


def help_page(first: tuple[Action, ...] = WALK) -> Page:
    """Every key, from the table of actions, those of one screen `first`."""
    groups: dict[str, list[Action]] = {}
    for action in dict.fromkeys((*first, *EVERY)):
        groups.setdefault(action.group, []).append(action)
    parts: list[tuple[str, str] | str] = []
    for group, actions in groups.items():
        parts += [(group, "bold"), "\n"]
        for action in actions:
            parts += [("  " + action.shown.ljust(14), "bold $text-accent"), f" {action.help}\n"]
        parts.append("\n")
    parts += [
        ("Entry line", "bold"), "\n",
        "  Values first, in the order asked for, then a note: 8.1 dKH cloudy\n"
        "  A lone - leaves one out; <0.02 and >50 lie beyond the kit's limit; 8,1 is 8.1\n\n",
        ("States", "bold"), "\n",
        "  ○ due   ▲ late   · later today   » postponed   ✓ done   – not needed   × missed\n"
        "  ! after a title: read the caution before you begin\n",
    ]  # fmt: skip
    return Page("Keys", Content.assemble(*parts))


def faults_page(folder: Path, lines: Sequence[str], *, open_room: bool) -> Page:
    """What is wrong with the room's files and sheets."""
    if not lines:
        return Page("Faults", Content("The room's files and sheets have no fault."))
    told = "The last good version stays in use until they are repaired." if open_room else ""
    parts: list[tuple[str, str] | str] = [f"{plain(str(folder))}\n{told}\n\n"]
    parts += [f"• {plain(line)}\n\n" for line in lines]
    return Page("Faults in the room", Content.assemble(*parts))
