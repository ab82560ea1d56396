"""`rounds handover` and `rounds cover`: two days of a room with two keepers and two devices, line by line."""

from __future__ import annotations

import json
import shutil

import pytest

from rounds.cli import main
from tests.support import write_room

ROOM = """name = "Test room"
timezone = "Europe/Dublin"
day_begins = "04:00"
began = 2026-03-02
route = ["reef", "frag"]
on_call = ["TV"]

[[keepers]]
initials = "TV"
name = "Tove"
[[keepers]]
initials = "MK"
name = "Mika"
[[keepers]]
initials = "GS"
name = "Gethin"

[[shifts]]
name = "early"
begins = "07:00"
ends = "13:00"
keepers = ["TV"]
[[shifts]]
name = "late"
begins = "12:30"
ends = "19:00"
keepers = ["MK"]

[[tasks]]
id = "eyewash"
title = "Run the eyewash"
again_after = "1 day"
at = "15:00"
importance = "people"
"""

REEF = """name = "Reef"
volume = "900 L"
[[stations]]
id = "sump"
name = "Sump"
[[stations]]
id = "barrel"
name = "Barrel"
[[tasks]]
id = "cup"
station = "sump"
title = "Rinse the cup"
again_after = "1 day"
shift = "early"
[[tasks]]
id = "valves"
station = "sump"
title = "Work the valves"
again_after = "1 week"
importance = "life support"
keeper = "MK"
grace = "2 hours"
at = "08:00"
[[tasks]]
id = "heads"
station = "sump"
title = "Clean the pump heads"
again_after = "1 week"
[[tasks]]
id = "glass"
station = "sump"
title = "Wipe the glass"
again_after = "1 week"
[[tasks]]
id = "evening"
station = "sump"
title = "Last look"
again_after = "1 day"
shift = "late"
[[readings]]
id = "alkalinity"
quantity = "alkalinity"
station = "sump"
low = "7.5 dKH"
high = "8.6 dKH"
act_low = "6.5 dKH"
again_after = "1 day"
shift = "early"
[[reservoirs]]
id = "barrel"
kind = "top-off"
station = "barrel"
capacity = "80 L"
dead = "8 L"
reserve = "25 L"
[[equipment]]
id = "return"
kind = "return pump"
care = false
name = "return pump"
station = "sump"
"""

