"""The steps of the set-up of a new room: what each shows, and how it asks."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any, ClassVar
from zoneinfo import available_timezones

from msgspec.structs import replace

from rounds.core.calendar import ONE_DAY
from rounds.core.errors import Refused
from rounds.core.founding import (
    USUAL_UNITS,
    WEEKS,
    Answers,
    ReservoirAnswers,
    SystemAnswers,
    put,
    unlike,
    with_pieces,
    without,
)
from rounds.core.founding_text import (
    read_amount,
    read_clock,
    read_keeper,
    read_name,
    read_pieces,
    read_shift,
    read_water,
)
from rounds.core.layout import FITTINGS, ROOM_STATIONS, STATIONS, ZONES, offered, station_of, zone_of
from rounds.core.model import RESERVOIR_KINDS, Keeper, Shift
from rounds.core.moments import parse_day
from rounds.core.quantities import QUANTITIES
from rounds.core.words import day_name, plural
from rounds.storage.founding import kind_names
from rounds.ui.asking import choose, write_in
from rounds.ui.widgets.answer_list import AnswerRow

if TYPE_CHECKING:
    from rounds.ui.screens.founding import Founding

_SHIFTS = ("early 07:00 13:00", "late 13:00 19:00", "day 08:00 18:00")
_NOT_KNOWN = "not known yet"
_WIDTH = 54
"""Of the list beside its bar where the terminal has 80 columns."""
_FIRST_TITLES = 2
"""Days of the preview whose tasks are listed."""


class Step:
    """One step; conversations take what was answered to the screen at once, so that nothing of it can be lost."""

    title: ClassVar[str]
    hint: ClassVar[str]

    @abstractmethod
    def rows(self, screen: Founding) -> list[AnswerRow]:
        """What is shown."""

    def count(self, answers: Answers) -> int | None:
        """How many there are, for the list of steps; None: not counted."""
        return None

    async def change(self, screen: Founding, key: Any) -> None:
        """Ask for the row anew."""
        screen.action_next_step()

    async def add(self, screen: Founding) -> None:
        """Ask for one more, again and again until the keeper goes back."""
        raise Refused(f"Nothing is added here; {self.hint}")

    def removed(self, answers: Answers, key: Any) -> Answers:
        """The answers without the row."""
        raise Refused(f"Nothing is removed here; {self.hint}")

    def ticked(self, answers: Answers, key: Any) -> Answers:
        """The answers with the row's tick turned."""
        raise Refused(f"Nothing is ticked here; {self.hint}")


# -- the room ----------------------------------------------------------------------------------------


class RoomStep(Step):
    title = "Room"
    hint = "Enter answers a row, and the pointer goes on to the next."

    def rows(self, screen: Founding) -> list[AnswerRow]:
        answers = screen.answers
        day = answers.began
        return [
            AnswerRow(key="name", label="Name of the room", value=answers.name or "…"),
            AnswerRow(key="timezone", label="Time zone", value=answers.timezone),
            *(AnswerRow(key=each, label=each.capitalize(), value=answers.unit(each)) for each in USUAL_UNITS),
            AnswerRow(
                key="day_begins",
                label="A round day begins",
                value=f"{answers.day_begins:%H:%M}",
            ),
            AnswerRow(key="began", label="First round day", value=day_name(day) if day else _usual_day(screen)),
            AnswerRow(
                key="spread",
                label="What is done rarely",
                value=f"first time within {WEEKS} weeks" if answers.spread else "all due on the first day",
            ),
            AnswerRow(key="folder", label="Folder", value=answers.folder),
        ]

    async def change(self, screen: Founding, key: Any) -> None:
        answers = screen.answers
        changed: dict[str, Any]
        if key == "name":
            changed = {key: await write_in(screen, "Name of the room", (), "name", read_name, answers.name)}
        elif key == "timezone":
            names = dict.fromkeys((answers.timezone, *sorted(available_timezones())))
            changed = {key: await choose(screen, "Time zone", [(name, name) for name in names])}
        elif key == "day_begins":
            text = f"{answers.day_begins:%H:%M}"
            changed = {key: await write_in(screen, "A round day begins at", (), "04:00", read_clock, text)}
        elif key == "began":
            changed = {key: await _ask_first_day(screen)}
        elif key == "spread":
            ways = [
                (f"spread over {WEEKS} weeks, the urgent in the first", True),
                ("everything on the first day", False),
            ]
            changed = {key: await choose(screen, "When what is done rarely is due first", ways)}
        elif key == "folder":
            changed = {key: await write_in(screen, "Folder of the room", (), "folder", _folder, answers.folder)}
        else:
            units = [(unit.name, unit.name) for unit in QUANTITIES[key].units]
            units.sort(key=lambda pair: pair[0] != answers.unit(key))
            chosen = await choose(screen, f"Unit of {key}", units)
            changed = {"units": {**answers.units, key: chosen}}
        screen.take(replace(answers, **changed))
        screen.action_next_row()


