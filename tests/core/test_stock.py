"""Stock: its level from counts, deliveries and work, and what is asked for because of it."""

from __future__ import annotations

from datetime import date, datetime

import msgspec
import pytest

from rounds.core.completion import judged
from rounds.core.errors import CannotRead, Refused
from rounds.core.following import draft_done
from rounds.core.history import History
from rounds.core.items import DONE, DUE, LATER, POSTPONED, DueItem
from rounds.core.plan import due_items
from rounds.core.record import NOT_NEEDED, READING, REFILL, STOCK, Record, Value
from rounds.core.recording import draft_not_needed
from rounds.core.stock import LOOK_BACK, amount_text, parse_amount, parse_last_day, stock_level
from rounds.core.stock_records import draft_answer, draft_delivered, draft_ordered
from tests.support import done, head, instant, measured, postponed, record, room_from, strike

ROOM = room_from(
    head(),
    reef="""name = "Reef"
[[stations]]
id = "shelf"
[[tasks]]
id = "batch"
title = "Mix a batch"
called = true
uses = { salt = "7 kg" }
[[readings]]
id = "alkalinity"
quantity = "alkalinity"
called = true
uses = { "reef/reagent" = "1 tests" }
[[reservoirs]]
id = "lime"
kind = "limewater"
capacity = "20 L"
uses = { powder = "30 g" }
[[stock]]
id = "salt"
kind = "salt"
station = "shelf"
unit = "kg"
minimum = "14 kg"
pack = "20 kg"
[[stock]]
id = "reagent"
kind = "reagent"
unit = "tests"
minimum = "5 tests"
expires = 2026-03-20
[[stock]]
id = "powder"
unit = "g"
[[instruments]]
id = "kit"
kind = "test kit"
name = "alkalinity kit"
batch = "K4"
expires = 2026-03-20
""",
)
SALT = ROOM.stock["reef/salt"]


def told(what: str, stock: str, at: str, amount: float, **fields: object) -> Record:
    value = Value(reading=stock, entered=f"{amount:g}", value=amount, unit="")
    return record(STOCK, stock, at, words=(what,), values=(value,), **fields)


def counted(stock: str, at: str, amount: float, **fields: object) -> Record:
    return told("counted", stock, at, amount, **fields)


def delivered(stock: str, at: str, amount: float, **fields: object) -> Record:
    return told("delivered", stock, at, amount, **fields)


def at(text: str) -> datetime:
    return instant(text)


def level(stock: str, now: str, *records: Record) -> float | None:
    return stock_level(ROOM, History(records), ROOM.stock[stock], at(now)).level


def item(id: str, now: str, *records: Record) -> DueItem | None:
    """The open item of the stock, or that which was closed in the round day."""
    found = [each for each in due_items(ROOM, History(records), at(now)) if each.task.id == id]
    assert len(found) <= 1, found
    return found[0] if found else None


ENOUGH = (counted("reef/salt", "2026-03-01T09:00", 40), counted("reef/reagent", "2026-03-01T09:00", 30))


def test_a_level_is_the_last_count_with_what_came_and_went_since() -> None:
    """40 kg counted, 20 kg delivered, two batches of 7 kg; what lies before the count no longer bears on it."""
    records = [
        done("reef/batch", "2026-02-27T10:00"), ENOUGH[0], done("reef/batch", "2026-03-02T10:00"),
        delivered("reef/salt", "2026-03-03T09:00", 20), done("reef/batch", "2026-03-04T10:00"),
    ]  # fmt: skip
    assert level("reef/salt", "2026-03-05T09:00", *records) == 46
    assert level("reef/salt", "2026-03-02T12:00", *records) == 33


def test_readings_and_refills_draw_too() -> None:
    """A test takes one, however many values it has; a refill its 30 g."""
    tests = [measured("reef/alkalinity", f"2026-03-0{day}T09:00", 2.8) for day in (2, 3)]
    assert level("reef/reagent", "2026-03-05T09:00", ENOUGH[1], *tests) == 28
    filled = measured("reef/lime-level", "2026-03-02T09:00", 20.0, kind=REFILL, task="reef/lime-refill")
    assert level("reef/powder", "2026-03-05T09:00", counted("reef/powder", "2026-03-01T09:00", 100), filled) == 70


