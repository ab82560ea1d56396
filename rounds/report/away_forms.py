"""An absence, and its sitter's sheet, as documents to read or print and as JSON."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from itertools import groupby
from typing import Any

import msgspec

from rounds.core.absence import Needed
from rounds.core.model import PROTECTING, Room
from rounds.core.walk import place_name
from rounds.core.words import clock, day_name, full_moment, plain, plural
from rounds.report.away import HANDOVER, LEVEL, LOOK, READING, TASK, After, Away, Before, Failing
from rounds.report.printable import Block, Document, Entry, Heading, Paragraph, ToFillIn
from rounds.report.sitter import (
    BEFORE_THIS_SHEET,
    FIRST,
    IF_WRONG,
    NOT_TO_DO,
    TO_CALL,
    TO_FIND,
    SitterDay,
    SitterTask,
    sitter_days,
    until_text,
)
from rounds.water.stretches import fills

NOBODY = "nobody named"


def about(room: Room, failing: Failing, now: datetime) -> str:
    """``about Sat 28 Nov (Fri 27 Nov to Mon 30 Nov)``; with the hour where the range lies in one day."""
    calendar = room.calendar
    if failing.at <= now:
        return f"since {_day(room, failing.at, now)}"
    if failing.kind not in (LEVEL, READING):
        return full_moment(calendar, failing.at, now)
    first, last = failing.earliest, failing.latest
    if first is None or (last is not None and _day(room, first, now) == _day(room, last, now)):
        return f"about {full_moment(calendar, failing.at, now)}"
    until = f"to {_day(room, last, now)}" if last is not None else "or later"
    return f"about {_day(room, failing.at, now)} ({_day(room, first, now)} {until})"


# -- the absence -----------------------------------------------------------------------------------


def away_document(room: Room, away: Away) -> Document:
    """Before leaving, during, what fails first, on return."""
    return Document(
        title=f"{room.name}: away {_span(room, away)}",
        blocks=(
            *_head(room, away),
            *_before_blocks(room, away),
            *_during_blocks(room, away),
            *_failing_blocks(room, away),
            *_after_blocks(room, away),
        ),
    )


def _span(room: Room, away: Away) -> str:
    absence, calendar = away.absence, room.calendar
    return f"from {full_moment(calendar, absence.begin, away.now)} to {full_moment(calendar, absence.end, away.now)}"


def _head(room: Room, away: Away) -> Iterator[Block]:
    who = f"{away.absence.sitter} looks after the room." if away.absence.sitter else "No sitter is named."
    yield Paragraph(f"As it stands {full_moment(room.calendar, away.now)}. {who}")


def _before_blocks(room: Room, away: Away) -> Iterator[Block]:
    yield Heading("Before leaving")
    if not away.before:
        yield Paragraph("Nothing comes due, runs low or drifts out that could be done early.")
        return
    minutes = sum(each.minutes or 0 for each in away.before)
    without = sum(each.minutes is None for each in away.before)
    yield Paragraph(
        f"{plural(len(away.before), 'thing')} to do, about {plural(minutes, 'minute')}"
        + (f", not counting {without} whose time is not known." if without else ".")
    )
    for (system, station), there in groupby(away.before, key=lambda each: (each.system, each.station)):
        yield Heading(place_name(room, system, station), 3)
        for each in there:
            yield Entry(_titled(each), (each.why,), box=True)


def _titled(each: Before) -> str:
    minutes = f" ({each.minutes} min)" if each.minutes is not None else ""
    return f"{each.title}{minutes}{', can wait until you are back' if each.can_wait else ''}"


def _during_blocks(room: Room, away: Away) -> Iterator[Block]:
    yield Heading("During the absence")
    if not away.during:
        yield Paragraph("Nobody has to come: nothing is late before the return that cannot be done before leaving.")
        return
    for day, needed in groupby(away.during, key=lambda each: each.day):
        yield Heading(day_name(day, room.calendar.round_day(away.now)), 3)
        for each in needed:
            yield Entry(needed_text(room, each), (each.why,) if each.why else ())


def needed_text(room: Room, each: Needed) -> str:
    """``Reef, sump: Rinse the cup, 07:00 to 13:00; life support; TV``"""
    task, calendar = each.task, room.calendar
    details = [f"{clock(calendar, each.at)} to {until_text(room, each)}"]
    if task.importance in PROTECTING:
        details.append(task.importance)
    if each.may_skip:
        details.append("may be skipped")
    details.append(each.who or ("who feeds?" if task.feed else NOBODY))
    return f"{place_name(room, task.system, task.station)}: {task.title}, {'; '.join(details)}"


def _failing_blocks(room: Room, away: Away) -> Iterator[Block]:
    yield Heading("What fails first if nobody comes")
    if not away.fails_first:
        yield Paragraph("By levels, trends and rules nothing fails before the return.")
    for late, alike in groupby(away.fails_first, key=lambda each: _late_on(room, each)):
        if late is not None:
            lines = (f"{place_name(room, each.system, each.station)}: {each.what}. {each.why}" for each in alike)
            yield Entry(
                f"{day_name(late, room.calendar.local(away.now).date())}: work that protects people or animals is late",
                tuple(lines),
            )
        else:
            yield from (_failing_entry(room, each, away.now) for each in alike)


def _late_on(room: Room, each: Failing) -> date | None:
    """The day on which work is late; None: it is something else that fails."""
    return room.calendar.local(each.at).date() if each.kind == TASK else None


def _failing_entry(room: Room, each: Failing, now: datetime) -> Entry:
    prepared = each.if_prepared_at
    done = "emptied" if each.id in room.reservoirs and fills(room.reservoirs[each.id]) else "refilled"
    then = () if prepared is None else (f"If it is {done} just before leaving: about {_day(room, prepared, now)}.",)
    where = place_name(room, each.system, each.station)
    return Entry(f"{about(room, each, now)}: {where}: {each.what}", (each.why, *then))


def _day(room: Room, at: datetime, now: datetime) -> str:
    return day_name(room.calendar.local(at).date(), room.calendar.local(now).date())


def _after_blocks(room: Room, away: Away) -> Iterator[Block]:
    yield Heading("On return")
    for each in away.after:
        where = place_name(room, each.system, each.station)
        title = each.title if each.kind in (HANDOVER, LOOK) else f"{where}: {each.title}"
        yield Entry(title, (each.why,) if each.why else (), box=True)


# -- the sitter's sheet ----------------------------------------------------------------------------


def sheet_document(room: Room, away: Away) -> Document:
    """What a sitter needs: whom to call, what not to do, what if something is wrong, and each day's work."""
    days = sitter_days(room, away)
    return Document(
        title=f"{room.name}: sheet for the sitter, {_span(room, away)}",
        blocks=(*_sheet_head(), *_sheet_days(days, room.calendar.round_day(away.now))),
    )