FRAG = """name = "Frags"
[[stations]]
id = "tank"
name = "Tank"
[[tasks]]
id = "meal"
station = "tank"
title = "Feed the fish"
rrule = "FREQ=DAILY"
at = ["09:00", "16:00"]
make_up = false
lapse = "2 hours"
importance = "life support"
[[tasks]]
id = "lamp"
station = "tank"
title = "Wipe the UV sleeve"
again_after = "1 day"
equipment = "uv"
[[readings]]
id = "temperature"
quantity = "temperature"
station = "tank"
called = true
[[equipment]]
id = "uv"
kind = "UV"
name = "UV"
station = "tank"
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    folder = write_room(tmp_path / "room", ROOM, reef=REEF, frag=FRAG)
    monkeypatch.setenv("ROUNDS_ROOM", str(folder))
    monkeypatch.chdir(tmp_path)
    return folder


class TwoDevices:
    """Runs `rounds` at a time, on a device, by a keeper."""

    def __init__(self, capsys, monkeypatch, folder):
        self._capsys, self._monkeypatch, self.folder = capsys, monkeypatch, folder

    def __call__(self, at, who, *arguments, status=0):
        """Standard output; standard error when it is refused. TV has the bench, MK and others the tablet."""
        self._monkeypatch.setenv("ROUNDS_NOW", f"2026-03-{at}+00:00")
        self._monkeypatch.setenv("ROUNDS_DEVICE", "bench" if who == "TV" else "tablet")
        found = main(["--by", who, *map(str, arguments)])
        out, err = self._capsys.readouterr()
        assert "Traceback" not in out + err
        assert found == status, out + err
        if status:
            assert out == ""
            return err.strip()
        assert err == ""
        return out

    def json(self, at, who, *arguments):
        return json.loads(self(at, who, *arguments, "--json"))


@pytest.fixture
def rounds(capsys, monkeypatch, folder):
    return TwoDevices(capsys, monkeypatch, folder)


@pytest.fixture
def morning(rounds):
    """The early shift of Wednesday 4 March by TV, and what lies before it."""
    for day, litres in ((2, 40), (3, 34)):
        rounds(f"{day:02}T08:00", "MK", "record", "reef/barrel-level", f"{litres} L")
    rounds("03T09:00", "MK", "record", "reef/heads", "all four")
    rounds("03T09:10", "MK", "record", "frag/lamp")
    rounds("03T09:30", "MK", "off-normal", "frag/uv", "--until", "2026-03-06", "--reason", "new lamp ordered")
    rounds("03T15:10", "MK", "record", "room/eyewash")
    rounds("03T18:40", "MK", "record", "reef/evening")
    rounds("03T18:45", "MK", "record", "frag/meal", "half")
    rounds("04T07:10", "TV", "record", "reef/cup", "wet foam")
    rounds("04T07:20", "TV", "record", "reef/alkalinity", "7.2")
    rounds("04T08:00", "TV", "off-normal", "reef/return", "--until", "12:00", "--reason", "hose in the sump")
    rounds("04T08:05", "TV", "record", "reef/barrel-level", "28 L")
    rounds("04T08:30", "TV", "record", "reef/valves", "--could-not", "the ball is seized")
    rounds("04T09:00", "TV", "record", "reef/glass", "--postpone", "2026-03-06T09:00")
    rounds(
        "04T09:30",
        "TV",
        "concern",
        "frag/tank",
        "pale on rack 2",
        "--look-for",
        "white tips",
        "--look-again",
        "3 hours",
    )
    rounds("04T10:00", "TV", "protocol", "dead-animal", "frag/tank", "blue damsel")
    rounds("04T10:15", "TV", "record", "frag/temperature", "24.8 C", "--at", "08:50")
    rounds("04T10:20", "TV", "record", "frag/temperature", "42 C", "--sure")
    wrong = rounds.json("04T10:30", "TV", "record", "reef/evening", "wrong line")
    rounds("04T10:31", "TV", "strike", wrong["id"], "--reason", "meant the morning")
    rounds("04T11:30", "TV", "cover", "MK", "GS", "--until", "2026-03-05T12:00", "--reason", "at the dentist")
    return rounds


def lines(report, section):
    """The text of each line; ``?`` before what is to be answered, ``!`` before what stands out."""
    return [f"{'?' if each['open'] else ''}{'!' if each['strong'] else ''}{each['text']}" for each in report[section]]


def test_the_early_shift_hands_over(morning):
    """At 12:45, with both shifts in the room: everything that is to be told, and nothing else."""
    report = morning.json("04T12:45", "TV", "handover")
    head = {key: report[key] for key in ("room", "at", "shift", "kind", "from", "to", "signed", "accepted")}
    assert head == {
        "room": "Test room", "at": "2026-03-04T12:45:00+00:00", "shift": "early", "kind": "shift",
        "from": "2026-03-04T07:00:00+00:00", "to": "2026-03-04T13:00:00+00:00", "signed": None, "accepted": None,
    }  # fmt: skip
    assert lines(report, "on") == lines(report, "on_call") == ["TV, Tove"]
    assert lines(report, "next") == ["late shift, Wed 4 Mar 2026, 12:30 to 19:00: GS, Gethin (covers MK)"]
    assert lines(report, "off_normal") == [
        "?!Reef, Sump: return pump off since 08:00 (TV: hose in the sump); put back by 12:00, 45 minutes past its time",
        "?Frags, Tank: UV off since yesterday 09:30 (MK: new lamp ordered); put back by Fri 04:00, in 1 day",
    ]
    assert lines(report, "not_done") == [
        "?!Frags, Tank: Test ammonia (life support): 2 hours late, due 10:00",
        "?!Reef, Sump: Work the valves (life support; for GS, who covers MK): 2 days late, due Mon 2 Mar 08:00; "
        "could not: the ball is seized (TV 08:30)",
        "?Frags, Tank: Take it out and note what it was: 2 hours late, due 10:00",
        "?Frags, Tank: Look at everything beside it: 2 hours late, due 10:00",
        "Frags, Tank: Wipe the UV sleeve: not in service: UV is off",
        "?Reef, Sump: Wipe the glass: 2 days late, due Mon 2 Mar 04:00; postponed to Fri 09:00 by TV",
    ]
    assert lines(report, "missed") == ["?!Frags, Tank: Feed the fish (life support): missed 09:00"]
    assert lines(report, "out_of_band") == [
        "?Reef, alkalinity: 7.2 dKH, below its band (band 7.5 to 8.6 dKH); 07:20 TV; too few values for a slope"
    ]
    assert lines(report, "concerns") == [
        "?!Frags, Tank: pale on rack 2; open 3 hours, since 09:30 by TV; look again was due 12:30; look for: white tips"
    ]
    assert lines(report, "protocols") == [
        "?!Frags, Tank: A dead animal for blue damsel, called 10:00 by TV; 0 of 5 steps done; "
        "next: Take it out and note what it was, due 10:00"
    ]
    assert lines(report, "refills") == [
        "?Reef, Barrel: Refill the barrel, by 20:06; 28.0 L read 08:05; it loses 6.0 L a day and comes to its reserve "
        "of 25.0 L about 20:06: (28.0 L − 25.0 L) / 6.0 L = 0.5 days. No shift begins before that."
    ]
    assert lines(report, "next_due") == [
        "The room: Run the eyewash (people): 15:00",
        "Frags, Tank: Feed the fish (life support): 16:00",
        "Reef, Sump: Last look: 12:30",
        "Frags, Tank: Look again after 4 hours: 14:00",
    ]
    assert lines(report, "done") == [
        "3 done, 0 not needed, 13 left of 16 in the round; 6 late, 1 missed",
        "07:10 Reef: TV done: Rinse the cup; wet foam",
        "07:20 Reef: TV reading: Test alkalinity; 7.2 dKH",
        "08:05 Reef: TV reading: Test barrel level; 28.0 L",
        "08:50 Frags: TV reading: Test temperature; 24.8 °C (late entry, written Wed 4 Mar 10:15)",
        "10:20 Frags: TV reading: Test temperature; 42.0 °C (implausible)",
    ]
    assert lines(report, "systems") == [
        "The room: 1 left of 1",
        "!Reef: 1 off normal, 2 late, 1 refill, alkalinity 7.2 dKH below its band, 5 left of 7",
        "!Frags: 1 off normal, 1 missed, 3 late, 1 concern, 1 protocol, 7 left of 8",
    ]
    assert lines(report, "entries") == [
        "late: 08:50 Frags: TV reading: Test temperature; 24.8 °C (late entry, written Wed 4 Mar 10:15)",
        "flagged: 10:20 Frags: TV reading: Test temperature; 42.0 °C (implausible)",
        "struck: 10:30 Reef: STRUCK by TV (meant the morning): TV done: Last look; wrong line",
    ]
    assert lines(report, "staged") == lines(report, "last") == []


def test_open_lines_are_numbered_through(morning):
    """From 1, in the order of the report; what is not to be answered has no number."""
    report = morning.json("04T12:45", "TV", "handover")
    found = [each for value in report.values() if isinstance(value, list) for each in value]
    assert [each["number"] for each in found if each["open"]] == list(range(1, 13))
    assert {each["number"] for each in found if not each["open"]} == {None}
    keys = [each["about"] for each in found]
    assert len(set(keys)) == len(keys)


def test_a_line_is_about_the_same_later(morning):
    """Its key stays while its words move on with time."""
    first, later = (morning.json(f"04T12:{minute}", "TV", "handover")["off_normal"] for minute in (45, 59))
    assert [each["about"] for each in first] == [each["about"] for each in later]
    assert first[0]["about"] == "off_normal:reef/return"
    assert first[0]["text"] != later[0]["text"]


def test_signing_with_something_off_normal_asks_first(morning):
    asked = morning("04T12:45", "TV", "handover", "--sign", "--note", "pump first", status=1)
    assert asked == (
        "return pump is off, to be put back by 12:00; hand over with it so? UV is off, to be put back by Fri 04:00; "
        "hand over with it so? Nothing was recorded; add --sure if it is right."
    )
    assert morning("04T12:45", "TV", "handover", "--list") == "No handover is signed yet.\n"


@pytest.fixture
def signed(morning):
    """The record of the early shift's handover."""
    return morning.json("04T12:45", "TV", "handover", "--sign", "--sure", "--note", "pump first, then the ball valve")


