"""What a keeper types when a room is set up, and what follows from it."""

from __future__ import annotations

from datetime import date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from rounds.core.calendar import Calendar
from rounds.core.errors import CannotRead, Refused
from rounds.core.first_times import usual_first_day
from rounds.core.founding import Answers, SystemAnswers, unlike, with_pieces
from rounds.core.founding_text import (
    read_amount,
    read_clock,
    read_keeper,
    read_name,
    read_pieces,
    read_shift,
    read_water,
    share_of,
)
from rounds.core.layout import offered, walked, zone_of, zones
from rounds.core.model import Keeper, Shift
from rounds.core.moments import parse_day


@pytest.mark.parametrize(
    ("text", "keeper"),
    [
        ("TV Tibor Velsen", Keeper("TV", "Tibor Velsen")),
        ("  TV   Tibor  Velsen ", Keeper("TV", "Tibor Velsen")),
        ("ÅÖ", Keeper("ÅÖ", "")),
    ],
)
def test_a_keeper_is_initials_and_a_name(text: str, keeper: Keeper) -> None:
    assert read_keeper(text) == keeper


@pytest.mark.parametrize("text", ["", "  ", "T.V. Tibor", "TIBORVELS Tibor"])
def test_other_initials_are_refused(text: str) -> None:
    with pytest.raises(CannotRead, match="initials"):
        read_keeper(text)


@pytest.mark.parametrize(
    "text", ["early 07:00 13:00", "early 7:00-13:00", "early 07.00 to 13.00", " early  07:00 – 13:00 "]
)
def test_a_shift_is_a_name_and_two_times(text: str) -> None:
    assert read_shift(text) == Shift("early", time(7), time(13))


@pytest.mark.parametrize("text", ["", "early", "07:00 13:00", "early 07:00", "early 25:00 13:00", "early 07:61 08:00"])
def test_other_shifts_are_refused(text: str) -> None:
    with pytest.raises(CannotRead):
        read_shift(text)


def test_a_time_of_day() -> None:
    assert read_clock(" 4:30 ") == time(4, 30)


@pytest.mark.parametrize("text", ["", "4", "24:00", "4:3x", "²:00"])
def test_what_is_no_time_of_day_is_refused(text: str) -> None:
    with pytest.raises(CannotRead, match="time of day"):
        read_clock(text)


def test_a_date() -> None:
    assert parse_day("2026-11-25") == date(2026, 11, 25)


@pytest.mark.parametrize("text", ["", "25.11.2026", "1066-10-14", "2026-02-30"])
def test_what_is_no_date_of_a_room_is_refused(text: str) -> None:
    with pytest.raises(CannotRead):
        parse_day(text)


def test_a_blank_name_is_refused() -> None:
    with pytest.raises(CannotRead, match="name"):
        read_name(" \t ")


@pytest.mark.parametrize(
    ("text", "amount"),
    [("80", "80 L"), ("80 l", "80 L"), ("0,5 L", "0.5 L"), ("20 US gal", "20 US gal"), ("7.50", "7.5 L")],
)
def test_a_volume_has_the_unit_of_the_room_unless_it_says_another(text: str, amount: str) -> None:
    assert read_amount(text, "L") == amount


@pytest.mark.parametrize("text", ["", "much", "0", "-5 L", "5 gal", "5 dKH", "99999999999 L", "5 L L"])
def test_what_cannot_be_a_volume_is_refused(text: str) -> None:
    with pytest.raises(CannotRead):
        read_amount(text, "L")


@pytest.mark.parametrize(
    ("text", "volume", "surface"),
    [
        ("960 L", "960 L", ""),
        ("200 x 60 x 50", "600 L", "1.2 m2"),
        ("200×60×50 cm", "600 L", "1.2 m2"),
        ("2 x 0,6 x 0.5 m", "600 L", "1.2 m2"),
        ("d 80 x 60", "302 L", "0.503 m2"),  # π/4 × 80 × 80 × 60 cm3
        ("⌀80 × 60 cm", "302 L", "0.503 m2"),
    ],
)
def test_water_is_a_volume_or_dimensions(text: str, volume: str, surface: str) -> None:
    assert read_water(text, "L") == (volume, surface)


def test_dimensions_give_the_unit_of_the_room() -> None:
    assert read_water("200 x 60 x 50", "US gal") == ("159 US gal", "1.2 m2")  # 600 L / 3.785411784


