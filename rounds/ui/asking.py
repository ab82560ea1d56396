"""Asking a keeper one thing after the other, and recording what came of it; nothing typed is lost to an error."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

from textual.screen import Screen

from rounds.core.account import record_line
from rounds.core.errors import RoundsError
from rounds.core.record import Record
from rounds.core.recording import Draft
from rounds.core.words import plain
from rounds.ui.screens.ask import Choice, Question
from rounds.ui.screens.room_screen import RoomScreen

T = TypeVar("T")


class Left(Exception):
    """The keeper went back without an answer."""


async def choose(screen: Screen[Any], title: str, choices: Sequence[tuple[str, T]]) -> T:
    """One of the choices; raises `Left`."""
    chosen: T | None = await screen.app.push_screen_wait(Choice(title, choices))
    if chosen is None:
        raise Left
    return chosen


async def write_in(
    screen: Screen[Any], title: str, choices: Sequence[str], wanted: str, read: Callable[[str], T], text: str = ""
) -> T:
    """What `read` makes of a typed text or of a choice; what it refuses is said, and can be mended. Raises `Left`."""
    wrong = ""
    while True:
        pairs = [(choice, choice) for choice in choices]
        typed = await screen.app.push_screen_wait(Choice(title, pairs, free=wanted, text=text, wrong=wrong))
        if typed is None:
            raise Left
        try:
            return read(typed)
        except RoundsError as refused:
            text, wrong = typed, str(refused)


async def sure(screen: Screen[Any], title: str, lines: Sequence[str], yes: str, no: str = "no, go back") -> bool:
    """Whether the keeper says yes."""
    question: Screen[bool] = Question(title, lines, yes, no)
    return await screen.app.push_screen_wait(question)


async def record(screen: RoomScreen, title: str, drafts: Iterable[Draft]) -> list[Record]:
    """Ask what has to be asked, put the drafts on disk in one step, show it and say it.

    When the disk refuses, a second try writes the same records. Raises `Left` where it is not to be recorded.
    """
    drafts = list(drafts)
    room = screen.room
    questions = [question for draft in drafts for question in draft.questions]
    if doubt := room.clock_question():
        questions.append(doubt)
    if questions and not await sure(screen, title, questions, "yes, record it"):
        raise Left
    records = [record for draft in drafts for record in room.prepare_all(draft, screen.keeper or "")]
    while refusal := _refusal(screen, records):
        if not await sure(screen, "Not recorded", [refusal], "try again", "leave it"):
            raise Left
    screen.changed()
    screen.draw()
    screen.say("; ".join(record_line(room.model, room.history, each) for each in records))
    return records


def _refusal(screen: RoomScreen, records: Sequence[Record]) -> str:
    """Put the records on disk; why that was refused, else empty."""
    try:
        screen.room.save(*records)
    except RoundsError as refused:
        return plain(str(refused))
    return ""


def in_turn(screen: RoomScreen, asking: Callable[[], Any]) -> None:
    """Run a conversation of what a keeper records."""
    if screen.has_keeper():
        converse(screen, asking, screen.say)


def converse(screen: Screen[Any], asking: Callable[[], Any], say: Callable[[str], object]) -> None:
    """Run a conversation; to go back out of it changes nothing, what is refused is said."""

    async def run() -> None:
        try:
            await asking()
        except Left:
            pass
        except RoundsError as refused:
            say(str(refused))

    screen.run_worker(run(), group="asking", exclusive=True, exit_on_error=False)