def test_a_shift_is_handed_over_once(morning, signed):
    """A second time asks; within a shift as often as need be."""
    asked = morning("04T12:50", "TV", "handover", "--sign", status=1)
    assert "TV signed the handover of this shift 12:45; sign another?" in asked
    within = morning("04T12:50", "TV", "handover", "--sign", "--kind", "mid-shift", status=1)
    assert "sign another" not in within
    late = morning("04T18:50", "GS", "handover", "--sign", status=1)
    assert "sign another" not in late


def test_a_handover_of_long_ago_is_accepted_still(morning, signed):
    """After a long weekend."""
    said = morning.json("20T08:00", "GS", "handover", "--accept")
    assert said["ref"] == signed["id"]


def test_what_is_signed_is_kept_whole(morning, signed):
    assert (signed["kind"], signed["by"], signed["reason"], signed["words"]) == ("handover", "TV", "early", ["shift"])
    assert signed["note"] == "pump first, then the ball valve"
    report = morning.json("04T12:45", "TV", "handover")
    live = [
        each for value in report.values() if isinstance(value, list) for each in value if value is not report["last"]
    ]
    kept = {point["about"]: (point["text"], point.get("open", False)) for point in signed["points"]}
    assert kept.items() >= {each["about"]: (each["text"], each["open"]) for each in live}.items()


