"""What a plot shows: values, limits, line, forecast and events, and how they are laid out. All values are invented."""

from __future__ import annotations

from datetime import timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rounds.core.record import CHANGE_STEP, CONCERN, DONE, NOT_NEEDED, REFILL, Record, Value
from rounds.core.windows import WINDOWS
from rounds.report.past import Past
from rounds.report.plot import (
    BEFORE,
    CARBON,
    CHANGE,
    DOSE,
    EVENTS,
    FILLED,
    FLAGGED,
    INSTRUMENT,
    LIGHT,
    STEP,
    VALUE,
    WORRY,
    Plot,
    meetings,
    plot_of,
    scale_of,
    time_ticks,
    together,
    value_ticks,
    window_of,
)
from tests.report.water import DAY, NOW, ROOM, ago, falling, took
from tests.support import record


def plot(reading: str, records: list[Record], window: str = "30") -> Plot:
    past, found = Past(records), ROOM.readings[f"reef/{reading}"]
    return plot_of(ROOM, found, past, past.trend(ROOM, found, NOW, window_of(window)), NOW, window)


def kinds(found: Plot) -> list[str]:
    return [mark.kind for mark in found.marks]


# -- values ------------------------------------------------------------------------------------------------


def test_a_plot_of_a_drift() -> None:
    """Values, both ends of the band and both act-now limits, the line, and a forecast beyond now."""
    records = falling()
    found = plot("alkalinity", records)
    assert (found.unit, found.system, found.at_35) == ("dKH", "Reef [bold]", False)
    assert [mark.at for mark in found.marks] == [each.at for each in records]
    assert found.marks[-1].value == pytest.approx(7.6, abs=0.01)
    assert set(kinds(found)) == {VALUE}
    assert [(limit.name, pytest.approx(limit.value)) for limit in found.limits] == [
        ("act", 6.5), ("low", 7.5), ("high", 8.6), ("act", 10.0),
    ]  # fmt: skip
    assert found.line is not None
    assert found.line[0].at == records[0].at
    assert found.line[1].value == pytest.approx(7.6, abs=0.02)
    assert found.forecast is not None
    assert found.forecast[0] == found.line[1]
    assert found.forecast[1].at == found.end > NOW
    assert found.leaves is not None
    assert found.leaves.at < found.end, "the crossing is seen"


def test_without_a_sure_direction_nothing_is_forecast() -> None:
    records = [took("alkalinity", back, 8.0 + (0.1, -0.1, 0.05)[back % 3]) for back in range(20)]
    found = plot("alkalinity", records)
    assert found.line is not None
    assert found.forecast is None
    assert found.end - NOW < DAY


def test_too_few_values_are_marks_alone() -> None:
    found = plot("alkalinity", [took("alkalinity", 3, 8.0), took("alkalinity", 1, 7.9)])
    assert kinds(found) == [VALUE, VALUE]
    assert (found.line, found.forecast) == (None, None)


def test_a_reading_without_any_value_has_its_band() -> None:
    found = plot("alkalinity", [], "all")
    assert (found.marks, found.line) == ((), None)
    assert len(found.limits) == 4
    assert found.begin == NOW - DAY


def test_bounds_doubted_values_and_outliers_have_marks_of_their_own() -> None:
    """A bound stands at the kit's limit; what was said to be wrong, and what is off the line, is flagged."""
    records = falling(days=20)
    records += [
        took("alkalinity", 9.5, 7.0, bound="<"),
        took("alkalinity", 7.5, 9.0, bound=">"),
        took("alkalinity", 5.5, 7.3, flag="old vial"),
        took("alkalinity", 3.5, 8.9),
    ]
    found = {(NOW - mark.at) / DAY: (mark.kind, round(mark.value, 2)) for mark in plot("alkalinity", records).marks}
    assert found[9.5] == ("<", 7.0)
    assert found[7.5] == (">", 9.0)
    assert found[5.5] == (FLAGGED, 7.3)
    assert found[3.5] == (FLAGGED, 8.9)


