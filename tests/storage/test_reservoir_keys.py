"""What a room's files say of reservoirs, and what is refused of it."""

from __future__ import annotations

import pytest

from rounds.core.model import Draw
from rounds.storage.faults import RoomFaults
from tests.support import head, room_from

STORE = """
[[reservoirs]]
id = "store"
kind = "purified water"
capacity = "400 L"
makes = "6 L/h"
"""
REEF = """name = "Reef"
[[tasks]]
id = "change"
title = "Change water"
again_after = "7 days"
draws = [{ from = "room/store", amount = "26 US gal" }, { from = "a", amount = "500 mL" }]
[[reservoirs]]
id = "a"
kind = "dosing"
capacity = "3 L"
paired_with = "b"
[[reservoirs]]
id = "b"
kind = "dosing"
capacity = "3 L"
paired_with = "reef/a"
delivery = "metered pump"
fed_by = "room/store"
"""


def test_the_keys_of_supply_and_pairs_are_read():
    """Litres an hour become litres a day, names become full ids."""
    room = room_from(head(STORE), reef=REEF)
    assert room.reservoirs["room/store"].makes == 144
    assert (room.reservoirs["reef/a"].paired_with, room.reservoirs["reef/b"].paired_with) == ("reef/b", "reef/a")
    assert (room.reservoirs["reef/a"].delivery, room.reservoirs["reef/b"].delivery) == ("", "metered pump")
    draws = room.tasks["reef/change"].draws
    assert draws == (Draw("room/store", pytest.approx(26 * 3.785411784)), Draw("reef/a", 0.5))


FAULTS = {
    'draws = "96 L"': "draws: '96 L' is no list of tables; write draws = [{ … }, { … }]",
    'draws = [{ from = "room/store" }]': 'draws number 1: amount is missing; add amount = "80 L"',
    'draws = [{ from = "room/store", amount = "96" }]': "draws number 1, amount: '96' has no unit",
    'draws = [{ from = "room/vat", amount = "96 L" }]': "draws number 1, from: the reservoir 'room/vat' does not exist",
    'draws = [{ from = "room/store", amount = "96 L", to = "x" }]': "draws number 1, to: the key 'to' is not known",
}


@pytest.mark.parametrize("draws", FAULTS)
def test_a_faulty_draw_is_a_fault_of_its_key(draws):
    """With the line of the key."""
    old = next(line for line in REEF.splitlines() if line.startswith("draws"))
    with pytest.raises(RoomFaults) as refused:
        room_from(head(STORE), reef=REEF.replace(old, draws))
    assert len(refused.value.faults) == 1
    assert 'systems/reef.toml, line 6, [[tasks]] "change", ' + FAULTS[draws] in str(refused.value)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('paired_with = "b"', 'paired_with = "c"', "paired_with: the reservoir 'c' does not exist"),
        ('paired_with = "b"', 'makes = "6 L/h"', "makes: only a purified-water unit makes water"),
        ('kind = "dosing"', 'kind = "limewater"', "paired_with: only dosing containers fall in step"),
        ('"metered pump"', '"gravity"', "delivery: 'gravity' is not known here; write one of: float valve"),
        ('"metered pump"', '""', "delivery: delivery is blank"),
        ('"metered pump"', '"pump"\nmakes = "lots"', "makes: 'lots' is no flow"),
    ],
)
def test_what_cannot_be_of_a_reservoir_is_refused(old, new, says):
    """Each with its key."""
    with pytest.raises(RoomFaults, match=says):
        room_from(head(STORE), reef=REEF.replace(old, new))


def test_refills_that_go_round_in_a_ring_are_refused():
    """No water comes from itself."""
    ring = REEF.replace('paired_with = "b"', 'fed_by = "b"').replace('fed_by = "room/store"', 'fed_by = "a"')
    with pytest.raises(RoomFaults, match="go round in a ring"):
        room_from(head(STORE), reef=ring)
