"""`rounds trend` and `rounds instrument`: from what a keeper records to what the reading comes to."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from tests.support import write_room

DKH_PER_MEQ = 2.8039

ROOM = """name = "Test room"
timezone = "Europe/Dublin"
began = 2026-01-05
[[keepers]]
initials = "TV"
name = "Tove"
[[instruments]]
id = "alk-kit"
kind = "test kit"
name = "alkalinity kit"
batch = "2026-A"
expires = 2026-02-28
"""

REEF = """name = "Reef [bold]"
[[stations]]
id = "sump"
[[readings]]
id = "alkalinity"
quantity = "alkalinity"
station = "sump"
low = "7.5 dKH"
high = "8.6 dKH"
act_low = "6.5 dKH"
act_steps = ["test again", "stop the dosing"]
again_after = "2 days"
instrument = "room/alk-kit"
[[readings]]
id = "temperature"
quantity = "temperature"
station = "sump"
high = "26.0 °C"
act_high = "27.0 °C"
act_steps = ["unplug the heater"]
rate = "1.0 °C in 3 hours"
[[readings]]
id = "nitrate"
quantity = "nitrate"
station = "sump"
[[tasks]]
id = "monthly"
station = "sump"
title = "The monthly tests"
again_after = "1 month"
takes = ["nitrate"]
"""


@pytest.fixture
def folder(folder):
    """It is noon on Wednesday 4 March 2026."""
    return write_room(folder, ROOM, reef=REEF)


def record(rounds, reading, numbers, *, every=1, unit="", until="2026-03-04T09:00"):
    """One value a day (or as many days), the last of them at `until`; the ids of the records."""
    begin = datetime.fromisoformat(until) - timedelta(days=every * (len(numbers) - 1))
    ids = []
    for place, number in enumerate(numbers):
        at = (begin + timedelta(days=every * place)).isoformat()
        ids.append(rounds.json("record", f"reef/{reading}", f"{number}{unit}", "--at", at, "--sure")["id"])
    return ids


def at(text):
    return datetime.fromisoformat(text)


def test_a_falling_reading_as_json(rounds):
    """8.10 to 7.80 dKH in ten days: 0.03 a day, 7.50 ten days after the last; numbers are not rounded."""
    ids = record(rounds, "alkalinity", [f"{8.1 - 0.03 * place:.2f}" for place in range(11)])
    found = rounds.json("trend", "reef/alkalinity")
    assert (found["n"], found["unit"], found["flagged"]) == (11, "dKH", [])
    assert (found["latest"], found["latest_at"]) == (pytest.approx(7.8), "2026-03-04T09:00:00+00:00")
    for key in ("slope_per_day", "slope_low", "slope_high"):
        assert found[key] == pytest.approx(-0.03, abs=1e-6)
    assert abs(at(found["leaves_band_at"]) - at("2026-03-14T09:00+00:00")) < timedelta(minutes=1)
    assert found["test_next_at"] == found["due_at"] == "2026-03-06T04:00:00+00:00"
    assert [value["id"] for value in found["values"]] == ids
    assert found["values"][0] == {
        "id": ids[0], "at": "2026-02-22T09:00:00+00:00", "value": pytest.approx(8.1), "corrected": pytest.approx(8.1),
        "bound": None, "used": True, "flagged": False, "salinity": None,
    }  # fmt: skip


def test_the_account_can_be_checked_by_hand(rounds):
    """Direction, forecast, sparkline, method and arithmetic in plain lines."""
    record(rounds, "alkalinity", [f"{8.1 - 0.03 * place:.2f}" for place in range(11)])
    status, out, err = rounds("trend", "reef/alkalinity")
    assert (status, err) == (0, "")
    assert out.startswith("Reef [bold], alkalinity\nFalling 0.030 dKH a day (0.030 to 0.030), leaves the usual band in")
    assert "about 10 days" in out
    line = out.splitlines()[4].strip()
    assert (len(line), line[0], line[-1]) == (11, "█", "▁")
    assert list(line) == sorted(line, reverse=True)
    flat = " ".join(out.split())
    assert "all 55 pairs of values (Theil–Sen); 95 % interval by Kendall's tau (Sen 1968)." in flat
    assert "(7.50 dKH − 7.80 dKH) / (−0.030 a day) = 10.0 days after it" in flat
    assert "As measured: the salinity at that time is not known" in flat
    assert max(map(len, out.splitlines())) <= 80


def test_values_are_corrected_to_salinity_35(rounds, folder):
    """The same water, thinned to 33.2 and back: raw alkalinity rises, at 35 it falls."""
    salinity = '[[readings]]\nid = "salinity"\nquantity = "salinity"\nstation = "sump"\n'
    write_room(folder, ROOM, reef=REEF + salinity)
    salt = [33.2, 33.5, 33.8, 34.1, 34.4, 34.7, 35.0]
    record(rounds, "salinity", salt)
    alkalinity = [round((7.9 - 0.02 * place) * each / 35, 3) for place, each in enumerate(salt)]
    record(rounds, "alkalinity", alkalinity)
    found = rounds.json("trend", "reef/alkalinity")
    assert found["values"][-1]["value"] > found["values"][0]["value"]
    assert found["slope_high"] < 0
    assert found["slope_per_day"] == pytest.approx(-0.02, abs=1e-3)
    assert found["corrected_to_salinity"] == 35
    assert "salinity at that time (33.2 to 35.0)" in " ".join(rounds("trend", "reef/alkalinity")[1].split())


def test_bounds_are_listed_and_never_calculated_with(rounds):
    """They are no numbers."""
    record(rounds, "nitrate", [5, 4, 3, "<2.5", "<2.5"])
    found = rounds.json("trend", "reef/nitrate")
    assert (found["n"], found["latest"], found["slope_per_day"]) == (3, 3, pytest.approx(-1))
    assert [value["bound"] for value in found["values"]] == [None, None, None, "<", "<"]
    assert [value["used"] for value in found["values"]] == [True, True, True, False, False]
    assert "2 values beyond the kit's limit" in " ".join(rounds("trend", "reef/nitrate")[1].split())


def test_an_outlier_is_named_by_its_record(rounds):
    """And struck by that id."""
    ids = record(rounds, "alkalinity", [8.0, 8.0, 8.1, 8.0, 9.9, 8.1, 8.0, 8.1, 8.0])
    assert rounds.json("trend", "reef/alkalinity")["flagged"] == [ids[4]]
    assert ids[4] in rounds("trend", "reef/alkalinity")[1]
    rounds("strike", ids[4], "--reason", "wrong vial")
    assert rounds.json("trend", "reef/alkalinity")["flagged"] == []


def test_fewer_than_three_values_say_so(rounds):
    """No slope, no forecast; the next test is the one that is due."""
    record(rounds, "alkalinity", [8.0, 7.9])
    found = rounds.json("trend", "reef/alkalinity")
    assert (found["n"], found["slope_per_day"], found["slope_low"], found["leaves_band_at"]) == (2, None, None, None)
    assert found["test_next_at"] == "2026-03-06T04:00:00+00:00"
    assert "2 usable values; a slope needs 3." in rounds("trend", "reef/alkalinity")[1]


def test_no_values_at_all(rounds):
    """Nothing but what is due."""
    found = rounds.json("trend", "reef/temperature")
    assert (found["n"], found["latest"], found["values"], found["test_next_at"]) == (0, None, [], None)
    assert rounds("trend", "reef/temperature")[1].endswith("No rule asks for a test.\n")


def test_a_task_that_takes_the_reading_is_its_next_test(rounds):
    """The reading has no rule of its own."""
    rounds("record", "reef/monthly", "5", "--at", "2026-03-01T09:00")
    assert rounds.json("trend", "reef/nitrate")["test_next_at"] == "2026-04-01T04:00:00+01:00"


def test_the_next_test_is_pulled_forward(rounds):
    """The band is left before the test that is due: half way from noon today."""
    record(rounds, "alkalinity", [f"{8.5 - 0.1 * place:.1f}" for place in range(10)])
    found = rounds.json("trend", "reef/alkalinity")
    leaves, test = at(found["leaves_band_at"]), at(found["test_next_at"])
    assert abs(leaves - at("2026-03-05T09:00+00:00")) < timedelta(minutes=1)
    assert abs(test - at("2026-03-04T22:30+00:00")) < timedelta(minutes=1)
    assert "Test next by 22:30, because it may leave the band; due only Fri 04:00." in " ".join(
        rounds("trend", "reef/alkalinity")[1].split()
    )


def test_outside_the_band_already(rounds):
    """It left no later than with the latest value."""
    record(rounds, "alkalinity", [7.4, 7.3, 7.2, 7.1])
    found = rounds.json("trend", "reef/alkalinity")
    assert (found["outside_band"], found["leaves_band_at"]) == (True, "2026-03-04T09:00:00+00:00")
    assert found["test_next_at"] == "2026-03-05T09:00:00+00:00"
    assert "below the usual band already" in " ".join(rounds("trend", "reef/alkalinity")[1].split())


@pytest.mark.parametrize(("window", "count"), [("7", 8), ("30", 31), ("all", 36)])
def test_the_window_can_be_chosen(rounds, window, count):
    """Days back from the latest value."""
    record(rounds, "nitrate", [5 + place / 10 for place in range(36)])
    assert rounds.json("trend", "reef/nitrate", "--window", window)["n"] == count


def test_as_it_stood_at_another_time(rounds):
    """What was recorded later does not count."""
    record(rounds, "nitrate", [5, 4, 3, 8, 9])
    found = rounds.json("trend", "reef/nitrate", "--at", "2026-03-02T12:00")
    assert (found["n"], found["slope_per_day"], found["latest"]) == (3, pytest.approx(-1), 3)


def test_the_system_may_be_left_out(rounds):
    """Where one system has the reading."""
    record(rounds, "nitrate", [5, 4, 3])
    assert rounds.json("trend", "nitrate")["reading"] == "reef/nitrate"


def test_a_reading_that_does_not_exist_is_refused_with_a_near_one(rounds):
    """Exit 1 and a hint."""
    assert "did you mean reef/alkalinity?" in rounds.refused("trend", "reef/alkalinty")


# -- instruments ---------------------------------------------------------------------------------------


def test_a_new_batch_with_both_sides_is_taken_out_of_the_trend(rounds):
    """The new batch reads 0.25 dKH high; the water goes on falling by 0.02 a day."""
    record(rounds, "alkalinity", [8.00, 7.98, 7.96, 7.94], until="2026-02-28T09:00")
    step = rounds.json(
        "instrument", "reef/alkalinity", "--batch", "2026-B", "--old", "8.0", "--new", "8.25", "the", "standard",
        "--at", "2026-02-28T12:00",
    )  # fmt: skip
    record(rounds, "alkalinity", [8.17, 8.15, 8.13, 8.11])
    assert (step["kind"], step["task"], step["reason"]) == ("change step", "room/alk-kit", "new batch 2026-B")
    assert step["note"] == "the standard"
    found = rounds.json("trend", "reef/alkalinity")
    assert (found["n"], found["slope_per_day"]) == (8, pytest.approx(-0.02, abs=1e-6))
    out = " ".join(rounds("trend", "reef/alkalinity")[1].split())
    assert "Instrument, not water: new batch 2026-B on Sat 28 Feb 12:00; +0.25 dKH to older values." in out


def test_a_new_batch_without_them_begins_the_trend_anew(rounds):
    """And says since when."""
    record(rounds, "alkalinity", [8.2, 8.1, 8.0, 7.9], until="2026-02-28T09:00")
    out = rounds("instrument", "reef/alkalinity", "--batch", "2026-B", "--at", "2026-02-28T12:00")[1]
    assert "Trends begin anew here." in out
    assert "Write the new batch" in out
    empty = " ".join(rounds("trend", "reef/alkalinity")[1].split())
    assert "Nothing was read since the step of Sat 28 Feb 12:00 (new batch 2026-B)" in empty
    record(rounds, "alkalinity", [8.4, 8.5, 8.6], until="2026-03-03T09:00")
    found = rounds.json("trend", "reef/alkalinity")
    assert (found["n"], found["slope_per_day"]) == (3, pytest.approx(0.1))
    assert found["window"]["begins_with"] == "new batch 2026-B"
    assert "since the step of Sat 28 Feb 12:00 (new batch 2026-B)" in " ".join(
        rounds("trend", "reef/alkalinity")[1].split()
    )


def test_a_step_is_no_test_of_the_water(rounds):
    """What is due stays due."""
    before = rounds.json("sheet")["items"]
    rounds("instrument", "reef/alkalinity", "--batch", "2026-B", "--old", "8.0", "--new", "8.25")
    assert rounds.json("sheet")["items"] == before


def test_the_history_of_an_instrument(rounds):
    """Under its own id, with both values."""
    rounds("instrument", "reef/alkalinity", "--batch", "2026-B", "--old", "8.0", "--new", "8.25 dKH")
    assert "TV change step: alkalinity kit; 8.0, 8.25 dKH; new batch 2026-B" in rounds("history", "room/alk-kit")[1]


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (["reef/alkalinity"], 2, "--batch"),
        (["reef/alkalinity", "--batch", "B", "--calibrated"], 2, "not allowed"),
        (["reef/alkalinity", "--batch", " "], 2, "--batch"),
        (["reef/alkalinity", "--calibrated", "--old", "8.0"], 1, "both --old and --new"),
        (["reef/alkalinity", "--calibrated", "--old", "8.0", "--new", "<8"], 1, "no value"),
        (["reef/nitrate", "--calibrated", "--old", "5", "--new", "6"], 1, "names no instrument"),
        (["reef/alkalinty", "--calibrated"], 1, "did you mean"),
    ],
)
def test_what_is_no_step_is_refused(rounds, arguments, status, said):
    """Nothing is recorded."""
    assert said in rounds.refused("instrument", *arguments, status=status)


def test_an_unusual_side_asks_first(rounds):
    """As with any value."""
    arguments = ("instrument", "reef/alkalinity", "--calibrated", "--old", "8.0", "--new", "80")
    assert "unusual" in rounds.refused(*arguments)
    assert rounds(*arguments, "--sure")[0] == 0


# -- what is said when a value is recorded ---------------------------------------------------------------


def test_out_of_band_offers_a_test_and_a_concern(rounds):
    """After half of its two days."""
    out = rounds("record", "reef/alkalinity", "7.4")[1]
    assert "7.4 dKH is below the usual 7.5 to 8.6 dKH." in out
    assert "Test again by tomorrow 12:00; open a concern if it stays so." in out


def test_beyond_an_act_now_limit_asks_for_a_second_method(rounds):
    """With the steps kept with it."""
    out = rounds("record", "reef/alkalinity", "6.4")[1]
    assert "Test again with a second method before acting." in out
    assert "    - stop the dosing\n" in out


def test_a_fast_rise_is_said_and_acted_on_first(rounds):
    """Temperature does not wait for a second method."""
    rounds("record", "reef/temperature", "24.5", "--at", "10:00")
    out = rounds("record", "reef/temperature", "25.9", "--at", "12:00", "--sure")[1]
    assert "Rose 1.4 °C in 2 hours, more than 1.0 °C in 3 hours." in out
    assert "Act first, then measure again." in out
    assert "- unplug the heater" in out


def test_an_expired_kit_is_said(rounds):
    """The value is recorded all the same."""
    out = rounds("record", "reef/alkalinity", "8.0")[1]
    assert out.startswith("Recorded.")
    assert "The alkalinity kit (batch 2026-A) was good until Sat 28 Feb 2026" in out


QUARANTINE = """name = "Quarantine"
[[stations]]
id = "sump"
""" + "".join(
    f'[[readings]]\nid = "{id}"\nquantity = "{quantity}"\nstation = "sump"\n'
    for id, quantity in (
        ("ammonia", "ammonia"), ("ph", "pH"), ("temperature", "temperature"), ("salinity", "salinity"),
    )
)  # fmt: skip


def test_ammonia_says_what_part_of_it_is_poisonous(rounds, folder):
    """0.3 mg/L N at pH 8.2 (NBS), 25 °C and salinity 35: 6.1 to 6.2 per cent of it."""
    (folder / "systems" / "quarantine.toml").write_text(QUARANTINE, encoding="utf-8")
    for id, entry in (("salinity", "35"), ("temperature", "25"), ("ph", "8.2"), ("ammonia", "0.3")):
        rounds.json("record", f"quarantine/{id}", entry)
    (found,) = rounds.json("trend", "quarantine/ammonia")["derived"]
    assert (found["name"], found["unit"]) == ("un_ionised", "mg/L N")
    assert found["value"] == pytest.approx(0.0185, abs=0.0003)
    _, out, _ = rounds("trend", "quarantine/ammonia")
    assert "Un-ionised ammonia 0.018" in " ".join(out.split())