def test_what_was_signed_reads_back_as_it_was(morning, signed):
    """The next day, with everything changed meanwhile, in the words and marks of then."""
    before = morning("04T12:45", "TV", "handover")
    morning("04T13:30", "MK", "put-back", "reef/return")
    morning("04T13:35", "MK", "record", "reef/alkalinity", "8.0", "--sure")
    after = morning("05T10:00", "MK", "handover", "--read", signed["id"][-12:])
    same = before.partition("OFF NORMAL")[2]
    assert same in after
    assert "As it was signed on Wed 4 Mar 2026 at 12:45." in after
    assert 'Signed yesterday 12:45 by TV: "pump first, then the ball valve".\nNot accepted yet.' in after
    read = morning.json("05T10:00", "MK", "handover", "--read", signed["id"])
    assert (read["from"], read["to"]) == ("2026-03-04T07:00:00+00:00", "2026-03-04T13:00:00+00:00")
    assert lines(read, "off_normal")[0].startswith("?!Reef, Sump: return pump off since 08:00")


def test_a_handover_that_nobody_accepted_is_said(morning, signed):
    report = morning.json("04T13:10", "GS", "handover", "--shift", "late")
    assert lines(report, "last") == ["!12:45  early, TV: pump first, then the ball valve; not accepted yet"]
    assert (report["signed"]["id"], report["signed"]["by"], report["accepted"]) == (signed["id"], "TV", None)


