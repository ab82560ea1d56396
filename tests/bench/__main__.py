"""Speed beside a bare baseline of the same run: ``python -m tests.bench [--small] [--room DIR]``."""

from __future__ import annotations

import argparse
import os
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from tests.bench.room import FULL, SMALL, build
from tests.bench.terminal import Terminal

Row = tuple[str, str, str]


def quantile(values: list[float], share: float) -> float:
    return sorted(values)[min(len(values) - 1, int(len(values) * share))]


def timed(work: Callable[[], object]) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


@contextmanager
def apart(home: Path) -> Iterator[dict[str, str]]:
    """An environment that touches nothing of this machine's own."""
    kept = dict(os.environ)
    for name in ("XDG_CONFIG_HOME", "XDG_CACHE_HOME", "XDG_DATA_HOME"):
        os.environ[name] = str(home / name.lower())
    os.environ.update(ROUNDS_BY="TV", ROUNDS_DEVICE="bench", TERM="xterm-256color", COLORTERM="truecolor")
    os.environ["PYTHONPATH"] = str(Path(__file__).parents[2])
    os.environ["PYTHONPYCACHEPREFIX"] = str(home / "compiled")  # as an installed program is
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ.pop("ROUNDS_NOW", None)
    try:
        yield dict(os.environ)
    finally:
        os.environ.clear()
        os.environ.update(kept)


def start_and_keys(room: Path, env: dict[str, str], repeats: int) -> list[Row]:
    """Start-up, memory and keys in a real pseudo-terminal."""
    empty = [sys.executable, str(Path(__file__).with_name("empty_app.py"))]
    app = [sys.executable, "-m", "rounds", "--room", str(room)]
    bare, ours, bare_memory, memory = [], [], [], []
    for command, ready in ((empty, b"empty and ready"), (app, b"left")):  # once for the compiler
        with Terminal(command, env) as terminal:
            terminal.wait_for(ready)
            terminal.drain(0.5)
    for _ in range(repeats):
        with Terminal(empty, env) as terminal:
            bare.append(terminal.wait_for(b"empty and ready"))
            terminal.drain(0.5)
            bare_memory.append(terminal.memory())
        with Terminal(app, env) as terminal:
            ours.append(terminal.wait_for(b"left"))
            terminal.drain(1.0)
            memory.append(terminal.memory())
    listed = [sys.executable, str(Path(__file__).with_name("list_app.py"))]
    with Terminal(listed, env) as terminal:
        terminal.wait_for(b"listed and ready")
        bare_moves = cursor_moves(terminal)
    records: list[float] = []
    with Terminal(app, env) as terminal:
        terminal.wait_for(b"left")
        moves = cursor_moves(terminal)
        terminal.press(b" ")
        terminal.drain(0.3)
        for _ in range(80):
            if len(records) == 40:
                break
            terminal.mark()
            terminal.press(b"\r")
            try:
                records.append(terminal.wait_for(b" done: ", timeout=1))
            except TimeoutError:  # a line for values, or a question: leave it and go on
                terminal.press(b"\x1b")
                terminal.drain(0.3)
                terminal.press(b"\x1b[B")
            terminal.drain(0.15)
    ratio = statistics.median(ours) / statistics.median(bare)
    weight = statistics.median(memory) / statistics.median(bare_memory)
    moved, bare_moved = (
        f"{quantile(each, 0.95) * 1000:.1f} ms, median {statistics.median(each) * 1000:.1f}"
        for each in (moves, bare_moves)
    )
    return [
        ("start to first painted walk, x empty app", "<= 1.4", f"{ratio:.2f} ({statistics.median(ours):.3f} s)"),
        ("resident memory, x empty app", "<= 1.5", f"{weight:.2f} ({statistics.median(memory) // 1024} MiB)"),
        ("cursor move, p95", "<= 33 ms", f"{moved} (bare list {bare_moved})"),
        (
            f"key to record on disk and shown, p95 of {len(records)}",
            "<= 50 ms",
            f"{quantile(records, 0.95) * 1000:.1f} ms (median {statistics.median(records) * 1000:.1f})",
        ),
    ]


def cursor_moves(terminal: Terminal) -> list[float]:
    """Seconds from a cursor key to the first paint after it, forty times."""
    terminal.drain(1.0)
    moves = []
    for _ in range(40):
        terminal.mark()
        terminal.press(b"\x1b[B")
        moves.append(terminal.first_output())
        terminal.drain(0.1)
    return moves


