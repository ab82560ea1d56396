"""`rounds record`, `strike`, `history`: what a keeper says, kept and shown again."""

from __future__ import annotations

import json

import pytest

HOSTILE = "\x1b[31mred\x07 [/sump] \u202egnp \x00"


def test_done_is_recorded_and_shown(rounds):
    """One line that repeats what was understood, and the id to strike it by."""
    status, out, err = rounds("record", "reef/cup", "wet", "foam")
    assert (status, err) == (0, "")
    assert "TV done: Rinse the cup; wet foam" in out
    assert "id 0" in out


def test_the_record_as_json(rounds):
    """The record as it stands in its sheet."""
    found = rounds.json("record", "reef/alkalinity", "8,1", "pale")
    value = found["values"][0]
    assert (found["kind"], found["task"], found["by"], found["device"], found["note"]) == (
        "reading", "reef/alkalinity", "TV", "tablet", "pale",
    )  # fmt: skip
    assert (value["entered"], value["unit"], value["value"]) == ("8,1", "meq/L", pytest.approx(8.1 / 2.8039))
    assert found["at"] == found["recorded"] == "2026-03-04T12:00:00Z"


def test_at_says_when_it_was_done(rounds):
    """And `recorded` when it was written down."""
    found = rounds.json("record", "reef/cup", "--at", "09:30")
    assert (found["at"], found["recorded"]) == ("2026-03-04T09:30:00Z", "2026-03-04T12:00:00Z")


def test_a_late_entry_is_marked(rounds):
    """Written down long after it happened, it says so in history."""
    assert rounds.json("record", "reef/cup", "--at", "2026-03-01T09:30")["late_entry"] is True
    assert "late entry, written Wed 4 Mar 12:00" in rounds("history", "reef/cup")[1]


def test_an_entry_in_time_is_not_marked(rounds):
    """A quarter of an hour is not late."""
    assert rounds.json("record", "reef/cup", "--at", "11:45")["late_entry"] is False


def test_a_short_id_is_enough_where_one_system_has_it(rounds):
    """The system may be left out."""
    assert rounds.json("record", "cup")["task"] == "reef/cup"


def test_an_unknown_task_is_refused_with_a_near_one(rounds):
    """Exit 1 and a hint."""
    assert "did you mean reef/cup?" in rounds.refused("record", "reef/cups")


@pytest.mark.parametrize(
    ("option", "kind"), [("--not-needed", "not needed"), ("--could-not", "could not")], ids=["not needed", "could not"]
)
def test_reasons_are_kept(rounds, option, kind):
    """The reason stands in the record."""
    found = rounds.json("record", "reef/cup", option, "pump is out")
    assert (found["kind"], found["reason"]) == (kind, "pump is out")


@pytest.mark.parametrize("option", ["--not-needed", "--could-not"])
def test_a_blank_reason_is_refused(rounds, option):
    """Say why."""
    assert "say why" in rounds.refused("record", "reef/cup", option, "  ")


POSTPONED = {
    "tomorrow": "2026-03-05T04:00:00Z",
    "Tomorrow": "2026-03-05T04:00:00Z",
    "2 hours": "2026-03-04T14:00:00Z",
    "90 minutes": "2026-03-04T13:30:00Z",
    "1 day": "2026-03-05T12:00:00Z",
    "1 week": "2026-03-11T12:00:00Z",
    "18:00": "2026-03-04T18:00:00Z",
    "2026-03-07": "2026-03-07T04:00:00Z",
    "2026-03-07T10:00": "2026-03-07T10:00:00Z",
}


@pytest.mark.parametrize(("text", "until"), POSTPONED.items(), ids=POSTPONED)
def test_postponed_to(rounds, text, until):
    """A time, the next round day's start, or a span from now."""
    assert rounds.json("record", "reef/cup", "--postpone", text)["until"] == until


def test_a_span_of_days_keeps_the_wall_clock(rounds, monkeypatch):
    """A day over the change of clocks ends at the same hour."""
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-28T12:00")
    assert rounds.json("record", "reef/cup", "--postpone", "1 day")["until"] == "2026-03-29T12:00:00+01:00"


