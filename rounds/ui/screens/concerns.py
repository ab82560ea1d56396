"""Concerns: what is kept an eye on, what is off normal and the protocols under way, each followed to its end."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Any, ClassVar

from textual.binding import BindingType
from textual.content import Content

from rounds.core.concerns import Concern
from rounds.core.off_normal import OffNormal
from rounds.core.protocols import Running
from rounds.core.words import plain, plural
from rounds.report.watch import NOW, Watched, account, in_seconds, watched
from rounds.storage import device
from rounds.storage.room import RoomFolder
from rounds.ui import following
from rounds.ui.alerts import bell_wanted
from rounds.ui.asking import in_turn
from rounds.ui.keymap import CONCERNS, bindings
from rounds.ui.screens.account_screen import AccountScreen
from rounds.ui.text import MUTED
from rounds.ui.widgets.watch_list import STYLES, WatchList


class Concerns(AccountScreen):
    """Everything that is followed until it ends."""

    ACTIONS = CONCERNS
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(CONCERNS)]
    AUTO_FOCUS = "#watched"

    def __init__(self, room: RoomFolder, keeper: str | None, place: following.Place) -> None:
        """`place`: where the keeper stands, and something new is."""
        super().__init__(room, keeper)
        self._rows: list[Watched] = []
        self._place = place

    # -- what is shown -------------------------------------------------------------------------------

    def make_list(self) -> WatchList:
        return WatchList(id="watched")

    def plan(self) -> None:
        super().plan()
        room, now = self.room, self.now
        self._rows = room.ask(lambda history: watched(room.model, history, now), now, now)

    def draw(self) -> None:
        super().draw()
        self._draw_rows()
        self.draw_chosen()

    def _draw_rows(self) -> None:
        self.query_one(WatchList).show(self._rows, self.place)
        self.show_head(self._head_parts())

    def count_down(self) -> None:
        """Rows that count seconds go on with the alerts of the same."""
        super().count_down()
        now = self.room.now()
        if any(in_seconds(row, now) for row in self._rows):
            self.plan()
            self._draw_rows()
            self.account.show(self.told(), stay=True)

    def _head_parts(self) -> Iterator[tuple[str, str]]:
        yield "Concerns and off normal  ", "bold"
        if not self._rows:
            yield "nothing is open", ""
        if pressing := sum(1 for row in self._rows if row.urgency == NOW):
            yield f"▲ {pressing} now  ", STYLES[NOW]
        for kind, what in ((OffNormal, "off normal"), (Concern, "concern"), (Running, "protocol")):
            if number := sum(1 for row in self._rows if isinstance(row.of, kind)):
                yield f"{number} {what}  " if kind is OffNormal else f"{plural(number, what)}  ", ""

    def told(self) -> Content:
        row = self.chosen
        return Content("\n").join(self._told(row)) if row is not None else Content("")

    def _told(self, row: Watched) -> Iterator[Content]:
        yield Content.styled(row.title, "bold $text-accent")
        yield Content.styled(row.place, MUTED)
        for heading, text in account(self.room.model, row, self.now):
            yield Content.assemble((f"{heading}  ", "bold"), plain(text))

    @property
    def ids(self) -> list[str]:
        return [row.id for row in self._rows]

    @property
    def chosen(self) -> Watched | None:
        return self._rows[self.place] if self._rows else None

    # -- what can be done ------------------------------------------------------------------------------

    def _about(self, kind: type[Any], otherwise: str, asking: Any) -> None:
        """Ask about the chosen row where it is of this kind."""
        row = self.chosen
        if row is None or not isinstance(row.of, kind):
            self.say(otherwise)
        else:
            in_turn(self, partial(asking, self, row.of))

    def open_chosen(self) -> None:
        self.action_go_on()

    def action_go_on(self) -> None:
        """Put back what is off normal; say what is seen of a concern."""
        row = self.chosen
        if row is None:
            return
        if isinstance(row.of, Running):
            self.say("The steps of a protocol are done in the walk; s stops it.")
        elif isinstance(row.of, OffNormal):
            in_turn(self, partial(following.put_back, self, row.of))
        else:
            in_turn(self, partial(following.update_concern, self, row.of))

    def action_extend(self) -> None:
        self._about(OffNormal, "Only what is off normal has a time to be put back by.", following.extend)

    def action_close(self) -> None:
        self._about(Concern, "Only a concern is closed; something off normal is put back.", following.close_concern)

    def action_stop(self) -> None:
        self._about(Running, "Only a protocol is stopped.", following.stop_protocol)

    def action_concern(self) -> None:
        in_turn(self, partial(following.open_concern, self, self._place))

    def action_off_normal(self) -> None:
        in_turn(self, partial(following.leave_off_normal, self, self._place))

    def action_protocol(self) -> None:
        in_turn(self, partial(following.call_protocol, self, self._place))

    def action_bell(self) -> None:
        wanted = not bell_wanted()
        device.remember(bell=wanted)
        self.say("The terminal rings once when something has passed its time." if wanted else "The bell is off.")
