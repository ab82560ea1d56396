"""What is really in the water and the containers of the demo room, carried forward hour by hour.

Litres, dKH and PSU. One mass balance for the nursery; levels by what they lose in a day; the other
readings by a line through the points of the recipe.
"""

from __future__ import annotations

from bisect import bisect_right
from datetime import date, datetime, time, timedelta
from random import Random

from rounds.core.calendar import Calendar
from rounds.core.constants import DKH_PER_MEQ
from rounds.demo.recipe import Level, Recipe, Series

ALKALINITY = "nursery/alkalinity"
SALINITY = "nursery/salinity"
HUMIDITY = "room/humidity"
BARREL = "nursery/barrel"
STORE = "room/store"
VAT = "room/vat"
SOLUTIONS = ("nursery/alkalinity-solution", "nursery/calcium-solution")

_DAY = timedelta(days=1)
_HOUR = timedelta(hours=1)
_SATURDAY = 5
_REPEATED = 2.2
"""Sigmas off at which a keeper repeats a test instead of writing it down."""


class Clock:
    """Days counted from the opening, and wall times on them."""

    def __init__(self, calendar: Calendar, opened: date) -> None:
        self.calendar = calendar
        self.opened = opened

    def day(self, number: int) -> date:
        return self.opened + timedelta(days=number)

    def at(self, number: int, wall: str) -> datetime:
        """The instant of a wall time such as ``"07:30"`` on the round day `number`."""
        return self.calendar.wall(self.day(number), time.fromisoformat(wall))

    def number(self, at: datetime) -> float:
        """Days from noon of the opening day."""
        return (at - self.calendar.wall(self.opened, time(12))) / _DAY