def test_values_from_before_a_step_are_shown_apart_and_bear_no_line() -> None:
    """Another dose parts them: the line begins after it."""
    step = record(CHANGE_STEP, "reef/solution", ago(12), reason="dose up to 80 mL")
    found = plot("alkalinity", [*falling(), step])
    assert [kind for kind, mark in zip(kinds(found), found.marks, strict=True) if mark.at < step.at] == [BEFORE] * 9
    assert set(kinds(found)[9:]) == {VALUE}
    assert found.line is not None
    assert found.line[0].at > step.at


def test_values_are_drawn_at_salinity_35_where_the_trend_uses_them() -> None:
    """The same water thinned to 33.2 and back to 35: raw values rise, those that are drawn fall."""
    salt = [33.2, 33.5, 33.8, 34.1, 34.4, 34.7, 35.0]
    records = [took("salinity", 12 - 2 * place, each) for place, each in enumerate(salt)]
    records += [took("alkalinity", 12 - 2 * place, (7.9 - 0.02 * place) * each / 35) for place, each in enumerate(salt)]
    found = plot("alkalinity", records)
    assert found.at_35
    assert [mark.value for mark in found.marks] == [pytest.approx(7.9 - 0.02 * place) for place in range(7)]
    assert not plot("salinity", records).at_35


def test_an_instrument_that_read_high_is_taken_out_of_older_values() -> None:
    """Old 8.0 and new 8.25 side by side: what was read before is shown 0.25 higher, on the same line."""
    step = record(
        CHANGE_STEP, "room/kit", ago(10), reason="new batch B",
        values=tuple(Value(reading="room/kit", value=each / 2.8039, unit="meq/L") for each in (8.0, 8.25)),
    )  # fmt: skip
    found = plot(
        "alkalinity", [took("alkalinity", 12, 8.0), step, took("alkalinity", 8, 8.25), took("alkalinity", 6, 8.25)]
    )
    assert [round(mark.value, 3) for mark in found.marks] == [8.25, 8.25, 8.25]
    assert [event.kind for event in found.events] == [INSTRUMENT]


# -- the window --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("window", "days"), [("7", 7), ("30", 30), ("90", 90)])
def test_a_window_reaches_so_many_days_back(window: str, days: int) -> None:
    found = plot("ph", [took("ph", back, 8.0) for back in range(120)], window)
    assert NOW - found.begin == days * DAY
    assert len(found.marks) == days + 1


def test_all_days_begin_with_the_first_value() -> None:
    found = plot("ph", [took("ph", back, 8.0) for back in range(400)], "all")
    assert NOW - found.begin == 399 * DAY


def test_the_usual_window_reaches_as_far_as_its_trend() -> None:
    """One test a fortnight: the list works with eight of them, and so does the plot."""
    records = [took("nitrate", 14 * back, 4.0) for back in range(12)]
    found = plot("nitrate", records)
    assert found.begin <= ago(14 * 7)
    assert window_of("30") is None


def test_every_window_has_a_name_and_reaches_further_than_the_one_before() -> None:
    reaches = [reach or timedelta.max for reach in WINDOWS.values()]
    assert reaches == sorted(reaches)
    assert window_of("all") == timedelta.max


# -- events ------------------------------------------------------------------------------------------------


def step(at: float, task: str | None = None, reading: str | None = None, **fields: object) -> Record:
    values = (Value(reading=f"reef/{reading}", value=1.0, unit=""),) if reading else ()
    made = record(CHANGE_STEP, f"reef/{task}" if task else None, ago(at), values=values, **fields)
    return Record(**{field: getattr(made, field) for field in made.__struct_fields__} | {"system": "reef"})


HAPPENED = [
    (step(9, "solution", reason="70 to 80 mL"), DOSE, "70 to 80 mL"),
    (step(8, reading="par", note="one step up"), LIGHT, "one step up"),
    (record(DONE, "reef/covers", ago(7.5), note="thick film"), LIGHT, "Clean the glass; thick film"),
    (record(DONE, "reef/carbon", ago(7)), CARBON, "Fresh charge"),
    (record(CHANGE_STEP, "room/kit", ago(6), reason="new batch B"), INSTRUMENT, "alkalinity kit; new batch B"),
    (step(5, note="feed up"), STEP, "feed up"),
    (record(DONE, "reef/change", ago(3)), CHANGE, "Change water, 96 L"),
    (record(DONE, "reef/top-up", ago(2.5)), CHANGE, "Siphon the floor"),
    (record(REFILL, "reef/barrel-refill", ago(2)), FILLED, "barrel"),
    (record(REFILL, "reef/solution-refill", ago(1), note="new batch"), FILLED, "alkalinity solution; new batch"),
]


