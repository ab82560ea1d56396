"""The demo room's past, told day by day: the planner says what is due, the keepers do it, the water answers."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator
from datetime import date, datetime, time, timedelta
from functools import partial
from heapq import heappop, heappush
from random import Random
from typing import TypeVar

from rounds.core.due import fine_until, occurrences_of
from rounds.core.durations import Span
from rounds.core.handovers import Handover
from rounds.core.history import History
from rounds.core.items import OPEN_STATES
from rounds.core.model import AgainAfter, OnDates, Room, Task
from rounds.core.plan import items_of
from rounds.core.record import DONE, NOT_NEEDED, POSTPONED, READING, REFILL, Record
from rounds.core.shifts import draft_cover
from rounds.demo.animals import Animals
from rounds.demo.keepers import EARLY, LATE, Keepers, Planned, ToDo
from rounds.demo.recipe import BatchStep, Cover, Event, LightStep, Recipe, Stocktaking, Told
from rounds.demo.reports import Reports
from rounds.demo.shelf import draft_stock
from rounds.demo.water import BARREL, SOLUTIONS, VAT, Clock, Water
from rounds.demo.writing import Writer

_MINUTE = timedelta(minutes=1)
_NEAR = timedelta(hours=1)
"""An event this near to a timed task's due time took its place."""

_MEASURED = 6 * _MINUTE
"""After a step of the light the racks are measured."""

Action = Callable[[datetime], object]
S = TypeVar("S", bound=Told)


def tell(room: Room, recipe: Recipe, opened: date) -> Iterator[Record]:
    """Every record from the first to the end of the opening day, in the order of `at` within each day.

    `opened` is the round day of the opening; nothing else decides what comes out.
    """
    yield from _Story(room, recipe, opened).run()


