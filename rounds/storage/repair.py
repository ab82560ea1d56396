"""Reading what can still be read of a damaged sheet, into a new sheet beside it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgspec

from rounds.core.record import Record
from rounds.storage.atomic import replace_file
from rounds.storage.sheets import LARGEST, TABLE, DamagedSheet, parse_sheet, sheet_files


class Repaired(msgspec.Struct, frozen=True):
    """What came of one damaged sheet."""

    sheet: Path
    beside: Path | None
    """The new sheet; None when nothing could be read, or all of it stands elsewhere already."""
    records: int
    """How many records could be read."""
    lost: str
    """What could not be read, in words."""


def repair_sheets(room: Path) -> list[Repaired]:
    """Write the readable records of every damaged sheet to a new one beside it; the original stays as it is."""
    damaged = []
    known: set[str] = set()
    for path, stamp in sheet_files(room):
        try:
            content = path.read_bytes() if stamp.size <= LARGEST else b""
            entries = parse_sheet(content)[TABLE].values()
            known |= {str(entry["id"]) for entry in entries if isinstance(entry, dict) and "id" in entry}
        except DamagedSheet:
            damaged.append((path, content))
        except OSError:
            continue
    return [_repair(path, content, known) for path, content in damaged]


def _repair(path: Path, content: bytes, known: set[str]) -> Repaired:
    records, covered = _salvage(_text(content))
    lost = f"{len(content) - covered:,} of {len(content):,} bytes hold no whole record"
    news = [record for record in records if record["id"] not in known]
    if not news:
        return Repaired(path, None, len(records), lost)
    beside = _free_name(path)
    sheet = {TABLE: {str(number): record for number, record in enumerate(news, 1)}}
    replace_file(beside, msgspec.json.format(msgspec.json.encode(sheet), indent=1) + b"\n")
    known |= {record["id"] for record in news}
    return Repaired(path, beside, len(records), lost)


def _text(content: bytes) -> str:
    for mark, encoding in ((b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"), (b"\xef\xbb\xbf", "utf-8-sig")):
        if content.startswith(mark):
            return content.decode(encoding, "replace")
    return content.decode("utf-8", "surrogateescape")


def _salvage(text: str) -> tuple[list[dict[str, Any]], int]:
    """Every whole record in the text, once, and how many bytes they take."""
    decoder = json.JSONDecoder()
    found: dict[str, dict[str, Any]] = {}
    covered = 0
    place = text.find("{")
    while place >= 0:
        try:
            value, end = decoder.raw_decode(text, place)
            record = msgspec.convert(value, Record)
        except (ValueError, RecursionError, msgspec.ValidationError):
            place = text.find("{", place + 1)
            continue
        if record.at.tzinfo is not None and record.recorded.tzinfo is not None and not _doubtful(text[place:end]):
            found.setdefault(record.id, value)
            covered += len(text[place:end].encode("utf-8", "surrogateescape"))
        place = text.find("{", end)
    return list(found.values()), covered


def _doubtful(text: str) -> bool:
    """Whether bytes in it were no text."""
    return any(0xDC80 <= ord(character) <= 0xDCFF for character in text)


def _free_name(path: Path) -> Path:
    stem = path.name.removesuffix(".json")
    number = 1
    while (beside := path.with_name(f"{stem}.repaired{'' if number == 1 else f'-{number}'}.json")).exists():
        number += 1
    return beside
