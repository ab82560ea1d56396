"""The cache answers like every sheet read anew, whatever was recorded and whatever became of the files."""

from __future__ import annotations

import json
import os
from contextlib import contextmanager
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rounds.core import batches as batches_module
from rounds.core.account import records_about
from rounds.core.batches import COMBINED, COUNT, standing
from rounds.core.concerns import open_concerns
from rounds.core.off_normal import off_normal
from rounds.core.protocols import COMPLETED, running, step_id
from rounds.core.record import (
    BACK_TO_NORMAL,
    BATCH,
    BATCH_CLOSED,
    BATCH_COUNTED,
    BATCH_KINDS,
    BATCH_MOVED,
    CONCERN,
    CONCERN_CLOSED,
    CONCERN_UPDATE,
    COULD_NOT,
    DONE,
    NOT_NEEDED,
    NOTE,
    OFF_NORMAL,
    POSTPONED,
    PROTOCOL,
    READING,
    REFILL,
    STRIKE,
    VALVED,
    Record,
    Value,
)
from rounds.storage import archive as archive_module
from rounds.storage import cache as cache_module
from rounds.storage import device
from rounds.storage import records as records_module
from rounds.storage.room import RoomFolder
from rounds.storage.sheets import SheetWriter
from tests.storage.test_loader import REEF, ROOM
from tests.support import instant, write_room

TASKS = ("reef/cup", "reef/alkalinity", "reef/store-refill")
TANK = "reef/a"

FOLLOWED = (
    REEF.replace('takes = ["alkalinity"]', 'takes = ["alkalinity"]\nequipment = "skimmer"', 1)
    + """
[[tasks]]
id = "look"
station = "sump"
title = "Look at the pump"
called = true

[[protocols]]
id = "course"
name = "Course"

[[protocols.steps]]
title = "Dose"
every = "1 day"
times = 3

[[protocols.steps]]
task = "look"
after = "5 days"
"""
)

BEGIN = instant("2026-02-02 12:00")


