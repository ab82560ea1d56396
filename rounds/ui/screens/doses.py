"""Doses: the balance of each water line by line, and the proposal that follows; accepting one records its step."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from functools import partial
from typing import ClassVar

from textual.binding import BindingType

from rounds.core.waters import Water
from rounds.core.words import plain
from rounds.report.balance import balanced_waters
from rounds.report.doses import DoseAccount, balance_and_proposal, dose_account, headline, to_confirm
from rounds.report.past import past_of
from rounds.report.proposal import draft_dose
from rounds.storage.room import RoomFolder
from rounds.ui.keymap import DOSES, bindings
from rounds.ui.screens.room_page import RoomPage
from rounds.ui.screens.room_screen import Tell
from rounds.ui.text import MUTED


class Doses(RoomPage):
    """One water at a time."""

    ACTIONS = DOSES
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(DOSES)]

    def __init__(self, room: RoomFolder, keeper: str | None, start: str = "") -> None:
        """`start`: id of the system to begin with."""
        super().__init__(room, keeper)
        self._waters: list[Water] = self._balanced()
        ids = [water.system for water in self._waters]
        self._place = ids.index(start) if start in ids else 0
        self._accounts: dict[str, DoseAccount] = {}
        """By the id of the water."""

    def _balanced(self) -> list[Water]:
        room, now = self.room, self.now
        return room.ask(lambda history: balanced_waters(room.model, history, now))

    # -- what is worked out ----------------------------------------------------------------------------

    def plan(self) -> None:
        super().plan()
        here = self._waters[self._place].id if self._waters else ""
        self._waters = self._balanced()
        self._place = next((place for place, water in enumerate(self._waters) if water.id == here), 0)
        work = partial(self._work_out, self._waters[self._place :] + self._waters[: self._place], self.now)
        self.work_out("doses", work, self._worked_out, "The balance cannot be worked out")

    def _work_out(self, waters: list[Water], now: datetime, tell: Tell) -> None:
        """Runs in a thread of its own, the water that is looked at first."""
        for water in waters:
            system = self.room.model.system[water.system]
            tell(dose_account(self.room.model, past_of(self.room, system), system, now, water))

    def _worked_out(self, account: DoseAccount) -> None:
        self._accounts[account.water.id] = account
        self.draw()

    # -- what is shown -------------------------------------------------------------------------------

    @property
    def _account(self) -> DoseAccount | None:
        """Of the water that is looked at; None: not worked out yet, or there is no such water."""
        water = self._waters[self._place] if self._waters else None
        account = self._accounts.get(water.id) if water is not None else None
        return account if account is not None and account.water == water else None

    def draw(self) -> None:
        super().draw()
        head = [("Doses  ", "bold")]
        for place, water in enumerate(self._waters):
            here = place == self._place
            head.append((f"{'▸' if here else ' '}{plain(water.name)}  ", "bold" if here else MUTED))
        self.show_head(head)
        self.show_lines(self._lines(), of=self._place)

    def _lines(self) -> Iterator[tuple[str, str]]:
        if not self._waters:
            yield (
                (
                    "No system has alkalinity tests and something that supplies it: a solution with "
                    'doses = "alkalinity", limewater, or a CO2 reactor with its outlet.'
                ),
                "",
            )
            return
        account = self._account
        if account is None:
            yield "The balance is being worked out …", ""
            return
        balance, proposal = balance_and_proposal(self.room.model, account)
        yield headline(account), "bold $text-accent"
        yield "", ""
        yield from ((line, "" if number else "bold") for number, line in enumerate(balance))
        if proposal:
            title, first, *rest = proposal
            yield "", ""
            yield title, "bold"
            yield first, "bold $text-warning"
            yield from ((line, "$text-warning" if line.lstrip().startswith("Caution:") else "") for line in rest)

    # -- moving ----------------------------------------------------------------------------------------

    def action_next_system(self) -> None:
        self._step(1)

    def action_system_before(self) -> None:
        self._step(-1)

    def _step(self, direction: int) -> None:
        if self._waters:
            self._place = (self._place + direction) % len(self._waters)
            self.say("")
            self.draw()

    # -- a valve ---------------------------------------------------------------------------------------

    def action_valve(self) -> None:
        from rounds.ui.asking import in_turn
        from rounds.ui.valves import turn_valve

        in_turn(self, partial(turn_valve, self, self._waters[self._place].system if self._waters else ""))

    # -- accepting -------------------------------------------------------------------------------------

    def action_accept(self) -> None:
        """Ask, then record the step; nothing is turned by it."""
        account = self._account
        if account is None or account.proposal is None:
            self.say("Nothing is proposed here.")
            return
        if not self.has_keeper():
            return
        if not account.proposal.changes:
            self.say(f"Nothing to accept. {headline(account)}.")
            return
        self.confirm("Accept the proposal", to_confirm(account), partial(self._accept, account))

    def _accept(self, account: DoseAccount) -> None:
        assert account.proposal is not None
        drafts = draft_dose(self.room.model, account.proposal, self.room.now())
        if records := self.record(account.proposal, drafts, "a"):
            self.say(f"Recorded: {'; '.join(record.note for record in records)}. Turn it to that now.")
