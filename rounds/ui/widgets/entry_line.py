"""The line that is typed in place, under the row it belongs to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Input, Static

from rounds.ui.messages import LineChanged, LineEntered, LineLeft
from rounds.ui.widgets.one_line import OneLine


class _Line(OneLine):
    """An input whose arrows go through what was used lately."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", show=False),
        Binding("up", "choice(1)", show=False),
        Binding("down", "choice(-1)", show=False),
    ]

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id, compact=True, select_on_focus=False, max_length=2000)
        self.choices: Sequence[str] = ()
        self._choice = -1

    def action_leave(self) -> None:
        self.post_message(LineLeft(self.value))

    def action_choice(self, step: int) -> None:
        if not self.choices:
            return
        self._choice = max(-1, min(len(self.choices) - 1, self._choice + step))
        self.value = self.choices[self._choice] if self._choice >= 0 else ""
        self.cursor_position = len(self.value)

    def restart(self, text: str, choices: Sequence[str]) -> None:
        self.choices = choices
        self._choice = -1
        self.value = text
        self.cursor_position = len(text)


class EntryLine(Vertical):
    """A question, the line, and what is said about what stands in it."""

    def compose(self) -> ComposeResult:
        yield Static(id="entry-prompt")
        yield _Line(id="entry-text")
        yield Static(id="entry-hint")

    def open(self, prompt: str, *, text: str = "", choices: Sequence[str] = (), hint: str = "") -> None:
        """Show the line with a question and take the keys."""
        self.display = True
        self.query_one("#entry-prompt", Static).update(Content.styled(prompt, "bold"))
        offered = f"↑ ↓ {', '.join(choices[:3])}" if choices else ""
        self.say("  ".join(part for part in (hint, offered) if part))
        line = self.query_one(_Line)
        line.restart(text, choices)
        self.screen.set_focus(line)
        self.call_after_refresh(self.scroll_visible, animate=False)

    def say(self, text: str, *, wrong: bool = False) -> None:
        """Say something below the line; what was typed stays."""
        self.query_one("#entry-hint", Static).update(
            Content.styled(text, "bold $text-error" if wrong else "$text-muted")
        )

    def close(self) -> None:
        self.display = False

    @property
    def text(self) -> str:
        return self.query_one(_Line).value

    def on_input_submitted(self, event: Input.Submitted) -> None:
        event.stop()
        self.post_message(LineEntered(event.value))

    def on_input_changed(self, event: Input.Changed) -> None:
        event.stop()
        self.post_message(LineChanged(event.value))