def test_the_incoming_confirms_and_questions(morning, signed):
    """By number or by key; all other open lines are confirmed, and both see the questions afterwards."""
    said = morning.json(
        "04T12:55", "GS", "handover", "--accept", "--question", "1=is the hose out?",
        "--question", "out_of_band:reef/alkalinity=tested twice?", "--note", "went round together",
    )  # fmt: skip
    assert (said["kind"], said["ref"], said["by"], said["note"]) == (
        "accepted",
        signed["id"],
        "GS",
        "went round together",
    )
    asked = {point["about"]: point["answer"] for point in said["points"] if point.get("answer")}
    assert asked == {"off_normal:reef/return": "is the hose out?", "out_of_band:reef/alkalinity": "tested twice?"}
    assert len(said["points"]) == 12
    text = morning("04T13:00", "TV", "handover", "--read", signed["id"])
    assert 'Accepted 12:55 by GS: 10 confirmed, 2 questioned: "went round together".' in text
    assert "      ? GS asks: is the hose out?" in text
    assert "GS accepted; went round together; early; 2 questions" in morning("04T13:00", "TV", "history")
    report = morning.json("04T13:00", "TV", "handover")
    assert lines(report, "last")[0].endswith("; accepted 12:55 by GS, 2 questions")
    assert [each["question"] for each in report["accepted"]["questions"]] == ["is the hose out?", "tested twice?"]
    assert any("GS asks: tested twice? (about: Reef, alkalinity" in line for line in lines(report, "last"))
    assert "12:45  early, TV: pump first, then the ball valve; accepted 12:55 by GS, 2 questions" in morning(
        "04T13:00", "TV", "handover", "--list"
    )


@pytest.mark.parametrize(
    ("question", "said"),
    [("99=what?", "no line of the handover is '99'"), ("0=what?", "is '0'"), ("off_normal:x=what?", "'off_normal:x'")],
)
def test_a_question_about_no_line_is_refused(morning, signed, question, said):
    assert said in morning("04T12:55", "GS", "handover", "--accept", "--question", question, status=1)
    assert morning.json("04T13:00", "TV", "handover")["accepted"] is None


def test_a_question_without_words_cannot_be_read(morning, signed):
    assert "'3=' asks nothing" in morning("04T12:55", "GS", "handover", "--accept", "--question", "3=", status=2)


def test_who_signed_accepts_only_when_sure(morning, signed):
    asked = morning("04T12:55", "TV", "handover", "--accept", status=1)
    assert asked.startswith("TV signed this handover; accept it oneself?")
    morning("04T12:55", "TV", "handover", "--accept", "--sure")


def test_nothing_to_accept_is_refused_with_the_remedy(morning):
    said = morning("04T12:55", "GS", "handover", "--accept", status=1)
    assert said == "no handover is signed; the outgoing keeper signs it with rounds handover --sign"


def test_what_was_accepted_is_not_accepted_again(morning, signed):
    morning("04T12:55", "GS", "handover", "--accept")
    assert "was accepted already, by GS" in morning("04T13:00", "MK", "handover", "--accept", status=1)
    asked = morning("04T13:00", "MK", "handover", "--accept", "--read", signed["id"], status=1)
    assert asked.startswith("GS accepted it 12:55; accept it again?")


def test_a_struck_handover_was_never_signed(morning, signed):
    morning("04T12:46", "TV", "strike", signed["id"], "--reason", "too early")
    assert morning("04T12:55", "TV", "handover", "--list") == "No handover is signed yet.\n"
    assert "no handover is signed" in morning("04T12:55", "GS", "handover", "--accept", status=1)


