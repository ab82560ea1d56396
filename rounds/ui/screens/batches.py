"""What stands here: the batches of a station or of the room, with their counts, isolation and past."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from typing import Any, ClassVar

from textual.binding import BindingType
from textual.content import Content

from rounds.core.batches import Batch, Place
from rounds.core.record import Record
from rounds.core.walk import place_name
from rounds.core.words import plain, plural
from rounds.report.batches import Row, account, batch_title, isolation_text, rows
from rounds.storage.room import RoomFolder
from rounds.ui import standing
from rounds.ui.asking import in_turn
from rounds.ui.keymap import BATCHES, bindings
from rounds.ui.screens.account_screen import AccountScreen
from rounds.ui.screens.room_screen import RoomScreen, Tell
from rounds.ui.text import MUTED
from rounds.ui.widgets.batch_list import BatchList


class Batches(AccountScreen):
    """What stands where the keeper stands, or anywhere."""

    ACTIONS = BATCHES
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(BATCHES)]
    AUTO_FOCUS = "#batches"

    def __init__(self, room: RoomFolder, keeper: str | None, place: Place) -> None:
        """`place`: where the keeper stands."""
        super().__init__(room, keeper)
        self._place = place
        self._everywhere = False
        self._rows: list[Row] = []
        self._seen: list[Record] = []
        """What was recorded where the chosen batch has stood, as far as it was read."""
        self._seen_of = ""

    # -- what is shown -------------------------------------------------------------------------------

    def make_list(self) -> BatchList:
        return BatchList(id="batches")

    def plan(self) -> None:
        super().plan()
        room, now = self.room, self.now
        place = None if self._everywhere else self._place
        self._rows = room.ask(lambda history: rows(room.model, history, now, place), now, now)
        self._seen_of = ""

    def draw(self) -> None:
        super().draw()
        self.query_one(BatchList).show(self._rows, self.place)
        self.show_head(self._head_parts(), self._isolations())
        self.draw_chosen()

    def _head_parts(self) -> Iterator[tuple[str, str]]:
        where = "The whole room" if self._everywhere else place_name(self.room.model, *self._place)
        yield f"{where}  ", "bold"
        if self._rows:
            animals, many = sum(row.batch.count for row in self._rows), len(self._rows)
            yield f"{plural(animals, 'animal')} in {many} {'batch' if many == 1 else 'batches'}", ""
        else:
            yield "nothing stands here", ""

    def _isolations(self) -> str:
        """Of every water in which something stands that is shown, and stays apart."""
        model, now = self.room.model, self.now
        clocks = {row.clock.water.id: row.clock for row in self._rows if row.clock is not None}
        return "  ".join(f"{plain(each.water.name)}: {isolation_text(model, each, now)}" for each in clocks.values())

    def draw_chosen(self) -> None:
        """Its account at once, and what was seen of it when that is read."""
        row = self.chosen
        if row is not None and row.batch.id != self._seen_of:
            self._seen_of, self._seen = row.batch.id, []
            systems = {stay.place[0] for stay in row.batch.stays}
            self.work_out("past", partial(self._read, systems), self._was_read, "What was seen of it cannot be read")
        super().draw_chosen()

    def _read(self, systems: set[str], tell: Tell) -> None:
        """Runs in a thread of its own: the past of a large room takes its time."""
        tell([record for system in systems for record in self.room.standing_of(system) if record.words])

    def _was_read(self, records: list[Record]) -> None:
        self._seen = records
        super().draw_chosen()

    def told(self) -> Content:
        row = self.chosen
        return Content("\n").join(self._told(row)) if row is not None else Content("")

    def _told(self, row: Row) -> Iterator[Content]:
        yield Content.styled(batch_title(row.batch), "bold $text-accent")
        yield Content.styled(row.place, MUTED)
        room, now = self.room, self.now
        told = room.ask(lambda history: [*account(room.model, history, row, self._seen, now)], now, now)
        for heading, text in told:
            yield Content.assemble((f"{heading}  ", "bold"), plain(text))

    @property
    def ids(self) -> list[str]:
        return [row.batch.id for row in self._rows]

    @property
    def chosen(self) -> Row | None:
        return self._rows[self.place] if self._rows else None

    def action_everywhere(self) -> None:
        self._everywhere = not self._everywhere
        self.plan()
        self.draw()

    # -- what can be done ------------------------------------------------------------------------------

    def action_add(self) -> None:
        in_turn(self, partial(standing.add, self, self._place))

    def _about(self, asking: Callable[[RoomScreen, Batch], Any]) -> None:
        row = self.chosen
        if row is None:
            self.say("Nothing stands here yet; a adds a batch.")
        else:
            in_turn(self, partial(asking, self, row.batch))

    def open_chosen(self) -> None:
        self.action_count()

    def action_count(self) -> None:
        self._about(standing.count)

    def action_move(self) -> None:
        self._about(standing.move)

    def action_split(self) -> None:
        self._about(standing.split)

    def action_combine(self) -> None:
        self._about(standing.combine)

    def action_close(self) -> None:
        self._about(standing.close)

    def action_note(self) -> None:
        self._about(standing.note)

    def action_find(self) -> None:
        self._about(standing.find)

    def action_history(self) -> None:
        row = self.chosen
        place = row.batch.place if row is not None else self._place
        self.show_history(place_name(self.room.model, *place), station=place)
