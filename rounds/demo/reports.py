"""What the demo keepers sign: the program's own report of a shift, and its review of a month."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import date, datetime

from rounds.core.calendar import ONE_DAY
from rounds.core.handovers import SHIFT, Handover, draft_accepted, draft_handover, draft_review
from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.record import STRIKE, Point, Record
from rounds.core.recording import Draft
from rounds.core.shifts import duty_at
from rounds.report.handover_sections import shift_report
from rounds.report.past import Past, pasts_in
from rounds.report.review import day_points, parse_period, review
from rounds.water.refills import Refills


class Reports:
    """Drafts over the history as it stands."""

    def __init__(self, room: Room, history: History) -> None:
        self._room = room
        self._history = history
        self._refills = Refills()
        self._last: Handover | None = None
        """The handover that was signed last."""

    def handover(self, shift: str, at: datetime, note: str, *, whole: bool) -> Draft:
        """The handover of a shift, with its `whole` report or without lines."""
        points: tuple[Point, ...] = ()
        if whole:
            room, history = self._room, self._history
            forecasts = self._refills.forecasts(room, history, at)
            duty = duty_at(room, at, shift)
            points = shift_report(
                room, history, at, duty, SHIFT, forecasts, self._pasts().__getitem__, self._last
            ).points
        return draft_handover(self._room, shift, SHIFT, points, at, note)

    def signed(self, handover: Handover) -> None:
        """Remember what was signed, or accepted, last."""
        self._last = handover

    @property
    def last(self) -> Handover | None:
        return self._last

    def accepted(self, asks: Mapping[str, str], by: str, at: datetime, note: str) -> Draft:
        """The acceptance of what was signed last."""
        assert self._last is not None
        return draft_accepted(self._room, self._last, asks, by, at, note)

    def review_of_month(self, day: date, at: datetime, note: str) -> Draft:
        """The review of the month before `day`."""
        month = (day.replace(day=1) - ONE_DAY).strftime("%Y-%m")
        period = parse_period(month, self._room.calendar, at)
        return draft_review(day_points(self._room, review(self._room, self._history, period, at)), at, note)

    def _pasts(self) -> dict[str, Past]:
        struck = self._history.struck
        standing: dict[str, list[Record]] = defaultdict(list)
        for record in self._history:
            if record.kind != STRIKE and record.id not in struck:
                standing[record.system or ""].append(record)
        return pasts_in(self._room, standing)
