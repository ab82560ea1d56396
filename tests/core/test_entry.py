"""The line typed under a task: ``VALUES [note]``."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rounds.core.entry import read_entry
from rounds.core.eos80 import salinity_of_gravity
from rounds.core.errors import Refused, RoundsError
from rounds.core.history import History
from rounds.core.recording import draft_closing, draft_postponed, finish
from rounds.core.units import reference_pair, to_canonical
from rounds.core.words import condition_words, plain
from rounds.water.seawater import practical_salinity
from tests.support import done, head, instant, measured, room_from, strike

REEF = """name = "Reef"
[[readings]]
id = "alk"
name = "alkalinity"
quantity = "alkalinity"
low = "7.5 dKH"
high = "8.6 dKH"
act_low = "6.5 dKH"
act_high = "10.0 dKH"
act_steps = ["test again"]
again_after = "2 days"
[[readings]]
id = "temp"
quantity = "temperature"
unit = "°F"
[[readings]]
id = "sal"
quantity = "salinity"
[[readings]]
id = "po4"
quantity = "phosphate"
[[readings]]
id = "ph"
quantity = "pH"
[[readings]]
id = "ca"
quantity = "calcium"
[[reservoirs]]
id = "barrel"
kind = "top-off"
capacity = "80 L"
litres_per_cm = 2
level_unit = "%"
[[tasks]]
id = "cup"
title = "Rinse the cup"
again_after = "2 days"
[[tasks]]
id = "feed"
title = "Feed"
rrule = "FREQ=DAILY"
at = ["09:00", "17:00"]
make_up = false
[[tasks]]
id = "repair"
title = "Mend the pump"
once = 2026-03-10
"""
ROOM = room_from(head(), reef=REEF)
ALK, TEMP, SAL, PO4, PH, CA = (ROOM.readings[f"reef/{id}"] for id in ("alk", "temp", "sal", "po4", "ph", "ca"))
LEVEL = ROOM.readings["reef/barrel-level"]


def read(text, *takes, **how):
    return read_entry(text, takes, **how)


def typed(entry):
    return [value.entered for value in entry.values]


def refusal(text, *takes, **how):
    with pytest.raises(Refused) as told:
        read_entry(text, takes, **how)
    return str(told.value)


# -- numbers and units -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "reading", "canonical"),
    [
        ("8.1", ALK, 8.1 / 2.8039),
        ("8,1", ALK, 8.1 / 2.8039),
        (".5", PO4, 0.5),
        ("8.", PO4, 8.0),
        ("+8.1", ALK, 8.1 / 2.8039),
        ("8.1dKH", ALK, 8.1 / 2.8039),
        ("8.1 dKH", ALK, 8.1 / 2.8039),
        ("8.1 DKH", ALK, 8.1 / 2.8039),
        ("2.9 meq/L", ALK, 2.9),
        ("145 ppm CaCO3", ALK, 145 / 17.848 / 2.8039),
        ("145 ppm", ALK, 145 / 17.848 / 2.8039),
        ("77", TEMP, 25.0),
        ("77.0F", TEMP, 25.0),
        ("25 °C", TEMP, 25.0),
        ("25C", TEMP, 25.0),
        ("-2 C", TEMP, -2.0),
        ("−2 C", TEMP, -2.0),
        ("35 ppt", SAL, 35.0),
        ("80 µg/L", PO4, 0.08),
        ("80 μg/L", PO4, 0.08),
        ("80 ppb", PO4, 0.08),
        ("8.2 pH", PH, 8.2),
        ("45", LEVEL, 36.0),
        ("45%", LEVEL, 36.0),
        ("12 L", LEVEL, 12.0),
        ("12 cm", LEVEL, 24.0),
        ("1 US gal", LEVEL, 3.785411784),
        ("1 UK gal", LEVEL, 4.54609),
        ("500 mL", LEVEL, 0.5),
    ],
)
def test_a_number_with_or_without_its_unit(text, reading, canonical):
    """A comma is a decimal sign; without a unit it is the reading's own (2.8039 dKH per meq/L, 17.848 ppm per dKH)."""
    entry = read(text, reading, seawater=practical_salinity)
    assert (typed(entry), entry.note) == ([text], "")
    assert entry.values[0].value == pytest.approx(canonical)