@pytest.mark.parametrize("kind", [NOT_NEEDED, "could not"])
def test_what_was_not_done_draws_nothing(kind: str) -> None:
    left = record(kind, "reef/batch", "2026-03-02T10:00", reason="full")
    assert level("reef/salt", "2026-03-05T09:00", ENOUGH[0], left) == 40


def test_struck_records_do_not_count() -> None:
    batch = done("reef/batch", "2026-03-02T10:00")
    assert level("reef/salt", "2026-03-05T09:00", ENOUGH[0], batch, strike(batch, "2026-03-02T11:00")) == 40


def test_a_level_does_not_fall_below_nothing() -> None:
    """What was drawn of nothing is not owed by the next delivery."""
    records = [counted("reef/salt", "2026-03-01T09:00", 5), done("reef/batch", "2026-03-02T10:00"),
               delivered("reef/salt", "2026-03-03T09:00", 20)]  # fmt: skip
    assert level("reef/salt", "2026-03-05T09:00", *records) == 20


def test_never_counted_is_not_known_and_asked_for_without_being_late() -> None:
    assert level("reef/salt", "2026-03-05T09:00") is None
    found = item("reef/salt-count", "2026-03-05T09:00")
    assert found is not None
    assert (found.state, found.task.title) == (DUE, "Count salt")
    assert item("reef/powder-count", "2026-03-05T09:00") is None


def test_a_count_too_much_work_ago_is_no_level() -> None:
    """So many records are added up, and no more."""
    many = [measured("reef/alkalinity", f"2026-03-02T{n // 60:02}:{n % 60:02}", 2.8) for n in range(LOOK_BACK)]
    start = counted("reef/reagent", "2026-03-01T09:00", 1000)
    assert level("reef/reagent", "2026-03-05T09:00", start, *many[1:]) == 1001 - LOOK_BACK
    assert level("reef/reagent", "2026-03-05T09:00", start, *many) is None


def test_below_its_minimum_it_is_ordered_since_it_fell() -> None:
    """At the minimum itself nothing is asked; the second batch takes it below."""
    first, second = done("reef/batch", "2026-03-02T10:00"), done("reef/batch", "2026-03-03T11:00")
    start = counted("reef/salt", "2026-03-01T09:00", 21)
    assert item("reef/salt-order", "2026-03-02T12:00", start, first) is None
    found = item("reef/salt-order", "2026-03-04T09:00", start, first, second)
    assert found is not None
    assert (found.state, found.due_at) == (DUE, at("2026-03-03T11:00"))
    assert "TV counted 21 kg Sun 1 Mar 09:00" in found.because or "TV counted 21 kg Sun 09:00" in found.because
    assert "14 kg drawn by 2 × work: 7 kg left. The minimum is 14 kg." in found.because


SHORT = counted("reef/salt", "2026-03-03T09:00", 3)


def test_an_order_turns_it_into_a_delivery_to_take_in() -> None:
    """The order is done today; the delivery is looked out for in a week where nothing else is said."""
    order = record(STOCK, "reef/salt", "2026-03-04T09:00", words=("ordered",), note="2 bags")
    closed = item("reef/salt-order", "2026-03-04T10:00", SHORT, order)
    expected = item("reef/salt-delivery", "2026-03-04T10:00", SHORT, order)
    assert closed is not None
    assert expected is not None
    assert (closed.state, closed.closed_by, closed.due_at) == (DONE, "TV", at("2026-03-03T09:00"))
    assert (expected.state, expected.due_at) == (LATER, at("2026-03-11T09:00"))
    assert item("reef/salt-order", "2026-03-05T10:00", SHORT, order) is None


def test_a_delivery_closes_it_and_shows_as_done_today() -> None:
    found = item("reef/salt-order", "2026-03-04T10:00", SHORT, delivered("reef/salt", "2026-03-04T09:00", 20))
    assert found is not None
    assert (found.state, found.task.title) == (DONE, "Order salt")
    assert item("reef/salt-order", "2026-03-05T10:00", SHORT, delivered("reef/salt", "2026-03-04T09:00", 20)) is None


def test_too_small_a_delivery_leaves_it_due() -> None:
    found = item("reef/salt-order", "2026-03-04T10:00", SHORT, delivered("reef/salt", "2026-03-04T09:00", 5))
    assert found is not None
    assert found.state == DUE