def _near_days(screen: Founding) -> dict[str, date]:
    """By what they are called, the one first that is meant where none is answered."""
    days = {"today": screen.today, "tomorrow": screen.today + ONE_DAY}
    return dict(sorted(days.items(), key=lambda pair: pair[1] != screen.first_day))


def _usual_day(screen: Founding) -> str:
    """``tomorrow, Thu 26 Nov``"""
    word, day = next(iter(_near_days(screen).items()))
    return f"{word}, {day_name(day)}"


async def _ask_first_day(screen: Founding) -> date | None:
    """None: the usual one, also where the room is written on a later day."""
    days = _near_days(screen)
    usual = next(iter(days))

    def read(text: str) -> date | None:
        return None if text == usual else days.get(text) or parse_day(text)

    return await write_in(screen, "The first round day", list(days), "2026-11-25", read)


def _folder(text: str) -> str:
    from rounds.storage.founding import refuse_used

    folder = Path(text).expanduser().absolute()
    refuse_used(folder)
    return str(folder)


# -- keepers and shifts ------------------------------------------------------------------------------


class _EachStep(Step):
    """Of something that the room has any number of."""

    of: ClassVar[str]
    """The field of the answers."""

    def each(self, answers: Answers) -> tuple[Any, ...]:
        found: tuple[Any, ...] = getattr(answers, self.of)
        return found

    def count(self, answers: Answers) -> int:
        return len(self.each(answers))

    async def change(self, screen: Founding, key: Any) -> None:
        await self._take(screen, key)

    async def add(self, screen: Founding) -> None:
        while True:
            await self._take(screen, None)

    def removed(self, answers: Answers, key: Any) -> Answers:
        return replace(answers, **{self.of: without(self.each(answers), key)})

    async def _take(self, screen: Founding, place: int | None) -> None:
        known = self.each(screen.answers)
        others = [each for number, each in enumerate(known) if number != place]
        answer = await self.ask(screen, None if place is None else known[place], others)
        screen.take(replace(screen.answers, **{self.of: put(known, place, answer)}), place)

    @abstractmethod
    async def ask(self, screen: Founding, now: Any, others: list[Any]) -> Any:
        """One of them, unlike the others; `now` is as it stands, None: a new one."""


class KeepersStep(_EachStep):
    title = "Keepers"
    hint = "a adds: initials, a space, the name. Without any, everyone may record."
    of = "keepers"

    def rows(self, screen: Founding) -> list[AnswerRow]:
        return [
            AnswerRow(key=place, label=each.initials, value=each.name)
            for place, each in enumerate(screen.answers.keepers)
        ]

    async def ask(self, screen: Founding, now: Keeper | None, others: list[Keeper]) -> Keeper:
        def read(text: str) -> Keeper:
            keeper = read_keeper(text)
            unlike("the keeper", keeper.initials, [each.initials for each in others])
            return keeper

        text = "" if now is None else f"{now.initials} {now.name}"
        return await write_in(screen, "A keeper; Esc when all are there", (), "TV Tibor Velsen", read, text)


class ShiftsStep(_EachStep):
    title = "Shifts"
    hint = "a adds: name, beginning, end. A room may do without."
    of = "shifts"

    def rows(self, screen: Founding) -> list[AnswerRow]:
        return [
            AnswerRow(key=place, label=each.name, value=f"{each.begins:%H:%M} to {each.ends:%H:%M}")
            for place, each in enumerate(screen.answers.shifts)
        ]

    async def ask(self, screen: Founding, now: Shift | None, others: list[Shift]) -> Shift:
        names = [each.name for each in others]

        def read(text: str) -> Shift:
            shift = read_shift(text)
            unlike("the shift", shift.name, names)
            return shift

        text = "" if now is None else f"{now.name} {now.begins:%H:%M} {now.ends:%H:%M}"
        offers = [each for each in _SHIFTS if read_shift(each).name not in names]
        return await write_in(screen, "A shift; Esc when all are there", offers, "early 07:00 13:00", read, text)


# -- systems -----------------------------------------------------------------------------------------


