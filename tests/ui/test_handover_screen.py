"""The handover in the app: prepared, signed, accepted line by line, read back and written to a file."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input
from uuid6 import uuid7

from rounds.core.handovers import SHIFT, Handover, draft_accepted, draft_handover
from rounds.core.record import Record
from rounds.core.recording import Draft, finish
from rounds.report.handover_sections import prepared
from rounds.storage.room import RoomFolder
from rounds.storage.room_files import load_room
from rounds.storage.sheets import SheetWriter
from rounds.ui.screens.accepting import Accepting
from rounds.ui.screens.ask import Choice, Question
from rounds.ui.screens.handover import HandoverPage
from tests.ui.app import DISK_FULL, NARROW, WIDE, at, fill_disk_once, flat, records, shown, until, walk, walking, write
from tests.ui.conftest import NURSERY
from tests.ui.test_hostile_texts import HOSTILE

UV = '\n[[equipment]]\nid = "uv"\nkind = "UV unit"\nstation = "sump"\n'
WARNED = "[@click=app.quit]look at [/sump] first \x1b[31m \u202eagain"


@pytest.fixture
def equipped(kept: Path) -> Path:
    """Everything up to yesterday evening done; a UV unit in the nursery."""
    (kept / "systems" / "nursery.toml").write_text(NURSERY + UV, encoding="utf-8")
    return kept


def put(folder: Path, draft: Draft, by: str) -> Record:
    """A record of the tablet, written down when it happened."""
    room = load_room(folder)
    found = finish(draft, id=str(uuid7()), by=by, device="tablet", recorded=draft.at, room=room)
    SheetWriter(folder, "tablet", folder.parent / "tablet.lock").append([found], room.calendar.round_day(draft.at))
    return found


def hand_over(folder: Path, when: str = "2026-11-25T09:10", by: str = "BC", *, kind: str = SHIFT) -> Handover:
    """The early shift as the tablet signs it."""
    room = RoomFolder(folder)
    report = prepared(room, at(when), shift="early", kind=kind)
    draft = draft_handover(room.model, report.shift, kind, report.points, at(when), WARNED)
    return Handover(put(folder, draft, by))


def turn_off(folder: Path, when: str = "2026-11-25T09:00", end: str = "2026-11-25T18:00") -> Record:
    from rounds.core.following import draft_off_normal

    uv = load_room(folder).equipment["nursery/uv"]
    return put(folder, draft_off_normal(uv, "off", at(end), "treatment", at(when)), "BC")


async def answer(pilot: Pilot[Any], title: str, text: str) -> None:
    await until(pilot, lambda: isinstance(pilot.app.screen, Choice) and title in flat(pilot))
    assert isinstance(pilot.app.screen, Choice)
    pilot.app.screen.query_one(Input).value = ""
    await write(pilot, text)


async def open_page(pilot: Pilot[Any]) -> HandoverPage:
    await pilot.press("b")
    await until(pilot, lambda: isinstance(pilot.app.screen, HandoverPage))
    page = pilot.app.screen
    assert isinstance(page, HandoverPage)
    await until(pilot, lambda: "being prepared" not in shown(pilot))
    return page


async def sign(pilot: Pilot[Any], words: str = "all quiet", kind: str = "at the end") -> None:
    await pilot.press("s")
    await answer(pilot, "sign it how?", kind)
    await answer(pilot, "Words for who comes?", words)


async def accepting(pilot: Pilot[Any]) -> Accepting:
    """Begin to accept what another keeper signed."""
    await pilot.press("a")
    await until(pilot, lambda: isinstance(pilot.app.screen, Accepting) and isinstance(pilot.app.focused, Input))
    assert isinstance(pilot.app.screen, Accepting)
    return pilot.app.screen


async def confirm_all(pilot: Pilot[Any], count: int) -> None:
    for place in range(count):
        await until(pilot, lambda place=place: f"{place + 1} of {count}" in shown(pilot))
        await pilot.press("enter")
    await until(pilot, lambda: f"all {count} answered" in shown(pilot))


def kinds(folder: Path) -> list[str]:
    return [entry["kind"] for entry in records(folder)]


# -- the report ------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["80x24", "120x40"])
async def test_the_report_of_the_shift(equipped: Path, size: tuple[int, int]) -> None:
    """Which shift at the head; what is off normal first, then life support; what is empty in one line."""
    turn_off(equipped)
    async with walking(equipped, size=size) as pilot:
        await open_page(pilot)
        text = shown(pilot)
        assert "Handover of the early shift  not signed yet" in text
        assert text.index("1. Nursery raceway, Sump: uv off") < text.index("Not done, and why")
        assert text.index("Not done, and why") < text.index("2. ▲ Nursery raceway, Sump: Feel the return pump")
        read = text
        for _ in range(3):
            await pilot.press("pagedown")
            read += shown(pilot)
        assert "Missed, not made up: nothing" in read
        assert "Due until the next shift ends" in read


async def test_another_shift(equipped: Path) -> None:
    """Tab goes round the shifts; the late one of the day before, as today's has not begun."""
    async with walking(equipped) as pilot:
        await open_page(pilot)
        await pilot.press("tab")
        await until(pilot, lambda: "Handover of the late shift" in shown(pilot))
        assert "Tue 24 Nov 2026, 14:00 to 20:00" in shown(pilot)
        await pilot.press("tab")
        await until(pilot, lambda: "Handover of the early shift" in shown(pilot))