@pytest.mark.parametrize(("happened", "kind", "what"), HAPPENED, ids=[what for _, _, what in HAPPENED])
def test_what_happened_is_marked(happened: Record, kind: str, what: str) -> None:
    found = plot("alkalinity", [*falling(), happened])
    assert [(event.at, event.kind, event.what) for event in found.events] == [(happened.at, kind, what)]
    assert kind in EVENTS


def test_a_concern_of_the_system_is_marked() -> None:
    made = record(CONCERN, None, ago(4), note="pale [/red]")
    made = Record(**{field: getattr(made, field) for field in made.__struct_fields__} | {"system": "reef"})
    assert [(e.kind, e.what) for e in plot("alkalinity", [*falling(), made]).events] == [(WORRY, "pale [/red]")]


@pytest.mark.parametrize(
    "happened",
    [
        record(DONE, "reef/cup", ago(5)),
        record(NOT_NEEDED, "reef/change", ago(5), reason="done by hand"),
        record(REFILL, "reef/waste-refill", ago(5)),
        record(CHANGE_STEP, "room/other", ago(5), reason="calibrated"),
        record(DONE, "reef/chlorine", ago(5)),
        record(DONE, "reef/wipe", ago(5)),
        record(REFILL, "room/vat-refill", ago(5)),
        record(DONE, "reef/change", ago(40)),
        record(DONE, "reef/change", ago(-1)),
    ],
    ids=[
        "other work",
        "not needed",
        "waste",
        "another instrument",
        "carbon left alone",
        "words of its title",
        "another system",
        "before the window",
        "to come",
    ],
)
def test_what_does_not_bear_on_the_water_is_not_marked(happened: Record) -> None:
    assert plot("alkalinity", [*falling(), happened]).events == ()


def test_beside_the_systems_a_refill_shows_with_its_own_level_only() -> None:
    """The vat does not change the air of the room."""
    level = (Value(reading="room/vat-level", value=290.0, unit="L"),)
    resin = record(CONCERN, "room/vat", ago(1), note="resin ordered")
    past = Past([record(REFILL, "room/vat-refill", ago(2), values=level), resin])
    for reading, expected in (("room/air", [WORRY]), ("room/vat-level", [FILLED, WORRY])):
        found = ROOM.readings[reading]
        shown = plot_of(ROOM, found, past, past.trend(ROOM, found, NOW), NOW)
        assert [event.kind for event in shown.events] == expected


# -- layout ------------------------------------------------------------------------------------------------


def test_act_now_limits_are_shown_where_values_stay_legible() -> None:
    """Band 1.1 dKH: 6.5 is 1.0 below it and is shown on a tall plot only, 10.0 is 1.4 above it and is named."""
    found = plot("alkalinity", falling())
    low, tall = scale_of(found, 8), scale_of(found, 20)
    assert [limit.value for limit in low.beyond] == [pytest.approx(6.5), pytest.approx(10.0)]
    assert [limit.value for limit in tall.beyond] == [pytest.approx(10.0)]
    assert tall.low < 6.5 < 7.4 < low.low
    near = plot("alkalinity", falling(last=6.7, a_day=0.01))
    assert [limit.value for limit in scale_of(near, 8).beyond] == [pytest.approx(10.0)], "a value near it shows it"


def test_everything_shown_lies_on_the_scale() -> None:
    found = plot("alkalinity", [*falling(), took("alkalinity", 3.5, 9.1)])
    scale = scale_of(found, 10)
    assert all(scale.low <= mark.value <= scale.high for mark in found.marks)


def test_one_value_without_a_band_has_a_scale() -> None:
    found = plot("par", [took("par", 1, 200.0)])
    scale = scale_of(found, 10)
    assert scale.low < 200.0 < scale.high