@contextmanager
def at_time(now, home=None):
    """The device's clock at `now`; with `home`, its caches there."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ROUNDS_DEVICE", "tablet")
        patch.setenv("ROUNDS_NOW", now.isoformat())
        if home is not None:
            patch.setenv("XDG_CACHE_HOME", os.fspath(home))
        yield


def answers(room, now):
    """All that a keeper can see of a room; what the present needs is asked first."""
    return {
        "items": room.items(now),
        "items in two days": room.items(now + timedelta(days=2)),
        "concerns": room.ask(lambda history: history.concerns(now)),
        "concern logs": room.ask(lambda history: open_concerns(history, now)),
        "off normal": room.ask(lambda history: off_normal(room.model, history, now)),
        "under way": room.ask(lambda history: running(room.model, history, now)),
        "what stands": room.ask(lambda history: standing(history, now)),
        "last find": room.ask(lambda history: history.found("reef").last(now)),
        "valves": room.ask(lambda history: list(history.valved(TANK).latest(now))),
        "of the device": room.last_of_device(now),
        "today": room.recorded_since(room.model.calendar.start(room.model.calendar.round_day(now)), now),
        "last closings": [
            room.ask(lambda history, task=task: (history.closings(task).last(now), history.valued(task).last(now)))
            for task in TASKS
        ],
        "items a week ago": room.items(now - timedelta(days=7)),
        "every closing": [
            room.ask(lambda history, task=task: [list(history.closings(task).latest(now)), list(history.valued(task))])
            for task in TASKS
        ],
        "histories": [room.records_about(task=task) for task in TASKS],
        "histories of stations": [room.records_about(station=("reef", station)) for station in ("", "sump", "rack")],
        "series": [record.id for record in room.standing_records({"reef/alkalinity"})],
        "history": room.ask(records_about),
        "struck": room.ask(lambda h: {record.id: h.strike_of(record.id) for record in records_about(h)}),
        "histories by reading every sheet": [
            room.ask(lambda h, task=task: records_about(h, task=task)) for task in TASKS
        ],
        "problems": sorted(str(problem) for problem in room.problems),
    }


def from_cache(folder, now, *, quickly):
    """What a room answers that was opened from what cache there is."""
    with at_time(now):
        room = RoomFolder(folder, quickly=quickly)
        if quickly:
            room.items(now)
            room.take_in(room.look())
        return answers(room, now)


def from_sheets(folder, now):
    """What it answers without a cache."""
    with TemporaryDirectory() as empty, at_time(now, Path(empty)):
        return answers(RoomFolder(folder), now)


def same(found, wanted):
    """Fails with the name of the answer that differs."""
    assert found["histories"] == found["histories by reading every sheet"]
    for name, answer in wanted.items():
        assert found[name] == answer, name


# -- any sequence of records ----------------------------------------------------------------------------------

hours = st.sampled_from((0, 0, 0, 1, 5, 30, 80, 200, 500, -2, -30))
"""How long before it was written down it happened; some lie in the future."""

FOLLOWING = (OFF_NORMAL, "extended", BACK_TO_NORMAL, PROTOCOL, "ended", "step")
"""What leaves something off normal or has to do with a protocol; the word is the kind of record or what it does."""

deeds = st.tuples(
    st.sampled_from(
        (
            DONE, DONE, DONE, READING, READING, NOT_NEEDED, REFILL, COULD_NOT, POSTPONED,
            CONCERN, CONCERN, CONCERN_UPDATE, CONCERN_CLOSED, STRIKE, STRIKE, "twin", "moon phase", *FOLLOWING,
            BATCH, BATCH, BATCH_MOVED, BATCH_COUNTED, BATCH_CLOSED, BATCH_CLOSED, NOTE, VALVED,
        )
    ),
    st.integers(0, 2),
    hours,
    st.integers(0, 400),
    st.sampled_from(("tablet", "phone")),
)  # fmt: skip


weeks = st.lists(
    st.tuples(st.sampled_from((0, 1, 1, 2, 5, 12)), st.lists(deeds, max_size=8), st.booleans()),
    min_size=1,
    max_size=8,
)
"""Days that pass, what is recorded then, and whether the room is opened and its cache written after it."""


def long_stories(kinds):
    """The same of few things: one record a time, days apart, mostly written down at once."""
    one = st.tuples(
        st.sampled_from(kinds), st.integers(0, 1), st.sampled_from((0, 0, 0, 80)), st.integers(0, 3), st.just("phone")
    )
    return st.lists(
        st.tuples(st.sampled_from((1, 5)), st.lists(one, min_size=1, max_size=1), st.just(True)), min_size=3, max_size=7
    )


def record_of(deed, now, earlier, number):
    """The record of a deed; what it refers to is chosen among all earlier ones, however old."""
    kind, which, late, choice, on = deed
    if kind in FOLLOWING:
        return following(deed, now, earlier, number)
    at = now - timedelta(hours=late, minutes=number % 50)
    written = now + timedelta(seconds=number % 50)
    if kind == "twin":
        if not earlier:
            kind = DONE
        else:
            return msgspec.structs.replace(earlier[-1 - choice % len(earlier)], note=f"twin {choice}", device=on)
    if kind in BATCH_KINDS or kind == NOTE:
        return batch_record_of(kind, choice, at, written, on, earlier, number)
    task = {REFILL: TASKS[2], VALVED: TANK}.get(kind, TASKS[which % 2])
    ref = None
    if kind in (CONCERN_UPDATE, CONCERN_CLOSED, STRIKE):
        wanted = [r for r in earlier if (r.kind == CONCERN) == (kind != STRIKE) or (kind == STRIKE and choice % 3)]
        ref = wanted[choice % len(wanted)].id if wanted and choice % 17 != 16 else "nowhere"
    values = ()
    if kind in (READING, DONE):
        values = (Value(reading="reef/alkalinity", entered="8", value=7 + choice % 5 / 2, unit="meq/L"),)
    return Record(
        id=f"{number:05}",
        kind=kind,
        at=at,
        recorded=written,
        by=("TV", "MK")[choice % 2],
        device=on,
        system="reef",
        station="sump",
        task=None if kind.startswith("concern") else task,
        values=values if kind != DONE or task == TASKS[1] else (),
        reason="why",
        until=at + timedelta(hours=choice % 90 + 1) if kind == POSTPONED else None,
        ref=ref,
    )


def following(deed, now, earlier, number):
    """The record of a deed that leaves equipment or a hose off normal, or has to do with a protocol or with looks."""
    kind, which, late, choice, on = deed
    at = now - timedelta(hours=late, minutes=number % 50)
    begun = {"extended": OFF_NORMAL, BACK_TO_NORMAL: OFF_NORMAL, "ended": PROTOCOL, "step": PROTOCOL}
    known = [each for each in earlier if each.kind == begun.get(kind) and each.ref is None]
    first = known[choice % len(known)] if known and choice % 17 != 16 else None
    record = Record(
        id=f"{number:05}", kind=kind, at=at, recorded=now + timedelta(seconds=number % 50), by=("TV", "MK")[choice % 2],
        device=on, system="reef", station="sump", reason="why", ref=first.id if first is not None else None,
    )  # fmt: skip
    change = msgspec.structs.replace
    until = at + timedelta(hours=choice % 90 + 1)
    if kind in (OFF_NORMAL, "extended"):
        task = first.task if first is not None else (None, "reef/skimmer")[which % 2]
        return change(record, kind=OFF_NORMAL, task=task, until=until, words=("off",), note="hose")
    if kind == BACK_TO_NORMAL:
        return change(record, task=first.task if first is not None else "reef/skimmer", ref=record.ref or "nowhere")
    if kind == PROTOCOL:
        return change(record, task="reef/course")
    if kind == "ended":
        words = (COMPLETED,) if choice % 2 else ()
        return change(record, kind=PROTOCOL, task="reef/course", ref=record.ref or "nowhere", words=words)
    task = "reef/look" if first is None or which else step_id(first, 1)
    return change(record, kind=(DONE, DONE, NOT_NEEDED, COULD_NOT)[choice % 4], task=task)


def batch_record_of(kind, choice, at, written, on, earlier, number):
    """A batch of five, split off or arrived; moved, counted, lost in part or all, combined; a find."""
    known = [each.id for each in earlier if each.kind == BATCH] or ["nowhere"]
    about = known[choice % len(known)]
    whole = kind == BATCH_CLOSED and choice % 3
    words = {BATCH_CLOSED: ((COMBINED,) if choice % 5 == 0 else ("died",)), NOTE: ("pests",)}.get(kind, ())
    return Record(
        id=f"{number:05}",
        kind=kind,
        at=at,
        recorded=written,
        by="TV",
        device=on,
        system="reef",
        station=("sump", "rack")[choice % 2],
        task=known[choice // 7 % len(known)] if COMBINED in words else None,
        values=() if whole else (Value(reading=COUNT, entered="", value=float(choice % 6)),),
        note="pests" if choice % 2 else "no pests",
        words=words,
        ref=None if kind == NOTE or (kind == BATCH and choice % 3) else about,
    )


def write_down(folder, records, calendar):
    """Each into the sheet of its device and day of writing."""
    for record in records:
        writer = SheetWriter(folder, record.device, folder.parent / "lock")
        path = writer.append([record], calendar.round_day(record.recorded))
        content = json.loads(path.read_text())
        if msgspec.to_builtins(record) not in content["records"].values() and record.note.startswith("twin"):
            path = path.with_name(f"{path.stem} ({record.note}).json")
            path.write_bytes(msgspec.json.encode({"records": {"1": record}}))


@pytest.mark.parametrize("size", ["small", "large"])
@settings(max_examples=40)
@given(story=weeks)
def test_the_cache_answers_like_every_sheet(size, story):
    """Closings, strikes of what is new and old, late and early entries, twins of one id, in any order over weeks.

    In a large room records are let go while the sheets are read, and the archive is added to.
    """
    answers_alike(size, story)


@pytest.mark.parametrize(
    "kinds",
    [
        (CONCERN, CONCERN_UPDATE, CONCERN_CLOSED, DONE, STRIKE),
        (OFF_NORMAL, "extended", BACK_TO_NORMAL, DONE, STRIKE),
        (PROTOCOL, "step", "step", "ended", DONE, STRIKE),
    ],
    ids=["concerns", "off normal", "protocols"],
)
@settings(max_examples=60)
@given(data=st.data())
def test_the_cache_answers_like_every_sheet_of_few_things_followed_long(kinds, data):
    """So that most records go on with what began weeks before and was let go meanwhile."""
    answers_alike("small", data.draw(long_stories(kinds)))


TOLD = {
    "a concern opened again after long": (CONCERN, CONCERN_CLOSED, DONE, CONCERN_UPDATE),
    "a concern updated twice": (CONCERN, CONCERN_UPDATE, DONE, CONCERN_UPDATE),
    "a closing struck after long": (CONCERN, CONCERN_CLOSED, DONE, STRIKE),
    "equipment put back and off again": (OFF_NORMAL, BACK_TO_NORMAL, DONE, OFF_NORMAL, "extended"),
    "an extension after the putting back": (OFF_NORMAL, BACK_TO_NORMAL, DONE, "extended"),
    "off normal twice, the second struck": (OFF_NORMAL, OFF_NORMAL, "extended", STRIKE),
    "steps of a protocol over weeks": (PROTOCOL, "step", "step", DONE, "step", "step", "step"),
    "a step after the end": (PROTOCOL, "step", "ended", DONE, "step"),
    "an end struck after long": (PROTOCOL, "step", "ended", DONE, STRIKE),
    "a task of two protocols, one of which has ended": (PROTOCOL, PROTOCOL, "step", "ended", DONE),
}


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize("told", TOLD.values(), ids=TOLD)
def test_the_cache_answers_like_every_sheet_of_what_goes_on_after_long(told, which):
    """Each of these five days apart, the cache written in between; of a hose (0) and of equipment (1)."""
    days = [(5, [(kind, which, 0, len(told[:number]) - 1, "phone")], True) for number, kind in enumerate(told)]
    first = [(5, [(kind, which, 0, 0, "phone")], True) for kind in told]
    answers_alike("small", days)
    answers_alike("small", first)


LATE = {
    "an update of a closed concern": (CONCERN, CONCERN_CLOSED, CONCERN_UPDATE),
    "the closing of an open one": (CONCERN, CONCERN_UPDATE, CONCERN_CLOSED),
    "an extension of what is back": (OFF_NORMAL, BACK_TO_NORMAL, "extended"),
    "the putting back of what is off": (OFF_NORMAL, "extended", BACK_TO_NORMAL),
    "a step of an ended protocol": (PROTOCOL, "ended", "step"),
    "the end of one under way": (PROTOCOL, "step", "ended"),
}


@pytest.mark.parametrize("which", [0, 1])
@pytest.mark.parametrize("kinds", LATE.values(), ids=LATE)
@pytest.mark.parametrize("grown", [True, False], ids=["grown", "new"])
def test_an_old_sheet_that_comes_late_counts(tmp_path, monkeypatch, kinds, which, grown):
    """Of a device that was away: its sheet of weeks ago grows, or arrives, when what it goes on with was let go."""
    monkeypatch.setenv("XDG_CACHE_HOME", os.fspath(tmp_path / "cache"))
    folder = write_room(tmp_path / "room", ROOM, reef=FOLLOWED)
    with at_time(BEGIN):
        calendar = RoomFolder(folder).model.calendar
    records: list[Record] = []
    for number, kind in enumerate(kinds):
        now = BEGIN + timedelta(hours=number)
        records.append(record_of((kind, which, 0, 0, "phone"), now, records, number))
    first = msgspec.structs.replace(records[0], id="other", kind=DONE, task=TASKS[0], ref=None, device="away")
    late = msgspec.structs.replace(records.pop(), device="away")
    write_down(folder, [*records, *([first] if grown else [])], calendar)
    for days in (0, 5, 10):
        with at_time(BEGIN + timedelta(days=days, hours=4)):
            RoomFolder(folder)
    write_down(folder, [late], calendar)
    now = BEGIN + timedelta(days=10, hours=5)
    wanted = from_sheets(folder, now)
    for quickly in (True, False):
        same(from_cache(folder, now, quickly=quickly), wanted)


def answers_alike(size, story):
    with TemporaryDirectory() as made, pytest.MonkeyPatch.context() as patch:
        top = Path(made)
        patch.setenv("XDG_CACHE_HOME", os.fspath(top / "cache"))
        patch.setattr(records_module, "KEPT_RECORDS", 2)
        patch.setattr(batches_module, "MEMORY", timedelta(days=2))
        if size == "large":
            patch.setattr(records_module, "HELD", 4)
            patch.setattr(records_module, "MANY_SHEETS", 2)
            patch.setattr(archive_module, "BUFFERED", 3)
        folder = write_room(top / "room", ROOM, reef=FOLLOWED)
        now, earlier, number = BEGIN, [], 0
        with at_time(now):
            alive = RoomFolder(folder)
        for days, batch, opened in story:
            now += timedelta(days=days, minutes=number + 1)
            news = []
            for deed in batch:
                number += 1
                news.append(record_of(deed, now, earlier, number))
                earlier.append(news[-1])
            write_down(folder, news, alive.model.calendar)
            now += timedelta(minutes=2)
            if opened:
                with at_time(now):
                    RoomFolder(folder)
        now += timedelta(hours=1)
        wanted = from_sheets(folder, now)
        same(from_cache(folder, now, quickly=True), wanted)
        same(from_cache(folder, now, quickly=False), wanted)
        same(from_cache(folder, now + timedelta(days=1), quickly=True), from_sheets(folder, now + timedelta(days=1)))
        alive.refresh_sheets()
        with at_time(now):
            same(answers(alive, now), wanted)


# -- what becomes of the files ----------------------------------------------------------------------------------


@pytest.fixture
def years(folder, monkeypatch):
    """Six weeks of records on two devices and a cache of them; `now` is a day later."""
    monkeypatch.setattr(records_module, "KEPT_RECORDS", 2)
    with at_time(BEGIN):
        room = RoomFolder(folder)
    earlier: list[Record] = []
    kinds = (DONE, READING, CONCERN, DONE, COULD_NOT, REFILL, CONCERN_UPDATE, POSTPONED, NOT_NEEDED, STRIKE, READING)
    for number in range(60):
        when = BEGIN + timedelta(days=number // 2, hours=number % 2)
        deed = (kinds[number % len(kinds)], number % 2, 0, number * 7 + 1, ("tablet", "phone")[number % 2])
        earlier.append(record_of(deed, when, earlier, number))
    write_down(folder, earlier, room.model.calendar)
    kept = BEGIN + timedelta(days=29, hours=3)
    with at_time(kept):
        RoomFolder(folder)
        fold = device.cache_folder(folder) / "fold.msgpack"
    assert fold.exists()
    sheets = sorted((folder / "sheets").rglob("*.json"))
    assert len(sheets) == 60
    return SimpleNamespace(folder=folder, fold=fold, sheets=sheets, now=kept + timedelta(hours=2), records=earlier)


@pytest.fixture(params=[True, False], ids=["quickly", "at once"])
def equal(request, years):
    """Compares a room opened from the cache with one that reads every sheet."""

    def compare():
        wanted = from_sheets(years.folder, years.now)
        same(from_cache(years.folder, years.now, quickly=request.param), wanted)
        return wanted

    return compare


def test_the_cache_is_really_used(years):
    """The present is answered without opening the old sheets."""
    with at_time(years.now), pytest.MonkeyPatch.context() as patch:
        read = []
        patch.setattr(records_module, "read_sheet", lambda path: read.append(path) or pytest.fail(str(path)))
        RoomFolder(years.folder, quickly=True).items(years.now)
    assert read == []


SPOILED = {
    "missing": lambda content: None,
    "empty": lambda content: b"",
    "truncated": lambda content: content[: len(content) // 2],
    "short by one byte": lambda content: content[:-1],
    "longer": lambda content: content + b"\0",
    "garbage": lambda content: b"\xc1garbage" * 50,
    "text": lambda content: b'{"version": 1}',
    "another version": lambda content: content.replace(cache_module._VERSION.encode(), b"9" * 7, 1),
    "of another shape": lambda content: msgspec.msgpack.encode({"version": cache_module._VERSION, "kept": []}),
    "nested without end": lambda content: b"\x91" * 100_000,
}


@pytest.mark.parametrize("spoil", SPOILED.values(), ids=SPOILED)
@pytest.mark.parametrize("name", ["fold.msgpack", "room.msgpack"])
def test_a_spoiled_cache_is_as_good_as_none(years, equal, spoil, name):
    """Nothing of it is believed, and nobody is told."""
    file = years.fold.with_name(name)
    content = spoil(file.read_bytes())
    if content is None:
        file.unlink()
    else:
        file.write_bytes(content)
    equal()


def test_a_cache_of_another_version_is_not_read(years, monkeypatch):
    """What an older version meant by it is not known."""
    cache = cache_module.Cache(years.fold.parent)
    assert cache.fold() is not None
    monkeypatch.setattr(cache_module, "_VERSION", "0.0.0 0")
    assert cache.fold() is None


def test_a_spoiled_cache_is_written_again(years):
    """The next opening leaves a whole one."""
    years.fold.write_bytes(b"oh no")
    with at_time(years.now):
        RoomFolder(years.folder)
    assert cache_module.Cache(years.fold.parent).fold() is not None


def test_a_folder_in_place_of_the_cache_does_no_harm(years, equal):
    """It is done without."""
    years.fold.unlink()
    years.fold.mkdir()
    equal()


def edited(path, change, *, keep_time=False):
    """Change the records of a sheet by hand."""
    before = path.stat()
    sheet = json.loads(path.read_text())
    change(sheet["records"])
    path.write_text(json.dumps(sheet))
    if keep_time:
        os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))


@pytest.mark.parametrize("place", [0, 30, -1], ids=["oldest", "middle", "newest"])
def test_a_sheet_that_has_grown(years, equal, place):
    """Records are added to a sheet, however old it is."""
    last = years.records[place]
    more = msgspec.to_builtins(msgspec.structs.replace(last, id="grown", kind=DONE, task="reef/cup", ref=None))
    edited(years.sheets[place], lambda records: records.update({"2": more}))
    assert "grown" in {record.id for record in equal()["history"]}


@pytest.mark.parametrize("place", [0, 30, -1], ids=["oldest", "middle", "newest"])
def test_a_sheet_that_has_shrunk(years, equal, place):
    """A record is gone from a sheet: nothing remembers it."""
    gone = json.loads(years.sheets[place].read_text())["records"]["1"]["id"]
    edited(years.sheets[place], lambda records: records.clear())
    assert gone not in {record.id for record in equal()["history"]}


@pytest.mark.parametrize("place", range(0, 60, 6))
def test_a_sheet_that_was_deleted(years, equal, place):
    """Whatever stood in it, a strike or the closing of a concern too, counts no more."""
    years.sheets[place].unlink()
    assert len(equal()["history"]) == 59


def test_all_sheets_deleted(years, equal):
    """Nothing is left of them."""
    for sheet in years.sheets:
        sheet.unlink()
    assert equal()["history"] == []


@pytest.mark.parametrize("place", [0, 5, 30, -1])
def test_a_sheet_edited_by_hand(years, equal, place):
    """Who did it, when, and what: all as the file says now."""

    def change(records):
        records["1"] |= {"by": "ZZ", "note": "by hand", "at": "2026-02-20T08:00:00Z"}

    edited(years.sheets[place], change)
    assert [record.by for record in equal()["history"] if record.note == "by hand"] == ["ZZ"]


def test_a_sheet_edited_with_its_old_time(years, equal):
    """As an archive or a sync tool leaves it: another size with the time of before."""
    edited(years.sheets[0], lambda records: records["1"].update(note="by hand"), keep_time=True)
    assert any(record.note == "by hand" for record in equal()["history"])


def test_a_sheet_replaced_by_one_of_the_same_size_and_time(years, equal):
    """Another file in its place is known by more than its size and time."""
    path = years.sheets[10]
    before, content = path.stat(), path.read_bytes()
    beside = path.with_suffix(".new")
    beside.write_bytes(content.replace(b'"why"', b'"yhw"'))
    os.utime(beside, ns=(before.st_atime_ns, before.st_mtime_ns))
    beside.replace(path)
    assert any(record.reason == "yhw" for record in equal()["history"])


@pytest.mark.parametrize("kind", [DONE, CONCERN, CONCERN_CLOSED, STRIKE, POSTPONED])
@pytest.mark.parametrize("age", [0, 3, 25], ids=lambda days: f"{days} days old")
def test_a_sheet_that_was_added(years, equal, kind, age):
    """A device comes back with a sheet of today or of weeks ago."""
    when = years.now - timedelta(days=age, minutes=5)
    made = record_of((kind, 0, 0, 8, "shed"), when, years.records, 999)
    (years.folder / "sheets" / "2026" / f"{when:%Y-%m-%d}.shed.json").write_bytes(
        msgspec.json.encode({"records": {"1": made}})
    )
    assert made in equal()["history"]


@pytest.mark.parametrize("place", [0, 30, -1], ids=["oldest", "middle", "newest"])
def test_a_sheet_that_was_damaged(years, equal, place):
    """Its records are gone and it is named, from the cache too."""
    years.sheets[place].write_bytes(years.sheets[place].read_bytes()[:-20])
    found = equal()
    assert [years.sheets[place].name in problem for problem in found["problems"]] == [True]
    assert len(found["history"]) == 59


def test_a_damaged_sheet_in_the_cache_stays_named(years, equal):
    """Opened twice from the cache, the problem is still told."""
    years.sheets[3].write_bytes(b"oh no")
    with at_time(years.now):
        RoomFolder(years.folder)
    assert len(equal()["problems"]) == 1


def test_a_damaged_sheet_made_whole_counts_again(years, equal):
    """Restored by hand, its record is back and nothing is told."""
    content = years.sheets[3].read_bytes()
    years.sheets[3].write_bytes(b"oh no")
    with at_time(years.now):
        RoomFolder(years.folder)
    years.sheets[3].write_bytes(content)
    found = equal()
    assert (found["problems"], len(found["history"])) == ([], 60)


def test_a_sheet_that_was_moved(years, equal):
    """Under another name it is the same records once."""
    years.sheets[12].rename(years.folder / "sheets" / "moved.json")
    assert len(equal()["history"]) == 60


def test_a_folder_of_sheets_that_was_moved_away(years, equal, tmp_path):
    """Without the folder there are no records, and no fault."""
    (years.folder / "sheets").rename(tmp_path / "elsewhere")
    assert equal()["history"] == []


def test_a_clock_before_the_cache(years):
    """Asked for a time before the one of the cache, every sheet is read."""
    now = years.now - timedelta(days=9)
    wanted = from_sheets(years.folder, now)
    same(from_cache(years.folder, now, quickly=True), wanted)
    same(from_cache(years.folder, now, quickly=False), wanted)


def test_a_cache_made_under_a_clock_that_ran_ahead_is_made_again(years):
    """It would answer for no time before its own, so that every look read every sheet."""
    with at_time(years.now + timedelta(days=40)):
        RoomFolder(years.folder)
    same(from_cache(years.folder, years.now, quickly=False), from_sheets(years.folder, years.now))
    assert cache_module.Cache(years.fold.parent).fold().day == date(2026, 3, 3)


@pytest.mark.parametrize("how", ["gone", "cut short", "a bit turned", "no index", "left over from a cut write"])
def test_a_damaged_archive_is_made_again(years, how, monkeypatch):
    """The past of a task is the same, whatever became of the files that hold it."""
    monkeypatch.setattr(records_module, "MANY_SHEETS", 5)
    with at_time(years.now):
        wanted = RoomFolder(years.folder).records_about(task="reef/cup")
    assert wanted
    (index,) = years.fold.parent.glob("archive.msgpack")
    part = max(years.fold.parent.glob("archive-*/*.records"), key=lambda path: path.stat().st_size)
    content = part.read_bytes()
    if how == "gone":
        part.unlink()
    elif how == "cut short":
        part.write_bytes(content[:-9])
    elif how == "a bit turned":
        part.write_bytes(content[:40] + bytes([content[40] ^ 4]) + content[41:])
    elif how == "no index":
        index.write_bytes(b"")
    else:
        part.write_bytes(content + b"half a block")
    with at_time(years.now):
        assert RoomFolder(years.folder).records_about(task="reef/cup") == wanted
    archive = archive_module.Archive(years.fold.parent)
    again = archive.index()
    assert again is not None
    assert set(wanted) <= set(archive.read(again, "reef"))


def test_a_flipped_bit_in_the_cache_is_noticed(years):
    """Wherever it is, the sheets are read instead of believing it."""
    content = years.fold.read_bytes()
    wanted = from_sheets(years.folder, years.now)
    for place in range(0, len(content), max(1, len(content) // 12)):
        years.fold.write_bytes(content[:place] + bytes([content[place] ^ 16]) + content[place + 1 :])
        assert cache_module.Cache(years.fold.parent).fold() is None
    same(from_cache(years.folder, years.now, quickly=True), wanted)


def test_the_past_long_ago_is_asked_without_holding_all_of_it(years, monkeypatch):
    """A question about a day weeks past reads the sheets and lets go of what it does not need."""
    monkeypatch.setattr(records_module, "HELD", 3)
    with at_time(years.now):
        room = RoomFolder(years.folder)
        then = years.now - timedelta(days=20)
        monkeypatch.setattr(room._records, "read_everything", pytest.fail)
        found = room.items(then)
    with at_time(years.now):
        assert found == RoomFolder(years.folder).items(then)


def test_a_cache_that_cannot_be_written_is_done_without(years, monkeypatch):
    """A cache folder that is a file: the room opens and answers."""
    blocked = years.folder.parent / "blocked"
    blocked.write_text("no folder")
    wanted = from_sheets(years.folder, years.now)
    monkeypatch.setenv("XDG_CACHE_HOME", os.fspath(blocked))
    same(from_cache(years.folder, years.now, quickly=False), wanted)
