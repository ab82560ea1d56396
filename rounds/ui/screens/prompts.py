"""Prompts: what stands together in the records, with these records; then the light programmes."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static
from textual.worker import Worker, WorkerState

from rounds.core.errors import RoundsError
from rounds.core.words import plain
from rounds.report.light import light_lines, light_state
from rounds.report.past import past_of
from rounds.report.prompts import prompt_lines, system_prompts
from rounds.storage.room import RoomFolder
from rounds.ui.keymap import PROMPTS, bindings
from rounds.ui.messages import PromptsWorkedOut
from rounds.ui.text import hanging
from rounds.ui.widgets.details import Details
from rounds.ui.widgets.level_list import MUTED
from rounds.ui.widgets.room_bar import FootBar


class Prompts(Screen[None]):
    """All systems on one page, filled as they are worked out."""

    CSS_PATH = "../later.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(PROMPTS)]

    def __init__(self, room: RoomFolder) -> None:
        super().__init__()
        self._room = room
        self._prompts: list[str] = []
        self._lights: list[str] = []
        self._to_come = len(room.model.systems)
        self._wrong = ""

    def compose(self) -> ComposeResult:
        head = Content.assemble(("Prompts", "bold"), "  not diagnoses: below each stand the records it rests on")
        yield Static(head, classes="page-title")
        yield Details(id="prompts")
        yield FootBar(PROMPTS, id="foot")

    def on_mount(self) -> None:
        self._draw()
        self.run_worker(self._work_out, thread=True, group="prompts", exit_on_error=False)

    def on_resize(self) -> None:
        self.call_after_refresh(self._draw)

    def _work_out(self) -> None:
        """Runs in a thread of its own: the past of a large room takes its time."""
        model, now = self._room.model, self._room.now()
        for system in model.systems:
            past = past_of(self._room, system)
            prompts = prompt_lines(model, past.history, system, system_prompts(model, past, system, now))
            lights: list[str] = []
            for each in system.lights:
                head, *rest = light_lines(model, light_state(model, past.history, each, now))
                lights += [f"{plain(system.name)}: {head}", *rest]
            self.post_message(PromptsWorkedOut(prompts, lights))

    def on_prompts_worked_out(self, event: PromptsWorkedOut) -> None:
        self._prompts += event.prompts
        self._lights += event.lights
        self._to_come -= 1
        self._draw()

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        if event.state == WorkerState.ERROR:
            error = event.worker.error
            why = str(error) if isinstance(error, RoundsError | OSError) else f"{type(error).__name__}: {error}"
            self._wrong = f"The prompts cannot be worked out: {why}"
            self._draw()

    def _draw(self) -> None:
        page = self.query_one("#prompts", Details)
        width = page.scrollable_content_region.width

        def line(text: str) -> Content:
            """What a sentence rests on is indented, and less bright."""
            return Content.styled(hanging(plain(text), width), MUTED if text.startswith(" ") else "bold")

        lines = [line(text) for text in self._prompts]
        if self._wrong:
            lines.append(Content.styled(plain(self._wrong), "$text-warning"))
        elif self._to_come:
            lines.append(Content.styled("Reading what was recorded …", MUTED))
        elif not lines:
            lines.append(Content("Nothing in the records asks for a look."))
        if self._lights:
            lines += [Content(""), Content.styled("Light programmes", "bold $text-accent"), *map(line, self._lights)]
        page.show(Content("\n").join(lines))

    def _scroll(self, lines: int) -> None:
        self.query_one("#prompts").scroll_relative(y=lines, animate=False)

    def action_line_down(self) -> None:
        self._scroll(1)

    def action_line_up(self) -> None:
        self._scroll(-1)

    def action_page_down(self) -> None:
        self._scroll(max(1, self.query_one("#prompts").size.height - 1))

    def action_page_up(self) -> None:
        self._scroll(-max(1, self.query_one("#prompts").size.height - 1))

    def action_help(self) -> None:
        from rounds.ui.screens.pages import help_page

        self.app.push_screen(help_page(PROMPTS))

    def action_back(self) -> None:
        self.dismiss()
