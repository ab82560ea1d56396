"""`rounds batch`: what stands where, from arrival to the last one that has left."""

from __future__ import annotations

import pytest

from rounds.core.batches import COUNT

QUARANTINE = """name = "Quarantine"
volume = "300 L"
isolation = "45 days"
isolation_fish = "60 days"
[[stations]]
id = "q-a"
name = "Tank Q-A"
"""


@pytest.fixture
def stocked(rounds, folder):
    """A quarantine beside the reef; two batches stand in it."""
    (folder / "systems" / "quarantine.toml").write_text(QUARANTINE, encoding="utf-8")
    frags = rounds.json("batch", "q-a", "24", "Acropora", "frags", "--from", "a shop", "--light", "low")[0]["id"]
    zoas = rounds.json("batch", "quarantine", "14", "zoanthids", "--settled")["id"]
    return rounds, frags, zoas


def counts(rounds):
    return {each["what"]: each["count"] for each in rounds.json("batch")}


def test_two_lines_add_a_batch_and_show_it(stocked):
    """With what it needs, where it came from, and how long it stays apart."""
    rounds, _, _ = stocked
    out = rounds("batch")[1]
    assert "Quarantine: isolation until Sat 18 Apr, 45 more days (45 days, from the last arrival, 12:00)\n" in out
    assert "  24 Acropora frags, Quarantine, Tank Q-A\n" in out
    assert "by TV (a shop); low light\n" in out


def test_an_arrival_in_a_quarantine_calls_its_protocol_and_a_settled_one_does_not(stocked):
    """Once, for what arrived, with its steps in the round."""
    rounds, _, _ = stocked
    assert [each["about"] for each in rounds.json("protocol")] == ["24 Acropora frags"]
    assert "Inspect and dip" in rounds("sheet", "--system", "quarantine")[1]


def test_what_stands_in_another_system_calls_nothing(rounds):
    """It is recorded and that is all."""
    status, out, _ = rounds("batch", "reef/sump", "3", "snails")
    assert (status, out.count("Recorded.")) == (0, 1)
    assert rounds.json("protocol") == []


def test_fish_take_the_longer_isolation_for_all(stocked):
    """By the key of the system."""
    rounds, frags, _ = stocked
    rounds("batch", "q-a", "2", "cleaner fish", "--settled")
    found = rounds.json("batch", frags)["isolation"]
    assert (found["days"], found["fish"], found["days_left"], found["because"]) == (60, True, 60, "arrival")


def test_a_part_is_moved_by_a_split(stocked):
    """The counts are kept; before its day it needs a reason and a yes."""
    rounds, frags, _ = stocked
    move = ("batch", frags, "--move", "reef/sump", "--count", "4")
    assert "45 more days (the last arrival 12:00); say why it leaves before" in rounds.refused(*move)
    assert "Does it leave before?" in rounds.refused(*move, "--reason", "the heater failed")
    assert rounds(*move, "--reason", "the heater failed", "--sure")[0] == 0
    assert sorted(each["count"] for each in rounds.json("batch")) == [4, 14, 20]
    moved = next(each for each in rounds.json("batch") if each["count"] == 4)
    assert (moved["system"], moved["split_from"], moved["needs"]) == ("reef", frags, ["low light"])


def test_a_whole_batch_is_moved_split_and_combined(stocked):
    """By the end of an id as well as by all of it."""
    rounds, frags, zoas = stocked
    rounds("batch", zoas, "--move", "q-a")
    assert rounds.json("batch", zoas)["station"] == "q-a"
    rounds("batch", frags.replace("-", "")[-12:], "--split", "10", "quarantine")
    rounds("batch", zoas, "--combine", frags)
    assert sorted((each["what"], each["count"]) for each in rounds.json("batch")) == [
        ("Acropora frags", 10),
        ("Acropora frags", 28),
    ]


def test_losses_are_told_with_why_and_a_death_names_its_protocol(stocked):
    """One of them or all."""
    rounds, frags, zoas = stocked
    out = rounds("batch", frags, "--close", "died: flatworm at the dip", "--count", "1")[1]
    assert "Acropora frags died, Quarantine, Tank Q-A; 1; flatworm at the dip" in out
    assert "rounds protocol dead-animal quarantine/q-a" in out
    assert "from the last find" in out
    assert counts(rounds)["Acropora frags"] == 23
    assert "protocol" not in rounds("batch", zoas, "--close", "missing", "--reason", "not on the rack")[1]
    assert counts(rounds) == {"Acropora frags": 23}
    assert "is closed since" in rounds.refused("batch", zoas, "--count", "3")