def _sheet_head() -> Iterator[Block]:
    yield Paragraph(FIRST, strong=True)
    yield Heading("Telephone")
    for label in (*TO_CALL, *TO_FIND):
        yield ToFillIn(label)
    yield Heading("If something is wrong")
    for what, then in IF_WRONG:
        yield Entry(what, (then,))
    yield Paragraph(BEFORE_THIS_SHEET)
    yield Heading("Please do not")
    for each in NOT_TO_DO:
        yield Entry(each)


def _sheet_days(days: list[SitterDay], today: date) -> Iterator[Block]:
    if not days:
        yield Heading("What there is to do")
        yield Paragraph("Nothing has to be done on any day. If you look in, look that water moves in every tank.")
    for day in days:
        yield Heading(day_name(day.day, today), new_page=True)
        for stop in day.stops:
            yield Heading(stop.place, 3)
            for task in stop.tasks:
                yield Entry(_sheet_title(task), tuple(_sheet_lines(task, today)), box=True)
    if days:
        yield Paragraph("On days that are not named nothing has to be done.")


def _sheet_title(task: SitterTask) -> str:
    skip = " (may be left out if there is no time)" if task.may_skip else ""
    return f"{task.title}, {task.when}{skip}"


def _sheet_lines(task: SitterTask, today: date) -> Iterator[str]:
    yield from (f"Caution: {each}" for each in task.cautions)
    if task.as_on is not None:
        if task.steps or task.looks:
            yield f"As on {day_name(task.as_on, today)}."
        return
    for number, step in enumerate(task.steps, 1):
        yield f"{number}. {step}"
    yield from (f"Look: {each}" for each in task.looks)


# -- JSON ------------------------------------------------------------------------------------------


def away_json(room: Room, away: Away) -> dict[str, Any]:
    """The absence as plain values; times are RFC 3339 with the room's offset."""
    absence, stamp = away.absence, room.calendar.stamp
    return {
        "room": room.name,
        "at": stamp(away.now),
        "from": stamp(absence.begin),
        "to": stamp(absence.end),
        "sitter": absence.sitter or None,
        "before": [_values(room, each) for each in away.before],
        "during": [_needed_json(room, each) for each in away.during],
        "fails_first": [{**_values(room, each), "about": about(room, each, away.now)} for each in away.fails_first],
        "after": [_values(room, each) for each in away.after],
    }


def _values(room: Room, each: Before | Failing | After) -> dict[str, Any]:
    """By the names of its fields; what is empty is null."""
    stamp, found = room.calendar.stamp, msgspec.structs.asdict(each)
    times = {key: stamp(value) for key, value in found.items() if isinstance(value, datetime)}
    return {key: times.get(key, value) if value != "" else None for key, value in found.items()}


def _needed_json(room: Room, each: Needed) -> dict[str, Any]:
    stamp, task = room.calendar.stamp, each.task
    return {
        "day": each.day.isoformat(),
        "id": task.id,
        "system": task.system,
        "station": task.station or None,
        "title": task.title,
        "at": stamp(each.at),
        "due_at": stamp(each.due_at),
        "fine_until": stamp(each.fine_until),
        "importance": task.importance,
        "who": each.who or None,
        "may_skip": each.may_skip,
        "feed": task.feed,
        "minutes": task.minutes,
        "why": each.why or None,
    }


def sheet_json(room: Room, away: Away) -> dict[str, Any]:
    """The sitter's sheet as plain values."""
    stamp = room.calendar.stamp
    return {
        "room": room.name,
        "from": stamp(away.absence.begin),
        "to": stamp(away.absence.end),
        "sitter": away.absence.sitter or None,
        "fill_in": [*TO_CALL, *TO_FIND],
        "if_wrong": [{"what": what, "do": then} for what, then in IF_WRONG],
        "not_to_do": list(NOT_TO_DO),
        "days": [
            {
                "day": day.day.isoformat(),
                "stations": [
                    {
                        "system": stop.system,
                        "station": stop.station or None,
                        "place": plain(stop.place),
                        "tasks": [_sitter_task_json(task) for task in stop.tasks],
                    }
                    for stop in day.stops
                ],
            }
            for day in sitter_days(room, away)
        ],
    }


def _sitter_task_json(task: SitterTask) -> dict[str, Any]:
    return {
        "id": task.id,
        "title": task.title,
        "when": task.when,
        "who": task.who or None,
        "may_skip": task.may_skip,
        "steps": list(task.steps),
        "look_for": list(task.looks),
        "cautions": list(task.cautions),
    }
