"""Overdue: what is late across all systems, the load of the coming days, and putting several off with one cause."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial
from typing import ClassVar

import msgspec
from textual.binding import BindingType
from textual.content import Content

from rounds.core.ahead import DAYS, coming
from rounds.core.calendar import ONE_DAY
from rounds.core.history import History
from rounds.core.items import DueItem
from rounds.core.load import DayLoad, Earlier, Load, levelling, load
from rounds.core.model import IMPORTANCES
from rounds.core.moments import parse_later
from rounds.core.recording import draft_postponed_all
from rounds.core.shifts import covering_at, covers, covers_from, doers_text, own_work
from rounds.core.words import day_name, plain, plural
from rounds.report.overdue import Choice, Overdue, can_be_postponed, chosen, earlier_line, item_line, overdue
from rounds.storage.room import RoomFolder
from rounds.ui.asking import in_turn, record, write_in
from rounds.ui.keymap import OVERDUE, bindings
from rounds.ui.screens.account_screen import AccountScreen
from rounds.ui.screens.room_screen import Tell
from rounds.ui.text import MUTED
from rounds.ui.widgets.late_list import Late, LateList

BAR = 16
"""Columns of the fullest day."""


class OverduePage(AccountScreen):
    """The late ones by importance; beside them the chosen one, or the load of the coming days."""

    ACTIONS = OVERDUE
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(OVERDUE)]
    AUTO_FOCUS = "#late"

    def __init__(self, room: RoomFolder, keeper: str | None) -> None:
        super().__init__(room, keeper)
        self._choice = Choice()
        self._found: Overdue | None = None
        self._load: tuple[Load, list[Earlier]] | None = None
        self._ticked: set[str] = set()
        self._show_load = True

    # -- what is shown -------------------------------------------------------------------------------

    def make_list(self) -> LateList:
        return LateList(id="late")

    def plan(self) -> None:
        super().plan()
        room, now, choice = self.room, self.now, self._choice
        items = room.items(now)
        self._found = room.ask(
            lambda history: overdue(items, now, choice, covering_at(covers(history, now), now)), now, now
        )
        self._ticked &= {item.task.id for item in self._items}
        self.work_out("load", self._work_out, self._worked_out, "The load of the coming days cannot be worked out")

    def _work_out(self, tell: Tell) -> None:
        room, model, now, choice = self.room, self.room.model, self.now, self._choice

        def answer(history: History) -> tuple[Load, list[Earlier]]:
            every = coming(model, history, now, forecasts=room.forecasts(history, now))
            ahead = chosen(every, choice, covers_from(history, now, now + DAYS * ONE_DAY))
            found = load(model, ahead, model.calendar.round_day(now))
            return found, levelling(model, history, now, ahead, found)

        tell(room.ask(answer, now, now))

    def _worked_out(self, found: tuple[Load, list[Earlier]]) -> None:
        self._load = found
        self.draw_chosen()

    @property
    def _items(self) -> Sequence[DueItem]:
        """The rows: what should have been put back, what is late, what would be were it in service."""
        found = self._found
        return (*found.off_normal, *found.items, *found.out_of_service) if found is not None else ()

    def draw(self) -> None:
        super().draw()
        covering = self._found.covering if self._found is not None else own_work
        late = [Late(item, doers_text(item.task, covering), item.task.id in self._ticked) for item in self._items]
        self.query_one(LateList).show(self.room.model, late, self.now, self.place)
        self.show_head(self._head_parts())
        self.draw_chosen()

    def _head_parts(self) -> Iterator[tuple[str, str]]:
        yield "Overdue  ", "bold"
        late = [item for item in self._items if item.out_of_service is None]
        if not late:
            yield "nothing is late  ", ""
        for importance in IMPORTANCES:
            if number := sum(1 for item in late if item.task.importance == importance):
                yield f"{number} {importance}  ", "bold $text-error" if importance in IMPORTANCES[:2] else ""
        choice = self._choice
        only = [each for each in (choice.system, choice.keeper, choice.importance) if each is not None]
        if only:
            yield f"only {', '.join(plain(each) for each in only)}  ", "$text-warning"
        if self._ticked:
            yield f"{len(self._ticked)} ticked  ", "$text-accent"

    def told(self) -> Content:
        """The load of the coming days, or the row that the pointer is on."""
        return Content("\n").join(self._load_lines() if self._show_load else self._item_lines())

    def _item_lines(self) -> Iterator[Content]:
        item, found = self.chosen, self._found
        if item is None or found is None:
            return
        from rounds.core.why import why

        yield Content.styled(plain(item.task.title), "bold $text-accent")
        yield Content(item_line(self.room.model, item, self.now, found.covering))
        yield Content.styled(why(self.room.model, item, self.now), MUTED)

    def _load_lines(self) -> Iterator[Content]:
        if self._load is None:
            yield Content.styled("The load is being worked out …", MUTED)
            return
        found, earlier = self._load
        yield Content.styled("Load of the coming days, minutes", "bold")
        most = max((day.minutes for day in found.days), default=0)
        for day in found.days:
            yield _day_line(day, most)
        yield Content.styled(f"Too full above {found.limit}: {plain(found.because)}.", MUTED)
        for each in earlier:
            yield Content("")
            yield Content.assemble(("Could be done earlier  ", "bold"), earlier_line(self.room.model, each))
            yield Content.styled(plain(each.why), MUTED)

    # -- moving and choosing -----------------------------------------------------------------------------

    @property
    def ids(self) -> list[str]:
        return [item.task.id for item in self._items]

    def open_chosen(self) -> None:
        self.action_jump()

    @property
    def chosen(self) -> DueItem | None:
        items = self._items
        return items[self.place] if items else None

    def action_tick(self) -> None:
        if (item := self.chosen) is not None:
            self._ticked ^= {item.task.id}
            self.go(self.place + 1)
            self.draw()

    def action_load(self) -> None:
        self._show_load = not self._show_load
        self.draw_chosen()

    def action_system(self) -> None:
        self._only(system=_following(self._choice.system, tuple(self.room.model.system)))

    def action_of_keeper(self) -> None:
        keepers = tuple(keeper.initials for keeper in self.room.model.keepers)
        self._only(keeper=_following(self._choice.keeper, keepers))

    def action_importance(self) -> None:
        self._only(importance=_following(self._choice.importance, IMPORTANCES))

    def _only(self, **choice: str | None) -> None:
        self._choice = msgspec.structs.replace(self._choice, **choice)
        self.plan()
        self.draw()

    # -- what can be done ------------------------------------------------------------------------------

    def action_jump(self) -> None:
        """Back to the walk, onto this row."""
        from rounds.ui.screens.walk import Walk

        item = self.chosen
        walk = next((screen for screen in self.app.screen_stack if isinstance(screen, Walk)), None)
        if item is not None and walk is not None:
            walk.stand_on(item)
        self.dismiss()

    def action_postpone(self) -> None:
        items = [item for item in self._items if item.task.id in self._ticked] or [
            item for item in (self.chosen,) if item is not None
        ]
        items = [item for item in items if can_be_postponed(item)]
        if not items:
            self.say("Nothing here can be postponed; what is off normal is extended among the concerns.")
            return
        in_turn(self, partial(self._postpone, items))

    async def _postpone(self, items: Sequence[DueItem]) -> None:
        room, calendar = self.room, self.room.model.calendar
        what = plain(items[0].task.title) if len(items) == 1 else plural(len(items), "task")
        until = await write_in(
            self,
            f"Put off until when? {what}",
            ("2 hours", "tomorrow", "2 days"),
            'a time, "tomorrow" or "2 hours"',
            lambda text: parse_later(text, calendar, room.now()),
        )

        def read(text: str) -> str:
            draft_postponed_all(room.model, items, until, room.now(), text)
            return text

        cause = await write_in(self, "Why? One cause for all of them", (), "a few words", read)
        drafts = draft_postponed_all(room.model, items, until, room.now(), cause)
        await record(self, "Put off", drafts)
        self._ticked.clear()
        remarks = list(dict.fromkeys(remark for draft in drafts for remark in draft.remarks))
        self.say("; ".join([f"{plural(len(drafts), 'task')} put off: {plain(cause)}", *remarks]))
        self.draw()


def _following(now: str | None, choices: Sequence[str]) -> str | None:
    """The choice after this one; after the last all again."""
    every = (None, *choices)
    return every[(every.index(now) + 1) % len(every)] if now in every else None


def _day_line(day: DayLoad, most: int) -> Content:
    bar = "█" * round(BAR * day.minutes / most) if most else ""
    style = "bold $text-warning" if day.too_full else ""
    full = "  too full" if day.too_full else ""
    return Content.assemble(
        f"{day_name(day.day):<11}", (f"{day.minutes:>4} ", style), (f"{bar:<{BAR}}", "$text-secondary"), (full, style)
    )
