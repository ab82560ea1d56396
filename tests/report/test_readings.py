"""How each reading stands, and which of them asks for a look first. All values are invented."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rounds.core.history import History
from rounds.core.record import REFILL, Record, Value
from rounds.report.past import Past
from rounds.report.readings import (
    ACT,
    LEAVING,
    NO_BAND,
    OUTSIDE,
    SPARK,
    UNKNOWN,
    WITHIN,
    ReadingRow,
    age,
    first_rows,
    rows_of,
    summary,
)
from rounds.report.trend import sentence
from tests.report.water import DAY, NOW, ROOM, ago, falling, took, trend
from tests.support import record


def rows(*records: Record) -> dict[str, ReadingRow]:
    """By the reading's own id."""
    return {row.reading.id.partition("/")[2]: row for row in rows_of(ROOM, "reef", Past(records), NOW)}


def order(*records: Record) -> list[str]:
    return sorted(found := rows(*records), key=lambda name: found[name].rank)


def test_a_reading_never_taken_says_so() -> None:
    found = rows()["alkalinity"]
    assert (found.state, found.words, found.last, found.at, found.spark) == (UNKNOWN, "no value yet", "", None, "")
    assert found.band == "7.5 to 8.6 dKH"
    assert age(found, NOW) == ""


def test_a_steady_value_in_its_band() -> None:
    found = rows(*(took("ph", back + 0.25, 8.05) for back in range(10)))["ph"]
    assert (found.state, found.words, found.slope) == (WITHIN, "in its band", "steady")
    assert (found.last, age(found, NOW)) == ("8.05", "6 hours ago")
    assert found.spark == "▅" * SPARK, "half way up its band, and flat"


def test_a_drift_says_when_the_band_is_left() -> None:
    """7.6 dKH, falling 0.02 a day: 0.1 above the end of the band, five days and a quarter from now at the least."""
    found = rows(*falling())["alkalinity"]
    assert (found.state, found.below) == (LEAVING, True)
    assert found.words.startswith("leaves in about 5 days (")
    assert found.slope.startswith("falling 0.020")
    assert found.slope.endswith(" a day")
    assert len(found.spark) == SPARK
    assert list(found.spark) == sorted(found.spark, reverse=True)


def test_a_drift_that_leaves_the_band_in_months_is_told_and_stays_in_its_band() -> None:
    found = rows(*falling(last=8.2, a_day=0.004))["alkalinity"]
    assert (found.state, found.words) == (WITHIN, "in its band")
    assert ", leaves in about 1" in found.slope


def test_a_line_that_is_out_while_the_last_value_is_not() -> None:
    """The last test read a little high; the line through all of them is below the band already."""
    found = rows(*falling(last=7.4), took("alkalinity", 0.1, 7.52))["alkalinity"]
    assert (found.state, found.below) == (LEAVING, True)
    assert found.words == "below its band by the line through its values"


@pytest.mark.parametrize(("number", "below"), [(24.2, True), (26.4, False)])
def test_a_value_out_of_its_band_says_at_which_end(number: float, below: bool) -> None:
    found = rows(took("temperature", 0.5, number))["temperature"]
    assert (found.state, found.below) == (OUTSIDE, below)
    assert found.words == f"{'below' if below else 'above'} its band"


def test_a_value_beyond_an_act_now_limit() -> None:
    found = rows(took("alkalinity", 0.5, 6.2))["alkalinity"]
    assert (found.state, found.below, found.words) == (ACT, True, "act now: below 6.5 dKH")
    found = rows(took("temperature", 0.5, 27.3))["temperature"]
    assert (found.state, found.below, found.words) == (ACT, False, "act now: above 27.0 °C")


def test_a_limit_that_counts_on_two_tests_waits_for_the_second() -> None:
    """A value at the kit's own limit is below for sure, and shown as it was typed."""
    first = took("nitrate", 8, 0.5, bound="<")
    assert rows(first)["nitrate"].state == OUTSIDE
    assert rows(first)["nitrate"].last == "<0.5 mg/L"
    assert rows(first, took("nitrate", 1, 0.4))["nitrate"].state == ACT


def test_a_change_that_was_too_fast() -> None:
    found = rows(took("temperature", 0.2, 24.6), took("temperature", 0.1, 25.9))["temperature"]
    assert (found.state, found.below) == (ACT, False)
    assert found.words.startswith("act now: rose 1.3 °C in 2 hours")


def test_without_a_band_only_the_slope_is_told() -> None:
    found = rows(*falling("par", last=200, a_day=1.0))["par"]
    assert (found.state, found.words, found.band) == (NO_BAND, "no band", "")
    assert found.slope.startswith("falling 1.0")


