"""Stock, and what work draws from it, read from the tables of the room's files."""

from __future__ import annotations

from typing import Any

from rounds.core.model import STOCK_KINDS, Stock, Use
from rounds.core.stock import parse_amount
from rounds.core.words import quoted
from rounds.storage.references import References
from rounds.storage.tables import Table, spoken


class Shelves:
    """Reads one item after the other; what is drawn is looked at when all are read, for it is in their units."""

    def __init__(self, names: References) -> None:
        self.found: dict[str, Stock] = {}
        """By full id."""
        self._names = names
        self._drawn: list[tuple[Table, str, str, Any]] = []
        """Table, full id of what draws, full id of the stock, the amount as written."""

    def read(self, table: Table, id: str, station: str) -> Stock:
        """The item with the full `id`."""
        system, _, short = id.partition("/")
        unit = table.text("unit", required=True)
        name = table.text("name") or spoken(short)
        minimum, pack = (_amount(table, key, table.raw(key), unit, name) for key in ("minimum", "pack"))
        stock = Stock(
            id=id,
            system=system,
            station=station,
            name=name,
            kind=table.choice("kind", STOCK_KINDS, "other"),
            unit=unit,
            minimum=minimum,
            expires=table.day("expires"),
            pack=pack,
        )
        self.found[id] = stock
        return stock

    def read_uses(self, table: Table, system: str, by: str) -> None:
        """What the work with the full id `by` draws: ``uses = { "room/salt" = "7 kg" }``."""
        uses = table.raw("uses")
        if uses is None:
            return
        if not isinstance(uses, dict) or not uses:
            table.fault("uses", 'uses is no table of stock; write uses = { "room/salt" = "7 kg" }')
            return
        for written, amount in uses.items():
            if not written.strip():
                table.fault("uses", 'a name of stock is blank; write uses = { "room/salt" = "7 kg" }')
            full = self._names.name(table, "uses", "stock", written, system, "add it under [[stock]]")
            if full is not None:
                self._drawn.append((table, by, full, amount))

    def uses(self) -> tuple[Use, ...]:
        """The amounts, in the units of the stock they are drawn from."""
        found = []
        for table, by, full, written in self._drawn:
            stock = self.found.get(full)
            amount = _amount(table, "uses", written, stock.unit, stock.name) if stock is not None else None
            if amount is not None:
                found.append(Use(by, full, amount))
        return tuple(found)


def _amount(table: Table, key: str, written: Any, unit: str, name: str) -> float | None:
    """An amount of stock as text with its unit."""
    if written is None or not unit:
        return None
    if not isinstance(written, str):
        table.fault(key, f'{quoted(written)} is no amount of {name}; write a number and its unit as text: "7 {unit}"')
        return None
    return table.read(key, written, lambda text: parse_amount(text, unit, name))
