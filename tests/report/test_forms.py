"""Forms: text to value and back, ids from names, rules as they are said."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.errors import CannotRead
from rounds.core.history import History
from rounds.report import rules
from rounds.report.fields import Field, make_id, read_text, shown_text
from rounds.report.forms import BY_KEY, FORMS, TASK
from rounds.report.rules import again_after, days_as_typed, on_days, once, read_back, read_times, rule_words
from rounds.storage.tables import ID
from tests.support import Bench, done

TEXTS = (
    st.text(st.characters(codec="utf-8", exclude_categories=("Cc",)), min_size=1, max_size=20)
    .map(str.strip)
    .filter(bool)
)


@given(st.lists(TEXTS, min_size=1, max_size=5))
def test_a_list_of_sentences_is_typed_as_it_is_shown(texts: list[str]) -> None:
    field = TASK.field("steps")
    assert read_text(field, shown_text(field, texts)) == texts


@pytest.mark.parametrize(
    ("how", "text", "value"),
    [
        ("text", "  Rinse [x] ", "Rinse [x]"),
        ("text", "   ", None),
        ("whole number", "5", 5),
        ("number", "2,4", 2.4),
        ("day", "2026-12-01", date(2026, 12, 1)),
        ("moment", "2026-12-01 20:00", datetime(2026, 12, 1, 20)),  # noqa: DTZ001 # a wall time, as the file has it
        ("flag", "Yes", True),
        ("flag", "no", None),
    ],
)
def test_text_becomes_the_value_that_a_file_holds(how: str, text: str, value: object) -> None:
    field = Field(key="x", label="x", how=how)
    assert read_text(field, text) == value
    if value is not None:
        assert read_text(field, shown_text(field, value)) == value


@pytest.mark.parametrize(
    ("how", "text", "remedy"),
    [
        ("whole number", "five", "write one such as 5"),
        ("whole number", "-5", "write one such as 5"),
        ("number", "1e9", "write one such as 2.4"),
        ("day", "1 December", "2026-12-01"),
        ("moment", "tomorrow evening", "2026-12-01 20:00"),
        ("day", "2026-02-30", "2026-12-01"),
        ("flag", "maybe", "yes nor no"),
    ],
)
def test_text_that_cannot_be_the_value_is_refused_with_the_remedy(how: str, text: str, remedy: str) -> None:
    with pytest.raises(CannotRead, match=remedy):
        read_text(Field(key="x", label="x", how=how), text)


def test_a_flag_that_holds_by_itself_is_written_only_when_it_is_taken_away() -> None:
    field = TASK.field("make_up")
    assert shown_text(field, None) == "yes"
    assert read_text(field, "no") is False
    assert read_text(field, "yes") is None


@pytest.mark.parametrize(
    ("name", "id"),
    [
        ("Empty and rinse the skimmer cup", "empty-and-rinse-the-skimmer-cup"),
        ("Électrode №2 / pH", "electrode-no2-ph"),
        ("مضخة العودة", "task"),
        ("🐠", "task"),
        ("x" * 200, "x" * 40),
        ("--- [a] ---", "a"),
        ("feed", "feed-3"),
        ("", "task"),
    ],
)
def test_an_id_is_made_from_a_name(name: str, id: str) -> None:
    assert make_id(name, {"feed", "feed-2"}, "task") == id


@given(st.text(max_size=60), st.sets(st.sampled_from(["a", "task", "task-2"])))
def test_a_made_id_is_an_id_and_new(name: str, taken: set[str]) -> None:
    id = make_id(name, taken, "task")
    assert ID.fullmatch(id)
    assert id not in taken


def test_each_list_has_one_form() -> None:
    assert len(BY_KEY) == len(FORMS)
    for form in FORMS:
        keys = [field.key for field in form.fields]
        assert len(keys) == len(set(keys))


# -- rules -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "rrule"),
    [
        ("every day", "FREQ=DAILY"),
        ("Every 2 days", "FREQ=DAILY;INTERVAL=2"),
        ("every week on Mon", "FREQ=WEEKLY;BYDAY=MO"),
        ("every 2 weeks on mon and thursday", "FREQ=WEEKLY;BYDAY=MO,TH;INTERVAL=2"),
        ("Mon, Thu", "FREQ=WEEKLY;BYDAY=MO,TH"),
        ("mondays", "FREQ=WEEKLY;BYDAY=MO"),
        ("1, 15", "FREQ=MONTHLY;BYMONTHDAY=1,15"),
        ("the 1st and the 15th", "FREQ=MONTHLY;BYMONTHDAY=1,15"),
        ("last day of the month", "FREQ=MONTHLY;BYMONTHDAY=-1"),
        ("the last Friday", "FREQ=MONTHLY;BYDAY=-1FR"),
        ("last Friday of the month", "FREQ=MONTHLY;BYDAY=-1FR"),
        ("first Monday, third Monday", "FREQ=MONTHLY;BYDAY=1MO,3MO"),
        ("every 3 months on the last friday", "FREQ=MONTHLY;BYDAY=-1FR;INTERVAL=3"),
        ("freq=yearly;bymonth=3;bymonthday=1", "FREQ=YEARLY;BYMONTH=3;BYMONTHDAY=1"),
    ],
)
def test_days_are_read_as_they_are_said(text: str, rrule: str) -> None:
    assert on_days(text) == {"rrule": rrule}


def test_days_may_be_said_with_their_times() -> None:
    assert on_days("the last Friday of the month at 10:00") == {"rrule": "FREQ=MONTHLY;BYDAY=-1FR", "at": "10:00"}
    assert on_days("every day at 07:30 and 17:30") == {"rrule": "FREQ=DAILY", "at": ["07:30", "17:30"]}
    with pytest.raises(CannotRead, match="no time of day"):
        on_days("Mon at ten")


@pytest.mark.parametrize(
    "text", ["", "often", "Mon, 15", "every 0 days", "monster", "32", "every day on Mon", "FREQ=HOURLY"]
)
def test_days_that_say_nothing_are_refused(text: str) -> None:
    with pytest.raises(CannotRead):
        on_days(text)


@pytest.mark.parametrize("text", rules.DAY_EXAMPLES)
def test_the_examples_are_read_and_come_back_in_words(text: str) -> None:
    rrule = on_days(text)["rrule"]
    words = days_as_typed(rrule)
    assert "FREQ" not in words
    assert on_days(words) == {"rrule": rrule}


def test_a_rule_that_words_cannot_say_stays_text() -> None:
    text = "FREQ=YEARLY;BYMONTH=3;BYMONTHDAY=1"
    assert days_as_typed(text) == text


def test_other_rules() -> None:
    assert again_after(" 3 Days ") == {"again_after": "3 days"}
    assert once("2026-12-01") == {"once": date(2026, 12, 1)}
    assert once("2026-12-01 09:00") == {"once": datetime(2026, 12, 1, 9)}  # noqa: DTZ001 # a wall time, as the file has it
    assert read_times("17:00 and 09:00") == {"at": ["17:00", "09:00"]}
    for read, text in ((again_after, "often"), (once, "soon"), (once, "2026-12-01T09:00+01:00"), (read_times, "9")):
        with pytest.raises(CannotRead):
            read(text)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"again_after": "3 days", "at": "09:00"}, "again after 3 days at 09:00"),
        ({"rrule": "FREQ=DAILY", "at": ["09:00", "17:00"]}, "every day at 09:00 and 17:00"),
        ({"rrule": "nonsense"}, "nonsense"),
        ({"once": date(2026, 12, 1)}, "once, 2026-12-01"),
        ({"called": True}, "when it is called"),
        ({"title": "x"}, ""),
    ],
)
def test_a_rule_is_said_in_a_few_words(values: dict[str, object], words: str) -> None:
    assert rule_words(values) == words


def test_a_rule_is_read_back_with_its_next_five_dates() -> None:
    """Two days of grace; the first is what stands now."""
    bench = Bench('rrule = "FREQ=WEEKLY;BYDAY=MO,TH"\nat = "10:00"\ngrace = "1 day"')
    lines = read_back(
        bench.room, History([done("reef/cup", "2026-03-02 10:20")]), bench.task, bench.at("2026-03-03 12:00")
    )
    assert lines == [
        "Every week on Mon, Thu at 10:00.",
        "Thu 5 Mar 10:00, fine until Fri 6 Mar 10:00",
        "Mon 9 Mar 10:00, fine until Tue 10 Mar 10:00",
        "Thu 12 Mar 10:00, fine until Fri 13 Mar 10:00",
        "Mon 16 Mar 10:00, fine until Tue 17 Mar 10:00",
        "Thu 19 Mar 10:00, fine until Fri 20 Mar 10:00",
    ]


def test_a_rule_that_has_ended_says_so() -> None:
    bench = Bench("once = 2026-03-01")
    lines = read_back(
        bench.room, History([done("reef/cup", "2026-03-01 10:20")]), bench.task, bench.at("2026-03-03 12:00")
    )
    assert lines[1:] == ["It comes due no more."]


def test_called_has_no_dates() -> None:
    bench = Bench("called = true")
    assert read_back(bench.room, History(), bench.task, bench.at("2026-03-03 12:00")) == ["When it is called."]