def test_an_order_stays_over_a_count_that_is_still_short() -> None:
    """What is on its way is not ordered twice."""
    records = (
        SHORT, record(STOCK, "reef/salt", "2026-03-04T09:00", words=("ordered",)),
        counted("reef/salt", "2026-03-05T09:00", 2),
    )  # fmt: skip
    assert item("reef/salt-order", "2026-03-06T09:00", *records) is None
    assert item("reef/salt-delivery", "2026-03-06T09:00", *records) is not None


def test_an_order_that_came_uncounted_is_over_with_a_count() -> None:
    """Short again later, it is ordered again."""
    records = (
        SHORT, record(STOCK, "reef/salt", "2026-03-04T09:00", words=("ordered",)),
        counted("reef/salt", "2026-03-05T09:00", 40), counted("reef/salt", "2026-03-20T09:00", 2),
    )  # fmt: skip
    assert item("reef/salt-order", "2026-03-21T09:00", *records) is not None
    assert item("reef/salt-delivery", "2026-03-21T09:00", *records) is None


def test_it_can_be_postponed_and_is_never_not_needed() -> None:
    later = postponed("reef/salt-order", "2026-03-03T10:00", "2026-03-05T10:00")
    found = item("reef/salt-order", "2026-03-04T10:00", SHORT, later)
    assert found is not None
    assert found.state == POSTPONED
    with pytest.raises(Refused, match="a delivery or a count"):
        draft_not_needed(ROOM, History([SHORT]), found.task, "no", at("2026-03-04T10:00"))


def test_what_was_put_off_before_it_fell_short_again_is_asked_for() -> None:
    """A delivery has ended the first shortage, and what was said of it."""
    put_off = postponed("reef/salt-order", "2026-03-03T10:00", "2026-04-01T10:00")
    enough, again = delivered("reef/salt", "2026-03-04T09:00", 20), counted("reef/salt", "2026-03-09T09:00", 3)
    found = item("reef/salt-order", "2026-03-10T09:00", SHORT, put_off, enough, again)
    assert found is not None
    assert found.state == DUE


def test_a_count_stays_put_off_over_several_days() -> None:
    found = item("reef/salt-count", "2026-03-05T09:00", postponed("reef/salt-count", "2026-03-03T10:00", "2026-03-06"))
    assert found is not None
    assert found.state == POSTPONED


def test_what_expires_is_ordered_before_and_discarded_after() -> None:
    """Good until 20 March: ordered from the 6th, discarded from the 21st; a count of enough answers each once."""
    start = counted("reef/reagent", "2026-03-01T09:00", 30)
    early = item("reef/reagent-order", "2026-03-05T09:00", start)
    assert early is not None
    assert (early.state, early.due_at) == (LATER, at("2026-03-06T04:00"))
    seen = counted("reef/reagent", "2026-03-07T09:00", 30)
    assert item("reef/reagent-order", "2026-03-08T09:00", start, seen) is None
    past = item("reef/reagent-discard", "2026-03-21T09:00", start, seen)
    assert past is not None
    assert (past.state, past.due_at) == (DUE, at("2026-03-21T04:00"))
    assert item("reef/reagent-order", "2026-03-21T09:00", start, seen) is None
    gone = counted("reef/reagent", "2026-03-21T10:00", 9)
    assert item("reef/reagent-discard", "2026-03-22T09:00", start, gone) is None


def test_a_delivery_brings_a_new_last_day() -> None:
    fresh = delivered("reef/reagent", "2026-03-08T09:00", 50, until="2026-12-01T04:00")
    found = item("reef/reagent-order", "2026-03-21T09:00", counted("reef/reagent", "2026-03-01T09:00", 9), fresh)
    assert found is not None
    assert (found.state, found.due_at) == (LATER, at("2026-11-17T04:00"))


def test_the_last_day_that_a_count_found_stands_before_what_was_said_earlier() -> None:
    """What comes afterwards may be good for longer."""
    seen = counted("reef/reagent", "2026-03-02T09:00", 30, until="2026-03-10T04:00")
    past = item("reef/reagent-discard", "2026-03-11T09:00", seen)
    assert past is not None
    assert (past.state, past.due_at) == (DUE, at("2026-03-11T04:00"))
    fresh = delivered("reef/reagent", "2026-03-12T09:00", 50, until="2026-12-01T04:00")
    assert item("reef/reagent-discard", "2026-03-21T09:00", seen, fresh) is None