def test_a_level_always_falls_and_is_no_drift() -> None:
    """The barrel reaches its reserve within days, and a refill ends that."""
    full = record(
        REFILL, "reef/barrel-refill", ago(4), values=(Value(reading="reef/barrel-level", value=72.0, unit="L"),)
    )
    found = rows(full, *(took("barrel-level", back, 72 - 6 * (4 - back)) for back in (3, 2, 1, 0.1)))["barrel-level"]
    assert found.state == WITHIN
    assert found.slope.startswith("falling 6")
    assert found.slope.endswith(" a day since its refill")


def test_what_asks_for_a_look_comes_first_then_the_route() -> None:
    """Act now, out of band, leaving it by when it does; the others as they are walked past, levels last."""
    found = order(
        took("ph", 0.5, 8.3),
        *falling("alkalinity", last=7.8),
        took("temperature", 0.5, 27.4),
        *falling("nitrate", last=2.2, a_day=0.1),
        *(took("salinity", back, 35.0) for back in range(9)),
        took("barrel-level", 0.2, 60),
    )
    assert found == [
        "temperature", "ph", "nitrate", "alkalinity",
        "salinity", "par", "solution-level", "barrel-level", "waste-level",
    ]  # fmt: skip


def test_what_was_struck_or_lies_ahead_does_not_count() -> None:
    """The past holds what stands; a value dated later than now is not there yet."""
    assert rows(took("ph", -0.5, 8.3))["ph"].state == UNKNOWN


def test_the_first_list_stands_without_trends() -> None:
    """By what is at hand: last values and their band, no slope; in walking order."""
    history = History([took("alkalinity", 0.5, 7.2), took("ph", 0.5, 8.0)])
    found = first_rows(ROOM, history, NOW)
    assert [row.reading.id for row in found] == list(ROOM.readings)
    by_id = {row.reading.id: row for row in found}
    assert (by_id["reef/alkalinity"].state, by_id["reef/alkalinity"].last) == (OUTSIDE, "7.2 dKH")
    assert (by_id["reef/ph"].state, by_id["reef/ph"].slope, by_id["reef/ph"].spark) == (WITHIN, "", "")
    assert by_id["reef/par"].state == UNKNOWN


def test_the_first_list_of_a_history_that_was_cut_reads_nothing_more() -> None:
    """What lies further back than what was kept is left open, not asked for."""
    whole = History([took("ph", back, 8.0) for back in range(40)] + [took("par", 300, 120.0)])
    kept = History.restored(whole.kept(ago(2), ago(0), lambda task: 8))
    by_id = {row.reading.id: row for row in first_rows(ROOM, kept, NOW)}
    assert by_id["reef/ph"].last == "8.00"
    assert by_id["reef/temperature"].state == UNKNOWN


def test_how_many_are_in_each_state() -> None:
    found = rows(took("ph", 0.5, 8.3), took("temperature", 0.5, 27.4), took("salinity", 0.5, 35.0), *falling())
    assert summary(list(found.values())) == [(ACT, 1), (OUTSIDE, 1), (LEAVING, 1), (WITHIN, 1)]
    assert summary([]) == []


@pytest.mark.parametrize(
    ("before", "told"), [(timedelta(0), "just now"), (timedelta(minutes=5), "5 minutes ago"), (2 * DAY, "2 days ago")]
)
def test_the_age_of_a_value(before: timedelta, told: str) -> None:
    found = rows(took("ph", before / DAY, 8.0))["ph"]
    assert age(found, NOW) == told


def test_a_slope_is_never_shown_as_zero() -> None:
    """Counts have no decimals of their own: 0.05 a day is 0.05."""
    values = [took("par", back, 200.0 + (back < 12) + (back < 4)) for back in range(0, 29, 2)]
    assert "rising 0 " not in rows(*values)["par"].slope


def test_two_values_give_no_slope_and_still_lie_outside() -> None:
    found = trend("ph", [took("ph", 2, 8.1), took("ph", 1, 8.4)])
    assert sentence(found, NOW) == "2 usable values; a slope needs 3; above the usual band already"


def test_one_value_out_of_its_band_is_told_before_the_line_that_is_in_it() -> None:
    records = [*(took("ph", back, 8.0 + 0.01 * (back % 2)) for back in range(9, 0, -1)), took("ph", 0.1, 8.6)]
    found = trend("ph", records)
    assert found.line is not None
    assert found.line.at(NOW) < 8.2
    assert sentence(found, NOW).endswith(", above the usual band already")