def test_the_second_day(morning, signed):
    """Accepted, worked on, left unattended in the evening, taken over in the morning by who left it."""
    rounds = morning
    rounds("04T12:55", "GS", "handover", "--accept")
    rounds("04T13:10", "GS", "put-back", "reef/return")
    rounds("04T13:15", "GS", "record", "frag/look-" + concern_of(rounds), "no white tips")
    rounds("04T14:00", "GS", "record", "reef/barrel-refill")
    rounds("04T15:00", "GS", "record", "room/eyewash")
    rounds("04T16:10", "GS", "record", "frag/meal")
    rounds("04T18:30", "GS", "record", "reef/evening")
    unattended = ("handover", "--sign", "--kind", "unattended", "--note", "all quiet")
    assert "UV is off, to be put back by Fri 04:00; leave the room with it so?" in rounds(
        "04T19:05", "GS", *unattended, status=1
    )
    said = rounds.json("04T19:05", "GS", *unattended, "--sure")
    assert (said["reason"], said["words"]) == ("late", ["unattended"])
    read = rounds.json("04T19:06", "GS", "handover", "--read", said["id"])
    assert lines(read, "on") == ["GS, Gethin (covers MK)"]
    assert lines(read, "next") == [
        "nobody until tomorrow 07:00; then early shift, Thu 5 Mar 2026, 07:00 to 13:00: TV, Tove"
    ]
    assert [each["about"] for each in read["off_normal"]] == ["off_normal:frag/uv"]
    assert lines(read, "missed") == lines(read, "refills") == lines(read, "entries") == []
    assert lines(read, "done")[1:] == [
        "15:00 The room: GS done: Run the eyewash",
        "16:10 Frags: GS done: Feed the fish",
        "13:10 Reef: GS back to normal: return pump",
        "13:15 Frags: GS concern update: Frags, Tank; no white tips; look again 16:15",
        "14:00 Reef: GS refill: Refill the barrel; barrel level 80.0 L",
        "18:30 Reef: GS done: Last look",
    ]
    assert "Frags, Tank: Feed the fish (life support): tomorrow 09:00" in lines(read, "next_due")
    rounds("05T07:02", "GS", "handover", "--accept")  # the room was left: no question
    report = rounds.json("05T12:45", "TV", "handover")
    assert lines(report, "last") == ["yesterday 19:05  late (unattended), GS: all quiet; accepted 07:02 by GS"]
    assert lines(report, "next") == ["late shift, Thu 5 Mar 2026, 12:30 to 19:00: MK, Mika"]
    assert "?!Frags, Tank: Feed the fish (life support): missed 09:00" in lines(report, "missed")


def merge(into, *folders):
    """Copy the files together; of two copies of one sheet the longer is the newer."""
    for folder in folders:
        for path in (each for each in folder.rglob("*") if each.is_file()):
            copy = into / path.relative_to(folder)
            copy.parent.mkdir(parents=True, exist_ok=True)
            if not copy.exists() or copy.stat().st_size <= path.stat().st_size:
                shutil.copyfile(path, copy)


def concern_of(rounds):
    """The short id of the one open concern."""
    (found,) = rounds.json("04T13:12", "GS", "concern")
    return found["id"][-12:]


def test_within_a_shift(morning):
    """The shift goes on: what comes is what is left of it."""
    report = morning.json("04T10:45", "TV", "handover", "--kind", "mid-shift")
    assert lines(report, "next") == ["this shift goes on until 13:00"]
    assert not any("eyewash" in line for line in lines(report, "next_due"))
    text = morning("04T10:45", "TV", "handover", "--kind", "mid-shift")
    assert "Handover within the early shift" in text


def test_what_nobody_accepted_within_the_shift_is_told_after_a_later_one(morning):
    """Until it is accepted; of two that were signed of the same shift on one device the later stands for both."""
    within = morning.json("04T10:45", "TV", "handover", "--sign", "--sure", "--kind", "mid-shift", "--note", "hose")
    morning("04T12:40", "TV", "handover", "--sign", "--sure", "--note", "too early")
    morning("04T12:45", "TV", "handover", "--sign", "--sure", "--note", "pump first")
    last = lines(morning.json("04T13:10", "GS", "handover"), "last")
    assert last == [
        "!12:45  early, TV: pump first; not accepted yet",
        "!10:45  early (mid-shift), TV: hose; not accepted yet",
    ]
    morning("04T13:11", "GS", "handover", "--accept", "--read", within["id"])
    last = lines(morning.json("04T13:12", "GS", "handover"), "last")
    assert last == ["!12:45  early, TV: pump first; not accepted yet"]


def test_out_of_reach_of_the_shift_that_runs(morning):
    """At 13:20 the late shift runs; the early one is handed over by its name."""
    assert morning.json("04T13:20", "TV", "handover")["shift"] == "late"
    assert morning.json("04T13:20", "TV", "handover", "--shift", "early")["shift"] == "early"
    assert "there are: early, late" in morning("04T13:20", "TV", "handover", "--shift", "night", status=1)


