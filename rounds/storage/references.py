"""What keys of the room's files name by id, looked up when everything there is has been read."""

from __future__ import annotations

from collections.abc import Mapping

import msgspec

from rounds.core.model import Reading
from rounds.core.words import quoted
from rounds.storage.tables import Table


class Reference(msgspec.Struct, frozen=True):
    """One key of a file that names something by its id."""

    file: str
    """Path inside the room."""
    table: str
    """The list in which its table stands; empty: the file itself."""
    index: int
    """The place of its table in that list."""
    key: str
    within: str
    """The key of the inline tables inside its value that name it; empty: the value itself."""
    written: str
    full: str
    """The full id that is meant."""


class _Named(msgspec.Struct):
    """One key that names something."""

    table: Table
    key: str
    what: str
    written: str
    full: str
    remedy: str
    quantity: str | None

    def fault(self, why: str) -> None:
        self.table.fault(self.key, f"the {self.what} {quoted(self.written)} {why}; {self.remedy}")


class References:
    """Collects the names; `check` finds those that nothing bears."""

    def __init__(self) -> None:
        self._named: list[_Named] = []

    def name(
        self, table: Table, key: str, what: str, written: str, system: str, remedy: str, quantity: str | None = None
    ) -> str | None:
        """The full id of what a key names, by default in its own `system`; None where it names nothing.

        `what` is a key of the mapping that `check` is given; a reading has to measure the `quantity`.
        """
        if not written:
            return None
        full = written if "/" in written else f"{system}/{written}"
        self._named.append(_Named(table, key, what, written, full, remedy, quantity))
        return full

    def all(self) -> list[Reference]:
        """Every name, wherever it stands."""
        return [
            Reference(each.table.file.name, *each.table.place(each.key), each.written, each.full)
            for each in self._named
        ]

    def measured(self, table: Table, key: str, system: str, quantity: str) -> str | None:
        """The full id of the reading of `quantity` that a key names."""
        remedy = f'name one with quantity = "{quantity}"'
        return self.name(table, key, "reading", table.text(key), system, remedy, quantity)

    def equipment(self, table: Table, key: str, written: str, system: str) -> str | None:
        """The full id of the equipment that a key names."""
        return self.name(table, key, "equipment", written, system, 'write one such as "return-pump"')

    def equipment_in(self, table: Table, key: str, system: str) -> tuple[str, ...]:
        """The full ids of the equipment that a list names."""
        found = (self.equipment(table, key, written, system) for written in table.texts(key))
        return tuple(id for id in found if id is not None)

    def check(self, known: Mapping[str, Mapping[str, object]]) -> None:
        """Every name that leads nowhere, or to a reading of another quantity, becomes a fault of its key."""
        for each in self._named:
            found = known[each.what].get(each.full)
            if found is None:
                each.fault("does not exist")
            elif each.quantity is not None and isinstance(found, Reading) and found.quantity != each.quantity:
                each.fault(f"measures {found.quantity}, not {each.quantity}")
