"""What is wrong with a table, in the words of its form."""

from __future__ import annotations

import pytest

from rounds.report.fields import Form
from rounds.report.form_words import in_form
from rounds.report.forms import BY_KEY
from rounds.storage.faults import Fault, Missing

TASK, READING, RESERVOIR = BY_KEY["tasks"], BY_KEY["readings"], BY_KEY["reservoirs"]

SAID = [
    (
        TASK,
        "rule",
        "a rule is missing; write exactly one of again_after, rrule, once, called, on_dates",
        "a rule is missing; choose when it is due",
    ),
    (
        BY_KEY[""],
        "isolation_fish",
        'isolation_fish goes with isolation; add isolation = "45 days"',
        "where fish are goes with isolation; fill in isolation, such as 45 days",
    ),
    (
        TASK,
        "turns_off",
        'turns_off and countdown go together: turns_off = ["return-pump"], countdown = "15 minutes"',
        "turns off and off at most go together: turns off return-pump, off at most 15 minutes",
    ),
    (
        READING,
        "act_high",
        "act_high lies below act_low; exchange or correct them",
        "act above lies below act below; exchange or correct them",
    ),
    (
        TASK,
        "last_day",
        "last_day lies before first_day; exchange or correct them",
        "last day lies before first day; exchange or correct them",
    ),
    (
        TASK,
        "until",
        "until says the end already; take last_day away",
        "until says the end already; leave last day empty",
    ),
    (
        RESERVOIR,
        "doses",
        'only a reservoir of kind = "dosing" doses; correct the kind or take doses away',
        "only a reservoir of kind dosing doses; correct the kind or leave doses empty",
    ),
    (
        RESERVOIR,
        "strength",
        'a strength of what? Add doses = "alkalinity" (or calcium)',
        "a strength of what? Fill in doses, such as alkalinity (or calcium)",
    ),
    (
        RESERVOIR,
        "level_unit",
        'levels in "cm" need litres_per_cm; add litres_per_cm = 2.4',
        'levels in "cm" need litres a cm; fill in litres a cm, such as 2.4',
    ),
    (
        BY_KEY["tanks"],
        "stations",
        'no station stands in its water; write for example stations = ["rack-1"]',
        "no station stands in its water; fill in stations, such as rack-1",
    ),
    (
        TASK,
        "shift",
        "the shift 'noon' does not exist (there are: early); add [[shifts]] to room.toml",
        "the shift 'noon' does not exist (there are: early); add it in set-up",
    ),
    (
        TASK,
        "station",
        "the station 'tower' does not exist in reef (there are: sump); add it under [[stations]] or name another",
        "the station 'tower' does not exist in reef (there are: sump); add it in set-up or name another",
    ),
    (
        READING,
        "instrument",
        "reef/kit already serves alkalinity (reef/kh); add another under [[instruments]] for calcium",
        "reef/kit already serves alkalinity (reef/kh); add another in set-up for calcium",
    ),
    (
        BY_KEY["shifts"],
        "begins",
        """'7' is no time of day; write hours and minutes as text, "00:00" to "23:59\"""",
        """'7' is no time of day; write hours and minutes, "00:00" to "23:59\"""",
    ),
    (
        TASK,
        "minutes",
        "'x' is not a whole number from 1 to 480; write one without quotes",
        "'x' is not a whole number from 1 to 480; write one",
    ),
    (
        TASK,
        "water_change",
        'reef has no volume to change water of; add volume = "960 L" to its file',
        "reef has no volume to change water of; fill in volume, such as 960 L in its form",
    ),
    (
        TASK,
        "uses",
        'a name of stock is blank; write uses = { "room/salt" = "7 kg" }',
        "a name of stock is blank; fill in uses up, such as room/salt 7 kg",
    ),
    (
        BY_KEY["equipment"],
        "outlet",
        "the reading 'ph' measures pH, not alkalinity; name one with quantity = 'alkalinity'",
        "the reading 'ph' measures pH, not alkalinity; name one with quantity alkalinity",
    ),
    (
        TASK,
        "at",
        'a list of times goes with on_dates and rrule only; write one time: at = "09:00"',
        "a list of times goes with on dates and on days only; write one time: at 09:00",
    ),
]


MISSING = [
    (RESERVOIR, "capacity", '"80 L"', "capacity is missing; type one, such as 80 L"),
    (TASK, "title", '"…"', "title is missing; type one"),
    (READING, "quantity", '"…"', "quantity is missing; choose one"),
    (BY_KEY["shifts"], "begins", '"07:00"', "begins is missing; type one, such as 07:00"),
    (BY_KEY["instruments"], "opened", "2026-01-05", "opened is missing; type one, such as 2026-01-05"),
    (BY_KEY["protocols"], "steps", "", "steps are missing; add a step"),
    (BY_KEY["lights"], "channels", "", "channels are missing; add a channel"),
]


def in_words(form: Form, key: str, sentence: str) -> str:
    return in_form(form, key, Fault(file="systems/reef.toml", sentence=sentence))


@pytest.mark.parametrize(("form", "key", "file", "said"), SAID, ids=[f"{each[1]}-{n}" for n, each in enumerate(SAID)])
def test_a_fault_speaks_of_the_fields_by_their_labels(form: Form, key: str, file: str, said: str) -> None:
    """And of what is typed, not of what stands in a file."""
    assert in_words(form, key, file) == said


@pytest.mark.parametrize(("form", "key", "example", "said"), MISSING, ids=[each[1] for each in MISSING])
def test_what_is_missing_is_asked_for_as_the_form_takes_it(form: Form, key: str, example: str, said: str) -> None:
    """Typed, chosen or added."""
    missing = Missing(key, example)
    assert in_form(form, key, Fault(file="systems/reef.toml", missing=missing, sentence="add it")) == said


@pytest.mark.parametrize(
    "typed", ['add capacity = "80 L"', "take last_day away", "[[shifts]] without quotes", "act_low"]
)
def test_what_was_typed_is_shown_as_it_was_typed(typed: str) -> None:
    """Whatever it looks like."""
    sentence = f"'{typed}' is not a span of time; write one whole number"
    assert in_words(TASK, "grace", sentence) == sentence


def test_a_fault_in_a_row_speaks_of_the_fields_of_the_row() -> None:
    """Of a step by the labels of a step."""
    said = in_words(BY_KEY["protocols"], "steps/0/every", 'every and times go together: every = "1 day", times = 7')
    assert said == "every and times go together: every 1 day, times 7"
    name = Fault(file="systems/reef.toml", missing=Missing("name", '"…"'), sentence='name is missing; add name = "…"')
    assert in_form(BY_KEY["lights"], "channels/0/name", name) == "name is missing; type one"
    file = 'a step says what to do; add title = "…", or task with the id of a task that is called'
    said = in_words(BY_KEY["protocols"], "steps/0/title", file)
    assert said == "a step says what to do; fill in title, or task with the id of a task that is called"
    said = in_words(BY_KEY["protocols"], "steps/1/", "if_kind lies before look_for")
    assert said == "if there is lies before look for"