def test_two_devices_merge_in_any_order(morning, tmp_path, monkeypatch):
    """Signed on one device, accepted on another that got a copy, each going on apart; copied together either way."""
    rounds, bench = morning, morning.folder
    signed = rounds.json("04T12:45", "TV", "handover", "--sign", "--sure")
    tablet = tmp_path / "tablet"
    shutil.copytree(bench, tablet)
    monkeypatch.setenv("ROUNDS_ROOM", str(tablet))
    accepted = rounds.json("04T12:55", "GS", "handover", "--accept", "--question", "2=how long still?")
    monkeypatch.setenv("ROUNDS_ROOM", str(bench))
    later = rounds.json("04T12:56", "TV", "record", "frag/temperature", "25.0")
    merged = []
    for name, order in (("first", (bench, tablet)), ("second", (tablet, bench))):
        merge(tmp_path / name, *order)
        monkeypatch.setenv("ROUNDS_ROOM", str(tmp_path / name))
        merged.append(
            (rounds("04T13:00", "MK", "handover"), rounds("04T13:00", "MK", "handover", "--read", signed["id"]))
        )
    assert merged[0] == merged[1]
    assert "12:56 Frags: TV reading: Test temperature; 25.0 °C" in merged[0][0]
    assert later["device"] != accepted["device"]
    assert "GS asks: how long still?" in merged[0][1]
    assert f"Accepted 12:55 by {accepted['by']}" in merged[0][1]


def test_signed_apart_on_two_devices(morning, tmp_path, monkeypatch):
    """The words of both stand before the keeper who comes, until each is accepted."""
    rounds, bench = morning, morning.folder
    tablet = tmp_path / "tablet"
    shutil.copytree(bench, tablet)
    rounds("04T12:45", "TV", "handover", "--sign", "--sure", "--note", "pump first")
    monkeypatch.setenv("ROUNDS_ROOM", str(tablet))
    other = rounds.json("04T12:44", "GS", "handover", "--sign", "--sure", "--shift", "early", "--note", "mind the hose")
    merge(bench, tablet)
    monkeypatch.setenv("ROUNDS_ROOM", str(bench))
    last = lines(rounds.json("04T13:10", "MK", "handover"), "last")
    assert last == [
        "!12:45  early, TV: pump first; not accepted yet",
        "!12:44  early, GS: mind the hose; not accepted yet",
    ]
    rounds("04T13:11", "MK", "handover", "--accept", "--read", other["id"])
    last = lines(rounds.json("04T13:12", "MK", "handover"), "last")
    assert last == ["!12:45  early, TV: pump first; not accepted yet"]


def test_accepted_apart_on_two_devices(morning, tmp_path, monkeypatch):
    """Both acceptances stand; the questions of both are there, whoever was first."""
    rounds, bench = morning, morning.folder
    signed = rounds.json("04T12:45", "TV", "handover", "--sign", "--sure")
    tablet = tmp_path / "tablet"
    shutil.copytree(bench, tablet)
    rounds("04T12:55", "TV", "handover", "--accept", "--sure")
    monkeypatch.setenv("ROUNDS_ROOM", str(tablet))
    rounds("04T12:54", "GS", "handover", "--accept", "--question", "1=hose?")
    merge(bench, tablet)
    monkeypatch.setenv("ROUNDS_ROOM", str(bench))
    text = rounds("04T13:00", "MK", "handover", "--read", signed["id"])
    assert "Accepted 12:54 by GS: 11 confirmed, 1 questioned.\nAccepted 12:55 by TV: 12 confirmed" in text
    assert "GS asks: hose?" in text


@pytest.mark.parametrize(
    "arguments",
    [
        ("--question", "1=x"),
        ("--note", "x"),
        ("--read", "x", "--sign"),
        ("--sign", "--accept"),
        ("--kind", "sometimes"),
    ],
)
def test_options_that_do_not_go_together(morning, arguments):
    morning("04T12:45", "TV", "handover", *arguments, status=2)


def test_no_such_handover(morning):
    assert "rounds handover --list" in morning("04T12:45", "TV", "handover", "--read", "0123", status=1)