@pytest.mark.parametrize("way", ["died", "missing"])
def test_what_is_lost_is_closed_only_with_a_why(stocked, way):
    """2 where the line has none, 1 where it is blank; of what was given away none is wanted."""
    rounds, frags, _ = stocked
    for line in (way, f"{way}:"):
        said = rounds.refused("batch", frags, "--close", line, status=2)
        assert said == f'say why: --close "{way}: WHY", or --close {way} --reason WHY'
    assert "say why" in rounds.refused("batch", frags, "--close", way, "--reason", " ")
    assert rounds("batch", frags, "--close", way, "--reason", "the heater failed", "--count", "1")[0] == 0
    assert rounds("batch", frags, "--close", "given away", "--reason", "in a hurry", "--count", "1", "--sure")[0] == 0
    assert counts(rounds)["Acropora frags"] == 22


def test_a_count_and_a_size_are_kept(stocked):
    """And the list tells how it fares."""
    rounds, frags, _ = stocked
    rounds("batch", frags, "--count", "23", "--size", "3.1 cm")
    assert "96% survival; 1 fewer counted than there should be; 31 mm" in rounds("batch")[1]
    assert rounds.json("batch", frags)["sizes"] == [{"at": "2026-03-04T12:00:00+00:00", "mm": 31.0}]


def test_a_number_below_zero_is_named_as_it_was_typed(stocked):
    """Neither taken for an option nor shown with anything before it."""
    rounds, frags, _ = stocked
    assert rounds.refused("batch", frags, "--count", "-3").startswith("'-3' is no number of animals")
    assert rounds.refused("batch", "q-a", "-3", "frags").startswith("'-3' is no number of animals")


def test_a_crowded_batch_offers_a_task(stocked):
    """And what was seen stands in its past."""
    rounds, frags, _ = stocked
    out = rounds("batch", frags, "--note", "crowded, tips white")[1]
    assert 'rounds concern quarantine/q-a "move or space it" --look-again "1 day"' in out
    assert "TV note: Acropora frags, Quarantine, Tank Q-A; crowded, tips white" in rounds("batch", frags)[1]


def test_a_find_begins_the_isolation_anew(stocked, monkeypatch):
    """For all in that water."""
    rounds, frags, zoas = stocked
    monkeypatch.setenv("ROUNDS_NOW", "2026-03-24T12:00:00+00:00")
    rounds("batch", frags, "--find", "white specks on the base")
    found = rounds.json("batch", zoas)["isolation"]
    assert (found["because"], found["free_on"]) == ("find", "2026-05-08")


def test_released_larvae_name_their_parents(rounds):
    """A batch, and no arrival."""
    record = rounds.json("batch", "reef/sump", "4000", "larvae", "--released-at", "reef")
    assert record["reason"] == "released at Reef [bold]"
    assert record["values"][0] == {"reading": COUNT, "entered": "4000", "value": 4000.0}


REFUSED = {
    "a count that is none": (("batch", "reef/sump", "some", "snails"), "'some' is no number of animals", 1),
    "nothing that it is": (("batch", "reef/sump", "3"), "say what it is", 1),
    "a station that is none": (("batch", "reef/attic", "3", "snails"), "does not exist", 1),
    "a batch that is none": (("batch", "nobody", "--count", "3"), "there is no batch 'nobody'", 1),
    "nothing named": (("batch", "--count", "3"), "say which batch", 2),
    "a way that is none": (("batch", "FRAGS", "--close", "eaten"), "begin with one of grown on", 1),
    "words beside an option": (("batch", "FRAGS", "3", "snails", "--count", "3"), "in quotes", 2),
    "a size without a unit": (("batch", "FRAGS", "--size", "31"), "is no size", 1),
}


@pytest.mark.parametrize(("line", "said", "status"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_is_refused(stocked, line, said, status):
    """In one sentence, and nothing is recorded."""
    rounds, frags, _ = stocked
    arguments = [frags if each == "FRAGS" else each for each in line]
    assert said in rounds.refused(*arguments, status=status)


def test_an_empty_room_says_how_to_add_one(rounds):
    """Nothing stands in it."""
    assert rounds("batch")[1] == "Nothing stands here yet: rounds batch STATION COUNT WHAT.\n"