class SystemsStep(Step):
    title = "Systems"
    hint = "a adds: kind, name, water. They are walked clean to dirty, by their zones."

    def rows(self, screen: Founding) -> list[AnswerRow]:
        return [
            AnswerRow(
                key=place,
                label=each.name,
                value=f"{each.volume or 'water not known'}, {', '.join(each.kinds)}, zone {zone_of(each)}",
            )
            for place, each in enumerate(screen.answers.systems, 1)
        ]

    def count(self, answers: Answers) -> int:
        return len(answers.systems)

    async def add(self, screen: Founding) -> None:
        while True:
            kind = await choose(
                screen, "The kind of a system; Esc when all are there", [(each, each) for each in kind_names("system")]
            )
            name = await write_in(screen, f"Its name ({kind})", (), "name", read_name, kind.capitalize())
            volume, surface = await _ask_water(screen, name, "")
            system = SystemAnswers(name=name, kinds=(kind,), volume=volume, surface=surface)
            screen.take(replace(screen.answers, systems=(*screen.answers.systems, system)), None)

    async def change(self, screen: Founding, key: Any) -> None:
        system = screen.answers.places[key]
        what = await choose(
            screen,
            system.name,
            [("its water", "water"), ("its name", "name"), ("its kinds", "kinds"), ("its hygiene zone", "zone")],
        )
        if what == "water":
            volume, surface = await _ask_water(screen, system.name, system.volume)
            system = replace(system, volume=volume, surface=surface)
        elif what == "name":
            system = replace(system, name=await write_in(screen, "Its name", (), "name", read_name, system.name))
        elif what == "kinds":
            system = replace(system, kinds=await _ask_kinds(screen, system.kinds))
        else:
            zone = await write_in(screen, "Its hygiene zone, clean to dirty", list(ZONES), "zone", read_name)
            system = replace(system, zone=zone)
        screen.take(screen.answers.with_place(key, system), key)

    def removed(self, answers: Answers, key: Any) -> Answers:
        return replace(answers, systems=without(answers.systems, key - 1))


async def _ask_water(screen: Founding, name: str, volume: str) -> tuple[str, str]:
    unit = screen.answers.unit("volume")

    def read(text: str) -> tuple[str, str]:
        return ("", "") if text == _NOT_KNOWN else read_water(text, unit)

    wanted = f"960 {unit}, or length x width x water height in cm, or d 80 x 60"
    return await write_in(screen, f"Net water of {name}", [] if volume else [_NOT_KNOWN], wanted, read, volume)


async def _ask_kinds(screen: Founding, kinds: tuple[str, ...]) -> tuple[str, ...]:
    """One more kind, or one less of several."""
    more = [(f"also {kind}", kind) for kind in kind_names("system") if kind not in kinds]
    less = [(f"no longer {kind}", kind) for kind in kinds] if len(kinds) > 1 else []
    kind = await choose(screen, "Its kinds", [*less, *more])
    return tuple(each for each in kinds if each != kind) if kind in kinds else (*kinds, kind)


# -- equipment ---------------------------------------------------------------------------------------


class EquipmentStep(Step):
    title = "Equipment"
    hint = "Space ticks what there is, with its care; Enter on it: how many. Tab: the next system."

    def rows(self, screen: Founding) -> list[AnswerRow]:
        answers = screen.answers
        kinds = kind_names("equipment")
        rows = []
        for place, system in enumerate(answers.places):
            usual = ROOM_STATIONS if place == 0 else STATIONS
            found = [
                AnswerRow(
                    key=(place, kind),
                    label=kind,
                    ticked=kind in system.equipment,
                    value=_standing(system, kind, usual),
                )
                for kind in offered(kinds, whole_room=place == 0)
            ]
            if place == 0:
                found += [
                    AnswerRow(key=(0, fitting), label=fitting, ticked=fitting in answers.fittings)
                    for fitting in FITTINGS
                ]
            rows += [replace(found[0], heading=system.name), *found[1:]]
        return rows

    def count(self, answers: Answers) -> int:
        return len(answers.fittings) + sum(len(place.equipment) for place in answers.places)

    def ticked(self, answers: Answers, key: Any) -> Answers:
        place, kind = key
        if kind in FITTINGS:
            turned = {*answers.fittings} ^ {kind}
            return replace(answers, fittings=tuple(each for each in FITTINGS if each in turned))
        return _with(answers, key, 0 if kind in answers.places[place].equipment else 1)

    async def change(self, screen: Founding, key: Any) -> None:
        """How many there are of what is ticked."""
        place, kind = key
        number = screen.answers.places[place].equipment.count(kind)
        if not number:
            screen.action_next_step()
            return
        number = await write_in(screen, f"How many ({kind})?", (), "a number", read_pieces, str(number))
        screen.take(_with(screen.answers, key, number), key)