@pytest.mark.parametrize("format", ["text", "markdown", "html"])
def test_every_line_stands_in_every_format(morning, format):
    """In the order of the sections; only what a format has to escape or wrap is other than in JSON."""
    from html import unescape

    report = morning.json("04T12:45", "TV", "handover")
    text = " ".join(unescape(morning("04T12:45", "TV", "handover", "--format", format)).replace("\\", "").split())
    place = 0
    for section in ("off_normal", "not_done", "missed", "out_of_band", "concerns", "protocols", "refills", "next_due",
                    "done", "systems", "entries"):  # fmt: skip
        for each in report[section]:
            assert each["text"] in text, each
            assert text.index(each["text"], place) >= place
            place = text.index(each["text"], place)


@pytest.mark.parametrize("format", ["text", "markdown"])
def test_lines_are_no_wider_than_eighty(morning, format):
    for line in morning("04T12:45", "TV", "handover", "--format", format).splitlines():
        assert len(line) <= 80 or (format == "markdown" and line.startswith("# "))


def test_json_of_the_format_and_of_the_option_are_alike(morning):
    assert json.loads(morning("04T12:45", "TV", "handover", "--format", "json")) == morning.json(
        "04T12:45", "TV", "handover"
    )


def test_a_room_without_shifts_and_keepers(rounds, folder):
    """The round day is handed over; who recorded is on."""
    bare = ROOM.partition("on_call")[0] + ROOM[ROOM.index("[[tasks]]") :]
    write_room(folder, bare, reef=REEF.replace('shift = "early"\n', "").replace('shift = "late"\n', "")
               .replace('keeper = "MK"\n', ""), frag=FRAG)  # fmt: skip
    rounds("04T12:00", "XY", "record", "reef/cup")
    report = rounds.json("04T20:00", "XY", "handover")
    assert (report["shift"], report["from"], report["to"]) == (
        "round day", "2026-03-04T04:00:00+00:00", "2026-03-05T04:00:00+00:00",
    )  # fmt: skip
    assert lines(report, "on") == ["XY (recorded in this shift)"]
    assert lines(report, "next") == ["round day, Thu 5 Mar 2026, 04:00 to 04:00: nobody is named"]
    assert "Handover of the round day" in rounds("04T20:00", "XY", "handover")


# -- cover -----------------------------------------------------------------------------------------


def test_who_covers_whom(rounds):
    assert rounds("04T09:00", "TV", "cover") == "Nobody is covered for.\n"
    given = rounds.json("04T09:00", "TV", "cover", "MK", "GS", "--until", "2026-03-09", "--reason", "leave")
    assert (given["kind"], given["keepers"], given["until"]) == ("cover", ["MK", "GS"], "2026-03-09T04:00:00Z")
    assert rounds.json("04T10:00", "TV", "cover") == [
        {
            "id": given["id"], "absent": "MK", "covering": "GS", "from": "2026-03-04T09:00:00+00:00",
            "until": "2026-03-09T04:00:00+00:00", "reason": "leave", "by": "TV",
        }
    ]  # fmt: skip
    assert rounds("09T03:00", "TV", "cover").startswith("GS covers MK until 04:00: leave\n")
    assert rounds("09T04:00", "TV", "cover") == "Nobody is covered for.\n"
    assert "TV cover: GS for MK; leave; until Mon 04:00" in rounds("04T10:00", "TV", "history")


def test_a_cover_to_come_is_listed(rounds):
    rounds("04T09:00", "TV", "cover", "MK", "GS", "--until", "2026-03-09", "--at", "2026-03-06")
    assert rounds("04T09:00", "TV", "cover").startswith("GS covers MK from Fri 04:00 until Mon 04:00\n")


@pytest.mark.parametrize(
    ("arguments", "status", "said"),
    [
        (("MK",), 2, "say who covers"),
        (("MK", "GS"), 2, "until when"),
        (("MK", "ZZ", "--until", "2 days"), 1, "'ZZ' is no keeper"),
        (("MK", "MK", "--until", "2 days"), 1, "own absence"),
        (("MK", "GS", "--until", "2026-03-01"), 1, "later time"),
    ],
)
def test_a_cover_that_cannot_be(rounds, arguments, status, said):
    assert said in rounds("04T09:00", "TV", "cover", *arguments, status=status)