@pytest.mark.parametrize(
    ("text", "room_unit", "unit"),
    [
        ("1.0255 SG", "SG 25/25", "SG 25/25"),
        ("1.0255 sg", "SG 20/20", "SG 20/20"),
        ("1.0255 SG 60/60F", "PSU", "SG 60/60F"),
    ],
)
def test_sg_alone_means_the_rooms_reference_pair(text, room_unit, unit):
    """The pair of temperatures is the room's unless it is typed."""
    found = read(text, SAL, salinity_unit=room_unit, seawater=practical_salinity).values[0].value
    assert found == pytest.approx(salinity_of_gravity(1.0255, *reference_pair(unit)))


def test_sg_alone_without_a_pair_is_refused():
    """A room that thinks in PSU has no reference pair."""
    assert "SG 25/25" in refusal("1.0255 SG", SAL, salinity_unit="PSU", seawater=practical_salinity)


def test_conductivity_takes_the_temperature_of_the_same_entry():
    """Typed in one line, before or after (UNESCO 44: 42.914 mS/cm at 15 °C is salinity 35)."""
    for text, takes in (("59 F 42.914 mS/cm", (TEMP, SAL)), ("42.914 mS/cm 59 F", (SAL, TEMP))):
        values = read(text, *takes, temperature=30.0, seawater=practical_salinity).values
        assert next(v.value for v in values if v.reading == SAL.id) == pytest.approx(35, abs=0.01)


def test_conductivity_takes_the_last_temperature_of_the_system():
    """Where the entry has none."""
    found = read("42.914 mS/cm", SAL, temperature=15.0, seawater=practical_salinity).values[0].value
    assert found == pytest.approx(35, abs=0.01)


def test_conductivity_without_a_temperature_is_refused():
    """With what to do."""
    assert "read the temperature of this system first" in refusal("42.914 mS/cm", SAL, seawater=practical_salinity)


@pytest.mark.parametrize(
    ("text", "reading"),
    [
        ("8.1 PSU", ALK),
        ("8.1 °C", ALK),
        ("8.1L", ALK),
        ("8.1kg", ALK),
        ("25 dKH", TEMP),
        ("35%", SAL),
    ],
)
def test_a_unit_of_something_else_is_refused(text, reading):
    """With the units this quantity has."""
    assert "is no unit of" in refusal(text, reading, seawater=practical_salinity)


@pytest.mark.parametrize(("text", "bound"), [("<0.02", "<"), ("< 0.02 ppm", "<"), (">50", ">"), ("> 50", ">")])
def test_beyond_the_limit_of_the_kit(text, bound):
    """A bound is kept as such; it asks no question."""
    entry = read(text, PO4)
    assert (entry.values[0].bound, entry.questions) == (bound, ())


# -- several readings ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "readings", "note"),
    [
        ("8.1 77 35", [ALK, TEMP, SAL], ""),
        ("8.1 dKH 77.4F 35 ppt", [ALK, TEMP, SAL], ""),
        ("8,1 77,4 35", [ALK, TEMP, SAL], ""),
        ("8.1, 77.4, 35", [ALK, TEMP, SAL], ""),
        ("8.1", [ALK], ""),
        ("8.1 77", [ALK, TEMP], ""),
        ("- 77", [TEMP], ""),
        ("8.1 - 35", [ALK, SAL], ""),
        ("- - -", [], ""),
        ("8.1 77 35 cloudy", [ALK, TEMP, SAL], "cloudy"),
        ("8.1 cloudy", [ALK], "cloudy"),
        ("8.1 - cloudy", [ALK], "cloudy"),
        ("cloudy", [], "cloudy"),
        ("", [], ""),
        ("   ", [], ""),
        ("8.1 77 35 36", [ALK, TEMP, SAL], "36"),
    ],
)
def test_numbers_go_to_the_readings_in_order(text, readings, note):
    """A lone dash leaves one out, missing ones at the end are left out, the rest is the note."""
    entry = read(text, ALK, TEMP, SAL)
    assert ([value.reading for value in entry.values], entry.note) == ([reading.id for reading in readings], note)