@pytest.mark.parametrize("text", ["11:00", "12:00", "2026-03-01"])
def test_postponing_to_the_past_is_refused(rounds, text):
    """A time not after now postpones nothing."""
    assert "postpone to a later time" in rounds.refused("record", "reef/cup", "--postpone", text)


@pytest.mark.parametrize("text", ["soon", "0 hours", "2 fortnights", "2 hours ago", ""])
def test_what_is_no_time_to_postpone_to_cannot_be_read(rounds, text):
    """Exit 2."""
    rounds.refused("record", "reef/cup", "--postpone", text, status=2)


def test_values_and_a_reason_do_not_go_together(rounds):
    """Exit 2: the line contradicts itself."""
    rounds.refused("record", "reef/alkalinity", "8.1", "--could-not", "no kit", status=2)


def test_two_ends_do_not_go_together(rounds):
    """Exit 2."""
    rounds.refused("record", "reef/cup", "--could-not", "a", "--not-needed", "b", status=2)


def test_a_reading_without_a_value_is_refused(rounds):
    """With an example in its unit."""
    assert "needs a value, such as 8.1 dKH" in rounds.refused("record", "reef/alkalinity")
    assert "needs a value" in rounds.refused("record", "reef/alkalinity", "looked fine")


def test_a_value_that_cannot_be_is_refused_even_if_sure(rounds):
    """--sure does not make the impossible possible."""
    rounds.refused("record", "reef/alkalinity", "--sure", "--", "-8.1")


def test_an_implausible_value_asks_and_is_kept_flagged(rounds):
    """Exit 1 without --sure; with it the value carries a flag."""
    assert "--sure" in rounds.refused("record", "reef/alkalinity", "81")
    assert rounds.json("record", "reef/alkalinity", "81", "--sure")["values"][0]["flag"] == "implausible"


def test_the_same_again_asks_first(rounds):
    """Who did it and how long ago; a second dose is the dangerous case."""
    rounds("record", "reef/cup", "--at", "11:48", by="MK")
    assert "was done 12 minutes ago by MK; again?" in rounds.refused("record", "reef/cup")
    assert rounds("record", "reef/cup", "--sure")[0] == 0


def test_the_same_later_does_not_ask(rounds):
    """Beyond a tenth of its interval nothing is asked."""
    rounds("record", "reef/cup", "--at", "07:00")
    assert rounds("record", "reef/cup")[0] == 0


def test_a_value_outside_its_band_is_said(rounds):
    """Beside the band; recorded all the same."""
    status, out, _ = rounds("record", "reef/alkalinity", "7.1")
    assert (status, "below the usual 7.5 to 8.6 dKH" in out) == (0, True)


def test_a_value_beyond_an_act_now_limit_shows_the_steps(rounds):
    """The steps kept with that limit."""
    _, out, _ = rounds("record", "reef/alkalinity", "6.1")
    assert "below the act-now limit of 6.5 dKH" in out
    assert "    - test again\n    - stop the dosing\n" in out


def test_a_refill_without_a_level_is_full(rounds):
    """A refill can be recorded at any time."""
    found = rounds.json("record", "reef/barrel-refill")
    assert (found["kind"], found["values"][0]["value"]) == ("refill", 80)


def test_a_level_in_per_cent_is_litres(rounds):
    """Of the capacity."""
    assert rounds.json("record", "reef/barrel-level", "45")["values"][0]["value"] == pytest.approx(36)


def test_conductivity_uses_the_temperature_of_the_system(rounds):
    """Without one it is refused; with one it is practical salinity (53.087 mS/cm at 25 °C is close to 35)."""
    assert "temperature" in rounds.refused("record", "reef/salinity", "53.0 mS/cm")
    rounds("record", "reef/temperature", "25")
    assert rounds.json("record", "reef/salinity", "53.087 mS/cm")["values"][0]["value"] == pytest.approx(35, abs=0.1)