class _Story:
    def __init__(self, room: Room, recipe: Recipe, opened: date) -> None:
        rng = Random(f"coral rounds, demo room, {opened.isoformat()}")
        self._room = room
        self._recipe = recipe
        self._rng = rng
        self._clock = Clock(room.calendar, opened)
        self._keepers = Keepers(room, recipe, self._clock, rng)
        self._water = Water(recipe, self._clock, rng)
        self._writer = Writer(room, recipe, self._clock, rng)
        self._history = History()
        self._animals = Animals(room, self._history, self._writer)
        self._actions: list[tuple[datetime, int, Action]] = []
        self._counter = 0
        self._found: list[Record] = []
        self._reports = Reports(room, self._history)
        self._remarks = {(each.task, each.day): each.note for each in recipe.remarks}
        self._events: dict[int, list[Event]] = defaultdict(list)
        for event in recipe.events:
            for number in range(event.day, (event.through if event.through is not None else event.day) + 1):
                self._events[number].append(event)
        self._special = {(each.day, each.shift, each.accepted): each for each in recipe.handover.special}
        self._asleep: dict[str, tuple[int, datetime]] = {}
        """By task: the version of its records and the beginning of the round day on which it comes due."""
        self._batches: set[int] = set()
        """Days on which a batch of salt water is ready."""

    def run(self) -> Iterator[Record]:
        self._earlier()
        yield from self._taken()
        for number in range(-self._recipe.days, 1):
            self._day(number)
            yield from self._taken()

    def _taken(self) -> list[Record]:
        found, self._found = self._found, []
        return found

    def _keep(self, record: Record) -> Record:
        self._history.add(record)
        self._found.append(record)
        return record

    # -- before the sheets begin -------------------------------------------------------------------

    def _earlier(self) -> None:
        """What stands there, and the last closing of all that counts from it, so that nothing begins years late."""
        for told in self._recipe.batches:
            if told.day < -self._recipe.days:
                self._with_animals(told, self._clock.at(told.day, told.at))
        for task in self._room.tasks.values():
            if isinstance(task.rule, AgainAfter):
                self._closed_before(task, task.rule.span)

    def _closed_before(self, task: Task, span: Span) -> None:
        """The last closing of a task that counts from it."""
        day = self._last_day(task.id, span)
        number = (day - self._clock.opened).days
        shift = task.shift.name if task.shift is not None else EARLY
        wall = time(9 if shift == EARLY else 14, self._rng.randrange(60), self._rng.randrange(60))
        at = self._room.calendar.wall(day, wall)
        by = self._keepers.on(number, shift)
        if not task.by_value:
            self._keep(self._writer.about(task, DONE, at, by))
        elif task.source == "reading":
            values = (self._writer.measured(self._water, task.takes[0], at),)
            self._keep(self._writer.about(task, READING, at, by, values=values))

    def _last_day(self, task: str, span: Span) -> date:
        """As the recipe has it, else whole intervals before its anchor, else within an interval of the beginning."""
        number, anchor = self._recipe.earlier.get(task), self._recipe.anchors.get(task)
        first = self._clock.day(-self._recipe.days)
        if number is not None:
            return self._clock.day(number)
        if anchor is None:
            return first - timedelta(days=self._rng.randint(1, max(1, span.nominal.days)))
        day = self._clock.day(anchor)
        while day >= first:
            day = _before(day, span)
        return day

    # -- one day -----------------------------------------------------------------------------------

    def _day(self, number: int) -> None:
        self._water.new_day()
        today = self._clock.day(number)
        begin = self._room.calendar.start(today)
        items = [item for item in self._items(number, begin) if not self._replaced(number, item)]
        planned, left = self._keepers.plan(number, items)
        for each in planned:
            self._at(each.at, partial(self._work, number, each))
        self._put_off(number, left)
        for event in self._events[number]:
            self._at(self._clock.at(number, event.at), partial(self._happening, number, event))
        self._steps(number)
        self._valve(number)
        self._fillings(today)
        if number in self._batches:
            at = self._clock.at(number, "14:05") + self._rng.uniform(0, 90) * _MINUTE
            self._at(at, partial(self._batch_ready, number))
        self._handover(number)
        self._covers(number)
        self._review(number)
        while self._actions:
            at, _, action = heappop(self._actions)
            self._water.advance(at)
            action(at)
        self._water.advance(self._room.calendar.end(today))

    def _at(self, at: datetime, action: Action) -> None:
        self._counter += 1
        heappush(self._actions, (at, self._counter, action))

    def _items(self, number: int, begin: datetime) -> Iterator[ToDo]:
        """What the planner says of this day when it begins.

        A task whose records have not changed is not asked for again before it comes due, and of what is fixed in the
        calendar and not made up every occurrence of the day is to come.
        """
        today = self._clock.day(number)
        for task in self._room.tasks.values():
            version, sleeps_until = self._asleep.get(task.id, (-1, begin))
            known = self._history.version(task.id)
            if self._held(number, task) or (version == known and begin < sleeps_until):
                continue
            if isinstance(task.rule, OnDates) and not task.make_up:
                for each in occurrences_of(self._room, task).on(today):
                    yield ToDo(task, each.due, fine_until(self._room, task, each.due, today, each.gap))
                continue
            for item in items_of(self._room, self._history, task, begin, today):
                if item.state not in OPEN_STATES or item.due_at is None or item.fine_until is None:
                    continue
                if item.in_round:
                    yield ToDo(task, item.due_at, item.fine_until)
                elif isinstance(task.rule, AgainAfter):
                    day = self._room.calendar.round_day(item.due_at)
                    self._asleep[task.id] = (known, self._room.calendar.start(day))

    def _held(self, number: int, task: Task) -> bool:
        """Whether nobody does the task on this day, due or not.

        Counted in months a task comes round up to three days before its anchor, where a month is shorter; it waits.
        """
        last = self._recipe.held.get(task.id, number)
        anchor = self._recipe.anchors.get(task.id, number)
        months = isinstance(task.rule, AgainAfter) and task.rule.span.unit == "months"
        return number > last or (months and 0 < anchor - number <= 3)

    def _replaced(self, number: int, item: ToDo) -> bool:
        """Whether the recipe has its own account of the item: nobody did it, or an event stands for it."""
        for skipped in self._recipe.skipped:
            if skipped.task == item.task.id and self._clock.at(skipped.day, skipped.at) == item.due:
                return True
        return any(
            event.task == item.task.id
            and event.kind in (DONE, NOT_NEEDED, READING)
            and (isinstance(item.task.rule, AgainAfter) or abs(self._clock.at(number, event.at) - item.due) < _NEAR)
            for event in self._events[number]
        )

    # -- work --------------------------------------------------------------------------------------

    def _work(self, number: int, planned: Planned, at: datetime) -> None:
        task = planned.task
        note = self._remarks.get((task.id, number)) or self._small_remark(number, task)
        if task.source == "reading" and self._nothing_to_read(task, at):
            reason = self._water.series(task.takes[0]).not_needed
            self._keep(self._writer.about(task, NOT_NEEDED, at, planned.by, reason=reason))
            return
        values = tuple(self._writer.measured(self._water, reading, at) for reading in task.takes)
        kind = READING if task.by_value else DONE
        late = number < -1 and self._rng.random() < self._recipe.habits.written_later
        self._keep(self._writer.about(task, kind, at, planned.by, values=values, note=note, late=late))
        self._follow(task, at, planned.by)

    def _small_remark(self, number: int, task: Task) -> str:
        pool = self._recipe.notes.get(task.id)
        if not pool or self._rng.random() >= self._recipe.habits.remark:
            return ""
        return self._rng.choice(pool)

    def _nothing_to_read(self, task: Task, at: datetime) -> bool:
        series = self._water.series(task.takes[0])
        return bool(series.not_needed) and self._water.truth(series.reading, at) < series.read_to

    def _follow(self, task: Task, at: datetime, by: str) -> None:
        """What the work does to the water, and the refill that a low reading asks for."""
        if task.id == "nursery/water-change":
            self._water.change_nursery()
        litres = self._recipe.draws.get(task.id)
        if litres is not None:
            self._water.draw(VAT, litres)
        if task.source == "level":
            reservoir = task.id.removesuffix("-level")
            if self._water.wants_refill(reservoir):
                self._at(at + self._rng.uniform(12, 70) * _MINUTE, partial(self._refill, reservoir, by))

    def _refill(self, reservoir: str, by: str, at: datetime) -> None:
        spec = self._water.wants_refill(reservoir)
        if spec is None or spec.refill_to is None:
            return
        tank = self._room.reservoirs[reservoir]
        note = ""
        if reservoir == VAT:
            note = "salt in, mixing: not before tomorrow"
            self._batches.add(round(self._clock.number(at)) + 1)
        to, valve = spec.refill_to, self._recipe.nursery.valve
        if reservoir == BARREL and self._clock.number(at) > valve.open_again:
            to = valve.refill_to
        self._water.refill(reservoir, to * self._rng.uniform(0.985, 1.0), tank.fed_by)
        self._write_refill(reservoir, at, by, note)

    def _write_refill(self, reservoir: str, at: datetime, by: str, note: str) -> None:
        task = self._room.tasks[f"{reservoir}-refill"]
        value = self._writer.measured(self._water, f"{reservoir}-level", at)
        self._keep(self._writer.about(task, REFILL, at, by, values=(value,), note=note))

    def _batch_ready(self, number: int, at: datetime) -> None:
        note = f"{self._rng.gauss(35.1, 0.06):.1f} PSU, 25.0 °C, 8.6 dKH: ready"
        task = self._room.tasks["room/batch"]
        self._keep(self._writer.about(task, DONE, at, self._keepers.on(number, LATE), note=note))

    def _fillings(self, today: date) -> None:
        for filled, reservoir, _ in self._water.fillings:
            if self._room.calendar.round_day(filled) == today:
                self._at(filled + _MINUTE, partial(self._solution_filled, reservoir))

    def _solution_filled(self, reservoir: str, at: datetime) -> None:
        by = self._keepers.on(round(self._clock.number(at)), EARLY)
        strength = self._recipe.nursery.dose_meq_per_ml
        what = "alkalinity" if reservoir == SOLUTIONS[0] else "calcium"
        self._write_refill(reservoir, at, by, f"new batch {what}, {strength:.1f} meq/mL, label written")

    # -- what the recipe tells -----------------------------------------------------------------------

    def _happening(self, number: int, event: Event, at: datetime) -> None:
        at += timedelta(seconds=self._writer.random(aside=event.step > 0).randrange(60))
        by = self._keepers.who(number, event.by)
        record = self._keep(self._writer.event(self._water, event, number, at, by))
        if event.kind == REFILL:
            level = record.values[0].value
            assert level is not None
            reservoir = event.task.removesuffix("-refill")
            self._water.refill(reservoir, level, self._room.reservoirs[reservoir].fed_by)
        elif event.kind in (DONE, READING) and event.task:
            self._follow(self._room.tasks[event.task], at, by)

    def _steps(self, number: int) -> None:
        """Steps of light, instruments and feed, and what happens to stock and batches, that fall on the day."""
        recipe = self._recipe
        for light in recipe.light_steps:
            self._step(number, light, self._lit)
        for instrument in recipe.instrument_steps:
            self._step(number, instrument, partial(self._writer.instrument_step, self._water))
        for feed in recipe.feed_steps:
            self._step(number, feed, self._writer.feed_step)
        for stock in recipe.stock:
            self._step(number, stock, self._stocked)
        for told in recipe.batches:
            if told.day == number:
                self._at(self._clock.at(number, told.at), partial(self._with_animals, told))

    def _with_animals(self, told: BatchStep, at: datetime) -> None:
        for record in self._animals.tell(told, at, self._keepers.who(told.day, told.by)):
            self._keep(record)

    def _step(self, number: int, step: S, write: Callable[[S, datetime, str], Record]) -> None:
        if step.day == number:
            by = self._keepers.who(number, step.by)
            self._at(self._clock.at(number, step.at), lambda at: self._keep(write(step, at, by)))

    def _lit(self, step: LightStep, at: datetime, by: str) -> Record:
        """A step of the light, and after it the PAR reading that the next one waits for."""
        if step.before != step.after:
            self._at(at + _MEASURED, lambda later: self._keep(self._writer.light_reading(step, later, by)))
        return self._writer.light_step(step, at, by)

    def _stocked(self, told: Stocktaking, at: datetime, by: str) -> Record:
        return self._writer.drafted(draft_stock(self._room, told, at), by, "bench", aside=True)

    def _put_off(self, number: int, left: list[ToDo]) -> None:
        """On a day of its kind, say of what was left that it was put off, and why."""
        for day in self._recipe.postponed_all:
            if day.day != number:
                continue
            for place, item in enumerate(left):
                at = self._clock.at(number, day.at) + place * timedelta(seconds=25)
                until = self._clock.at(number + 1, day.until)
                self._at(at, partial(self._postpone, item.task, day.by, day.reason, until, day.ref))

    def _postpone(self, task: Task, by: str, reason: str, until: datetime, ref: str, at: datetime) -> None:
        self._keep(self._writer.about(task, POSTPONED, at, by, reason=reason, until=until, ref=ref))

    def _valve(self, number: int) -> None:
        """The night of the float valve and the week after it."""
        valve = self._recipe.nursery.valve
        if number == valve.day:
            self._at(self._clock.at(number, valve.found) - 10 * _MINUTE, lambda at: self._water.flood())
        if number == valve.drained:
            self._at(self._clock.at(number, valve.drained_at), lambda at: self._water.drain(valve.surplus))
        if valve.drained <= number <= valve.open_again:
            self._at(self._clock.at(number, valve.topped_at), lambda at: self._water.top_by_hand())
        if number == valve.open_again:
            self._at(self._clock.at(number, valve.topped_at) + _MINUTE, lambda at: self._water.open_float())

    # -- handover ------------------------------------------------------------------------------------

    def _handover(self, number: int) -> None:
        rng, at = self._rng, self._clock.at
        if self._reports.last is not None:
            self._at(at(number, "07:01") + rng.uniform(0, 6) * _MINUTE, partial(self._accept, number, LATE, EARLY))
        self._at(at(number, "12:40") + rng.uniform(0, 10) * _MINUTE, partial(self._sign, number, EARLY))
        self._at(at(number, "12:51") + rng.uniform(0, 6) * _MINUTE, partial(self._accept, number, EARLY, LATE))
        self._at(at(number, "18:50") + rng.uniform(0, 8) * _MINUTE, partial(self._sign, number, LATE))

    def _sign(self, number: int, shift: str, at: datetime) -> None:
        spec = self._recipe.handover
        special = self._special.get((number, shift, False))
        usual = spec.early if shift == EARLY else spec.late
        note = special.note if special is not None else self._rng.choice(usual)
        draft = self._reports.handover(shift, at, note, whole=number >= -spec.reported)
        self._reports.signed(Handover(self._keep(self._writer.drafted(draft, self._keepers.on(number, shift)))))

    def _accept(self, number: int, signed: str, shift: str, at: datetime) -> None:
        last = self._reports.last
        assert last is not None
        special = self._special.get((number, signed, True))
        asks, note = (special.asks, special.note) if special is not None else ({}, "")
        by = self._keepers.on(number, shift)
        accepted = self._keep(self._writer.drafted(self._reports.accepted(asks, by, at, note), by))
        self._reports.signed(Handover(last.record, (accepted,)))

    def _covers(self, number: int) -> None:
        """On the first day of a cover, whom it covers for, until its last day is over."""
        for cover in self._recipe.rota.cover:
            if cover.first != number:
                continue
            until = self._room.calendar.end(self._clock.day(cover.last))
            for absent in self._keepers.covered(cover):
                at = self._clock.at(number, "07:10")
                self._at(at, partial(self._cover, absent, cover, until))

    def _cover(self, absent: str, cover: Cover, until: datetime, at: datetime) -> None:
        draft = draft_cover(self._room, self._history, (absent, cover.by), at, until, cover.why)
        self._keep(self._writer.drafted(draft, absent, aside=True))

    def _review(self, number: int) -> None:
        """On the first of the month of the opening the month before is reviewed."""
        spec, day = self._recipe.review, self._clock.day(number)
        if day == self._clock.opened.replace(day=1):
            self._at(self._clock.at(number, spec.at), partial(self._reviewed, day))

    def _reviewed(self, day: date, at: datetime) -> None:
        spec = self._recipe.review
        self._keep(self._writer.drafted(self._reports.review_of_month(day, at, spec.note), spec.by, aside=True))


def _before(day: date, span: Span) -> date:
    """One interval earlier."""
    from dateutil.relativedelta import relativedelta

    if span.unit in ("months", "years"):
        months = span.number * (1 if span.unit == "months" else 12)
        return day - relativedelta(months=months)
    return day - span.nominal
