"""Each rule by a few made-up signs: what it says, what it stands on, and when it says nothing."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import msgspec
import pytest

from rounds.core.calendar import Calendar
from rounds.water.balance import Balance, Point, Stretch, Supply
from rounds.water.programme import LightStep
from rounds.water.prompts import RULES, Draw, Drift, Evidence, Feeding, Measured, Missed, Seen, prompts

NOW = datetime(2026, 4, 1, 12, tzinfo=UTC)
DAY = timedelta(days=1)
EMPTY = Evidence(calendar=Calendar(ZoneInfo("Europe/Dublin"), time(4)), now=NOW)


def said(**known: object) -> dict[str, tuple[str, tuple[str, ...]]]:
    """Text and records by rule."""
    return {p.rule: (p.text, p.records) for p in prompts(msgspec.structs.replace(EMPTY, **known))}


def seen(days: float, station: str = "Racks 1–3") -> Seen:
    return Seen(NOW - days * DAY, station, f"seen-{days}")


def value(
    name: str, days: float, number: float, unit: str = "mg/L", *, below: bool = False, above: bool = False
) -> Measured:
    return Measured(
        at=NOW - days * DAY, name=name, value=number, shown=f"{name} {number} {unit}".strip(), below=below,
        above=above, record=f"{name}-{days}",
    )  # fmt: skip


NITRATE = value("nitrate", 2, 0.8, below=True)
PHOSPHATE = value("phosphate", 2, 0.02, below=True)
RISE = LightStep(at=NOW - 9 * DAY, what="light step", record="rise", planned=True, rise=0.08)
CARBON = LightStep(at=NOW - 5 * DAY, what="Renew carbon", record="carbon", planned=False)


def test_without_signs_nothing_is_said() -> None:
    assert said() == {}


# -- pale ----------------------------------------------------------------------------------------------


def test_pale_and_low_nutrients() -> None:
    """Two stations, both nutrients below their bands, light risen nine days ago."""
    text, records = said(
        pale=(seen(8), seen(1, "Racks 4–6")), nitrate=(NITRATE,), phosphate=(PHOSPHATE,), light=(RISE,)
    )["pale, low nutrients"]
    assert text == (
        "Pale at Racks 1–3 and Racks 4–6 (Tue 24 Mar, Tue 31 Mar); nitrate 0.8 mg/L (Mon 30 Mar) and phosphate "
        "0.02 mg/L (Mon 30 Mar) below their bands: check feeding; light up 8 % 9 days ago"
    )
    assert records == ("seen-8", "seen-1", "nitrate-2", "phosphate-2", "rise")


@pytest.mark.parametrize(
    "known",
    [
        {"pale": (seen(15),), "nitrate": (NITRATE,)},
        {"pale": (seen(1),), "nitrate": (value("nitrate", 22, 0.8, below=True),)},
        {"pale": (seen(1),), "nitrate": (NITRATE,), "phosphate": (value("phosphate", 2, 0.05),)},
        {"pale": (seen(1),), "nitrate": (NITRATE, value("nitrate", 1, 3.0))},
        {"nitrate": (NITRATE,), "phosphate": (PHOSPHATE,)},
    ],
    ids=["paling long ago", "test too old", "phosphate in band", "nitrate in band since", "nothing pale"],
)
def test_no_feeding_prompt(known: dict[str, object]) -> None:
    assert "pale, low nutrients" not in said(**known)


def test_one_nutrient_alone_is_enough() -> None:
    text, _ = said(pale=(seen(1),), nitrate=(NITRATE,))["pale, low nutrients"]
    assert "nitrate 0.8 mg/L (Mon 30 Mar) below its band: check feeding" in text


def test_pale_after_a_light_step_holds_the_rise() -> None:
    """Fourteen days from the last sign of paling."""
    text, records = said(pale=(seen(1),), light=(RISE, CARBON))["pale after light"]
    assert text == (
        "Pale at Racks 1–3 (Tue 31 Mar); Renew carbon (counts as a light step) on Fri 27 Mar, 5 days ago: hold the "
        "rise until Tue 14 Apr at least"
    )
    assert records == ("carbon", "seen-1")


@pytest.mark.parametrize(("days", "rise"), [(22, 0.08), (5, -0.08)], ids=["long ago", "a step down"])
def test_light_that_cannot_be_the_reason(days: float, rise: float) -> None:
    step = msgspec.structs.replace(RISE, at=NOW - days * DAY, rise=rise)
    assert said(pale=(seen(1),), light=(step,)) == {}


def test_wiping_every_fortnight_is_no_reason_by_itself() -> None:
    """It comes before every paling, and so tells nothing; a step that is made now and then does."""
    wiped = LightStep(at=NOW - 3 * DAY, what="Wipe lenses", record="wipe", planned=False, routine=True)
    assert said(pale=(seen(1),), light=(wiped,)) == {}
    assert said(pale=(seen(1),), light=(RISE, wiped))["pale after light"][1] == ("rise", "seen-1")


def test_paling_that_was_there_before_the_step_does_not_come_of_it() -> None:
    """Seen every ten days since day 31: the step nine days ago came later."""
    assert said(pale=tuple(seen(days) for days in (31, 21, 11, 1)), light=(RISE,)) == {}


def test_paling_that_goes_on_is_told_with_the_step_it_began_after() -> None:
    """Not with one that was made while it went on."""
    step = msgspec.structs.replace(RISE, at=NOW - 15 * DAY, record="before")
    _, records = said(pale=(seen(12), seen(1)), light=(step, RISE))["pale after light"]
    assert records == ("before", "seen-12", "seen-1")


# -- feeding -------------------------------------------------------------------------------------------

HIGH = value("nitrate", 1, 14, above=True)


def feeding(lately: float, before: float, what: str = "g") -> Feeding:
    return Feeding(what=what, lately=lately, before=before, records=("feed-1", "feed-2"))


def test_high_nitrate_after_heavier_feeding() -> None:
    text, records = said(nitrate=(HIGH,), feeding=(feeding(2, 2, "feeds"), feeding(16, 12)))[
        "high nitrate, heavier feeding"
    ]
    assert text.startswith("Nitrate 14 mg/L (Tue 31 Mar) is above its band and feeding went from 12.0 to 16.0 g a day")
    assert records == ("feed-1", "feed-2", "nitrate-1")


@pytest.mark.parametrize("fed", [feeding(13, 12), feeding(5, 0)], ids=["about the same", "nothing known before"])
def test_high_nitrate_alone_says_nothing_of_feeding(fed: Feeding) -> None:
    assert said(nitrate=(HIGH,), feeding=(fed,)) == {}
    assert said(nitrate=(NITRATE,), feeding=(feeding(16, 12),)) == {}


def test_missed_feeds_are_named_and_not_made_up() -> None:
    missed = tuple(Missed(f"Feed {n}", NOW - DAY) for n in range(5))
    text, records = said(missed=missed)["missed feeds"]
    assert text.startswith("Not given: Feed 2 on Tue 31 Mar; Feed 3 on Tue 31 Mar; Feed 4 on Tue 31 Mar and 2 more;")
    assert records == ()


# -- acute ---------------------------------------------------------------------------------------------


def test_ammonia_above_its_band() -> None:
    text, records = said(ammonia=(value("ammonia", 0.1, 0.4, above=True),), dead=(seen(1, "Sump"),))["ammonia"]
    assert text.startswith("Ammonia 0.4 mg/L (Wed 1 Apr) is above its band; dead seen at Sump (Tue 31 Mar): look for")
    assert records == ("seen-1", "ammonia-0.1")


def test_a_dead_animal_asks_for_an_ammonia_test() -> None:
    assert "test ammonia" in said(dead=(seen(1),))["death"][0]
    assert said(dead=(seen(1),), ammonia=(value("ammonia", 0.5, 0.0),)) == {}
    assert said(dead=(seen(4),)) == {}


def test_high_ph_with_limewater() -> None:
    over = (value("pH", 0.1, 8.47, "", above=True),)
    text, records = said(ph=over, limewater="limewater feed")["pH with limewater"]
    assert text == "pH 8.47 (Wed 1 Apr), over 8.45 (NBS) with limewater feed running: stop it and look again in an hour"
    assert records == ("pH-0.1",)
    high = (value("pH", 0.1, 8.3, "", above=True),)
    assert "above its band" in said(ph=high, limewater="limewater feed")["pH with limewater"][0]
    assert said(ph=over) == {}
    assert said(ph=(value("pH", 0.1, 8.2, ""),), limewater="limewater feed") == {}
    assert said(ph=(value("pH", 4, 8.5, "", above=True),), limewater="limewater feed") == {}


def draw(litres: float, days: float = 0.2) -> Draw:
    return Draw(
        name="barrel", litres=litres, since=NOW - (days + 0.5) * DAY, at=NOW - days * DAY, usual=5.3, records=("a", "b")
    )


SALINITIES = tuple(value("salinity", days, 35.0, "PSU") for days in (9, 7, 5, 3))


def test_falling_salinity_with_much_fresh_water() -> None:
    text, records = said(salinity=(*SALINITIES, value("salinity", 0.1, 33.2, "PSU")), fresh=(draw(52),))["diluted"]
    assert text == (
        "Salinity 33.2 PSU (Wed 1 Apr), 35.0 before, and barrel gave 52.0 L in 12 h (5.3 L a day is usual): "
        "fresh water gets in; shut the tap, look at the float valve and for leaks"
    )
    assert records == ("a", "b", "salinity-0.1")


@pytest.mark.parametrize(
    ("last", "fresh"), [(33.2, draw(2.6)), (34.9, draw(52)), (33.2, draw(52, days=5))],
    ids=["usual use", "salinity steady", "long ago"],
)  # fmt: skip
def test_no_dilution_without_both_signs(last: float, fresh: Draw) -> None:
    assert said(salinity=(*SALINITIES, value("salinity", 0.1, last, "PSU")), fresh=(fresh,)) == {}


# -- alkalinity ----------------------------------------------------------------------------------------


def balanced(supply: float, slope: float, level: float = 7.64, spread: float = 0.003) -> Balance:
    tests = tuple(Point(NOW - days * DAY, level, f"test-{days}") for days in (8, 6, 4, 2))
    given = Supply(source="x", name="x", kind="dosing", meq_per_day=0, how="")
    return Balance(
        volume=960, supplies=(given,), stretch=Stretch(tests, None), changes=(), changed=0, supply=supply, slope=slope,
        slope_low=slope - spread, slope_high=slope + spread, level=level,
    )  # fmt: skip


def drift(days: float = 7) -> Drift:
    return Drift(
        said="alkalinity 7.6 dKH: falling 0.020 dKH a day, leaves the usual band in about 7 days (4 to 10)",
        leaves_at=NOW + days * DAY, records=("test-4", "test-2"),
    )  # fmt: skip


def test_alkalinity_leaving_its_band_by_demand() -> None:
    """When it leaves is what the readings say, why it does what the balance says."""
    known = {"alkalinity": drift(), "balance": balanced(0.902, -0.02), "earlier": balanced(0.902, 0.0)}
    text, records = said(**known)["alkalinity"]
    assert text == (
        "Alkalinity 7.6 dKH: falling 0.020 dKH a day, leaves the usual band in about 7 days (4 to 10); supply 0.902, "
        "consumption 0.922 (0.919 to 0.925) dKH a day at salinity 35; demand has grown from 0.902, supply is as "
        "before: see the proposal"
    )
    assert records == ("test-4", "test-2")


@pytest.mark.parametrize(
    ("now", "earlier", "cause"),
    [
        (balanced(0.80, -0.1), balanced(0.90, 0.0), "supply was 0.900 before: look at containers"),
        (balanced(0.90, 0.02, 8.5), balanced(0.90, 0.0), "demand has fallen from 0.900"),
        (balanced(0.90, -0.02), balanced(0.90, -0.019), "supply and demand do not meet"),
        (balanced(0.90, -0.02), None, "supply and demand do not meet"),
    ],
)
def test_demand_is_told_from_supply(now: Balance, earlier: Balance | None, cause: str) -> None:
    assert cause in said(alkalinity=drift(), balance=now, earlier=earlier)["alkalinity"][0]


def test_a_failed_head_comes_before_grown_demand() -> None:
    """What is seen of the supply is surer than what follows for the demand."""
    known = {"balance": balanced(0.902, -0.02), "earlier": balanced(0.902, 0.0), "failing": ("solution gives 0 mL.",)}
    text, _ = said(alkalinity=drift(), **known)["alkalinity"]
    assert text.endswith("solution gives 0 mL.")
    assert "demand" not in text


def test_alkalinity_without_a_balance_is_told_all_the_same() -> None:
    assert said(alkalinity=drift())["alkalinity"][0].endswith("about 7 days (4 to 10)")


def test_alkalinity_that_stays_says_nothing() -> None:
    assert said(balance=balanced(0.9, -0.02)) == {}
    assert said(alkalinity=drift(15), balance=balanced(0.9, -0.02)) == {}


def test_prompts_are_bounded() -> None:
    """One prompt a rule and twelve records each, whatever there is to say."""
    many = tuple(seen(14 - days / 10, f"Station {days}") for days in range(100))
    found = prompts(
        msgspec.structs.replace(
            EMPTY, pale=many, dead=many, nitrate=(NITRATE,), light=(RISE,), missed=(Missed("x", NOW),) * 50
        )
    )
    assert len(found) <= len(RULES)
    assert all(len(prompt.records) <= 12 and len(prompt.text) < 320 for prompt in found)
    assert "100 stations" in {p.rule: p.text for p in found}["pale, low nutrients"]