def test_a_negative_number_is_no_option(rounds):
    """Colder than any freezer is refused as a value, not as an option, also with its unit."""
    for typed in ("-70", "-70°C", "-70,5"):
        assert "cannot be right" in rounds.refused("record", "reef/temperature", typed)


def test_a_lone_dash_is_an_entry(rounds):
    """It leaves a value out; a reading has then none."""
    assert "needs a value" in rounds.refused("record", "reef/alkalinity", "-")


# -- keepers -------------------------------------------------------------------------------------------


def test_by_stands_before_or_after_the_command(rounds):
    """Both places mean the same."""
    assert rounds.json("record", "reef/cup", "--by", "MK", by=None)["by"] == "MK"
    assert rounds.json("record", "reef/alkalinity", "8.1", by="MK")["by"] == "MK"


def test_by_after_the_command_wins(rounds):
    """The nearer one."""
    assert rounds.json("record", "reef/cup", "--by", "MK", by="TV")["by"] == "MK"


def test_the_environment_names_the_keeper(rounds, monkeypatch):
    """$ROUNDS_BY, unless --by says otherwise."""
    monkeypatch.setenv("ROUNDS_BY", "MK")
    assert rounds.json("record", "reef/cup", by=None)["by"] == "MK"
    assert rounds.json("record", "reef/alkalinity", "8.1", by="TV")["by"] == "TV"


def test_initials_in_any_case(rounds):
    """Kept as the room writes them."""
    assert rounds.json("record", "reef/cup", by="mk")["by"] == "MK"


def test_nobody_named_cannot_be_read(rounds):
    """Exit 2 with those there are."""
    assert "TV, MK" in rounds.refused("record", "reef/cup", by=None, status=2)


def test_an_unknown_keeper_is_refused(rounds):
    """Exit 1 with those there are."""
    assert "TV, MK" in rounds.refused("record", "reef/cup", by="XX")


def keepers(folder, *initials):
    text = (folder / "room.toml").read_text().replace('keeper = "TV"\n', "")
    begin, end = text.index("[[keepers]]"), text.index("[[shifts]]")
    tables = "".join(f'[[keepers]]\ninitials = "{each}"\n' for each in initials)
    (folder / "room.toml").write_text(text[:begin] + tables + text[end:])
    reef = folder / "systems" / "reef.toml"
    reef.write_text(reef.read_text().replace('keeper = "TV"\n', ""))


def test_the_only_keeper_need_not_be_named(rounds, folder):
    """There is no choice."""
    keepers(folder, "JB")
    assert rounds.json("record", "reef/cup", by=None)["by"] == "JB"


def test_a_room_without_keepers_takes_any_initials(rounds, folder):
    """But some."""
    keepers(folder)
    assert rounds.json("record", "reef/cup", by="QQ")["by"] == "QQ"
    assert "initials" in rounds.refused("record", "reef/cup", by=None, status=2)
    assert "initials" in rounds.refused("record", "reef/cup", by="Q Q")


def test_reading_needs_no_keeper(rounds):
    """The sheet and the history are for anyone."""
    assert rounds("sheet", by=None)[0] == rounds("history", by=None)[0] == 0


# -- strike and history ----------------------------------------------------------------------------------


def test_a_struck_record_is_shown_as_struck(rounds):
    """It stays visible with who struck it and why, and the task is open again."""
    made = rounds.json("record", "reef/cup")
    status, out, _ = rounds("strike", made["id"], "--reason", "wrong tank", by="MK")
    assert (status, out.startswith("STRUCK by MK (wrong tank): TV done")) == (0, True)
    assert "STRUCK by MK (wrong tank)" in rounds("history", "reef/cup")[1]
    assert rounds.json("sheet")["items"][0]["state"] == "overdue"


def test_a_record_of_long_ago_can_be_struck(rounds, monkeypatch):
    """The cache holds the last of a task; what is struck is shown all the same."""
    ids = []
    for day in range(1, 20):
        monkeypatch.setenv("ROUNDS_NOW", f"2026-02-{day:02}T12:00:00+00:00")
        ids.append(rounds.json("record", "reef/heads", "--sure")["id"])
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-04T12:00:00+00:00")
    rounds("sheet")
    status, out, err = rounds("strike", ids[0], "--reason", "wrong tank", by="MK")
    assert (status, err) == (0, "")
    assert "STRUCK by MK (wrong tank)" in out
    assert rounds("history", "reef/heads", "--all")[1].count("STRUCK") == 1