async def test_what_is_read_does_not_move_when_something_is_recorded(equipped: Path) -> None:
    """Another device records while the keeper reads further down."""
    async with walking(equipped) as pilot:
        page = await open_page(pilot)
        await pilot.press("pagedown")
        place = page.page.scroll_offset.y
        assert place > 0
        turn_off(equipped)
        page._look()
        await until(pilot, lambda: page._report is not None and len(page._report.section("off_normal")) == 1)
        assert page.page.scroll_offset.y == place


# -- signing ---------------------------------------------------------------------------------------


async def test_it_is_signed_with_words(equipped: Path) -> None:
    """One record with every line; the head says by whom, and that nobody has accepted it."""
    async with walking(equipped) as pilot:
        page = await open_page(pilot)
        await sign(pilot, "[@click=app.quit]look at [/sump] first")
        await until(pilot, lambda: "not accepted yet" in shown(pilot).splitlines()[0])
        assert "signed 09:30 by TV" in shown(pilot).splitlines()[0]
        lines = page._report.lines if page._report is not None else ()
    (entry,) = records(equipped)
    assert (entry["kind"], entry["reason"], entry["words"], entry["by"]) == ("handover", "early", ["shift"], "TV")
    assert entry["note"] == "[@click=app.quit]look at [/sump] first"
    open_lines = [point["about"] for point in entry["points"] if point.get("open")]
    assert open_lines == [line.about for line in lines if line.open]
    assert "not_done:nursery/return" in open_lines


async def test_the_room_is_left_unattended(equipped: Path) -> None:
    """What is signed says so, and until when nobody is there."""
    async with walking(equipped) as pilot:
        await open_page(pilot)
        await sign(pilot, "nothing to add", kind="left to nobody")
        await until(pilot, lambda: kinds(equipped) == ["handover"])
    (entry,) = records(equipped)
    assert entry["words"] == ["unattended"]
    assert "note" not in entry
    assert any("nobody until 14:00" in point["text"] for point in entry["points"])


async def test_off_normal_is_asked_about_and_the_words_are_kept(equipped: Path) -> None:
    """No leaves it unsigned; the second time the words stand there already."""
    turn_off(equipped)
    async with walking(equipped) as pilot:
        await open_page(pilot)
        await sign(pilot, "mind the UV")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        assert "uv is off, to be put back by 18:00; hand over with it" in flat(pilot)
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, HandoverPage))
        assert records(equipped) == []
        await pilot.press("s")
        await answer(pilot, "sign it how?", "at the end")
        await until(pilot, lambda: isinstance(pilot.app.focused, Input) and pilot.app.focused.value == "mind the UV")
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: kinds(equipped) == ["handover"])
    assert records(equipped)[0]["note"] == "mind the UV"