class Water:
    """The state of the room at one instant; `advance` moves it on."""

    def __init__(self, recipe: Recipe, clock: Clock, rng: Random) -> None:
        nursery = recipe.nursery
        self._recipe = recipe
        self._clock = clock
        self._rng = rng
        self._now = clock.calendar.start(clock.day(-recipe.days))
        self._volume = nursery.volume
        self._salt = nursery.salinity_at_start * nursery.volume
        self._alkalinity = nursery.alkalinity_at_start * nursery.volume
        self._levels = {level.reservoir: level.start for level in recipe.levels}
        self._specs = {level.reservoir: level for level in recipe.levels}
        self._series = {series.reading: series for series in recipe.series}
        self._filling = False
        self._float_open = True
        self._humidity = recipe.evaporation.at_humidity
        self._fillings = self._solution_fillings()
        self._wrong = [
            (reading, clock.at(each.since, each.at), clock.at(each.until, each.at), each.shows)
            for each in recipe.instruments
            for reading in each.readings
        ]
        self._departures = [
            (reading, clock.at(each.day, each.at), each.hours, each.change)
            for each in recipe.departures
            for reading in each.readings
        ]

    # -- weather and time --------------------------------------------------------------------------

    def new_day(self) -> None:
        """Another day's weather: humidity wanders about its mean and evaporation follows it."""
        mean, sigma = self._recipe.evaporation.at_humidity, self._recipe.evaporation.humidity_sigma
        self._humidity = mean + 0.6 * (self._humidity - mean) + self._rng.gauss(0, 0.8 * sigma)

    def _evaporation(self) -> float:
        """Litres a day from one square metre."""
        spec = self._recipe.evaporation
        return spec.mm_per_day * (1 + spec.per_point * (spec.at_humidity - self._humidity))

    def advance(self, to: datetime) -> None:
        days = (to - self._now) / _DAY
        if days <= 0:
            return
        evaporated = self._evaporation() * days
        for level in self._specs.values():
            if level.use is not None:
                self._levels[level.reservoir] -= level.use * days
            elif level.surface is not None:
                self._levels[level.reservoir] -= level.surface * evaporated
        self._advance_nursery(evaporated, days)
        self._advance_store(days)
        self._now = to

    def _advance_nursery(self, evaporated: float, days: float) -> None:
        spec = self._recipe.nursery
        lime = spec.limewater * days
        lost = spec.surface * evaporated
        self._volume += lime - lost
        if self._float_open:
            self._levels[BARREL] -= lost - lime
            self._volume += lost - lime
        supplied = lime * spec.lime_meq_per_litre * spec.lime_strength + spec.dose * days * spec.dose_meq_per_ml
        grown = max(0.0, 1 - self._clock.number(self._now) / spec.growth_from)
        consumption = spec.consumption + (spec.consumption_at_opening - spec.consumption) * grown
        self._alkalinity += supplied * DKH_PER_MEQ - consumption * spec.volume * days

    def _advance_store(self, days: float) -> None:
        spec = self._recipe.store
        level = self._levels[STORE]
        if level < spec.opens:
            self._filling = True
        if self._filling:
            level = min(spec.shuts, level + spec.litres_per_hour * 24 * days)
            self._filling = level < spec.shuts
        self._levels[STORE] = level

    # -- what keepers do to it ---------------------------------------------------------------------

    def change_nursery(self) -> None:
        """A water change: so much out, so much new salt water in."""
        spec = self._recipe.nursery
        salinity = spec.change_salinity
        if self._clock.number(self._now) >= spec.valve.day:
            salinity = spec.valve.change_salinity
        self.drain(spec.change)
        self._add_salt_water(spec.change, salinity, spec.change_alkalinity)

    def drain(self, litres: float) -> None:
        share = 1 - litres / self._volume
        self._volume -= litres
        self._salt *= share
        self._alkalinity *= share

    def top_by_hand(self) -> None:
        """Salt water to the sump mark, no stronger than brings the salinity back to where it belongs."""
        spec = self._recipe.nursery
        litres = spec.volume - self._volume
        if litres > 0:
            wanted = (spec.valve.topped_until * spec.volume - self._salt) / litres
            salinity = max(0.0, min(spec.valve.topped_salinity, wanted))
            self._add_salt_water(litres, salinity, spec.valve.topped_alkalinity)

    def _add_salt_water(self, litres: float, salinity: float, alkalinity: float) -> None:
        """Litres of a salinity, with the alkalinity (dKH) that they would have at salinity 35."""
        self._volume += litres
        self._salt += litres * salinity
        self._alkalinity += litres * alkalinity * salinity / 35

    def flood(self) -> None:
        """The float valve has stuck open: what was in the barrel is in the tank, and the tap is shut."""
        valve = self._recipe.nursery.valve
        self._volume = self._recipe.nursery.volume + valve.surplus
        self._levels[BARREL] = valve.left
        self._float_open = False

    def open_float(self) -> None:
        self._float_open = True

    def refill(self, reservoir: str, to: float, source: str | None) -> None:
        """Set a level; what it took comes from `source`."""
        if source in self._levels:
            self._levels[source] -= to - self._levels[reservoir]
        if reservoir in self._levels:
            self._levels[reservoir] = to

    def draw(self, reservoir: str, litres: float) -> None:
        self._levels[reservoir] -= litres

    # -- what can be seen --------------------------------------------------------------------------

    def level(self, reservoir: str) -> float:
        if reservoir in SOLUTIONS:
            return self._solution(reservoir)
        return self._levels[reservoir]

    def noise_of_level(self, reservoir: str) -> float:
        return self._recipe.solutions.noise if reservoir in SOLUTIONS else self._specs[reservoir].noise

    def wants_refill(self, reservoir: str) -> Level | None:
        """The habit for a reservoir that is low by now (or a waste container that is full)."""
        spec = self._specs.get(reservoir)
        if spec is None or spec.refill_below is None or (reservoir == BARREL and not self._float_open):
            return None
        fills = (spec.use or 0) < 0
        level = self._levels[reservoir]
        return spec if (level > spec.refill_below if fills else level < spec.refill_below) else None

    def series(self, reading: str) -> Series:
        return self._series[reading]

    def truth(self, reading: str, at: datetime) -> float:
        """The value in the water, in the reading's unit, without any noise."""
        if reading == ALKALINITY:
            return self._alkalinity / self._volume
        if reading == SALINITY:
            return self._salt / self._volume
        if reading == HUMIDITY:
            return self._humidity
        series = self._series[reading]
        number = self._clock.number(at)
        value = _held(series.points, number) if series.steps else _straight(series.points, number)
        if series.evening and at >= self._clock.calendar.wall(self._clock.calendar.round_day(at), time(12)):
            value += series.evening
        for name, since, hours, change in self._departures:
            if name == reading:
                elapsed = (at - since) / _HOUR
                if hours[0] <= elapsed <= hours[-1]:
                    value += _straight(tuple(zip(hours, change, strict=True)), elapsed)
        return value

    def shown(self, reading: str, at: datetime, noise: bool = True) -> float:
        """What the instrument shows, rounded to what it can be read to."""
        series = self._series[reading]
        value = self.truth(reading, at)
        if noise and series.noise:
            value += series.noise * min(_REPEATED, max(-_REPEATED, self._rng.gauss(0, 1)))
        value += sum(shows for name, since, until, shows in self._wrong if name == reading and since <= at < until)
        return max(0.0, round(value / series.read_to) * series.read_to)

    # -- dosing containers -------------------------------------------------------------------------

    @property
    def fillings(self) -> list[tuple[datetime, str, float]]:
        """When each dosing container was filled, and to how many litres."""
        return [(at, name, level) for name, times in self._fillings.items() for at, level in times]

    def _solution_fillings(self) -> dict[str, list[tuple[datetime, float]]]:
        """Counted back: the alkalinity container reaches its reserve on the Saturday after the opening day.

        At noon of it, so that a forecast a few hours off still names the day.
        """
        spec, clock = self._recipe.solutions, self._clock
        saturday = 1 + (_SATURDAY - 1 - clock.opened.weekday()) % 7
        daily = self._recipe.nursery.dose / 1000
        empty = clock.at(saturday, "12:00")
        first = saturday - spec.alkalinity_full_days
        filled = clock.at(first, spec.filled_at)
        alkalinity = [(filled, spec.reserve + daily * ((empty - filled) / _DAY))]
        calcium = [(clock.at(spec.calcium_filled, spec.filled_at), spec.calcium_level)]
        for number in range(1, 6):
            for times, day in ((alkalinity, first), (calcium, spec.calcium_filled)):
                times.append((clock.at(day - number * spec.every, spec.filled_at), 0.43 + daily * spec.every))
        return dict(zip(SOLUTIONS, (sorted(alkalinity), sorted(calcium)), strict=True))

    def _solution(self, reservoir: str) -> float:
        times = self._fillings[reservoir]
        filled, level = times[bisect_right(times, self._now, key=lambda each: each[0]) - 1]
        return level - self._recipe.nursery.dose / 1000 * ((self._now - filled) / _DAY)


def _straight(points: tuple[tuple[float, float], ...], at: float) -> float:
    """The line through the points, level beyond its ends."""
    place = bisect_right(points, at, key=lambda point: point[0])
    if place == 0 or place == len(points):
        return points[min(place, len(points) - 1)][1]
    (x0, y0), (x1, y1) = points[place - 1], points[place]
    return y0 + (y1 - y0) * (at - x0) / (x1 - x0)


def _held(points: tuple[tuple[float, float], ...], at: float) -> float:
    """The value of the last point, from the morning of its day on."""
    return next((value for day, value in reversed(points) if at >= day - 0.5), points[0][1])