@pytest.mark.parametrize("text", ["", "200 x 60", "0 x 60 x 50", "200 x 60 x 50 dKH", "x x x", "d 80"])
def test_other_water_is_refused(text: str) -> None:
    with pytest.raises(CannotRead):
        read_water(text, "L")


def test_a_share_keeps_the_unit() -> None:
    assert share_of("80 L", 0.25) == "20 L"
    assert share_of("3.5 US gal", 0.8) == "2.8 US gal"


def test_what_is_there_already_is_refused() -> None:
    with pytest.raises(Refused, match="TV is there already"):
        unlike("the keeper", "TV", {"TV"})


def system(name: str, *kinds: str, zone: str = "") -> SystemAnswers:
    return SystemAnswers(name=name, kinds=kinds, zone=zone)


def test_systems_are_walked_clean_to_dirty() -> None:
    """And those of one zone as they were named."""
    systems = [
        system("Q", "quarantine"),
        system("N", "coral grow-out"),
        system("S", "frag tray", zone="seahorses"),
        system("B", "broodstock"),
        system("L", "larval rearing"),
        system("F", "live-food culture"),
    ]
    assert [each.name for each in walked(systems)] == ["F", "L", "N", "B", "S", "Q"]
    assert [(zone.id, zone.name) for zone in zones(systems)] == [
        ("A", "live food"), ("B", "larval"), ("C", "growing on"), ("D", "seahorses"), ("E", "quarantine")
    ]  # fmt: skip


def test_a_system_of_several_kinds_is_in_the_dirtiest_zone() -> None:
    assert zone_of(system("Q", "coral grow-out", "quarantine")) == "quarantine"


def test_many_zones_have_an_id_each() -> None:
    systems = [system(f"S{number}", "frag tray", zone=f"zone {number}") for number in range(60)]
    assert len({zone.id for zone in zones(systems)}) == 60


def test_equipment_is_offered_where_it_belongs() -> None:
    kinds = ["skimmer", "purified-water unit", "pH probe"]
    assert offered(kinds, whole_room=True) == ["purified-water unit", "pH probe"]
    assert offered(kinds, whole_room=False) == ["skimmer", "pH probe"]


def test_the_first_place_is_the_room() -> None:
    answers = Answers(systems=(system("N", "frag tray"),))
    changed = answers.with_place(0, system("The room", "room")).with_place(1, system("M", "frag tray"))
    assert [place.name for place in changed.places] == ["The room", "M"]


CALENDAR = Calendar(ZoneInfo("Europe/Dublin"), time(4))


def evening(clock: str) -> datetime:
    """On the round day of 25 November 2026."""
    hours = time.fromisoformat(clock)
    return CALENDAR.wall(date(2026, 11, 25), hours)


@pytest.mark.parametrize(
    ("shifts", "clock", "day"),
    [
        ((), "11:59", 25),
        ((), "12:00", 26),
        ((), "02:00", 26),
        (("early 07:00 13:00", "late 13:00 19:00"), "13:00", 25),
        (("early 07:00 13:00", "late 13:00 19:00"), "13:01", 26),
        (("night 22:00 04:00",), "18:00", 25),
        (("night 00:30 04:00",), "23:00", 25),
    ],
)
def test_a_room_made_late_in_the_day_begins_on_the_next(shifts: tuple[str, ...], clock: str, day: int) -> None:
    """Once the last shift has begun, or without shifts the afternoon: its work would begin late."""
    answers = Answers(shifts=tuple(map(read_shift, shifts)))
    assert usual_first_day(answers, CALENDAR, evening(clock)) == date(2026, 11, day)


def test_how_many_pieces_there_are() -> None:
    """In the order of the catalogue; none takes the kind away."""
    place = SystemAnswers(name="Tank", kinds=(), equipment=("skimmer", "light"))
    order = ("skimmer", "heater", "light")
    two = with_pieces(place, "heater", 2, order)
    assert two.equipment == ("skimmer", "heater", "heater", "light")
    assert with_pieces(two, "heater", 0, order) == place
    assert read_pieces(" 3 ") == 3


@pytest.mark.parametrize("text", ["", "two", "-1", "51", "1.5", "²"])
def test_a_number_of_pieces_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(CannotRead, match="0 to 50"):
        read_pieces(text)
