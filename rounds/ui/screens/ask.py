"""Small screens that ask one thing and go away."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Sequence
from typing import ClassVar, Generic, TypeVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.screen import ModalScreen
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from rounds.core.words import plain
from rounds.ui.widgets.one_line import OneLine

T = TypeVar("T")

_LISTED = 200
"""Choices that are shown at the most."""


class _Said(ModalScreen[T], Generic[T]):
    """Something that is said, and below it the keys it is answered with, which stay in sight however long it is."""

    CSS_PATH = "../later.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("pagedown", "page(1)", show=False),
        Binding("pageup", "page(-1)", show=False),
        Binding("down", "line(1)", show=False),
        Binding("up", "line(-1)", show=False),
    ]

    def __init__(self, title: str, lines: Sequence[str]) -> None:
        super().__init__()
        self._title, self._lines = title, lines

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog"):
            with VerticalScroll(classes="said", can_focus=False):
                yield Static(Content.styled(self._title, "bold $text-warning"))
                for line in self._lines:
                    yield Static(Content(plain(line)))
            yield Static(self._answers(), classes="answers")

    @abstractmethod
    def _answers(self) -> Content:
        """The keys, and what they answer."""

    def action_page(self, direction: int) -> None:
        said = self.query_one(".said")
        said.scroll_relative(y=direction * max(1, said.size.height - 1), animate=False)

    def action_line(self, direction: int) -> None:
        self.query_one(".said").scroll_relative(y=direction, animate=False)


class Question(_Said[bool]):
    """A yes or no. Only ``y`` says yes: Enter pressed twice by mistake must not give a second dose."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "answer(True)", show=False),
        Binding("n,escape,enter", "answer(False)", show=False),
    ]

    def __init__(self, title: str, lines: Sequence[str], yes: str, no: str) -> None:
        super().__init__(title, lines)
        self._yes, self._no = yes, no

    def _answers(self) -> Content:
        return Content.assemble(
            ("y", "bold $text-accent"), f" {self._yes}    ", ("n", "bold $text-accent"), f" {self._no}"
        )

    def action_answer(self, answer: bool) -> None:
        self.dismiss(answer)


class Notice(_Said[str]):
    """Something that has to be read; Enter goes on, other keys may offer something more."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter,escape,space", "leave('')", show=False),
        Binding("o", "leave('concern')", show=False),
    ]

    def __init__(self, title: str, lines: Sequence[str], offer: str = "") -> None:
        super().__init__(title, lines)
        self._offer = offer

    def _answers(self) -> Content:
        offer: list[tuple[str, str] | str] = [("o", "bold $text-accent"), f" {self._offer}    "] if self._offer else []
        return Content.assemble(*offer, ("Enter", "bold $text-accent"), " go on")

    def action_leave(self, answer: str) -> None:
        if answer and not self._offer:
            return
        self.dismiss(answer)


class Choice(ModalScreen[T | None], Generic[T]):
    """A list that shrinks while a part of a name is typed."""

    CSS_PATH = "../later.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", show=False),
        Binding("down", "move(1)", show=False, priority=True),
        Binding("up", "move(-1)", show=False, priority=True),
    ]

    def __init__(
        self, title: str, choices: Sequence[tuple[str, T]], *, free: str = "", text: str = "", wrong: str = ""
    ) -> None:
        """`free`: any typed text is an answer too, and this says what for; then T is str.

        `text` stands typed already, and `wrong` says why it was not taken.
        """
        super().__init__()
        self._title, self._choices, self._free = title, choices, free
        self._text, self._wrong = text, wrong
        self._found: list[tuple[str, T]] = []
        self._moved = False
        """Whether the list was gone through since the last letter."""

    def compose(self) -> ComposeResult:
        with Vertical(classes="dialog choice"):
            yield Static(Content.styled(self._title, "bold"))
            if self._wrong:
                yield Static(Content.styled(plain(self._wrong), "$text-error"))
            placeholder = self._free or "type a part of the name"
            yield OneLine(self._text, id="choice-text", compact=True, placeholder=placeholder)
            yield OptionList(id="choice-list")

    def on_mount(self) -> None:
        self._filter(self._text)
        self.query_one(Input).focus()

    def on_input_changed(self, event: Input.Changed) -> None:
        self._moved = False
        self._filter(event.value)

    def _filter(self, text: str) -> None:
        words = text.casefold().split()
        self._found = [pair for pair in self._choices if all(word in pair[0].casefold() for word in words)]
        listed = self.query_one(OptionList)
        options = [Option(Content(label)) for label, _ in self._found[:_LISTED]]
        if not options and not self._free:
            options = [Option(Content("nothing has that in its name"), disabled=True)]
        listed.set_options(options)
        listed.highlighted = 0 if self._found else None

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        place = self.query_one(OptionList).highlighted
        if self._free and event.value.strip() and not self._moved:
            self.dismiss(event.value.strip())  # type: ignore[arg-type]  # T is str where free text is taken
        elif place is not None:
            self.dismiss(self._found[place][1])

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        self.dismiss(self._found[event.option_index][1])

    def action_move(self, step: int) -> None:
        listed = self.query_one(OptionList)
        if self._found:
            self._moved = True
            listed.highlighted = ((listed.highlighted or 0) + step) % min(len(self._found), _LISTED)

    def action_leave(self) -> None:
        self.dismiss(None)