def test_what_comes_past_its_day_asks_first() -> None:
    reagent, now = ROOM.stock["reef/reagent"], at("2026-03-08T09:00")
    assert draft_delivered(ROOM, reagent, 5, now, expires=date(2026, 3, 8)).questions == ()
    (asked,) = draft_delivered(ROOM, reagent, 5, now, expires=date(2026, 3, 7)).questions
    assert "was good until Sat 7 Mar 2026" in asked


def test_a_kit_is_renewed_before_its_last_day() -> None:
    """From 14 days before on, until it is done."""
    assert item("reef/kit-expires", "2026-03-05T09:00") is not None
    found = item("reef/kit-expires", "2026-03-07T09:00")
    assert found is not None
    assert (found.state, found.due_at, found.task.title) == (DUE, at("2026-03-06T04:00"), "Renew the alkalinity kit")
    assert "good until Fri 20 Mar 2026 (batch K4)" in found.because
    renewed = done("reef/kit-expires", "2026-03-07T10:00", note="K9")
    closed = item("reef/kit-expires", "2026-03-07T11:00", renewed)
    assert closed is not None
    assert closed.state == DONE
    assert item("reef/kit-expires", "2026-03-08T11:00", renewed) is None


def test_days_left_by_the_use_of_late() -> None:
    """Seven kg every seven days is one a day; 40 − 28 = 12 kg last 12 days. Less than a week says nothing."""
    batches = [done("reef/batch", f"2026-03-{day:02}T09:00") for day in (2, 9, 16, 23)]
    found = stock_level(ROOM, History([ENOUGH[0], *batches]), SALT, at("2026-03-23T09:00"))
    assert found.use_per_day == pytest.approx(1.0)
    assert found.days_left == pytest.approx(12.0)
    young = stock_level(ROOM, History([ENOUGH[0], batches[0]]), SALT, at("2026-03-04T09:00"))
    assert (young.use_per_day, young.days_left) == (None, None)


@pytest.mark.parametrize(
    ("typed", "amount"), [("7 kg", 7.0), ("7,5", 7.5), (" 2.25 KG ", 2.25), ("0", 0.0)], ids=lambda each: str(each)
)
def test_amounts_in_the_unit_of_the_stock(typed: str, amount: float) -> None:
    assert parse_amount(typed, "kg", "salt") == amount


@pytest.mark.parametrize(
    ("unit", "one", "two", "half"),
    [
        ("piece", "1 piece", "2 pieces", "0.5 pieces"),
        ("tests", "1 test", "2 tests", "0.5 tests"),
        ("box", "1 box", "2 boxes", "0.5 boxes"),
        ("kg", "1 kg", "2 kg", "0.5 kg"),
        ("Beutel", "1 Beutel", "2 Beutel", "0.5 Beutel"),
    ],
)
def test_units_that_are_counted_follow_their_number(unit: str, one: str, two: str, half: str) -> None:
    """Any other word stays as it is written in the file; each is read back."""
    stock = msgspec.structs.replace(SALT, unit=unit)
    for amount, text in ((1.0, one), (2.0, two), (0.5, half), (1.0004, one)):
        assert amount_text(stock, amount) == text
        assert parse_amount(text, unit, "it") == pytest.approx(amount, abs=0.001)


@pytest.mark.parametrize("typed", ["", "kg", "7 lb", "-1 kg", "7 kg bag", "1e3", "seven"])
def test_other_amounts_are_refused(typed: str) -> None:
    with pytest.raises(CannotRead, match="counted in kg"):
        parse_amount(typed, "kg", "salt")


@pytest.mark.parametrize(
    ("typed", "day"),
    [
        (" 2026-12-01 ", date(2026, 12, 1)),
        ("2026-12", date(2026, 12, 31)),
        ("2028-02", date(2028, 2, 29)),
        ("2200-12", date(2200, 12, 31)),
    ],
)
def test_a_last_day_is_a_date_or_a_month_as_on_a_label(typed: str, day: date) -> None:
    assert parse_last_day(typed) == day


@pytest.mark.parametrize("typed", ["", "12/26", "2026-13", "2026-02-30", "0001-01-01", "9999-12", "9999-12-31"])
def test_other_last_days_are_refused(typed: str) -> None:
    """Also one beyond what a calendar can reckon with."""
    with pytest.raises(CannotRead, match="no day"):
        parse_last_day(typed)


