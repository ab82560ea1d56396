"""The arithmetic of a system whose tank is valved off: each water by itself, with its own volume; worked by hand."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from rounds.core.constants import DKH_PER_MEQ
from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.model import Room
from rounds.core.record import APART, JOINED, STRIKE, VALVED, Record, Value
from rounds.core.series import bearing_on, standing_records
from rounds.core.waters import waters
from rounds.report.balance import SystemBalance, balance_lines, balanced_waters, system_balance
from rounds.report.doses import dose_account, to_confirm
from rounds.report.past import Past
from rounds.report.prompts import prompt_lines, system_prompts
from rounds.report.proposal import draft_dose, proposal_lines, system_proposal
from rounds.report.waters import apart_since, waters_json, waters_text
from rounds.water.levels import Levels
from rounds.water.reserves import reservoir_level
from rounds.water.top_off import salinity_change
from rounds.water.trend import Trend, trend_of
from tests.support import done, head, instant, measured, record, room_from, strike

LINKED = """name = "Linked"
volume = "1000 L"

[[stations]]
id = "sump"

[[stations]]
id = "tank-a"

[[tanks]]
id = "a"
name = "Tank A"
volume = "500 L"
stations = ["tank-a"]

[[tasks]]
id = "change"
station = "sump"
title = "Change water"
again_after = "7 days"
water_change = "50 L"
new_alkalinity = "9.0 dKH"

[[tasks]]
id = "change-a"
station = "tank-a"
title = "Change water in A"
again_after = "7 days"
water_change = "50 L"
new_alkalinity = "9.0 dKH"

[[readings]]
id = "alkalinity"
quantity = "alkalinity"
unit = "dKH"
station = "sump"
target = "8.0 dKH"
low = "7.5 dKH"
high = "8.6 dKH"

[[readings]]
id = "salinity"
quantity = "salinity"
station = "sump"
target = "35 PSU"

[[readings]]
id = "alkalinity-a"
name = "alkalinity of A"
quantity = "alkalinity"
unit = "dKH"
station = "tank-a"

[[readings]]
id = "ammonia"
quantity = "ammonia"
station = "sump"

[[reservoirs]]
id = "solution"
kind = "dosing"
station = "sump"
capacity = "5 L"
use = "100 mL/day"
doses = "alkalinity"
strength = "1.0 meq/mL"

[[reservoirs]]
id = "solution-a"
kind = "dosing"
station = "tank-a"
capacity = "1 L"
use = "20 mL/day"
doses = "alkalinity"
strength = "1.0 meq/mL"