def appending(home: Path, repeats: int) -> list[Row]:
    """Appending to a sheet of 500 records, with no and with 1,800 earlier sheets, beside a bare write."""
    from uuid6 import uuid7

    from rounds.core.record import Record
    from rounds.storage.sheets import SheetWriter, sheet_path

    rows = []
    for earlier in (0, 1800):
        folder = home / f"append-{earlier}"
        day = date(2026, 11, 25)
        for number in range(earlier):
            path = sheet_path(folder, day - timedelta(days=number + 1), "bench")
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_text('{"records": {}}', encoding="utf-8")
        writer = SheetWriter(folder, "bench", home / f"{earlier}.lock")
        at = datetime(2026, 11, 25, 9, tzinfo=UTC)

        def make(at: datetime = at) -> Record:
            return Record(id=str(uuid7()), kind="done", at=at, recorded=at, by="TV", device="bench", task="a/b")

        writer.append([make() for _ in range(500)], day)
        ours = [timed(lambda: writer.append([make()], day)) for _ in range(repeats)]  # noqa: B023  run at once
        content = sheet_path(folder, day, "bench").read_bytes()
        bare = [timed(lambda: bare_write(folder / "bare.json", content)) for _ in range(repeats)]  # noqa: B023  run at once
        p99, base = quantile(ours, 0.99) * 1000, quantile(bare, 0.99) * 1000
        median = statistics.median(ours) * 1000
        rows.append(
            (f"append at 500 records, {earlier} earlier sheets, p99", "<= 15 ms",
             f"{p99:.1f} ms (median {median:.1f}; bare write p99 {base:.1f} ms, x {p99 / base:.1f})")
        )  # fmt: skip
    return rows


def bare_write(path: Path, content: bytes) -> None:
    """What no sheet can do without: write, sync, rename, sync the folder."""
    temporary = path.with_suffix(".tmp")
    with temporary.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())
    temporary.replace(path)
    folder = os.open(path.parent, os.O_RDONLY)
    os.fsync(folder)
    os.close(folder)


def planning(room: Path, repeats: int) -> list[Row]:
    """The round of a day, from all years and from the last two weeks of records alone."""
    from rounds.core.history import History
    from rounds.core.plan import due_items
    from rounds.storage.room import RoomFolder
    from rounds.storage.sheets import day_stamps, read_sheet

    opened = RoomFolder(room, quickly=True)
    now, model = opened.now(), opened.model
    day = model.calendar.round_day(now)
    names = day_stamps(room, [day - timedelta(days=n) for n in range(14)])
    young = History(record for name, _ in names for record in read_sheet(room / name).records)
    due_items(model, young, now)
    ours = statistics.median(timed(lambda: due_items(model, opened.history, now)) for _ in range(repeats))
    short = statistics.median(timed(lambda: due_items(model, young, now)) for _ in range(repeats))
    told = f"{ours * 1000:.1f} ms (x {ours / short:.2f} of the same with 14 days of records)"
    return [(f"plan of a round day, {len(model.tasks)} tasks", "<= 20 ms", told)]


def kills(home: Path, count: int) -> list[Row]:
    """A writing process killed at random instants: every record it had acknowledged must be found."""
    from rounds.storage.room import RoomFolder
    from tests.storage.test_killed import killed_while_writing
    from tests.storage.test_loader import REEF, ROOM
    from tests.support import write_room

    folder = write_room(home / "killed", ROOM, reef=REEF)
    chance = random.Random(count)
    said = []
    for _ in range(count):
        said += killed_while_writing(folder, chance.randrange(1, 4), chance.uniform(0.0001, 0.03))
    room = RoomFolder(folder)
    known = room.ask(lambda history: {record.id for record in history})
    lost = sum(id not in known for id in said)
    told = f"{lost} of {len(said)}; {len(known)} found, {len(room.problems)} sheets damaged"
    return [(f"acknowledged records lost in {count} kills", "0", told)]


def past(room: Path) -> list[Row]:
    """The past of one task and of one system, asked of a room just opened."""
    from rounds.storage.room import RoomFolder

    opened = RoomFolder(room)
    system = opened.model.systems[-1]
    task = system.tasks[-1].id
    begin = time.perf_counter()
    of_task = len(opened.records_about(task=task))
    first = time.perf_counter() - begin
    of_system = timed(lambda: opened.records_about(station=(system.id, "")))
    return [("history of one task, then of one system", "", f"{first:.2f} s ({of_task} records), {of_system:.2f} s")]


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.bench")
    parser.add_argument("--small", action="store_true", help="a small room, to see that everything runs")
    parser.add_argument("--room", type=Path, help="build the room here once, and use it again")
    options = parser.parse_args()
    size = SMALL if options.small else FULL
    repeats = 3 if options.small else 9
    with tempfile.TemporaryDirectory() as temporary, apart(Path(temporary)) as env:
        home = Path(temporary)
        room = options.room or home / "room"
        if not room.exists():
            begin = time.perf_counter()
            count = build(room, size, datetime.now(UTC))
            print(f"room of {size.systems} systems, {size.tasks} tasks, {size.days} days, {count:,} records", end="")
            print(f" built in {time.perf_counter() - begin:.1f} s")
        from rounds.storage.room import RoomFolder

        first = timed(lambda: RoomFolder(room))
        print(f"first opening, every sheet read and the cache written: {first:.1f} s")
        rows = [
            *start_and_keys(room, env, repeats),
            *planning(room, 20),
            *past(room),
            *appending(home, 50 if options.small else 300),
            *kills(home, 3 if options.small else 200),
        ]
    width = max(len(row[0]) for row in rows)
    print(f"\n{'what'.ljust(width)}  {'target':10}  result")
    for what, target, result in rows:
        print(f"{what.ljust(width)}  {target:10}  {result}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
