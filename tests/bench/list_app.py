"""The bare baseline of a key: a Textual app with a list and nothing else."""

from textual.app import App, ComposeResult
from textual.widgets import OptionList


class ListApp(App[None]):
    def compose(self) -> ComposeResult:
        yield OptionList(*(f"listed and ready {number}" for number in range(60)))


ListApp().run()