async def test_the_same_shift_is_signed_twice_only_on_a_yes(equipped: Path) -> None:
    """Another device has signed it."""
    hand_over(equipped)
    async with walking(equipped) as pilot:
        await open_page(pilot)
        await sign(pilot)
        await until(pilot, lambda: "BC signed the handover of this shift 09:10; sign" in flat(pilot))
        await pilot.press("n")
        await until(pilot, lambda: isinstance(pilot.app.screen, HandoverPage))
    assert records(equipped) == []


async def test_what_the_disk_refused_is_signed_with_the_same_record(
    equipped: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The words are not lost, and it does not stand twice."""
    async with walking(equipped) as pilot:
        await open_page(pilot)
        tried = fill_disk_once(monkeypatch)
        await sign(pilot)
        await until(pilot, lambda: DISK_FULL in flat(pilot))
        assert records(equipped) == []
        await pilot.press("y")
        await until(pilot, lambda: kinds(equipped) == ["handover"])
    assert tried == [[records(equipped)[0]["id"]]] * 2


async def test_leaving_the_walk_does_not_ask_for_a_signature(equipped: Path) -> None:
    """Only what is off normal is asked about."""
    async with walking(equipped) as pilot:
        await pilot.press("q")
        await pilot.pause()
        assert pilot.app.return_code == 0
        assert pilot.app._exit


# -- accepting -------------------------------------------------------------------------------------


async def test_it_is_accepted_line_by_line_with_a_question(equipped: Path) -> None:
    """Enter confirms, typed words ask; both stand in the record and in the report that follows."""
    handover = hand_over(equipped)
    count = len(handover.open)
    asked = next(n for n, point in enumerate(handover.open) if point.about == "not_done:nursery/return")
    async with walking(equipped) as pilot:
        await open_page(pilot)
        assert "signed 09:10 by BC, not accepted yet" in shown(pilot)
        await accepting(pilot)
        for place in range(count):
            await until(pilot, lambda place=place: f"{place + 1} of {count}" in shown(pilot))
            if place == asked:
                assert "Feel the return pump" in flat(pilot)
                await write(pilot, "is it warm?", enter=False)
            await pilot.press("enter")
        await until(pilot, lambda: f"{count - 1} confirmed, 1 question" in shown(pilot))
        assert "? is it warm?" in shown(pilot)
        await write(pilot, "thank you")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: isinstance(pilot.app.screen, HandoverPage))
        await until(pilot, lambda: "accepted 09:30 by TV" in shown(pilot).splitlines()[0])
        assert "TV asks: is it warm?" in flat(pilot)
    (entry,) = records(equipped)
    assert (entry["kind"], entry["ref"], entry["note"], entry["by"]) == ("accepted", handover.id, "thank you", "TV")
    assert [(point["about"], point.get("answer", "")) for point in entry["points"]] == [
        (point.about, "is it warm?" if place == asked else "") for place, point in enumerate(handover.open)
    ]


async def test_a_second_enter_by_mistake_accepts_nothing(equipped: Path) -> None:
    """Enter alone never signs: the question at the end takes a y."""
    count = len(hand_over(equipped).open)
    async with walking(equipped) as pilot:
        await open_page(pilot)
        await accepting(pilot)
        await confirm_all(pilot, count)
        await pilot.press("enter", "enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Accepting))
        assert records(equipped) == []


async def test_what_is_typed_when_enter_is_pressed_twice_asks_only_once(equipped: Path) -> None:
    """The second Enter is of the next line, which is confirmed."""
    hand_over(equipped)
    async with walking(equipped) as pilot:
        await open_page(pilot)
        screen = await accepting(pilot)
        await write(pilot, "since when?", enter=False)
        await pilot.press("enter", "enter")
        await until(pilot, lambda: screen._answering.place == 2)
        assert [screen._answering.answer_to(place) for place in range(2)] == ["since when?", ""]


async def test_leaving_half_way_keeps_the_answers(equipped: Path) -> None:
    """Also what is typed and not asked yet, through the walk and back; another keeper begins anew."""
    count = len(hand_over(equipped).open)
    async with walking(equipped) as pilot:
        await open_page(pilot)
        await accepting(pilot)
        await write(pilot, "since when?")
        await until(pilot, lambda: f"2 of {count}" in shown(pilot))
        await write(pilot, "and wh", enter=False)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(pilot.app.screen, HandoverPage))
        await pilot.press("escape")
        await until(pilot, lambda: pilot.app.screen is walk(pilot))
        await open_page(pilot)
        screen = await accepting(pilot)
        await until(pilot, lambda: f"2 of {count}" in shown(pilot) and "? since when?" in shown(pilot))
        assert screen.query_one(Input).value == "and wh"


async def test_back_to_the_line_before(equipped: Path) -> None:
    """The empty line goes back by ← and by backspace, ↑ always; the question stands there and can be taken back."""
    count = len(hand_over(equipped).open)
    async with walking(equipped) as pilot:
        await open_page(pilot)
        screen = await accepting(pilot)
        line = screen.query_one(Input)
        await write(pilot, "since when?")
        await until(pilot, lambda: f"2 of {count}" in shown(pilot))
        for key in ("left", "backspace", "up"):
            await pilot.press(key)
            await until(pilot, lambda: f"1 of {count}" in shown(pilot) and line.value == "since when?")
            await pilot.press("down")
            await until(pilot, lambda: f"2 of {count}" in shown(pilot) and line.value == "")
        await pilot.press("down")
        assert f"2 of {count}" in shown(pilot)
        await pilot.press("up")
        line.value = ""
        await pilot.press("enter")
        await until(pilot, lambda: "✓ confirmed" in shown(pilot))
        assert screen._answering.asked == []


async def test_who_signed_hands_the_laptop_over(equipped: Path) -> None:
    """On the same laptop: another keeper is named, who accepts and keeps the room from there."""
    hand_over(equipped, by="TV")
    async with walking(equipped) as pilot:
        await open_page(pilot)
        await pilot.press("a")
        await answer(pilot, "TV signed it and keeps the room. Who accepts it?", "BC")
        await until(pilot, lambda: isinstance(pilot.app.screen, Accepting))
        assert (pilot.app.screen.keeper, walk(pilot).keeper) == ("BC", "BC")


async def test_who_signed_accepts_only_on_a_yes(equipped: Path) -> None:
    """Alone in the room: asked first, and it is said that it is one's own."""
    count = len(hand_over(equipped, by="TV").open)
    async with walking(equipped) as pilot:
        await open_page(pilot)
        await pilot.press("a")
        await answer(pilot, "Who accepts it?", "TV")
        await until(pilot, lambda: isinstance(pilot.app.screen, Accepting))
        await confirm_all(pilot, count)
        await pilot.press("enter")
        await until(pilot, lambda: "TV signed this handover; accept it oneself?" in flat(pilot))
        await pilot.press("n")
        await until(pilot, lambda: isinstance(pilot.app.screen, Accepting))
    assert records(equipped) == []


async def test_what_another_device_accepted_meanwhile_is_asked_about(equipped: Path) -> None:
    """Both acceptances stand where the keeper says so."""
    handover = hand_over(equipped)
    async with walking(equipped) as pilot:
        await open_page(pilot)
        screen = await accepting(pilot)
        put(equipped, draft_accepted(load_room(equipped), handover, {}, "OM", at("2026-11-25T09:20")), "OM")
        screen._look()
        await until(pilot, lambda: "Accepted 09:20 by OM" in flat(pilot))
        await confirm_all(pilot, len(handover.open))
        await pilot.press("enter")
        await until(pilot, lambda: "OM accepted it 09:20; accept it again?" in flat(pilot))
        await pilot.press("y")
        await until(pilot, lambda: kinds(equipped) == ["accepted"])


async def test_without_a_signature_there_is_nothing_to_accept(equipped: Path) -> None:
    """And of one that is accepted already it is said."""
    async with walking(equipped) as pilot:
        await open_page(pilot)
        await pilot.press("a")
        await until(pilot, lambda: "No handover is signed yet; s signs this one." in flat(pilot))
        await pilot.press("o")
        await until(pilot, lambda: "No handover is signed yet." in flat(pilot))
    handover = hand_over(equipped)
    put(equipped, draft_accepted(load_room(equipped), handover, {}, "TV", at("2026-11-25T09:20")), "TV")
    async with walking(equipped) as pilot:
        await open_page(pilot)
        await pilot.press("a")
        await until(pilot, lambda: "The handover signed last is accepted" in flat(pilot))


# -- the others ------------------------------------------------------------------------------------


async def test_an_older_one_is_read_back_and_accepted(equipped: Path) -> None:
    """As it was signed, its list line with who accepted it; Esc leads back to the handover of now."""
    first = hand_over(equipped, "2026-11-24T12:50")
    put(equipped, draft_accepted(load_room(equipped), hand_over(equipped), {"1": "why?"}, "TV",
                                 at("2026-11-25T09:20")), "TV")  # fmt: skip
    async with walking(equipped) as pilot:
        page = await open_page(pilot)
        await pilot.press("o")
        await until(pilot, lambda: isinstance(pilot.app.screen, Choice))
        assert "accepted 09:20 by TV, 1 question" in flat(pilot)
        await answer(pilot, "Read back which handover?", "yesterday")
        await until(pilot, lambda: "read back not accepted yet" in flat(pilot))
        assert "Signed yesterday 12:50 by BC" in flat(pilot)
        await pilot.press("s")
        await until(pilot, lambda: "This one was signed" in flat(pilot))
        await accepting(pilot)
        await confirm_all(pilot, len(first.open))
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(pilot.app.screen, Question))
        await pilot.press("y")
        await until(pilot, lambda: pilot.app.screen is page and "Accepted 09:30 by TV" in flat(pilot))
        await pilot.press("escape")
        await until(pilot, lambda: "accepted 09:20 by TV" in shown(pilot).splitlines()[0])
        assert pilot.app.screen is page
    assert [(entry["kind"], entry["ref"]) for entry in records(equipped)] == [("accepted", first.id)]


