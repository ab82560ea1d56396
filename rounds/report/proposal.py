"""What would hold the target of a balanced water: the proposal, as lines to read, as steps to record."""

from __future__ import annotations

from datetime import datetime, timedelta

import msgspec

from rounds.core.bands import moved, standing
from rounds.core.calendar import ONE_DAY
from rounds.core.constants import CALCIUM_PER_MEQ, DKH_PER_MEQ
from rounds.core.errors import Refused
from rounds.core.model import Equipment, Reading, Reservoir, Room
from rounds.core.recording import Draft
from rounds.core.staged import Setting, draft_step
from rounds.core.words import moment, plain, plural
from rounds.report.balance import SystemBalance
from rounds.report.past import Past
from rounds.report.readings import latest_values
from rounds.report.series import tank_reading
from rounds.report.sources import LOOK_BACK, Source, Sources
from rounds.water.limewater import SATURATED_MEQ
from rounds.water.proposal import Dial, Proposal, propose
from rounds.water.proposal import Water as JudgedWater
from rounds.water.top_off import fresh_water

_FRESH = timedelta(days=2)
"""So old a pH may be that decides about a dose."""


def target_of(reading: Reading) -> float | None:
    """In dKH; without a target the middle of a whole band."""
    if reading.target is not None:
        return reading.target.canonical * DKH_PER_MEQ
    if reading.low is not None and reading.high is not None:
        return (reading.low.canonical + reading.high.canonical) / 2 * DKH_PER_MEQ
    return None


def system_proposal(room: Room, past: Past, found: SystemBalance, now: datetime) -> Proposal | None:
    """The next step of a balanced water; None without a target, or where nothing could be turned.

    Raises `Refused` with what is missing.
    """
    target = target_of(found.reading)
    if target is None:
        return None
    return _Gathered(room, past, found, now).proposal(target)


class _Gathered:
    """What the room and its records say of what can be turned in one water."""

    def __init__(self, room: Room, past: Past, found: SystemBalance, now: datetime) -> None:
        self._room, self._past, self._found, self._now = room, past, found, now
        self._system = found.system
        self._sources = Sources(room, past, found.system, now)
        stretch = found.balance.stretch
        self._since = stretch.waiting.at if stretch.waiting is not None else stretch.begin
        """What was measured since then is as it is now."""

    def proposal(self, target: float) -> Proposal | None:
        dials = [dial for source in self._sources.all if (dial := self._dial(source)) is not None]
        if not dials:
            return None
        calcium, missing = self._calcium() if dials[0].kind == "dosing" else (None, "")
        found = propose(self._water(target), dials[0], calcium)
        cautions = (*self._act_now(), *found.cautions, *([missing] if missing else []))
        return msgspec.structs.replace(found, cautions=cautions)

    def _act_now(self) -> list[str]:
        """What the newest test says that has to be acted on now: the line through the tests may say nothing of it."""
        reading = self._found.reading
        latest = latest_values(reading, reversed(self._past.of_water(self._room, reading, self._now)), self._now)
        if not latest:
            return []
        at, value = latest[0]
        told = (standing(reading, value, (each for _, each in latest[1:])), moved(reading, value, at, latest[1:]))
        name, when = plain(reading.name), moment(self._room.calendar, at, self._now)
        return [
            f"{name[:1].upper()}{name[1:]} read {when}: {each.sentence}. "
            "Test again with a second method before anything is changed"
            for each in told
            if each is not None and each.act
        ]

    def _water(self, target: float) -> JudgedWater:
        found, result, now = self._found, self._found.balance, self._now
        volume, last = result.volume, self._found.tests[-1]
        lime = [tank for tank in self._system.reservoirs if tank.kind == "limewater"]
        stepped = max((at for each in self._sources.all for at in self._sources.steps(each)), default=None)
        salinities = self._numbers("salinity", LOOK_BACK)
        ph = self._numbers("pH", _FRESH)
        supplies = [self._sources.supply_as_set(each, self._since, now, found.tests) for each in self._sources.all]
        return JudgedWater(
            volume=volume,
            supply=sum(each.dkh(volume) for each in supplies),
            consumption=result.consumption,
            consumption_low=result.low,
            consumption_high=result.high,
            level=result.level if result.stretch.end == last.at else last.value,
            target=target,
            changes=result.changes_per_day,
            ph=ph[-1] if ph else None,
            salinity=salinities[-1] if salinities else None,
            evaporation=self._evaporation(),
            limewater=sum(self._sources.set_to(tank, now) for tank in lime),
            tests_since_step=sum(1 for test in found.tests if test.at > stepped) if stepped is not None else None,
            days_since_step=(now - stepped) / ONE_DAY if stepped is not None else None,
            failing=" ".join(each.said for each in (*found.failing, *found.failing_beside)),
        )

    def _numbers(self, quantity: str, reach: timedelta) -> list[float]:
        reading = tank_reading(self._system, quantity)
        if reading is None:
            return []
        begin = self._found.water.from_its_time(self._now - reach)
        return [point.value for point in self._past.numbers(self._room, reading, begin, self._now)]

    def _evaporation(self) -> float | None:
        """Litres a day, when all of it is known; before a valve was turned, it was that of another surface."""
        water, begin = self._found.water, self._now - LOOK_BACK
        if water.from_its_time(begin) > begin:
            return None
        whole, history = self._room.system[water.system], self._past.history
        fresh = fresh_water(self._past.levels, self._room, history, whole, self._now, water)
        return fresh.litres_per_day if fresh is not None and not fresh.unknown else None

    def _calcium(self) -> tuple[Dial | None, str]:
        """The calcium solution that is given in step with the other; None, with what is missing for it."""
        solutions = [tank for tank in self._system.reservoirs if tank.doses == "calcium" and tank.strength]
        try:
            return (self._dial(solutions[0]) if solutions else None), ""
        except Refused as missing:
            return None, f"Calcium is not raised or lowered in step: {missing}"

    def _dial(self, source: Source) -> Dial | None:
        """What the source can be turned to, as it is set now."""
        present, name = self._sources.set_to(source, self._now), plain(source.name)
        if isinstance(source, Equipment):
            minute = round(present * 1000 / 60, 6)
            given = self._sources.supply_as_set(source, self._since, self._now, self._found.tests).meq_per_day
            if given <= 0 or minute <= 0:
                return None
            return Dial(
                source=source.id, name=name, kind="CO2 reactor", present=minute, unit="mL/min", meq=given / minute,
                step=1.0,
            )  # fmt: skip
        if source.kind == "dosing":
            millilitres = round(present * 1000, 6)
            return Dial(
                source=source.id, name=name, kind="dosing", present=millilitres, unit="mL/day",
                meq=_meq_per_millilitre(source), step=1.0 if millilitres >= 20 else 0.5,
            )  # fmt: skip
        strength, _ = self._sources.lime_strength(source, self._since, self._now)
        return Dial(
            source=source.id, name=name, kind="limewater", present=present, unit="L/day",
            meq=SATURATED_MEQ * strength, step=0.1,
        )  # fmt: skip