def _with(answers: Answers, key: tuple[int, str], number: int) -> Answers:
    """With so many pieces of a kind at a place."""
    place, kind = key
    return answers.with_place(place, with_pieces(answers.places[place], kind, number, kind_names("equipment")))


def _standing(system: SystemAnswers, kind: str, usual: Mapping[str, str]) -> str:
    """``2, at the sump``; empty: there is none."""
    number = system.equipment.count(kind)
    if not number:
        return ""
    return f"{f'{number}, ' if number > 1 else ''}at the {station_of(system, kind, usual).lower()}"


# -- reservoirs --------------------------------------------------------------------------------------


class ReservoirsStep(Step):
    title = "Reservoirs"
    hint = "a adds what empties or fills: where, kind, name, what it holds."

    def rows(self, screen: Founding) -> list[AnswerRow]:
        return [
            AnswerRow(
                key=(place, number),
                label=each.name,
                value=f"{each.kind}, {each.capacity}",
                heading="" if number else system.name,
            )
            for place, system in enumerate(screen.answers.places)
            for number, each in enumerate(system.reservoirs)
        ]

    def count(self, answers: Answers) -> int:
        return sum(len(place.reservoirs) for place in answers.places)

    async def add(self, screen: Founding) -> None:
        while True:
            places = [(system.name, place) for place, system in enumerate(screen.answers.places)]
            places = [*places[1:], places[0]]
            place = await choose(screen, "Where a reservoir belongs; Esc when all are there", places)
            kind = await choose(screen, "What kind of reservoir", [(kind, kind) for kind in RESERVOIR_KINDS])
            name = await write_in(screen, f"Its name ({kind})", (), "name", read_name, kind)
            reservoir = ReservoirAnswers(name=name, kind=kind, capacity=await _ask_capacity(screen, name, ""))
            system = screen.answers.places[place]
            changed = replace(system, reservoirs=(*system.reservoirs, reservoir))
            screen.take(screen.answers.with_place(place, changed), (place, len(system.reservoirs)))

    async def change(self, screen: Founding, key: Any) -> None:
        place, number = key
        system = screen.answers.places[place]
        reservoir = system.reservoirs[number]
        name = await write_in(screen, f"Its name ({reservoir.kind})", (), "name", read_name, reservoir.name)
        capacity = await _ask_capacity(screen, name, reservoir.capacity)
        changed = put(system.reservoirs, number, replace(reservoir, name=name, capacity=capacity))
        screen.take(screen.answers.with_place(place, replace(system, reservoirs=changed)), key)

    def removed(self, answers: Answers, key: Any) -> Answers:
        place, number = key
        system = answers.places[place]
        return answers.with_place(place, replace(system, reservoirs=without(system.reservoirs, number)))


async def _ask_capacity(screen: Founding, name: str, capacity: str) -> str:
    unit = screen.answers.unit("volume")
    return await write_in(
        screen, f"What {name} holds when full", (), f"80 {unit}", lambda text: read_amount(text, unit), capacity
    )


# -- preview -----------------------------------------------------------------------------------------


class PreviewStep(Step):
    title = "Preview"
    hint = "The first week, by the plan itself. s writes the room and opens it."

    def rows(self, screen: Founding) -> list[AnswerRow]:
        lacking = screen.lacking()
        if lacking:
            return [AnswerRow(label=each) for each in lacking]
        days = screen.first_week()
        rows = [
            AnswerRow(
                label=day_name(day.day),
                value=f"{plural(day.tasks, 'task')}, {day.minutes // 60} h {day.minutes % 60:02} min",
                heading="" if place else "The first week",
            )
            for place, day in enumerate(days)
        ]
        for day in days[:_FIRST_TITLES]:
            found = [AnswerRow(label=system, value=title) for system, title in day.titles]
            rows += [replace(found[0], heading=day_name(day.day)), *found[1:]]
        return [*_unsafe_rows(screen), *rows]

    async def change(self, screen: Founding, key: Any) -> None:
        raise Refused("s writes the room and opens it; ← goes back to change something.")


def _unsafe_rows(screen: Founding) -> list[AnswerRow]:
    """One line of it to each row, so that none is cut off."""
    return [
        AnswerRow(label=line, heading="" if place else f"Unsafe: {name}")
        for name, why in screen.unsafe()
        for place, line in enumerate(wrap(f"{why[:1].upper()}{why[1:]}.", _WIDTH))
    ]


STEPS: tuple[Step, ...] = (
    RoomStep(), KeepersStep(), ShiftsStep(), SystemsStep(), EquipmentStep(), ReservoirsStep(), PreviewStep(),
)  # fmt: skip
