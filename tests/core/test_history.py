"""Concerns in a history, whole or cut to what is kept for the present; and parts of it for another thread."""

from __future__ import annotations

from datetime import timedelta

import pytest

from rounds.core.history import History
from rounds.core.log import Incomplete
from rounds.core.record import CONCERN, CONCERN_CLOSED, CONCERN_UPDATE
from tests.support import TASK, done, instant, record, strike

SINCE = instant("2026-03-04 04:00")
NOON = instant("2026-03-04 12:00")


def concern(at="2026-02-01 12:00", **fields):
    return record(CONCERN, TASK, at, note="pale corner", **fields)


def update(of, at, kind=CONCERN_UPDATE):
    return record(kind, TASK, at, ref=of.id)


def kept(*records):
    return History.restored(History(records).kept(SINCE - timedelta(days=2), SINCE, lambda _: 1))


def open_at(history, now=NOON):
    return [each.id for each in history.concerns(now)]


def test_a_concern_is_open_until_it_is_closed():
    """From its own time up to that of its closing."""
    opened = concern("2026-03-02 12:00")
    history = History([opened, update(opened, "2026-03-03 12:00", CONCERN_CLOSED)])
    times = ("2026-03-02 11:59", "2026-03-02 12:00", "2026-03-03 11:59", "2026-03-03 12:00")
    assert [len(history.concerns(instant(at))) for at in times] == [0, 1, 1, 0]


def test_an_update_keeps_a_concern_open():
    """And stands in its log."""
    opened = concern()
    news = update(opened, "2026-03-01 12:00")
    history = History([news, opened])
    assert open_at(history) == [opened.id]
    assert history.followed(opened.id, NOON) == [news]


def test_a_struck_concern_is_gone():
    """As if it had never been."""
    opened = concern()
    assert open_at(History([strike(opened, "2026-02-02 12:00"), opened])) == []


def test_a_struck_closing_opens_a_concern_again():
    """Whatever the order."""
    opened = concern()
    closed = update(opened, "2026-02-02 12:00", CONCERN_CLOSED)
    records = [opened, closed, strike(closed, "2026-02-03 12:00")]
    assert open_at(History(records)) == open_at(History(reversed(records))) == [opened.id]


def test_what_is_kept_holds_open_concerns_however_old():
    """With their updates."""
    old = concern("2025-01-01 12:00")
    news = update(old, "2025-02-01 12:00")
    history = kept(old, news, *(concern(f"2026-02-{day:02} 12:00") for day in range(1, 20)))
    assert old.id in open_at(history)
    assert history.followed(old.id, NOON) == [news]


def test_what_is_kept_knows_its_strikes():
    """A record that was struck long ago and arrives again stays struck."""
    opened = concern()
    history = kept(opened, strike(opened, "2026-02-02 12:00"))
    history.add(opened)
    assert open_at(history) == []


def test_a_question_before_what_is_kept_is_not_answered():
    """All records have to be read for it."""
    with pytest.raises(Incomplete):
        kept(concern()).check(SINCE - timedelta(seconds=1))


def test_a_part_answers_what_the_whole_does_and_is_left_alone_by_what_comes_later():
    """Values and closings of the ids that were asked for; nothing of others, nothing recorded afterwards."""
    history = History([done(TASK, "2026-03-02 12:00"), done("reef/other", "2026-03-02 12:00")])
    part = history.part([TASK])
    history.add(done(TASK, "2026-03-03 12:00"))
    assert [len(each.closings(TASK)) for each in (history, part)] == [2, 1]
    assert part.closings(TASK).last(NOON).at == instant("2026-03-02 12:00")
    assert part.version(TASK) < history.version(TASK)
    assert not len(part.closings("reef/other"))


def test_a_part_knows_how_far_back_it_knows():
    """Where the whole was cut, or is not all of it, no answer is made up."""
    dates = ("2026-02-01 12:00", "2026-02-02 12:00", "2026-03-03 12:00")
    whole = History([done(TASK, date) for date in dates])
    part = History.restored(whole.kept(SINCE - timedelta(days=2), SINCE, lambda _: 1)).part([TASK])
    with pytest.raises(Incomplete):
        list(part.closings(TASK).latest(NOON))
    with pytest.raises(Incomplete):
        whole.part([TASK]).since(SINCE, NOON)
    with pytest.raises(Incomplete):
        list(whole.part([TASK]))