[[reservoirs]]
id = "barrel"
kind = "top-off"
station = "sump"
capacity = "50 L"
"""
A = "linked/a"
NOW = instant("2026-03-31T12:00")
DAY = timedelta(days=1)


@pytest.fixture(scope="module")
def room() -> Room:
    return room_from(head(), linked=LINKED)


def on(day: float) -> datetime:
    """Noon of a day of March."""
    return instant("2026-03-01T12:00") + (day - 1) * DAY


def turned(word: str, day: float) -> Record:
    return record(VALVED, A, on(day), station="tank-a", words=(word,), reason="new fish")


def alkalinities(slope: float, days: range = range(2, 31, 2), *, level: float = 8.0, **fields: object) -> list[Record]:
    """Alkalinity every other day, standing at `level` on the 30th."""
    fields.setdefault("reading", "linked/alkalinity")
    reading = str(fields.pop("reading"))
    return [measured(reading, on(day), (level + slope * (day - 30)) / DKH_PER_MEQ, **fields) for day in days]


def salt(day: float, psu: float, station: str = "sump") -> Record:
    value = Value(reading="linked/salinity", entered=f"{psu:g}", value=psu, unit="PSU")
    return record("reading", "linked/salinity", on(day), station=station, values=(value,))


def past(*records: Record) -> Past:
    """What stands of the records."""
    struck = History(records).struck
    return Past(record for record in records if record.kind != STRIKE and record.id not in struck)


def found(room: Room, *records: Record, tank: bool = False, now: datetime = NOW) -> SystemBalance:
    """The balance of what is left of the system, or of the tank."""
    known, system = past(*records), room.system["linked"]
    return system_balance(room, known, system, now, waters(known.history, system, now)[1 if tank else 0])


def trend(room: Room, reading: str, *records: Record) -> Trend:
    known = room.readings[f"linked/{reading}"]
    history = History(records)
    return trend_of(room, known, standing_records(records, bearing_on(room, known), history.struck), NOW)


# -- balance and proposal --------------------------------------------------------------------------------


def test_the_balance_uses_half_the_volume(room: Room) -> None:
    """100 meq a day in 500 L are 0.561 dKH, falling 0.05: 0.611 dKH a day are 108.9 meq."""
    older = alkalinities(0, range(1, 10), level=9.5)
    result = found(room, turned(APART, 10), *alkalinities(-0.05, range(12, 31, 2)), *older).balance
    assert result.volume == 500
    assert result.supply == pytest.approx(0.56078)
    assert result.consumption == pytest.approx(0.61078)
    assert result.meq(result.consumption) == pytest.approx(108.916, abs=0.001)
    assert len(result.stretch.tests) == 10


def test_joined_the_whole_volume_and_every_dose_count(room: Room) -> None:
    """120 meq a day in 1000 L are 0.336 dKH."""
    result = found(room, *alkalinities(-0.05)).balance
    assert (result.volume, result.supply) == (1000, pytest.approx(0.33647, abs=1e-5))


def test_a_tank_has_a_balance_of_its_own(room: Room) -> None:
    """20 meq a day in 500 L are 0.112 dKH, falling 0.1."""
    own = alkalinities(-0.1, range(12, 31, 2), reading="linked/alkalinity-a")
    result = found(room, turned(APART, 10), *own, tank=True)
    assert result.system.name == "Tank A"
    assert result.balance.consumption == pytest.approx(0.21216, abs=1e-5)


def test_what_was_read_in_the_tank_since_it_was_apart_is_left_out(room: Room) -> None:
    """Of one reading that is taken in both; before, it was the same water."""
    theirs = alkalinities(0, range(11, 30, 2), level=6.0, station="tank-a")
    ours = alkalinities(-0.05, range(12, 31, 2), station="sump")
    assert found(room, turned(APART, 10), *theirs, *ours).balance.slope == pytest.approx(-0.05)
    assert found(room, *theirs, *ours).balance.level < 7.9


def test_the_dose_that_holds_is_for_what_is_left(room: Room) -> None:
    """0.611 dKH a day × 500 L ÷ 2.8039 = 108.9 mL a day of 1 meq/mL."""
    known = past(turned(APART, 10), *alkalinities(-0.05, range(12, 31, 2)))
    result = system_balance(room, known, room.system["linked"], NOW)
    proposal = system_proposal(room, known, result, NOW)
    assert proposal is not None
    assert proposal.wanted == pytest.approx(108.916, abs=0.001)
    assert proposal.volume == 500
    assert any("× 500 L ÷" in line for line in proposal_lines(proposal))
    lines = balance_lines(room, result)
    assert lines[0].startswith("Linked without Tank A, 500 L: alkalinity balance")
    assert any("judged from Tue 10 Mar on: Tank A apart: new fish" in line for line in lines)


def test_what_is_accepted_names_the_volume(room: Room) -> None:
    records = [turned(APART, 10), *alkalinities(-0.05, range(12, 31, 2))]
    account = dose_account(room, past(*records), room.system["linked"], NOW)
    assert account.proposal is not None
    assert "For 500 L." in to_confirm(account)
    assert draft_dose(room, account.proposal, NOW)[0].note.endswith("mL/day, for 500 L")


def test_older_tests_are_of_another_water(room: Room) -> None:
    """One test since the 28th is too few, however many there were before."""
    with pytest.raises(Refused, match=r"^Tank A apart: new fish, Sat 28 Mar: older tests are of another water; 1 "):
        found(room, turned(APART, 28.5), *alkalinities(-0.05, range(2, 31, 2)))


def test_struck_it_was_never_apart(room: Room) -> None:
    turn = turned(APART, 10)
    assert found(room, turn, strike(turn, NOW), *alkalinities(-0.05)).balance.volume == 1000


def test_joined_again_it_begins_anew(room: Room) -> None:
    records = [turned(APART, 5), turned(JOINED, 15), *alkalinities(-0.05, range(2, 31, 2))]
    result = found(room, *records).balance
    assert (result.volume, result.stretch.tests[0].at.day) == (1000, 16)


def test_a_water_change_is_a_share_of_the_water_it_was_made_in(room: Room) -> None:
    """50 L of 500 L, and none of it in the other water."""
    records = [turned(APART, 10), *alkalinities(0, range(12, 31, 2)), done("linked/change", on(15), station="sump")]
    own = alkalinities(0, range(12, 31, 2), reading="linked/alkalinity-a")
    assert [each.share for each in found(room, *records).balance.changes] == [0.1]
    assert found(room, *records, *own, tank=True).balance.changes == ()


def test_waters_that_are_dosed_are_balanced(room: Room) -> None:
    ids = [water.id for water in balanced_waters(room, History([turned(APART, 10)]), NOW)]
    assert ids == ["linked", A]
    assert [water.id for water in balanced_waters(room, History(), NOW)] == ["linked"]


# -- salinity --------------------------------------------------------------------------------------------


def test_tests_are_corrected_by_the_salinity_of_their_water(room: Room) -> None:
    """8.0 dKH at 33 PSU are 8.48 at 35; the 30 PSU in the tank that is apart are none of it."""
    salts = [salt(12, 33), salt(20, 33), salt(30, 33), salt(15, 30, "tank-a"), salt(25, 30, "tank-a")]
    result = found(room, turned(APART, 10), *salts, *alkalinities(0, range(12, 31, 2)))
    assert result.balance.level == pytest.approx(8.0 * 35 / 33)
    assert all(test.value == pytest.approx(8.0 * 35 / 33) for test in result.balance.stretch.tests)


def test_a_salinity_from_before_another_water_came_in_says_nothing(room: Room) -> None:
    """35 until the 10th, 32 since: the test of the 11th is at 32, not between the two."""
    salts = [salt(9, 35), salt(14, 32), salt(29, 32)]
    records = [turned(APART, 5), turned(JOINED, 10), *salts, *alkalinities(0, range(11, 31, 2))]
    assert found(room, *records).balance.stretch.tests[0].value == pytest.approx(8.0 * 35 / 32)
    assert trend(room, "alkalinity", *records).values[0].salinity == 32


def test_a_salinity_from_before_the_tank_was_apart_still_counts(room: Room) -> None:
    """Nothing came in: half way from 35 on the 8th to 33 on the 16th."""
    records = [turned(APART, 10), salt(8, 35), salt(16, 33), *alkalinities(0, range(12, 31, 2))]
    assert trend(room, "alkalinity", *records).values[0].salinity == pytest.approx(34)


# -- trend -----------------------------------------------------------------------------------------------


def test_a_trend_breaks_where_a_tank_was_valved_off(room: Room) -> None:
    records = [turned(APART, 10), *alkalinities(0, range(1, 10), level=9.5), *alkalinities(-0.05, range(12, 31, 2))]
    line = trend(room, "alkalinity", *records)
    assert line.begins_with is not None
    assert (line.begins_with.what, line.begins_with.at) == ("Tank A apart: new fish", on(10))
    assert line.line is not None
    assert line.line.slope == pytest.approx(-0.05)
    assert line.values[0].at == on(12)


def test_a_trend_knows_the_values_of_its_own_water(room: Room) -> None:
    """The same reading taken at the tank's station: one water before, another since."""
    before = [measured("linked/alkalinity", on(day), 2.8, station="tank-a") for day in (20, 21)]
    since = [measured("linked/alkalinity", on(day), 2.2, station="tank-a") for day in (26, 27)]
    ours = alkalinities(0, range(23, 31, 2), station="sump")
    records = [turned(APART, 22), *before, *since, *ours]
    assert [value.id for value in trend(room, "alkalinity", *records).used] == [each.id for each in ours]
    whole = trend(room, "alkalinity", *before, *since, *ours).used
    assert len(whole) == 8


