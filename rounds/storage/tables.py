"""Reading one TOML table key by key, so that every fault of every file is found in one go."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime, time, timedelta
from typing import Any, TypeVar

from rounds.core.durations import parse_elapsed
from rounds.core.errors import RoundsError
from rounds.core.model import Quantity
from rounds.core.units import Seawater, find_unit, kind, to_canonical
from rounds.core.words import quoted
from rounds.storage.faults import Fault, Lines, Missing

ID = re.compile(r"[a-z0-9]([a-z0-9-]*[a-z0-9])?", re.ASCII)
_CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])", re.ASCII)
_NUMBER_UNIT = re.compile(r"\s*([+-]?[0-9]+(?:\.[0-9]+)?)\s*(.*?)\s*", re.ASCII)
_YEARS = range(1900, 2201)

T = TypeVar("T")


def spoken(id: str) -> str:
    """What is called after its id: ``top-off`` becomes "top off"."""
    return id.replace("-", " ")


class File:
    """One TOML file of the room and the faults found in it."""

    def __init__(self, name: str, text: str, faults: list[Fault]) -> None:
        self.name = name
        self.faults = faults
        self._text = text
        self._lines: Lines | None = None

    def fault(
        self,
        sentence: str,
        table: str = "",
        index: int | None = 0,
        key: str = "",
        label: str = "",
        row: int | None = None,
        inner: str = "",
        missing: Missing | None = None,
    ) -> None:
        if self._lines is None:
            self._lines = Lines(self._text)
        where = ""
        if table:
            where = f"[{table}]"
            if index is not None:
                where = f"[{where}]" + (f' "{label}"' if label else f" number {index + 1}")
        line = self._lines.find(table, index or 0, key)
        found = Fault(
            file=self.name, line=line, table=where, key=key, row=row, inner=inner, missing=missing, sentence=sentence
        )
        if found not in self.faults:  # what is brought to several systems is read more than once
            self.faults.append(found)


class Dropped(dict[str, Any]):
    """Stands in a list for a table that the file leaves out, so that the others keep their places."""


class Brought(dict[str, Any]):
    """A table that another file brings: what is wrong in it is a fault there."""

    def __init__(self, data: Mapping[str, Any], file: File, name: str, index: int) -> None:
        """`index` counts the tables of `name` through the other file."""
        super().__init__(data)
        self.file = file
        self.name = name
        self.index = index

    def like(self, data: Mapping[str, Any]) -> Brought:
        """Other data from the same place."""
        return Brought(data, self.file, self.name, self.index)


class Table:
    """One table of a file; every key is asked for once, and what was not asked for is a fault."""

    def __init__(self, file: File, data: dict[str, Any], name: str = "", index: int | None = None) -> None:
        """`index` counts the tables of one ``[[name]]``; None for a ``[name]`` and for the file itself."""
        self.file = file
        self.name = name
        self.index = index
        self.data = data
        self._asked: dict[str, None] = {}
        label = data.get("id") or data.get("name") or data.get("initials")
        self._label = label if isinstance(label, str) else ""

    def fault(self, key: str, sentence: str, missing: Missing | None = None) -> None:
        self.file.fault(sentence, self.name, self.index, key, self._label, missing=missing)

    def fault_inside(self, key: str, row: int | None, inner: str, sentence: str, missing: Missing | None) -> None:
        """A fault of a key of the table, or of one table of the list, that a key holds."""
        self.file.fault(sentence, self.name, self.index, key, self._label, row, inner, missing)

    def missing(self, key: str, example: str) -> None:
        """The fault that a key is not there; `example` is a value as the file would have it."""
        self.fault("", f"{key} is missing; add {key} = {example}", Missing(key, example))

    def place(self, key: str) -> tuple[str, int, str, str]:
        """Where a key stands: its list, its place there, the key, and the key inside its value."""
        return self.name, self.index or 0, key, ""

    def has(self, key: str) -> bool:
        return key in self.data

    def raw(self, key: str) -> Any:
        self._asked[key] = None
        return self.data.get(key)

    def text(self, key: str, default: str | None = "", *, required: bool = False) -> str:
        """A text without a default is required and must not be blank."""
        value = self.raw(key)
        if value is None:
            if required:
                self.missing(key, '"…"')
            return default or ""
        if not isinstance(value, str):
            self.fault(key, f"{_shown(value)} is not text; put it in quotes")
            return default or ""
        if required and not value.strip():
            self.fault(key, f"{key} is blank; write a text")
        return value

    def id(self) -> str:
        value = self.text("id", required=True)
        if value and not ID.fullmatch(value):
            self.fault("id", f"{quoted(value)} is no id; use lower-case letters, digits and hyphens")
        return value

    def flag(self, key: str, default: bool = False) -> bool:
        value = self.raw(key)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.fault(key, f"{_shown(value)} is neither true nor false; write true or false without quotes")
            return default
        return value

    def whole(self, key: str, low: int, high: int) -> int | None:
        value = self.raw(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self.fault(key, f"{_shown(value)} is not a whole number from {low} to {high}; write one without quotes")
            return None
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        value = self.raw(key)
        if value is None:
            return ()
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            self.fault(key, f'{_shown(value)} is not a list of texts; write {key} = ["…", "…"]')
            return ()
        return tuple(value)

    def choice(self, key: str, choices: Iterable[str], default: str | None) -> str:
        """One of `choices`; with None as the default it is required."""
        choices = tuple(choices)
        value = self.text(key, default or "", required=default is None)
        if value and value not in choices:
            self.fault(key, f"{quoted(value)} is not known here; write one of: {', '.join(choices)}")
            return default or choices[0]
        return value or default or choices[0]

    def clock(self, key: str, default: time | None = None) -> time:
        value = self.raw(key)
        if value is None:
            if default is None:
                self.missing(key, '"07:00"')
            return default or time(0)
        return self._clock(key, value) or default or time(0)

    def clocks(self, key: str) -> tuple[tuple[time, ...], bool]:
        """Wall times of one text or a list, and whether it was a list."""
        value = self.raw(key)
        if value is None:
            return (), False
        if isinstance(value, list):
            if not value:
                self.fault(key, f'{key} is an empty list; write {key} = ["09:00", "17:00"]')
            times = [self._clock(key, item) for item in value]
            found = tuple(each for each in times if each is not None)
            if len(set(found)) != len(found):
                self.fault(key, "a time stands twice; keep it once")
            return tuple(sorted(set(found))), True
        found_one = self._clock(key, value)
        return ((found_one,) if found_one is not None else ()), False

    def _clock(self, key: str, value: Any) -> time | None:
        found = _CLOCK.fullmatch(value) if isinstance(value, str) else None
        if not found:
            self.fault(key, f'{_shown(value)} is no time of day; write hours and minutes as text, "00:00" to "23:59"')
            return None
        return time(int(found[1]), int(found[2]))

    def day(self, key: str, *, required: bool = False) -> date | None:
        value = self.raw(key)
        if value is None:
            if required:
                self.missing(key, "2026-01-05")
            return None
        return self._day(key, value, f"{key} = 2026-01-05")

    def days(self, key: str) -> tuple[date, ...]:
        """A list of dates, in rising order."""
        value = self.raw(key)
        if value is None:
            return ()
        if not isinstance(value, list) or not value:
            self.fault(key, f"{_shown(value)} is no list of dates; write {key} = [2026-12-03, 2026-12-04]")
            return ()
        days = [day for each in value if (day := self._day(key, each, f"{key} = [2026-12-03]")) is not None]
        if len(set(days)) != len(days):
            self.fault(key, "a date stands twice; keep it once")
        return tuple(sorted(set(days)))

    def _day(self, key: str, value: Any, example: str) -> date | None:
        if isinstance(value, datetime) or not isinstance(value, date):
            self.fault(key, f"{_shown(value)} is no date; write it without quotes: {example}")
            return None
        if value.year not in _YEARS:
            self.fault(key, f"{value} lies outside the years 1900 to 2200; write another date")
            return None
        return value

    def wall(self, key: str) -> datetime | None:
        """A local date and time, to the minute or second."""
        value = self.raw(key)
        if value is None:
            return None
        if not isinstance(value, datetime) or value.tzinfo is not None or value.year not in _YEARS:
            self.fault(
                key,
                f"{_shown(value)} is no local date and time; write it without quotes and offset: "
                f"{key} = 2026-11-26T20:00:00",
            )
            return None
        return value.replace(microsecond=0)

    def elapsed(self, key: str) -> timedelta | None:
        value = self.text(key, "")
        given = value or isinstance(self.raw(key), str)
        return self.read(key, value, parse_elapsed) if given else None

    def read(self, key: str, value: str, reader: Callable[[str], T]) -> T | None:
        """`reader` of the text; what it refuses becomes a fault of this key."""
        try:
            return reader(value)
        except RoundsError as refusal:
            self.fault(key, str(refusal))
            return None

    def quantity(
        self, key: str, of: str, *, seawater: Seawater | None = None, per_day: bool = False, required: bool = False
    ) -> Quantity | None:
        """A text such as ``"7.5 dKH"`` of the quantity `of`."""
        value = self.raw(key)
        if value is None:
            if required:
                self.missing(key, f'"80 {kind(of).canonical}"')
            return None
        found = _NUMBER_UNIT.fullmatch(value) if isinstance(value, str) else None
        units = ", ".join(unit.name for unit in kind(of).units if unit.name)
        if not found:
            self.fault(key, f"{_shown(value)} is no {of}; write a number and a unit as text ({units or 'no unit'})")
            return None
        unit = found[2]
        if per_day:
            if not unit.endswith("/day"):
                self.fault(key, f'{quoted(value)} is no use a day; write for example "70 mL/day"')
                return None
            unit = unit[: -len("/day")].strip()
        if not unit and of not in ("pH", "pH total", "count"):
            self.fault(key, f"{quoted(value)} has no unit; write one of: {units}")
            return None

        def convert(_: str) -> Quantity:
            name = find_unit(of, unit).name if unit else kind(of).canonical
            number = float(found[1])
            return Quantity(number, name, to_canonical(of, number, name, seawater=seawater, temperature=25.0))

        read = self.read(key, value, convert)
        if read is not None:
            low, high = kind(of).possible
            if not low <= read.canonical <= high:
                self.fault(
                    key,
                    f"{quoted(value)} cannot be a {of}; write a value from {low:g} to {high:g} {kind(of).canonical}",
                )
                return None
        return read

    def tables(self, key: str) -> list[Table]:
        """The tables of a ``[[key]]`` list."""
        value = self.raw(key)
        if value is None:
            return []
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            self.file.fault(f"{key} is no list of tables; begin each with [[{key}]]", "", 0, key)
            return []
        return [self._listed(item, key, index) for index, item in enumerate(value) if not isinstance(item, Dropped)]

    def _listed(self, item: dict[str, Any], key: str, index: int) -> Table:
        if isinstance(item, Brought):
            return Table(item.file, item, item.name, item.index)
        return Table(self.file, item, key, index)

    def part(self, key: str) -> Part:
        """The table ``[name.key]``, empty where there is none; a fault in it is a fault of the key."""
        value = self.raw(key)
        if value is not None and not isinstance(value, dict):
            self.fault(key, f"{_shown(value)} is no table; write {key} = {{ … }}")
        return Part(self, key, value if isinstance(value, dict) else {})

    def within(self, key: str) -> list[Table]:
        """The tables of a list in one line, ``key = [{ … }, { … }]``; a fault in one of them is a fault of the key."""
        value = self.raw(key)
        if value is None:
            return []
        if not isinstance(value, list) or not value or not all(isinstance(item, dict) for item in value):
            self.fault(key, f"{_shown(value)} is no list of tables; write {key} = [{{ … }}, {{ … }}]")
            return []
        return [Part(self, key, item, row) for row, item in enumerate(value)]

    def close(self) -> None:
        """Every key that nothing asked for is a fault."""
        for key in self.data:
            if key not in self._asked:
                known = ", ".join(self._asked)
                self.fault(key, f"the key {quoted(key)} is not known here; write one of: {known}")


class Part(Table):
    """A table inside the value of a key: its faults are faults of that key."""

    def __init__(self, whole: Table, key: str, data: dict[str, Any], row: int | None = None) -> None:
        """`row` counts the tables of a list."""
        super().__init__(whole.file, data)
        self._whole = whole
        self._key = key
        self._row = row

    def fault(self, key: str, sentence: str, missing: Missing | None = None) -> None:
        self._whole.fault_inside(self._key, self._row, key, sentence, missing)

    def place(self, key: str) -> tuple[str, int, str, str]:
        return self._whole.name, self._whole.index or 0, self._key, key


def _shown(value: Any) -> str:
    text = value if isinstance(value, str) else str(value)
    return quoted(text if len(text) <= 60 else text[:57] + "…")
