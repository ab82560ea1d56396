"""What a reading comes to together with others of its water. All readings are invented."""

from __future__ import annotations

from datetime import datetime

import pytest

from rounds.core.constants import DKH_PER_MEQ
from rounds.core.record import READING, Record, Value
from rounds.report.derived import beside, derived, derived_lines
from rounds.report.past import Past
from rounds.water.ammonia import unionised
from rounds.water.carbonate import alkalinity_per_kilogram, carbonate
from tests.support import head, instant, record, room_from

UNITS = {
    "ammonia": "mg/L N", "ph": "pH", "temperature": "°C", "salinity": "PSU", "alkalinity": "meq/L", "oxygen": "mg/L",
}  # fmt: skip


def table(id: str, quantity: str) -> str:
    return f'[[readings]]\nid = "{id}"\nquantity = "{quantity}"\nstation = "sump"\n'


TABLES = [table(id, {"ph": "pH"}.get(id, id)) for id in UNITS]
HEAD = 'name = "Reef"\nvolume = "300 L"\n[[stations]]\nid = "sump"\n'
ROOM = room_from(head(), reef=HEAD + "".join(TABLES))
NOW = instant("2026-03-31T20:00")


def read(reading: str, value: float, at: str = "2026-03-31T17:50") -> Record:
    values = (Value(reading=f"reef/{reading}", value=value, unit=UNITS[reading]),)
    return record(READING, f"reef/{reading}", instant(at), values=values)


def comes_to(reading: str, *records: Record, room=ROOM, now: datetime = NOW) -> dict[str, float]:
    found, _ = derived(room, Past(records), room.readings[f"reef/{reading}"], now)
    return {each.name: each.value for each in found}


def said(reading: str, *records: Record, room=ROOM) -> str:
    return " ".join(derived_lines(room, Past(records), room.readings[f"reef/{reading}"], NOW))


WATER = (read("ph", 8.2), read("temperature", 25.0), read("salinity", 35.0, "2026-03-30T09:00"))


def test_the_poisonous_part_of_ammonia() -> None:
    """25 °C, salinity 35, pH 8.2 in NBS buffers: 6.1 to 6.2 per cent (the limits of the trade, computed)."""
    found = comes_to("ammonia", read("ammonia", 0.07), *WATER)
    assert found == {"un_ionised": pytest.approx(0.07 * unionised(8.2, 35.0, 25.0).fraction)}
    assert 0.0042 < found["un_ionised"] < 0.0044
    text = said("ammonia", read("ammonia", 0.07), *WATER)
    assert text.startswith("Un-ionised ammonia 0.0043 mg/L N, within the usual 0.01 mg/L N")
    assert "ph 8.20 17:50, salinity 35.0 PSU yesterday 09:00, temperature 25.0 °C 17:50" in text


@pytest.mark.parametrize(("total", "where"), [(0.25, "above the usual 0.01"), (0.5, "above 0.02 mg/L N: change water")])
def test_it_is_told_where_that_lies(total: float, where: str) -> None:
    assert where in said("ammonia", read("ammonia", total), *WATER)


def test_the_ph_nearest_in_time_counts() -> None:
    early = read("ph", 7.9, "2026-03-31T08:00")
    assert comes_to("ammonia", read("ammonia", 0.07), early, *WATER) == comes_to(
        "ammonia", read("ammonia", 0.07), *WATER
    )


def test_what_is_missing_is_told() -> None:
    old = read("ph", 8.2, "2026-03-30T17:50")
    assert comes_to("ammonia", read("ammonia", 0.07), old, *WATER[1:]) == {}
    text = said("ammonia", read("ammonia", 0.07), old, *WATER[1:])
    assert text == "What follows from it is not worked out: no ph was read within 12 hours of it."


def test_a_room_that_never_reads_ph_is_not_told_so_each_time() -> None:
    room = room_from(head(), reef=HEAD + "".join(each for each in TABLES if '"ph"' not in each))
    assert said("ammonia", read("ammonia", 0.07), *WATER[1:], room=room) == ""


@pytest.mark.parametrize("reading", ["ph", "alkalinity"])
def test_co2_and_aragonite_of_ph_and_alkalinity(reading: str) -> None:
    records = [*WATER, read("alkalinity", 8 / DKH_PER_MEQ, "2026-03-31T09:00")]
    wanted = carbonate(8.2, alkalinity_per_kilogram(8 / DKH_PER_MEQ, 35.0, 25.0), 35.0, 25.0, scale="nbs")
    room_ph = records if reading == "ph" else [read("ph", 8.2, "2026-03-31T08:00"), *records[1:]]
    found = comes_to(reading, *room_ph)
    assert found == {
        "pco2_uatm": pytest.approx(wanted.pco2_uatm),
        "omega_aragonite": pytest.approx(wanted.omega_aragonite),
    }
    assert f"aragonite saturation {wanted.omega_aragonite:.2f}" in said(reading, *room_ph)


def test_much_co2_is_said_plainly() -> None:
    records = [read("ph", 7.8), *WATER[1:], read("alkalinity", 8 / DKH_PER_MEQ)]
    assert "more than the 1000 ppm of a well-aired room: let in outside air, do not dose for the pH" in said(
        "ph", *records
    )
    assert "let in outside air" not in said("ph", *WATER, read("alkalinity", 8 / DKH_PER_MEQ))


def test_oxygen_as_a_share_of_saturation() -> None:
    """6.77 mg/L at 25 °C and salinity 35 (the limits of the trade, computed)."""
    found = comes_to("oxygen", read("oxygen", 6.77), *WATER)
    assert found == {"per_cent": pytest.approx(100, abs=0.1)}
    assert "100 % of saturation" in said("oxygen", read("oxygen", 6.77), *WATER)


def test_water_outside_what_the_equations_hold_for_says_so() -> None:
    brackish = [WATER[0], WATER[1], read("salinity", 10.0), read("alkalinity", 2.0)]
    assert "hold for salinity 19 to 43" in said("ph", *brackish)


def test_nothing_follows_from_other_readings_or_from_none() -> None:
    assert said("temperature", *WATER) == said("ammonia") == ""


def test_what_bears_on_it_is_named() -> None:
    assert {"reef/ammonia", "reef/ph", "reef/temperature", "reef/salinity"} <= beside(
        ROOM, ROOM.readings["reef/ammonia"]
    )
    assert beside(ROOM, ROOM.readings["reef/temperature"]) == {"reef/temperature"}