def test_a_repeat_is_asked():
    """A second number for one reading: is it a repeat?"""
    entry = read("8.1 8.3", ALK)
    assert (typed(entry), entry.questions) == (["8.1", "8.3"], ("is 8.3 a repeat of alkalinity?",))


@pytest.mark.parametrize("text", ["8.1 2 dead under rack", "8.1 at 8:30", "8.1 3/4 of the colonies", "8.1 120 polyps"])
def test_a_second_number_that_is_no_repeat_belongs_to_the_note(text):
    """What cannot be a second value is part of the note."""
    entry = read(text, ALK)
    assert (typed(entry), entry.note, entry.questions) == (["8.1"], text.removeprefix("8.1 "), ())


@pytest.mark.parametrize("text", ["2 dead under rack", "8.1", "- nothing", "<5 minutes", "pale"])
def test_a_task_that_takes_nothing_has_only_a_note(text):
    """ "2 dead under rack" is no reading."""
    entry = read(text)
    assert (entry.values, entry.note) == ((), text)


# -- impossible, implausible ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "reading"),
    [
        ("20", PH),
        ("-1", PH),
        ("-8.1", ALK),
        ("-61 C", TEMP),
        ("111 C", TEMP),
        ("90", SAL),
        ("-1 %", LEVEL),
        ("9" * 400, PO4),
    ],
)
def test_what_cannot_be_is_refused(text, reading):
    """With the limits."""
    assert "cannot be right for" in refusal(text, reading)


@pytest.mark.parametrize(
    ("text", "reading"),
    [("81", ALK), ("40 C", TEMP), ("5", SAL), ("110 %", LEVEL), ("3", PH)],
)
def test_what_is_implausible_is_asked_and_flagged(text, reading):
    """One question; kept with its flag."""
    entry = read(text, reading)
    assert (len(entry.questions), entry.values[0].flag) == (1, "implausible")


def test_the_readings_own_limits_widen_what_is_plausible():
    """Where a keeper wants something unusual, it is not asked about."""
    room = room_from(head(), reef='name = "R"\n[[readings]]\nid = "s"\nquantity = "salinity"\nlow = "5 PSU"\n')
    assert read("5", room.readings["reef/s"]).questions == ()


# -- words ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("note", "words"),
    [
        ("pale and retracted, some algae", ("pale", "retracted", "algae")),
        ("Bleached! Receding?", ("bleached", "receding")),
        ("pale pale", ("pale",)),
        ("palette, impaled", ()),
        ("#pale @stung", ("pale", "stung")),
        ("crowded pests growing stung", ("crowded", "pests", "growing", "stung")),
        ("", ()),
    ],
)
def test_condition_words_are_recognised_as_they_stand(note, words):
    """Whole words in any case, each once, in order; no tag syntax."""
    assert condition_words(note) == words
    assert read(note).words == words


@pytest.mark.parametrize(
    ("note", "words"),
    [
        ("nothing dead", ()),
        ("no pests", ()),
        ("no algae or cyano", ()),
        ("none was bleached", ()),
        ("without any new growth", ()),
        ("not pale, growing", ("growing",)),
        ("not open and pale", ("pale",)),
        ("not pale but retracted", ("retracted",)),
        ("dead: none", ()),
        ("0 dead", ()),
        ("10 dead", ("dead",)),
        ("no feed 2 dead", ("dead",)),
        ("dead not removed", ("dead",)),
        ("pale with no extension", ("pale",)),
        ("no change, still pale", ("pale",)),
        ("no pests, one pest later", ("pest",)),
    ],
)
def test_a_condition_word_that_is_denied_does_not_count(note, words):
    """A denial reaches forward to the end of its part of the sentence, not back to what was seen before it."""
    assert condition_words(note) == words


# -- hostile text --------------------------------------------------------------------------------------

HOSTILE = [
    "[bold]x[/]",
    "[/sump]",
    "\x1b[31mred",
    "\ud800",
    "\u202eabc",
    "a\x00b",
    "{0}",
    "%s",
    "é" * 500,
    "🪸",
    "]" * 100,
]


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_a_note_is_kept_as_typed(text):
    """Nothing in a note means anything to the program."""
    assert read(f"8.1 {text}", ALK).note == text