def test_two_readings_lie_band_on_band() -> None:
    """The ends of both bands stand at the same heights."""
    records = [*falling(), *(took("salinity", back, 35.0) for back in range(20)), took("salinity", 14, 33.2)]
    first, second = plot("alkalinity", records), plot("salinity", records)
    one, other = together(first, second, 10)

    def height(value: float, low: float, high: float) -> float:
        return (value - low) / (high - low)

    assert height(7.5, one.low, one.high) == pytest.approx(height(34.5, other.low, other.high))
    assert height(8.6, one.low, one.high) == pytest.approx(height(35.5, other.low, other.high))
    assert other.low < 33.2


def test_a_reading_without_a_band_fills_the_band_of_the_other() -> None:
    records = [*falling(), *(took("par", back, 200.0 + back) for back in range(20))]
    one, other = together(plot("alkalinity", records), plot("par", records), 10)
    assert other.low < 200 < 219 < other.high
    assert one.low < 7.5 < 8.6 < one.high


def test_values_of_two_readings_in_one_place_are_found() -> None:
    """Both in the middle of their bands at the same times, but for one day on which the second is out of its own."""
    records = [took("ph", back, 8.05) for back in range(5)]
    records += [took("salinity", back, 36.5 if back == 2 else 35.0) for back in range(5)]
    first, second = plot("ph", records), plot("salinity", records)
    scales = together(first, second, 12)
    met = meetings(first, second, scales, 60, 12)
    assert [round((NOW - mark.at) / DAY) for mark in met] == [4, 3, 1, 0]


@example(values=[1.0, 6.0], rows=4, name="par")
@given(
    values=st.lists(st.floats(0.001, 5000, allow_nan=False), min_size=1, max_size=12),
    rows=st.integers(4, 40),
    name=st.sampled_from(["alkalinity", "par", "nitrate", "temperature"]),
)
def test_numbers_at_the_side_never_share_a_row(values: list[float], rows: int, name: str) -> None:
    """Whatever the values: ticks lie on the scale, in order, a row apart, and there is at least one."""
    found = plot(name, [took(name, place, value) for place, value in enumerate(values)])
    scale = scale_of(found, rows)
    ticks = value_ticks(found, scale, rows)
    row = (scale.high - scale.low) / (rows - 1)
    assert ticks
    assert all(scale.low <= value <= scale.high for value, _ in ticks)
    assert all(after - before >= row * (1 - 1e-9) for (before, _), (after, _) in pairwise(ticks))


def test_limits_are_named_at_the_side() -> None:
    found = plot("alkalinity", falling())
    names = [name for _, name in value_ticks(found, scale_of(found, 20), 20)]
    assert {"act 6.5", "low 7.5", "high 8.6", "8.0"} <= set(names)
    alone = [name for _, name in value_ticks(found, scale_of(found, 20), 20, alone=False)]
    assert "act 6.5" not in alone


@pytest.mark.parametrize("days", [1, 7, 30, 90, 400, 2000])
@pytest.mark.parametrize("columns", [40, 66, 110])
def test_days_below_a_plot_do_not_run_into_each_other(days: int, columns: int) -> None:
    found = plot("ph", [took("ph", days, 8.0), took("ph", 0.1, 8.0)], "all")
    ticks = time_ticks(ROOM.calendar, found, columns)
    assert (NOW, "now") in ticks
    places = [((at - found.begin) / (found.end - found.begin) * columns, len(name)) for at, name in ticks]
    for (left, length), (right, following) in pairwise(places):
        assert right - left > (length + following) / 2, ticks


def test_days_are_those_of_the_room() -> None:
    """Midnight on the room's wall, also across the change to summer time on 29 March 2026."""
    found = plot("ph", [took("ph", back, 8.0) for back in range(20)], "7")
    ticks = [(at.astimezone(ZoneInfo("Europe/Dublin")), name) for at, name in time_ticks(ROOM.calendar, found, 70)]
    assert ticks[-1][1] == "now"
    assert len(ticks) > 2
    assert all((at.hour, at.minute) == (0, 0) for at, _ in ticks[:-1])
    assert all(name == f"{at:%a}" for at, name in ticks[:-1])