def test_a_trend_in_the_tank_goes_by_its_own_valve(room: Room) -> None:
    own = alkalinities(-0.1, range(12, 31, 2), reading="linked/alkalinity-a")
    line = trend(room, "alkalinity-a", turned(APART, 10), *own).line
    assert line is not None
    assert line.slope == pytest.approx(-0.1)


# -- levels ----------------------------------------------------------------------------------------------


def test_a_full_barrel_falls_into_what_is_left(room: Room) -> None:
    """35 × 500 / 550 = 31.8 instead of 35 × 1000 / 1050 = 33.3; 50 L are 10 % of 500 L."""
    barrel = room.reservoirs["linked/barrel"]
    for records, salinity, warned in (((), 33.33, False), ((turned(APART, 10),), 31.82, True)):
        level = reservoir_level(Levels(), room, History(records), barrel, NOW)
        assert level.full_at_once == pytest.approx(salinity, abs=0.01)
        assert any("of the system, more than the 9%" in remark for remark in level.remarks) is warned


def test_the_salinity_beside_a_level_is_that_of_its_water(room: Room) -> None:
    """34 in the tank that is apart is no fall of the 35 in the sump."""
    records = [turned(APART, 10), salt(9, 35), salt(20, 35), salt(30, 34, "tank-a")]
    barrel = room.reservoirs["linked/barrel"]
    assert salinity_change(room, History(records), barrel, on(15), NOW) == 0
    assert salinity_change(room, History(records[1:]), barrel, on(25), NOW) == -1


