"""A process that is killed while it writes: what it has said to be recorded is there."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys

import pytest

from rounds.storage.room import RoomFolder
from rounds.storage.sheets import inspect_sheets, sheet_files

WRITER = """
import sys
from pathlib import Path
from rounds.storage.room import RoomFolder
from rounds.core.recording import draft_closing

room = RoomFolder(Path(sys.argv[1]))
task = room.model.tasks["reef/cup"]
print("ready", flush=True)
while True:
    made = room.record(draft_closing(room.model, room.history, task, "8.1", room.now()), "TV")
    print(made.id, flush=True)
"""

KILLS = 20


def killed_while_writing(folder, acknowledged, pause):
    """The ids that a writing process had printed when it was killed, `pause` seconds after so many of them."""
    with subprocess.Popen(
        [sys.executable, "-c", WRITER, str(folder)], stdout=subprocess.PIPE, text=True, env=dict(os.environ)
    ) as writer:
        try:
            assert writer.stdout.readline() == "ready\n"
            said = [writer.stdout.readline() for _ in range(acknowledged)]
            with pytest.raises(subprocess.TimeoutExpired):
                writer.wait(pause)
        finally:
            writer.send_signal(signal.SIGKILL)
        said += writer.stdout.readlines()
    assert writer.returncode == -signal.SIGKILL
    return [line.strip() for line in said if line.endswith("\n")]


@pytest.fixture
def kills(folder):
    """A room in which the writer was killed again and again, with what it had said each time."""
    chance = random.Random(20260304)
    said = []
    for _ in range(KILLS):
        said.append(killed_while_writing(folder, chance.randrange(1, 4), chance.uniform(0.0001, 0.03)))
    return folder, said


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="there is no SIGKILL here")
def test_what_a_killed_process_acknowledged_is_found(kills):
    """Twenty kills at random instants: every id it had printed is in a fresh room, and no sheet is damaged."""
    folder, said = kills
    room = RoomFolder(folder)
    known = room.ask(lambda history: {record.id for record in history})
    assert len(said) == KILLS
    assert all(said)
    assert {id for ids in said for id in ids} <= known
    assert room.problems == []
    for path, _ in sheet_files(folder):
        ids = [each["id"] for each in json.loads(path.read_text())["records"].values()]
        assert len(ids) == len(set(ids))
    # a killed process may leave one record more than it said, never more than one a kill
    assert len(known) <= sum(map(len, said)) + KILLS


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="there is no SIGKILL here")
def test_recording_goes_on_after_a_kill(folder):
    """Neither its lock nor its temporary file stands in the way, and the check finds no fault."""
    said = killed_while_writing(folder, 3, 0.002)
    room = RoomFolder(folder)
    made = room.record(_note(room), "TV")
    assert {*said, made.id} <= RoomFolder(folder).ask(lambda history: {record.id for record in history})
    assert [path.name for path, read in inspect_sheets(folder) if read.problems] == []


def _note(room):
    from rounds.core.recording import draft_note

    return draft_note("note", room.model.tasks["reef/cup"], "still here", room.now())
