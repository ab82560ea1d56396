"""The keys of `[[tanks]]` in a system's file, and what is refused."""

from __future__ import annotations

import pytest

from rounds.storage.faults import RoomFaults
from tests.support import head, room_from

STATIONS = '[[stations]]\nid = "tank-a"\n[[stations]]\nid = "sump"\n'
TANK = '[[tanks]]\nid = "a"\nvolume = "560 L"\nstations = ["tank-a"]\n'


def room(tables, volume='volume = "1300 L"'):
    return room_from(head(), reef=f'name = "Reef"\n{volume}\n{STATIONS}{tables}')


def test_a_tank_is_read():
    (tank,) = room(TANK.replace('id = "a"', 'id = "a"\nname = "Tank A"')).system["reef"].tanks
    assert (tank.id, tank.system, tank.name, tank.volume, tank.stations) == (
        "reef/a",
        "reef",
        "Tank A",
        560,
        ("tank-a",),
    )
    assert room(TANK).tanks["reef/a"].name == "a"


@pytest.mark.parametrize(
    ("tables", "volume", "fault"),
    [
        (TANK.replace('["tank-a"]', '["tank-x"]'), None, "the station 'tank-x' does not exist in reef"),
        (TANK.replace('["tank-a"]', "[]"), None, "no station stands in its water"),
        (TANK, "", "reef has no volume to part"),
        (TANK, 'volume = "560 L"', "the tanks hold 560 L of 560 L and leave no water to the system"),
        (TANK.replace("560", "0"), None, "a tank of no water cannot be valved off"),
        (TANK.replace('volume = "560 L"\n', ""), None, "volume is missing"),
        (TANK + TANK.replace("560", "20"), None, "the id 'a' stands twice in reef"),
        (TANK + TANK.replace('id = "a"', 'id = "b"').replace("560", "20"), None, "'tank-a' stands in another tank"),
        (
            TANK + TANK.replace('id = "a"', 'id = "b"').replace("560", "740").replace("tank-a", "sump"), None,
            "the tanks hold 1300 L of 1300 L",
        ),
        (f'{TANK}[[tasks]]\nid = "a"\ntitle = "Feed"\nagain_after = "1 day"\n', None, "the id 'a' stands twice"),
        (TANK + 'colour = "red"\n', None, "the key 'colour' is not known here"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named(tables, volume, fault):
    with pytest.raises(RoomFaults) as faults:
        room(tables, 'volume = "1300 L"' if volume is None else volume)
    assert any(fault in str(each) for each in faults.value.faults)


def test_the_room_itself_has_no_tanks():
    """It is no water."""
    with pytest.raises(RoomFaults, match="tanks"):
        room_from(head(TANK), reef='name = "Reef"')
