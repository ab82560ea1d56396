"""The bare baseline: a Textual app with one line of text."""

from textual.app import App, ComposeResult
from textual.widgets import Static


class EmptyApp(App[None]):
    def compose(self) -> ComposeResult:
        yield Static("empty and ready")


EmptyApp().run()