@pytest.mark.parametrize(
    ("errand", "typed", "what", "amount", "note"),
    [
        ("reef/salt-order", "two bags, by post", "ordered", None, "two bags, by post"),
        ("reef/salt-order", "", "ordered", None, ""),
        ("reef/salt-order", "20 kg from the ferry", "delivered", 20.0, "from the ferry"),
        ("reef/salt-delivery", "", "delivered", 20.0, ""),
        ("reef/salt-delivery", "25", "delivered", 25.0, ""),
        ("reef/reagent-discard", "0 tests poured away", "counted", 0.0, "poured away"),
        ("reef/salt-count", "31,5", "counted", 31.5, ""),
    ],
)
def test_what_is_typed_at_its_due_item(errand: str, typed: str, what: str, amount: float | None, note: str) -> None:
    draft = draft_answer(ROOM, errand, typed, at("2026-03-04T10:00"))
    assert (draft.kind, draft.words, draft.note) == (STOCK, (what,), note)
    assert [value.value for value in draft.values] == ([] if amount is None else [amount])


def test_what_says_too_little_is_refused() -> None:
    now = at("2026-03-04T10:00")
    with pytest.raises(Refused, match="how much is left"):
        draft_answer(ROOM, "reef/salt-count", "plenty", now)
    with pytest.raises(Refused, match="how much reagent came"):
        draft_delivered(ROOM, ROOM.stock["reef/reagent"], None, now)
    with pytest.raises(Refused, match="before it was ordered"):
        draft_ordered(SALT, "", now, expected=at("2026-03-04T09:00"))


def test_done_at_the_due_item_is_the_order() -> None:
    found = item("reef/salt-order", "2026-03-04T10:00", SHORT)
    assert found is not None
    draft = draft_done(ROOM, History([SHORT]), found.task, "", at("2026-03-04T10:00"))
    assert (draft.kind, draft.task, draft.words) == (STOCK, "reef/salt", ("ordered",))


def test_a_value_of_a_change_step_draws_nothing() -> None:
    """Only a test takes a reagent."""
    step = measured("reef/alkalinity", "2026-03-02T09:00", 2.8, kind="change step")
    tested = measured("reef/alkalinity", "2026-03-02T10:00", 2.8, kind=READING)
    assert level("reef/reagent", "2026-03-05T09:00", ENOUGH[1], step, tested) == 29


# -- in a review -------------------------------------------------------------------------------------


def came_due(id: str, now: str, *records: Record, begin: str = "2026-03-01T04:00") -> list[tuple[str, str]]:
    """When it came due since `begin` and what became of it."""
    found = judged(ROOM, History(records), at(begin), at("2026-04-01T04:00"), at(now))
    local = ROOM.calendar.local
    return [(local(each.due_at).strftime("%d %H:%M"), each.outcome) for each in found if each.task.id == id]


def test_what_was_ordered_late_and_came_in_time() -> None:
    """Short since the 2nd and to be ordered within three days, expected on the 12th; twice in a month."""
    records = [
        counted("reef/salt", "2026-03-02T09:00", 10),
        told("ordered", "reef/salt", "2026-03-06T09:00", 40, until="2026-03-12T09:00"),
        delivered("reef/salt", "2026-03-13T09:00", 40),
        counted("reef/salt", "2026-03-20T09:00", 12),
        told("ordered", "reef/salt", "2026-03-20T10:00", 40, until="2026-03-25T09:00"),
    ]
    now = "2026-03-30T09:00"
    assert came_due("reef/salt-order", now, *records) == [("02 09:00", "late"), ("20 09:00", "in time")]
    assert came_due("reef/salt-delivery", now, *records) == [("12 09:00", "in time"), ("25 09:00", "not done")]
    assert came_due("reef/salt-order", now, *records, begin="2026-03-10T04:00") == [("20 09:00", "in time")]
    assert came_due("reef/salt-order", "2026-03-03T09:00", records[0]) == [("02 09:00", "open")]


@pytest.mark.parametrize(
    ("renewed", "outcome"), [("2026-03-10T09:00", "in time"), ("2026-03-21T09:00", "late"), (None, "not done")]
)
def test_a_kit_that_was_renewed_in_time_or_not(renewed: str | None, outcome: str) -> None:
    """Good until the 20th: from the 6th on, up to its last day."""
    records = [done("reef/kit-expires", renewed)] if renewed is not None else []
    assert came_due("reef/kit-expires", "2026-03-22T09:00", *records) == [("06 04:00", outcome)]
    assert came_due("reef/kit-expires", "2026-03-05T09:00") == []
