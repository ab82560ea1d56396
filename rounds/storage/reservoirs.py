"""Reservoirs, read from the tables of the room's files."""

from __future__ import annotations

from typing import Any

from rounds.core.model import DELIVERIES, DOSED, RESERVOIR_KINDS, Called, Quantity, Reading, Reservoir, Task
from rounds.core.solutions import parse_strength
from rounds.core.words import quoted
from rounds.storage.references import References
from rounds.storage.tables import Table, spoken

SUCH_AS_STORE = 'write one such as "room/store"'
_LEVEL_UNITS = ("L", "%", "cm", "mL", "US gal", "UK gal")


class Reservoirs:
    """Reads one after the other; which feeds which is looked at when all are read."""

    def __init__(self, names: References) -> None:
        self.found: dict[str, Reservoir] = {}
        """By full id."""
        self._names = names
        self._fed: list[tuple[Table, str, str]] = []
        """Table, the reservoir that feeds it as written, its full id."""

    def read(self, table: Table, id: str, station: str, volume_unit: str) -> tuple[Reservoir, Reading]:
        """The reservoir with the full `id` and the reading of its level, without a unit of its own in `volume_unit`."""
        system, _, short = id.partition("/")
        name = table.text("name") or spoken(short)
        what = table.choice("kind", RESERVOIR_KINDS, None)
        capacity = table.quantity("capacity", "volume", required=True)
        dead, reserve = table.quantity("dead", "volume"), table.quantity("reserve", "volume")
        litres = capacity.canonical if capacity else 0.0
        if capacity and litres <= 0:
            table.fault("capacity", "a capacity of nothing; write how much it holds when full")
        for key, part in (("dead", dead), ("reserve", reserve)):
            if capacity and part and part.canonical > litres:
                table.fault(key, f"{key} is more than the capacity; correct one of them")
        level_unit = table.choice("level_unit", _LEVEL_UNITS, volume_unit)
        litres_per_cm = _litres_per_cm(table, level_unit)
        use = table.quantity("use", "volume", per_day=True)
        written = table.text("fed_by")
        fed_by = self._other(table, "fed_by", written, system)
        if fed_by is not None:
            self._fed.append((table, written, fed_by))
        paired_with = self._other(table, "paired_with", table.text("paired_with"), system)
        makes = table.quantity("makes", "flow")
        if makes is not None and what != "purified water":
            table.fault("makes", "only a purified-water unit makes water; take makes away or correct the kind")
        if paired_with is not None and what != "dosing":
            table.fault("paired_with", "only dosing containers fall in step; take paired_with away or correct the kind")
        delivery = table.choice("delivery", DELIVERIES, None) if table.has("delivery") else table.text("delivery")
        reservoir = Reservoir(
            id=id, system=system, station=station, name=name, kind=what, capacity=litres,
            dead=dead.canonical if dead else 0.0, reserve=reserve.canonical if reserve else None,
            level_unit=level_unit, litres_per_cm=litres_per_cm, use=use.canonical if use else None,
            fed_by=fed_by, paired_with=paired_with, makes=makes.canonical * 24 if makes else None, delivery=delivery,
            **self._solution(table, system, what),
        )  # fmt: skip
        self.found[id] = reservoir
        return reservoir, _level(reservoir, reserve)

    def _other(self, table: Table, key: str, written: str, system: str) -> str | None:
        return self._names.name(table, key, "reservoir", written, system, SUCH_AS_STORE)

    def _solution(self, table: Table, system: str, kind: str) -> dict[str, Any]:
        """What a dosing or limewater reservoir gives to the water, and how strong it is."""
        doses = table.choice("doses", DOSED, DOSED[0]) if table.has("doses") else table.text("doses")
        strength, reading = table.text("strength"), table.text("strength_reading")
        saturated = table.quantity("saturated", "conductivity")
        lime = kind == "limewater"
        if doses and kind != "dosing":
            table.fault("doses", 'only a reservoir of kind = "dosing" doses; correct the kind or take doses away')
        for key, given in (("strength_reading", reading), ("saturated", saturated)):
            if given and not lime:
                table.fault(key, f'{key} goes with kind = "limewater"; take it away or write strength = "1.0 meq/mL"')
        if saturated and saturated.canonical <= 0:
            table.fault("saturated", "limewater of no conductivity is not saturated; write what the meter shows")
        if strength and not doses and not lime:
            table.fault("strength", f'a strength of what? Add doses = "{DOSED[0]}" (or {", ".join(DOSED[1:])})')
        read = (
            table.read("strength", strength, lambda text: parse_strength(text, doses or DOSED[0])) if strength else None
        )
        return {
            "doses": doses or None,
            "strength": read,
            "strength_reading": self._names.measured(table, "strength_reading", system, "conductivity"),
            "saturated": saturated.canonical if saturated else None,
        }

    def check_rings(self) -> None:
        """A reservoir whose water comes from itself is a fault of its ``fed_by``."""
        for table, written, full in self._fed:
            if full in self.found and self._goes_round(full):
                table.fault(
                    "fed_by", f"the refills go round in a ring by way of {quoted(written)}; leave one fed_by out"
                )

    def _goes_round(self, first: str) -> bool:
        """Whether the water of a reservoir comes from itself."""
        passed = set()
        source: str | None = first
        while source in self.found and source not in passed:
            passed.add(source)
            source = self.found[source].fed_by
        return source == first


def _level(reservoir: Reservoir, reserve: Quantity | None) -> Reading:
    """What is read of it; waste must not rise above its reserve, all else not fall below."""
    waste = reservoir.kind == "waste"
    return Reading(
        id=f"{reservoir.id}-level", system=reservoir.system, station=reservoir.station,
        name=f"{reservoir.name} level", quantity="level", unit=reservoir.level_unit,
        low=None if waste else reserve, high=reserve if waste else None,
        capacity=reservoir.capacity, litres_per_cm=reservoir.litres_per_cm,
    )  # fmt: skip


def _litres_per_cm(table: Table, level_unit: str) -> float | None:
    per_cm = table.raw("litres_per_cm")
    if per_cm is not None and (isinstance(per_cm, bool) or not isinstance(per_cm, int | float) or not 0 < per_cm < 1e6):
        table.fault("litres_per_cm", f"{quoted(per_cm)} is no number of litres; write for example litres_per_cm = 2.4")
        per_cm = None
    if level_unit == "cm" and per_cm is None and not table.has("litres_per_cm"):
        table.fault("level_unit", 'levels in "cm" need litres_per_cm; add litres_per_cm = 2.4')
    return per_cm if per_cm is None else float(per_cm)


def refill_of(reservoir: Reservoir) -> Task:
    """To refill it, or to empty what takes waste, when a forecast calls for it."""
    return Task(
        id=f"{reservoir.id}-refill", system=reservoir.system, station=reservoir.station, source="refill", rule=Called(),
        title=f"{'Empty' if reservoir.kind == 'waste' else 'Refill'} the {reservoir.name}",
    )  # fmt: skip
