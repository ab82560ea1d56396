"""Ids of records."""

import time
from uuid import RFC_4122, UUID

from rounds.storage.ids import new_id


def made(id: str) -> int:
    """Milliseconds since 1970 at which the id was made."""
    return UUID(id).int >> 80


def test_an_id_is_a_uuid_of_version_7():
    ids = [UUID(new_id()) for _ in range(200)]
    assert {(id.version, id.variant) for id in ids} == {(7, RFC_4122)}


def test_an_id_tells_when_it_was_made():
    """Others may have been made in the same millisecond; two seconds are room enough for them."""
    before = time.time_ns() // 1_000_000
    assert before <= made(new_id()) <= before + 2_000


def test_ids_sort_as_they_were_made_also_within_a_millisecond():
    ids = [new_id() for _ in range(500)]
    assert ids == sorted(ids)
    assert len({made(id) for id in ids}) == 500


def test_ids_made_while_the_clock_stands_or_goes_back_are_later_still(monkeypatch):
    first = new_id()
    monkeypatch.setattr(time, "time_ns", lambda: 0)
    assert first < new_id() < new_id()


def test_ids_differ_by_chance_and_not_only_by_their_time():
    tails = {UUID(new_id()).int & (1 << 62) - 1 for _ in range(200)}
    assert len(tails) == 200
