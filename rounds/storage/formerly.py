"""The former ids that the room's files name, so that what was recorded under them counts on."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import msgspec

from rounds.core.words import quoted
from rounds.storage.tables import ID, Table


class _Named(msgspec.Struct):
    table: Table
    written: str
    old: str


class Formerly:
    """Collects former ids; `check` finds those that are still, or more than once, in use."""

    def __init__(self) -> None:
        self.ids: dict[str, str] = {}
        """Present ids by former ones; of what is in a system full ids, with its present system."""
        self._named: list[_Named] = []

    def name(self, table: Table, full: str, parts: Sequence[str] = ("",)) -> None:
        """Read the key ``formerly`` of a table whose full id, or id of a system, is `full`.

        `parts` are the endings of the ids under which it is recorded.
        """
        system, slash, _ = full.rpartition("/")
        for written in table.texts("formerly"):
            if not ID.fullmatch(written):
                table.fault("formerly", f"{quoted(written)} is no id; use lower-case letters, digits and hyphens")
            for part in parts:
                old = f"{system}{slash}{written}{part}"
                if old in self.ids:
                    table.fault("formerly", f"{quoted(written)} is named as a former id twice; keep it once")
                self._named.append(_Named(table, written, old))
                self.ids[old] = f"{full}{part}"

    def check(self, systems: Collection[str], ids: Collection[str]) -> None:
        """Former ids that something bears today become faults."""
        for each in self._named:
            if each.old in systems or each.old in ids:
                each.table.fault(
                    "formerly",
                    f"the id {quoted(each.written)} is in use; take it away here or give the other another id",
                )