def test_a_strike_as_json(rounds):
    """A record of its own that refers to the struck one."""
    made = rounds.json("record", "reef/cup")
    found = rounds.json("strike", made["id"], "--reason", "wrong tank")
    assert (found["kind"], found["ref"], found["reason"]) == ("strike", made["id"], "wrong tank")


def test_history_as_json_says_what_is_struck(rounds):
    """Oldest first, each with its strike or null."""
    made = rounds.json("record", "reef/cup")
    rounds("strike", made["id"], "--reason", "wrong tank", by="MK")
    first, second = rounds.json("history")
    assert (first["struck"]["by"], first["struck"]["reason"]) == ("MK", "wrong tank")
    assert (second["kind"], second["struck"]) == ("strike", None)


@pytest.mark.parametrize(
    "arguments", [("nothing", "--reason", "x"), ("nothing", "--reason", " ")], ids=["unknown", "blank"]
)
def test_a_strike_that_cannot_be_is_refused(rounds, arguments):
    """Exit 1."""
    rounds.refused("strike", *arguments)


def test_a_strike_without_a_reason_cannot_be_read(rounds):
    """Exit 2."""
    assert "--reason" in rounds.refused("strike", "nothing", status=2)


@pytest.mark.parametrize(
    ("about", "count"),
    [(None, 3), ("reef", 3), ("reef/sump", 3), ("reef/cup", 1), ("cup", 1), ("reef/alkalinity", 2), ("room", 0)],
    ids=str,
)
def test_history_of(rounds, about, count):
    """A task, reading, station, system or everything."""
    rounds("record", "reef/cup")
    rounds("record", "reef/alkalinity", "8.1", "--at", "2026-03-01")
    rounds("record", "reef/alkalinity", "8.2")
    assert len(rounds.json("history", *([about] if about else []))) == count


def test_history_of_an_unknown_thing_is_refused(rounds):
    """Exit 1."""
    rounds.refused("history", "reef/lagoon")


def test_an_empty_history_says_so(rounds):
    """In words."""
    assert rounds("history")[1] == "Nothing is recorded there.\n"


def test_a_long_history_shows_its_end(rounds):
    """The last 40, and how to see the others."""
    for minute in range(45):
        rounds("record", "reef/temperature", "25", "--sure", "--at", f"10:{minute:02}")
    _, out, _ = rounds("history")
    assert "The last 40 of 45 records; --all shows the others." in out
    assert rounds("history", "--all")[1].count("reading:") == 45


def test_hostile_text_is_shown_without_escapes(rounds):
    """Control characters and direction overrides are made visible; the sheet keeps what was typed."""
    rounds("record", "reef/cup", HOSTILE)
    rounds("record", "reef/alkalinity", "--could-not", HOSTILE)
    for arguments in (("history",), ("sheet",)):
        _, out, _ = rounds(*arguments)
        assert "red· [/sump] ·gnp" in out
        assert not set(out) & set("\x1b\x07\x00\u202e")
    kept = json.loads(next(iter(rounds.sheets().values())))["records"]["1"]["note"]
    assert kept == HOSTILE.strip()


def test_hostile_text_in_a_refusal_is_made_visible(rounds):
    """Also what is refused is not sent to the terminal as it came."""
    assert "\x1b" not in rounds.refused("record", "\x1b[31m")


def test_text_that_is_no_unicode_is_kept_as_far_as_it_can(rounds):
    """Bytes that were no UTF-8 arrive as surrogates."""
    assert rounds("record", "reef/cup", "caf\udce9")[0] == 0
    assert "caf?" in rounds("history")[1]


def test_a_note_of_a_novel_is_refused(rounds):
    """Not cut."""
    assert "2000" in rounds.refused("record", "reef/cup", "x" * 2001)
