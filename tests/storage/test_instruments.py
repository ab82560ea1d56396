"""Instruments, rates and tests in a row in the room's files: every fault with its place and its remedy."""

from __future__ import annotations

import pytest

from rounds.storage.faults import RoomFaults
from rounds.storage.room_files import load_room
from tests.support import head, room_from, write_room

REEF = """name = "Reef"
[[readings]]
id = "alk"
quantity = "alkalinity"
instrument = "kit"
rate = "0.5 dKH in 1 day"
act_low_after = 2
[[readings]]
id = "calcium"
quantity = "calcium"
[[instruments]]
id = "kit"
kind = "test kit"
batch = "A"
opened = 2026-01-05
expires = 2026-09-01
[[instruments]]
id = "prism"
kind = "refractometer"
reference = "SG 20/20"
"""


def test_the_file_without_a_fault():
    """The base that the faults below are made from."""
    reading = room_from(head(), reef=REEF).readings["reef/alk"]
    assert (reading.act_low_after, reading.rate.within.number, reading.instrument) == (2, 1, "reef/kit")


def test_an_instrument_of_the_room_serves_every_system():
    """Named by its full id."""
    shared = '[[instruments]]\nid = "kit"\nkind = "test kit"\n'
    reef = 'name = "R"\n[[readings]]\nid = "alk"\nquantity = "alkalinity"\ninstrument = "room/kit"\n'
    room = room_from(head(shared), reef=reef, frags=reef)
    assert {reading.instrument for reading in room.readings.values()} == {"room/kit"}


@pytest.mark.parametrize(
    ("old", "new", "key", "remedy"),
    [
        ('instrument = "kit"', 'instrument = "kits"', "instrument", "add it under [[instruments]]"),
        ('instrument = "kit"', 'instrument = "room/kit"', "instrument", "does not exist"),
        ('quantity = "calcium"', 'quantity = "calcium"\ninstrument = "kit"', "instrument", "already serves alkalinity"),
        ('kind = "test kit"', 'kind = "kit"', "kind", "test kit"),
        ('kind = "test kit"\n', "", "", 'add kind = "…"'),
        ("expires = 2026-09-01", "expires = 2025-09-01", "expires", "exchange or correct"),
        ("expires = 2026-09-01", 'expires = "soon"', "expires", "without quotes"),
        ('reference = "SG 20/20"', 'reference = "SG 15/15"', "reference", "SG 60/60F"),
        ('batch = "A"', 'reference = "SG 20/20"', "reference", "take reference away"),
        ('id = "kit"', 'id = "alk"', "id", "stands twice"),
        ('rate = "0.5 dKH in 1 day"', 'rate = "0.5 in 1 day"', "rate", "dKH"),
        ('rate = "0.5 dKH in 1 day"', 'rate = "fast"', "rate", "such as"),
        ("act_low_after = 2", "act_low_after = 0", "act_low_after", "from 1 to 10"),
    ],
)
def test_a_fault_is_named_with_its_remedy(tmp_path, old, new, key, remedy):
    """Beside the key that has to be corrected."""
    assert REEF.count(old) == 1
    with pytest.raises(RoomFaults) as told:
        load_room(write_room(tmp_path, head(), reef=REEF.replace(old, new)))
    assert any(fault.key == key and remedy in fault.sentence for fault in told.value.faults), told.value.faults