# -- prompts ---------------------------------------------------------------------------------------------


def test_a_death_in_the_tank_is_no_death_in_the_system(room: Room) -> None:
    """The ammonia of the sump, tested since, answers only while they share a water."""
    seen = record("note", None, on(29), system="linked", station="tank-a", note="one dead", words=("dead",))
    tested = Value(reading="linked/ammonia", entered="0", value=0.0, unit="mg/L")
    ammonia = record("reading", "linked/ammonia", on(30), station="sump", values=(tested,))
    system = room.system["linked"]
    assert system_prompts(room, past(seen, ammonia), system, NOW) == []
    known = past(turned(APART, 10), seen, ammonia)
    (prompt,) = system_prompts(room, known, system, NOW)
    assert (prompt.rule, prompt.water) == ("death", "Tank A")
    assert prompt_lines(room, known.history, system, [prompt])[0].startswith("Linked, Tank A: Dead seen at tank a")


# -- in words --------------------------------------------------------------------------------------------


def test_waters_are_listed_with_what_their_doses_come_to(room: Room) -> None:
    """100 meq in 500 L are 0.561 dKH a day, 20 meq 0.112."""
    assert waters_text(room, History([turned(APART, 31)]), NOW + DAY) == (
        "Linked without Tank A, 500 L: Tank A apart since yesterday 12:00 (new fish)\n"
        "  solution: 100 mL a day are 0.561 dKH of alkalinity a day in 500 L\n"
        "Tank A, 500 L: apart since yesterday 12:00 (new fish)\n"
        "  solution a: 20 mL a day are 0.112 dKH of alkalinity a day in 500 L\n"
    )
    assert waters_text(room, History(), NOW).startswith("Linked, 1000 L: all its tanks joined\n")
    assert "can be valved off" in waters_text(room_from(head(), reef='name = "Reef"'), History(), NOW)


def test_waters_as_plain_values(room: Room) -> None:
    left, tank = waters_json(room, History([turned(APART, 10)]), NOW)
    assert (left["system"], left["tank"], left["volume_l"], left["stations"]) == ("linked", None, 500, ["sump"])
    assert tank == {
        "system": "linked", "tank": A, "name": "Tank A", "volume_l": 500, "stations": ["tank-a"],
        "since": "2026-03-10T12:00:00+00:00",
    }  # fmt: skip


def test_a_station_says_that_its_tank_is_apart(room: Room) -> None:
    history, system = History([turned(APART, 10)]), room.system["linked"]
    assert apart_since(room, history, system, "tank-a", NOW) == "apart since Tue 10 Mar 12:00, 500 L"
    assert apart_since(room, history, system, "sump", NOW) == ""
    assert apart_since(room, History(), system, "tank-a", NOW) == ""
