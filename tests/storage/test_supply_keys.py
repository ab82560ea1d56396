"""The keys that balance, light and feeding need: read, and every fault with its remedy."""

from __future__ import annotations

from datetime import time, timedelta
from pathlib import Path

import pytest

from rounds.core.model import Channel
from rounds.storage.faults import RoomFaults
from rounds.storage.room_files import load_room
from tests.support import head, room_from, write_room

REEF = """name = "Reef"
volume = "960 L"

[[stations]]
id = "sump"

[[tasks]]
id = "feed"
station = "sump"
title = "Feed"
again_after = "1 day"
feed = true
animals_seen = true
takes = ["flakes"]

[[tasks]]
id = "carbon"
title = "Renew carbon"
again_after = "1 month"
light_step = true

[[tasks]]
id = "light-check"
title = "Compare light"
again_after = "1 day"
light_check = "programme"

[[tasks]]
id = "change"
title = "Change water"
again_after = "7 days"
water_change = "96 L"
new_alkalinity = "8.4117 dKH"

[[readings]]
id = "flakes"
quantity = "mass"

[[readings]]
id = "lime-conductivity"
quantity = "conductivity"

[[readings]]
id = "outlet"
quantity = "alkalinity"

[[readings]]
id = "par"
quantity = "light"

[[reservoirs]]
id = "lime"
kind = "limewater"
capacity = "45 L"
strength_reading = "lime-conductivity"
saturated = "8.9 mS/cm"

[[reservoirs]]
id = "calcium"
kind = "dosing"
capacity = "3 L"
doses = "calcium"
strength = "1.0 meq/mL"

[[equipment]]
id = "reactor"
kind = "CO2 reactor"
flow = "45 mL/min"
outlet = "outlet"

[[lights]]
id = "programme"
station = "sump"
begins = "09:30"
ramp_up = "2 hours"
plateau = "6 hours"
ramp_down = "90 minutes"
measured = "par"
measured_at = "75 %"
channels = [
  { name = "blue", peak = "64 %" },
  { name = "white", peak = "32.5 %", begins = "10:30", plateau = "4 hours" },
]
"""


def test_every_key_is_read() -> None:
    room = room_from(head(), reef=REEF)
    feed, carbon, check, change = (room.tasks[f"reef/{id}"] for id in ("feed", "carbon", "light-check", "change"))
    assert (feed.feed, feed.animals_seen, feed.light_step, carbon.light_step) == (True, True, False, True)
    assert check.light_check == "reef/programme"
    assert (change.water_change, change.new_alkalinity) == pytest.approx((96, 3.0), abs=1e-4)
    lime, calcium = room.reservoirs["reef/lime"], room.reservoirs["reef/calcium"]
    assert (lime.strength_reading, lime.saturated) == ("reef/lime-conductivity", 8900)
    assert (calcium.doses, calcium.strength) == ("calcium", pytest.approx(20_039))
    (reactor,) = room.system["reef"].equipment
    assert (reactor.flow, reactor.outlet) == (pytest.approx(2.7), "reef/outlet")


def test_a_programme_gives_its_hours_to_its_channels() -> None:
    lights = room_from(head(), reef=REEF).lights["reef/programme"]
    assert (lights.name, lights.station, lights.measured, lights.measured_at) == ("programme", "sump", "reef/par", 75)
    hours = {"ramp_up": timedelta(hours=2), "ramp_down": timedelta(minutes=90)}
    assert lights.channels == (
        Channel(name="blue", peak=64, begins=time(9, 30), plateau=timedelta(hours=6), **hours),
        Channel(name="white", peak=32.5, begins=time(10, 30), plateau=timedelta(hours=4), **hours),
    )


FAULTS = {
    "a change without its volume": ('volume = "960 L"', "", "reef has no volume to change water of"),
    "more than there is": ('"96 L"', '"961 L"', "no more than the system holds"),
    "nothing changed": ('"96 L"', '"0 L"', "no more than the system holds"),
    "new water without a change": ('water_change = "96 L"', "", "new_alkalinity goes with water_change"),
    "lights that are not there": (
        'light_check = "programme"', 'light_check = "moon"', "the programme of lights 'moon' does not exist",
    ),
    "a flag in quotes": ("feed = true", 'feed = "yes"', "neither true nor false"),
    "a strength reading of something else": (
        'strength_reading = "lime-conductivity"', 'strength_reading = "outlet"', "measures alkalinity, not",
    ),
    "a strength reading that is not there": (
        'strength_reading = "lime-conductivity"', 'strength_reading = "ph"', "the reading 'ph' does not exist",
    ),
    "no strength": ('strength = "1.0 meq/mL"', 'strength = "strong"', "'strong' is no strength"),
    "a strength of nothing": ('doses = "calcium"', "", "a strength of what?"),
    "something nobody doses": ('doses = "calcium"', 'doses = "iodine"', "'iodine' is not known here"),
    "limewater doses": ('strength_reading = "lime-conductivity"', 'doses = "alkalinity"', "only a reservoir of kind"),
    "conductivity of a solution": ('doses = "calcium"', 'doses = "calcium"\nsaturated = "8 mS/cm"', "goes with kind"),
    "saturated at nothing": ('"8.9 mS/cm"', '"0 mS/cm"', "is not saturated"),
    "a flow without a unit": ('"45 mL/min"', '"45"', "has no unit"),
    "an outlet that is not there": ('outlet = "outlet"', 'outlet = "drip"', "the reading 'drip' does not exist"),
    "light of another quantity": ('measured = "par"', 'measured = "outlet"', "measures alkalinity, not light"),
    "more than all light": ('"64 %"', '"164 %"', "'164 %' is no share of the light"),
    "no per cent": ('"64 %"', '"64"', "'64' is no share of the light"),
    "two channels of one name": ('name = "white"', 'name = "blue"', "'blue' stands twice"),
    "a channel without a name": ('name = "white", ', "", "name is missing"),
    "an unknown key of a channel": ('name = "white"', 'name = "white", colour = "w"', "the key 'colour' is not known"),
    "a day too long": ('plateau = "4 hours"', 'plateau = "23 hours"', "white shines for nothing or more than a day"),
    "no beginning": ('begins = "09:30"', "", "begins is missing"),
    "an id that stands twice": ('id = "programme"', 'id = "carbon"', "the id 'carbon' stands twice"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "sentence"), FAULTS.values(), ids=FAULTS.keys())
def test_faults_name_the_remedy(tmp_path: Path, old: str, new: str, sentence: str) -> None:
    assert old in REEF
    folder = write_room(tmp_path, head(), reef=REEF.replace(old, new))
    with pytest.raises(RoomFaults) as caught:
        load_room(folder)
    assert any(sentence in fault.sentence for fault in caught.value.faults), str(caught.value)
    assert all(fault.line for fault in caught.value.faults)


def test_lights_without_channels(tmp_path: Path) -> None:
    text = REEF[: REEF.index("channels =")]
    with pytest.raises(RoomFaults, match="channels are missing"):
        load_room(write_room(tmp_path, head(), reef=text))
    with pytest.raises(RoomFaults, match=r"channels: '\[\]' is no list of tables"):
        load_room(write_room(tmp_path, head(), reef=text + "channels = []"))