def test_a_very_long_entry_is_refused_not_cut():
    """With its length and the limit."""
    assert "2001" in refusal("x" * 2001)
    assert read("x" * 2000).note == "x" * 2000


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_what_is_shown_has_no_control_characters(text):
    """Escapes, overrides and lone surrogates are made visible."""
    shown = plain(text)
    shown.encode()
    assert shown.isprintable()


def test_a_record_holds_only_text_that_can_be_written():
    """A lone surrogate does not reach the disk."""
    draft = draft_closing(ROOM, History(), ROOM.tasks["reef/cup"], "caf\udce9", instant("2026-03-04 12:00"))
    record = finish(draft, id="x", by="TV", device="d", recorded=instant("2026-03-04 12:00"), room=ROOM)
    assert record.note == "caf?"


@given(st.text(max_size=80), st.sampled_from([(), (ALK,), (ALK, TEMP, SAL), (LEVEL,)]))
def test_any_line_is_understood_or_refused(text, takes):
    """Nothing typed is lost: every value is in the line, and so is the note."""
    try:
        entry = read_entry(text, takes, seawater=practical_salinity)
    except RoundsError:
        return
    assert entry.note in text
    assert all(value.entered in text for value in entry.values)


@given(st.decimals(min_value="0.1", max_value="99", places=2), st.sampled_from(["dKH", "meq/L", "ppm CaCO3"]))
def test_a_comma_is_a_decimal_sign(number, unit):
    """Both spellings are one value."""
    texts = (f"{number} {unit}", f"{number} {unit}".replace(".", ","))
    one, other = (read(text, ALK).values[0].value for text in texts)
    assert one == other == to_canonical("alkalinity", float(number), unit)


# -- the same again ------------------------------------------------------------------------------------


def questions(task, at, *records):
    return draft_closing(ROOM, History(records), ROOM.tasks[task], "", instant(at)).questions


@pytest.mark.parametrize(
    ("task", "before", "at", "asked"),
    [
        pytest.param(
            "reef/cup", "2026-03-04 11:48", "2026-03-04 12:00", "done 12 minutes ago by TV; again?", id="a while ago"
        ),
        pytest.param(
            "reef/cup",
            "2026-03-04 07:12",
            "2026-03-04 12:00",
            "done 4 hours ago by TV; again?",
            id="a tenth of two days",
        ),
        pytest.param("reef/cup", "2026-03-04 07:11", "2026-03-04 12:00", None, id="more than a tenth"),
        pytest.param(
            "reef/cup", "2026-03-04 13:00", "2026-03-04 12:00", "done 1 hour later by TV; again?", id="already later"
        ),
        pytest.param(
            "reef/feed", "2026-03-04 08:00", "2026-03-04 12:00", "done 4 hours ago by TV; again?", id="the same window"
        ),
        pytest.param("reef/feed", "2026-03-04 13:30", "2026-03-04 15:30", None, id="the next window"),
        pytest.param("reef/repair", "2026-03-01 12:00", "2026-03-10 12:00", "done 9 days ago by TV; again?", id="once"),
    ],
)
def test_the_same_again_is_asked(task, before, at, asked):
    """Within a tenth of its interval, or a second time in one window."""
    found = questions(task, at, done(task, before))
    assert (found[0].endswith(asked) if asked else found == ()) is True


def test_a_struck_closing_is_not_asked_about():
    """It was not done after all."""
    before = done("reef/cup", "2026-03-04 11:48")
    assert questions("reef/cup", "2026-03-04 12:00", before, strike(before, "2026-03-04 11:50")) == ()


def test_a_reading_taken_again_is_asked_too():
    """By whatever record its value came."""
    records = [measured("reef/alk", "2026-03-04 11:48")]
    draft = draft_closing(ROOM, History(records), ROOM.tasks["reef/alk"], "8.1", instant("2026-03-04 12:00"))
    assert draft.questions == ("Test alkalinity was done 12 minutes ago by TV; again?",)


def test_postponing_to_now_is_refused():
    """Only a later time."""
    with pytest.raises(Refused, match="later time"):
        draft_postponed(ROOM, ROOM.tasks["reef/cup"], instant("2026-03-04 12:00"), instant("2026-03-04 12:00"))
