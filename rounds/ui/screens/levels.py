"""Levels: what runs out first, and recording levels and refills where they are looked at."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import partial
from typing import ClassVar

from textual.binding import BindingType
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widget import Widget

from rounds.core.history import History
from rounds.core.items import LATER as NOT_YET
from rounds.core.items import DueItem
from rounds.core.log import Incomplete
from rounds.core.words import plain
from rounds.report.levels import NOW, TODAY, evaporation_text, system_name, urgency, when_text
from rounds.report.reservoirs import (
    LevelAccount,
    bearing_on_levels,
    course,
    gauge,
    level_accounts,
    level_lines,
    plumbing_text,
    reckoned_text,
    warnings_text,
)
from rounds.storage.room import RoomFolder
from rounds.ui.keymap import LEVELS, bindings
from rounds.ui.screens.list_screen import ListScreen
from rounds.ui.screens.room_screen import Tell
from rounds.ui.text import MUTED
from rounds.ui.widgets.details import Details
from rounds.ui.widgets.entry_line import EntryLine
from rounds.ui.widgets.level_list import GAUGE, SHAPES, STYLES, LevelList, headings


class Levels(ListScreen):
    """All reservoirs."""

    ACTIONS = LEVELS
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(LEVELS)]
    AUTO_FOCUS = "#levels"

    def __init__(self, room: RoomFolder, keeper: str | None) -> None:
        super().__init__(room, keeper)
        self._accounts: list[LevelAccount] | None = None
        """None: not worked out yet."""
        self._to_record = "level"

    # -- what is shown -------------------------------------------------------------------------------

    def body(self) -> Iterable[Widget]:
        self.entry_line = EntryLine()
        yield Horizontal(
            Vertical(LevelList(id="levels"), self.entry_line, id="levels-side"),
            Details(id="reservoir"),
            id="levels-body",
        )

    def on_resize(self) -> None:
        self.fold()
        self.draw()

    @property
    def listed(self) -> LevelList:
        return self.query_one(LevelList)

    @property
    def ids(self) -> list[str]:
        return [account.tank.id for account in self._accounts or ()]

    @property
    def account(self) -> LevelAccount | None:
        """The reservoir that the pointer is on."""
        return self._accounts[self.place] if self._accounts else None

    def draw(self) -> None:
        super().draw()
        listed = self.listed
        listed.show(self.room.model, self._accounts or (), self.now, self.place, two=self.wide)
        self.show_head(self._head_parts(), below=headings(listed.scrollable_content_region.width))
        self.draw_chosen()

    def _head_parts(self) -> Iterator[tuple[str, str]]:
        yield "Levels  ", "bold"
        found = self._accounts
        if found is None:
            yield "being worked out …", MUTED
            return
        if not found:
            yield "none in this room yet: add one in set-up", ""
        soon = [urgency(self.room.model, account.level, self.now) for account in found]
        for state, words in ((NOW, "now"), (TODAY, "today")):
            if number := soon.count(state):
                yield f"{SHAPES[state]} {number} {words}  ", STYLES[state]
        if number := sum(1 for account in found if account.level.abnormal):
            yield f"! {number} out of the ordinary  ", "bold $text-warning"

    def draw_chosen(self) -> None:
        account = self.account
        shown = Content("\n").join(self._told(account)) if account is not None else Content("")
        self.query_one("#reservoir", Details).show(shown)

    def _told(self, account: LevelAccount) -> Iterator[Content]:
        """What is out of the ordinary first, then when it runs low and why, what to beware of, and its levels."""
        model, each, tank, now = self.room.model, account.level, account.tank, self.now
        station = model.stations.get((tank.system, tank.station))
        where = [system_name(model, tank.system), *([plain(station.name)] if station is not None else []), tank.kind]
        yield Content.assemble((plain(tank.name), "bold $text-accent"), (f"  {', '.join(where)}", MUTED))

        def said(heading: str, text: str, style: str = "") -> Content:
            return Content.assemble((f"{heading}  ", "bold"), (text, style))

        if each.abnormal:
            yield said("! Out of the ordinary", plain(each.abnormal), "bold $text-warning")
        when = when_text(model, each, now)
        ends = "it is full" if tank.kind == "waste" else "nothing more can be drawn"
        end = f"; {each.days_to_end:.1f} days until {ends}" if each.days_to_end else ""
        yield said("When", f"{when}{end}.", STYLES[urgency(model, each, now)])
        bar = f"{gauge(each, GAUGE)}  " if each.level is not None else ""
        yield Content.assemble(("Now  ", "bold"), (bar, "$text-secondary"), f"{reckoned_text(model, each, now)}.")
        yield said("Use", plain(each.basis))
        for warning in warnings_text(account):
            yield said("!", warning[:1].upper() + warning[1:] + ".", "$text-warning")
        if each.full_at_once is not None:
            yield said(
                "Full at once", f"All of a full container let in at once takes salinity to {each.full_at_once:.1f}."
            )
        if account.fresh is not None:
            heading = "Evaporation" if len(account.fresh.sources) == 1 else "Evaporation of the system"
            yield said(heading, f"{evaporation_text(model, account.fresh)}.")
        if plumbing := plumbing_text(model, account):
            yield said("Plumbing", f"{plumbing[:1].upper()}{plumbing[1:]}.")
        blocks, refills, days = course(model, account, now)
        if blocks:
            yield Content("")
            marks = f"\n{refills}" if refills else ""
            yield Content.assemble((f"Levels of {days} days", "bold"), f"\n{blocks}", (marks, MUTED))
            yield Content("\n".join(level_lines(model, account, now)))

    # -- what is worked out ----------------------------------------------------------------------------

    def plan(self) -> None:
        super().plan()
        known = self.room.history.part(bearing_on_levels(self.room.model))
        self.work_out("levels", partial(self._work_out, known), self._worked_out, "The levels cannot be worked out")

    def _work_out(self, known: History, tell: Tell) -> None:
        """Runs in a thread of its own; what was kept at hand answers, else the archive."""
        model, now = self.room.model, self.now
        try:
            found = level_accounts(model, known, now)
        except Incomplete:
            records = self.room.standing_records(bearing_on_levels(model))
            found = level_accounts(model, History(records), now)
        tell(found)

    def _worked_out(self, accounts: list[LevelAccount]) -> None:
        self._accounts = accounts
        self.draw()

    def pass_time(self) -> None:
        """What is left is reckoned to the minute."""
        self.plan()

    # -- moving ----------------------------------------------------------------------------------------

    def action_page_down(self) -> None:
        self.query_one("#reservoir", Details).turn(1)

    def action_page_up(self) -> None:
        self.query_one("#reservoir", Details).turn(-1)

    # -- recording and what else there is to see ---------------------------------------------------------

    @property
    def current(self) -> DueItem | None:
        """The level or the refill of the chosen reservoir, whether it is due or not."""
        account = self.account
        if account is None:
            return None
        return DueItem(task=self.room.task(f"{account.tank.id}-{self._to_record}"), state=NOT_YET, in_round=False)

    def open_chosen(self) -> None:
        self.action_level()

    def action_level(self) -> None:
        self._record("level")

    def action_refill(self) -> None:
        self._record("refill")

    def _record(self, what: str) -> None:
        if self.account is not None:
            self.choose(self.account.tank.id)  # it stays chosen when its place in the list changes
            self._to_record = what
            self.recorder.do()

    def action_history(self) -> None:
        self._show_history_of("level")

    def action_refill_history(self) -> None:
        self._show_history_of("refill")

    def _show_history_of(self, what: str) -> None:
        if (account := self.account) is not None:
            title = f"{account.tank.name}, {what}, {self.room.model.system[account.tank.system].name}"
            self.show_history(title, task=f"{account.tank.id}-{what}")

    def action_valve(self) -> None:
        from rounds.ui.asking import in_turn
        from rounds.ui.valves import turn_valve

        in_turn(self, partial(turn_valve, self, self.account.tank.system if self.account is not None else ""))

    def action_doses(self) -> None:
        from rounds.ui.screens.doses import Doses

        start = self.account.tank.system if self.account is not None else ""
        self.app.push_screen(Doses(self.room, self.keeper, start))

    def action_prompts(self) -> None:
        from rounds.ui.screens.prompts import Prompts

        self.app.push_screen(Prompts(self.room, self.keeper))
