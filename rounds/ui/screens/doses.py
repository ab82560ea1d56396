"""Doses: the balance of each system line by line, and the proposal that follows; accepting one records its step."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static
from textual.worker import Worker, WorkerState

from rounds.core.errors import RoundsError
from rounds.core.model import System
from rounds.core.record import Record
from rounds.core.words import plain
from rounds.report.balance import balanced_systems
from rounds.report.doses import DoseAccount, balance_and_proposal, dose_account, headline, to_confirm
from rounds.report.past import past_of
from rounds.report.proposal import draft_dose
from rounds.storage.room import RoomFolder
from rounds.ui.keymap import DOSES, bindings
from rounds.ui.messages import DoseWorkedOut
from rounds.ui.screens.ask import Question
from rounds.ui.text import hanging
from rounds.ui.widgets.details import Details
from rounds.ui.widgets.level_list import MUTED
from rounds.ui.widgets.room_bar import FootBar


class Doses(Screen[bool]):
    """One system at a time; answers whether a step was recorded."""

    CSS_PATH = "../later.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(DOSES)]

    def __init__(self, room: RoomFolder, keeper: str | None, start: str = "") -> None:
        """`start`: id of the system to begin with."""
        super().__init__()
        self._room, self._keeper = room, keeper
        self._now = room.now()
        self._systems: list[System] = balanced_systems(room.model)
        ids = [system.id for system in self._systems]
        self._place = ids.index(start) if start in ids else 0
        self._accounts: dict[str, DoseAccount] = {}
        self._unsaved: tuple[DoseAccount, list[Record]] | None = None
        self._recorded = False

    def compose(self) -> ComposeResult:
        yield Static(id="doses-head")
        yield Details(id="doses")
        yield Static(id="doses-said")
        yield FootBar(DOSES, id="foot")

    def on_mount(self) -> None:
        self._say("")
        self._draw()
        self._work_out_anew()

    def on_resize(self) -> None:
        self.call_after_refresh(self._draw)

    # -- what is worked out ----------------------------------------------------------------------------

    def _work_out_anew(self) -> None:
        self._accounts = {}
        self._now = self._room.now()
        self._draw()
        if self._systems:
            self.run_worker(self._work_out, thread=True, group="doses", exclusive=True, exit_on_error=False)

    def _work_out(self) -> None:
        """Runs in a thread of its own, the system that is looked at first."""
        now = self._now
        for system in self._systems[self._place :] + self._systems[: self._place]:
            past = past_of(self._room, system)
            self.post_message(DoseWorkedOut(dose_account(self._room.model, past, system, now)))

    def on_dose_worked_out(self, event: DoseWorkedOut) -> None:
        self._accounts[event.account.system.id] = event.account
        self._draw()

    def on_worker_state_changed(self, event: Worker.StateChanged) -> None:
        if event.state == WorkerState.ERROR:
            error = event.worker.error
            why = str(error) if isinstance(error, RoundsError | OSError) else f"{type(error).__name__}: {error}"
            self._say(f"The balance cannot be worked out: {why}")

    # -- what is shown -------------------------------------------------------------------------------

    @property
    def _account(self) -> DoseAccount | None:
        """Of the system that is looked at; None: not worked out yet, or there is no such system."""
        return self._accounts.get(self._systems[self._place].id) if self._systems else None

    def _draw(self) -> None:
        head = [("Doses  ", "bold")]
        for place, system in enumerate(self._systems):
            here = place == self._place
            head.append((f"{'▸' if here else ' '}{plain(system.name)}  ", "bold" if here else MUTED))
        self.query_one("#doses-head", Static).update(Content.assemble(*head))
        self.query_one("#doses", Details).show(self._text())

    def _text(self) -> Content:
        if not self._systems:
            return Content(
                "No system has alkalinity tests and something that supplies it: a solution with "
                'doses = "alkalinity", limewater, or a CO2 reactor with its outlet.'
            )
        account = self._account
        if account is None:
            return Content("The balance is being worked out …")
        balance, proposal = balance_and_proposal(self._room.model, account)
        width = self.query_one("#doses").scrollable_content_region.width

        def styled(line: str, style: str = "") -> Content:
            return Content.styled(hanging(plain(line), width), style)

        lines = [styled(headline(account), "bold $text-accent"), Content("")]
        lines += [styled(line, "" if number else "bold") for number, line in enumerate(balance)]
        if proposal:
            title, first, *rest = proposal
            lines += [Content(""), styled(title, "bold"), styled(first, "bold $text-warning")]
            lines += [styled(line, "$text-warning" if line.lstrip().startswith("Caution:") else "") for line in rest]
        return Content("\n").join(lines)

    def _say(self, sentence: str) -> None:
        said = self.query_one("#doses-said", Static)
        said.display = bool(sentence)
        said.update(Content(plain(sentence)))

    # -- moving ----------------------------------------------------------------------------------------

    def action_next_system(self) -> None:
        self._step(1)

    def action_system_before(self) -> None:
        self._step(-1)

    def _step(self, direction: int) -> None:
        if self._systems:
            self._place = (self._place + direction) % len(self._systems)
            self._say("")
            self._draw()

    def action_line_down(self) -> None:
        self._scroll(1)

    def action_line_up(self) -> None:
        self._scroll(-1)

    def action_page_down(self) -> None:
        self._scroll(max(1, self.query_one("#doses").size.height - 1))

    def action_page_up(self) -> None:
        self._scroll(-max(1, self.query_one("#doses").size.height - 1))

    def _scroll(self, lines: int) -> None:
        self.query_one("#doses").scroll_relative(y=lines, animate=False)

    def action_back(self) -> None:
        self.dismiss(self._recorded)

    def action_help(self) -> None:
        from rounds.ui.screens.pages import help_page

        self.app.push_screen(help_page(DOSES))

    # -- accepting -------------------------------------------------------------------------------------

    def action_accept(self) -> None:
        """Ask, then record the step; nothing is turned by it."""
        account = self._account
        if account is None or account.proposal is None:
            self._say("Nothing is proposed here.")
            return
        if self._keeper is None:
            self._say("Nobody keeps the room yet; go back to the walk and press k.")
            return
        if not account.proposal.changes:
            self._say(f"Nothing to accept. {headline(account)}.")
            return
        doubt = self._room.clock_question()
        lines = [*to_confirm(account.proposal), *([doubt] if doubt else [])]

        def answered(sure: bool | None) -> None:
            if sure:
                self._record(account)

        self.app.push_screen(Question("Accept the proposal", lines, "yes, record the step", "no, go back"), answered)

    def _record(self, account: DoseAccount) -> None:
        """Put the steps on disk at once; a second try after the disk refused writes the same records."""
        assert account.proposal is not None
        room, by = self._room, self._keeper or ""
        if self._unsaved is None or self._unsaved[0] is not account:
            drafts = draft_dose(room.model, account.proposal, room.now())
            self._unsaved = (account, [room.prepare(draft, by) for draft in drafts])
        try:
            room.save(*self._unsaved[1])
        except RoundsError as refused:
            self._say(f"{refused} Press a to try again.")
            return
        said = "; ".join(record.note for record in self._unsaved[1])
        self._unsaved = None
        self._recorded = True
        self._work_out_anew()
        self._say(f"Recorded: {said}. Turn it to that now.")