@pytest.mark.parametrize(
    ("name", "begins"),
    [
        ("h.html", "<!DOCTYPE html>"),
        ("h.md", "# "),
        ("h.TXT", "Handover of the early shift: Tern Quay reef room\n"),
        ("h.json", "{"),
    ],
)
async def test_it_is_written_to_a_file(equipped: Path, tmp_path: Path, name: str, begins: str) -> None:
    """In the form that the name's ending asks for; a name that says none is refused, and stays to be mended."""
    async with walking(equipped) as pilot:
        await open_page(pilot)
        await pilot.press("w")
        await answer(pilot, "Write it to which file?", str(tmp_path / "handover.doc"))
        await until(pilot, lambda: "'handover.doc' says no form" in flat(pilot))
        await answer(pilot, "Write it to which file?", str(tmp_path / name))
        await until(pilot, lambda: (tmp_path / name).exists())
    written = (tmp_path / name).read_text(encoding="utf-8")
    assert written.startswith(begins)
    assert "Feel the return pump" in written
    if name.endswith("json"):
        assert json.loads(written)["shift"] == "early"


# -- texts of others -------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["80x24", "120x40"])
@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE.keys())
async def test_texts_of_keepers_are_shown_as_they_are(equipped: Path, text: str, size: tuple[int, int]) -> None:
    """In the words of the outgoing, in lines, questions and lists: no markup is read, nothing reaches the terminal."""
    room = RoomFolder(equipped)
    points = [
        point if not point.open else type(point)(about=point.about, text=text, open=True, strong=True)
        for point in prepared(room, at("2026-11-25T09:10")).points
    ]
    signed = Handover(
        put(equipped, draft_handover(room.model, "early", SHIFT, points, at("2026-11-25T09:10"), text), "BC")
    )
    draft = draft_accepted(room.model, signed, {"1": text}, "TV", at("2026-11-25T09:20"), text)
    put(equipped, draft, "TV")
    async with walking(equipped, size=size) as pilot:
        painted = []
        await open_page(pilot)
        painted.append(shown(pilot))
        await pilot.press("o")
        await until(pilot, lambda: isinstance(pilot.app.screen, Choice))
        painted.append(shown(pilot))
        await pilot.press("enter")
        await until(pilot, lambda: "read back" in shown(pilot))
        painted.append(shown(pilot))
        await accepting(pilot)
        painted.append(shown(pilot))
        assert not any(character in each for each in painted for character in "\x1b\x07\u202e\u2066")
        if "[bold]" in text:
            assert all("[bold]x[/bold] [/sump]" in " ".join(each.split()) for each in painted)