def _meq_per_millilitre(tank: Reservoir) -> float:
    strength = (tank.strength or 0.0) / 1000
    return strength / CALCIUM_PER_MEQ if tank.doses == "calcium" else strength


# -- as text -----------------------------------------------------------------------------------------------


def proposal_lines(proposal: Proposal) -> list[str]:
    """The proposal with its arithmetic and cautions."""
    head = "Proposal, never applied by itself" if proposal.changes or proposal.additions else "Nothing to change"
    lines = [f"{head}:", f"  {proposal.first}"]
    lines += [f"  {text}" for text in ((proposal.waits,) if proposal.waits else ())]
    lines += [f"  {text}" for text in proposal.lines]
    if proposal.days_to_target:
        lines.append(f"  at the target in about {plural(round(proposal.days_to_target) or 1, 'day')}")
    return lines + [f"  Caution: {text}" for text in proposal.cautions]


def turned(dial: Dial, new: float) -> str:
    """``70 to 77 mL/day``"""
    return f"{dial.present:g} to {new:g} {dial.unit}"


# -- accepting ---------------------------------------------------------------------------------------------


def draft_dose(room: Room, proposal: Proposal, at: datetime) -> list[Draft]:
    """The steps that accepting a proposal records: its source, and the calcium solution that goes with it.

    Raises `Refused` when nothing is proposed.
    """
    if not proposal.changes:
        raise Refused(proposal.waits or f"{proposal.dial.name} stays as it is; there is nothing to accept")
    return [_draft(room, dial, new, proposal.volume, at) for dial, new in proposal.steps]


def _draft(room: Room, dial: Dial, new: float, volume: float, at: datetime) -> Draft:
    source = room.reservoirs.get(dial.source) or next(
        each for system in room.systems for each in system.equipment if each.id == dial.source
    )
    what = (source.id, source.system, source.station)
    why = f"{dial.name} from {turned(dial, new)}, for {volume:g} L"
    return draft_step(what, _setting(dial, dial.present), _setting(dial, new), at, why)


def _setting(dial: Dial, value: float) -> Setting:
    """In what the room is written in: litres a day of a reservoir, litres an hour through a reactor."""
    shown = f"{value:g} {dial.unit}"
    if dial.unit == "mL/min":
        return Setting(value * 60 / 1000, "L/h", shown)
    return Setting(value / 1000 if dial.unit == "mL/day" else value, "L/day", shown)
