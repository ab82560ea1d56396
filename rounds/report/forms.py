"""The forms of set-up: which fields each kind of table of the room's files has."""

from __future__ import annotations

from rounds.core.durations import UNITS
from rounds.core.model import (
    DELIVERIES,
    DOSED,
    IMPORTANCES,
    INSTRUMENT_KINDS,
    PROTOCOL_PLACES,
    RESERVOIR_KINDS,
    ROOM,
    STOCK_KINDS,
)
from rounds.core.quantities import QUANTITIES
from rounds.report.fields import CHOICE, DAY, FLAG, MOMENT, NUMBER, PAIRS, PART, ROWS, RULE, TEXTS, WHOLE, Field, Form

_NAMED_SO = "records and other tables name it so"

_ID = Field(key="id", label="id", help="How files and records call it; made from the name, can be changed.")
_KEPT_ID = Field(key="id", label="id", help="How files and records call it; stays once it is there.", stays=_NAMED_SO)
_NAME = Field(key="name", label="name")
_STATION = Field(key="station", label="station", help="Where it stands; empty: the system as a whole.", of="stations")
_SPANS = f"A number and a unit, {UNITS[0]} to weeks."
_TITLE = Field(key="title", label="title", help="What is to be done, in a few words.")
_IMPORTANCE = Field(
    key="importance",
    label="importance",
    how=CHOICE,
    choices=IMPORTANCES,
    help="What is looked at first when much is late; empty: husbandry.",
)
_GUIDANCE = (
    Field(key="minutes", label="minutes", how=WHOLE, help="How long it takes."),
    Field(key="steps", label="steps", how=TEXTS, help="What is done, one after the other."),
    Field(key="look_for", label="look for"),
    Field(key="caution", label="caution", help="What can hurt, and what protects."),
)
_BASIS = Field(key="basis", label="basis", help="Where it comes from: a source, or common practice.")

_WHEN = (
    Field(
        key="rule", label="when", how=RULE, help="Again after a time, on these days, once, or only when it is called."
    ),
    Field(
        key="make_up",
        label="made up",
        how=FLAG,
        default=True,
        help="Of what is due on days: whether a missed time is still done. A meal not given is not given twice.",
    ),
    Field(
        key="grace", label="grace", help=f"How long after it was due it is fine. {_SPANS} Empty: a quarter of the time."
    ),
    Field(key="shift", label="shift", help="Whose work it is.", of="shifts"),
    Field(key="keeper", label="keeper", help="Initials of who does it.", of="keepers"),
    _IMPORTANCE,
    *_GUIDANCE,
    _BASIS,
    Field(key="first_day", label="first day", how=DAY, help="Not due before."),
    Field(key="last_day", label="last day", how=DAY, help="Not due after."),
    Field(key="from", label="from", how=MOMENT, help="Of minutes and hours: when it is first due."),
    Field(key="until", label="until", how=MOMENT, help="From then on it is no more; in place of a last day."),
    Field(
        key="early",
        label="early",
        help=f"How long before it is due it counts. {_SPANS} Empty: a quarter, at most 12 hours.",
    ),
    Field(
        key="lapse",
        label="lapse",
        help=f"Of what is not made up: how long after it was due it is missed. {_SPANS} Empty: with the round day.",
    ),
    Field(
        key="equipment",
        label="equipment",
        help="What has to be in service for it; while that is off, it waits.",
        of="equipment",
    ),
    Field(key="turns_off", label="turns off", how=TEXTS, help="What is off while it is done.", of="equipment"),
    Field(key="countdown", label="off at most", help=f"How long that is off at most. {_SPANS}"),
    Field(
        key="uses",
        label="uses up",
        how=PAIRS,
        one="use",
        help="What it takes out of the stock each time; of a reservoir, its refill.",
        fields=(
            Field(key="stock", label="stock", of="stock"),
            Field(key="amount", label="amount", help="In the unit of that stock, such as 7 kg."),
        ),
    ),
    Field(key="paused", label="paused", how=FLAG, help="Not asked for until it is taken back."),
)
_DROPPED = Field(
    key="dropped", label="left out", how=FLAG, help="Of what the care catalogue brings: as if it did not exist."
)
_WITHOUT = Field(
    key="without", label="without", how=TEXTS, help="Ids of tasks and readings that its kinds do not bring."
)

THE_ROOM = Form(
    kind="room",
    key="",
    only_room=True,
    fields=(
        _NAME,
        Field(key="day_begins", label="day begins", help="Work before it belongs to the evening; empty: 04:00."),
        Field(
            key="minutes_a_day",
            label="minutes a day",
            how=WHOLE,
            help="How long the work of a day may take, of all keepers together.",
        ),
        Field(
            key="on_call",
            label="on call",
            how=TEXTS,
            of="keepers",
            help="Who is called between the shifts, first to last.",
        ),
        Field(
            key="care",
            label="care",
            how=TEXTS,
            kinds="room",
            help="Its kinds in the care catalogue, which bring its tasks and readings.",
        ),
        _WITHOUT,
        Field(
            key="units",
            label="units",
            how=PART,
            headers=True,
            help="What readings are shown in, and what a number without a unit means; records keep what was typed.",
            fields=tuple(
                Field(key=name, label=name, how=CHOICE, choices=tuple(unit.name for unit in kind.units))
                for name, kind in QUANTITIES.items()
                if len(kind.units) > 1
            ),
        ),
        Field(
            key="timezone",
            label="time zone",
            stays="every time of the rules, and the day of every record, is read by the clock of that zone",
        ),
        Field(
            key="began",
            label="began",
            how=DAY,
            stays="what was never done, and every rule without a first day, is counted from it",
        ),
    ),
)

SYSTEM = Form(
    kind="system",
    key="",
    fields=(
        Field(key="id", label="id", help="The name of its file; made from the name, can be changed."),
        _NAME,
        Field(key="volume", label="volume", help="Net water with its unit, such as 960 L."),
        Field(key="surface", label="surface", help="Of the open water, such as 3.9 m2."),
        Field(key="zone", label="zone", help="Which tools it is touched with.", of="zones"),
        Field(
            key="care",
            label="care",
            how=TEXTS,
            kinds="system",
            help="Its kinds in the care catalogue, which bring its tasks and readings.",
        ),
        _WITHOUT,
        Field(
            key="isolation",
            label="isolation",
            help="Of a quarantine: how long all that is in it stays apart, such as 45 days.",
        ),
        Field(
            key="isolation_fish",
            label="where fish are",
            help="Of a quarantine: how long where fish are or were in it; empty: 76 days, or as long as without.",
        ),
        Field(key="paused", label="paused", how=FLAG, help="Leaves only what protects people and animals."),
        Field(key="drained", label="drained", how=FLAG, help="Paused and empty: leaves nothing."),
    ),
)

TANK = Form(
    kind="tank",
    key="tanks",
    fields=(
        _KEPT_ID,
        _NAME,
        Field(key="volume", label="volume", help="What it holds of the water of the system, such as 300 L."),
        Field(key="stations", label="stations", how=TEXTS, help="What stands in its water.", of="stations"),
    ),
)

STATION = Form(kind="station", key="stations", fields=(_KEPT_ID, _NAME))

TASK = Form(
    kind="task",
    key="tasks",
    fields=(
        _ID,
        _TITLE,
        _STATION,
        *_WHEN,
        _DROPPED,
        Field(key="takes", label="takes", how=TEXTS, help="Readings asked for when it is done.", of="readings"),
        Field(
            key="draws",
            label="draws",
            how=ROWS,
            one="draw",
            help="What it takes out of a reservoir each time.",
            fields=(
                Field(key="from", label="from", of="reservoirs"),
                Field(key="amount", label="amount", help="Such as 96 L."),
            ),
        ),
        Field(key="water_change", label="water change", help="New salt water for old, each time, such as 96 L."),
        Field(key="new_alkalinity", label="its alkalinity", help="Of that new water at 35 PSU, such as 8.6 dKH."),
        Field(key="feed", label="feeds", how=FLAG, help="Its readings say how much, its note what."),
        Field(key="animals_seen", label="animals seen", how=FLAG, help="They are looked over, as before a light step."),
        Field(
            key="light_step",
            label="more light",
            how=FLAG,
            help="It makes the light stronger: new carbon, wiped lenses, new lamps.",
        ),
        Field(key="light_check", label="checks lights", help="It compares them with their programme.", of="lights"),
    ),
)

_BAND = " with its unit, such as 7.5 dKH."

READING = Form(
    kind="reading",
    key="readings",
    fields=(
        _ID,
        _NAME,
        Field(key="title", label="title", help="Of its task; empty: Test and its name."),
        Field(key="quantity", label="quantity", how=CHOICE, choices=tuple(QUANTITIES), help="What is measured."),
        Field(key="unit", label="unit", help="What is typed without one; empty: the room's."),
        _STATION,
        Field(key="target", label="target", help=f"What it should be,{_BAND}"),
        Field(key="low", label="low", help=f"Lower end of the usual band,{_BAND}"),
        Field(key="high", label="high", help=f"Upper end of the usual band,{_BAND}"),
        Field(key="act_low", label="act below", help=f"Act at once below this,{_BAND}"),
        Field(key="act_high", label="act above", help=f"Act at once above this,{_BAND}"),
        Field(key="act_steps", label="act now", how=TEXTS, help="What to do then, one after the other."),
        Field(
            key="act_low_after",
            label="tests below",
            how=WHOLE,
            help="How many in a row have to lie below before it counts.",
        ),
        Field(key="rate", label="rate", help="The fastest change that is usual, such as 1.0 °C in 3 hours."),
        Field(key="instrument", label="instrument", help="What it is taken with.", of="instruments"),
        *_WHEN,
        _DROPPED,
    ),
)

RESERVOIR = Form(
    kind="reservoir",
    key="reservoirs",
    fields=(
        _ID,
        _NAME,
        Field(key="title", label="title", help="Of reading its level; empty: Read the and its name."),
        Field(key="kind", label="kind", how=CHOICE, choices=RESERVOIR_KINDS),
        _STATION,
        Field(key="capacity", label="capacity", help="How much it holds when full, such as 80 L."),
        Field(key="dead", label="dead", help="What cannot be drawn, such as 8 L."),
        Field(key="reserve", label="reserve", help="Refill before it falls below; waste: empty before it rises above."),
        Field(
            key="level_unit",
            label="level in",
            how=CHOICE,
            choices=("L", "%", "cm", "mL", "US gal", "UK gal"),
            help="How its level is read.",
        ),
        Field(key="litres_per_cm", label="litres a cm", how=NUMBER, help="Of a level in cm."),
        Field(key="use", label="use", help="A known use, such as 70 mL/day."),
        Field(key="fed_by", label="fed by", help="The reservoir its refills come from.", of="reservoirs"),
        Field(key="delivery", label="delivery", how=CHOICE, choices=DELIVERIES, help="How it reaches the water."),
        Field(key="makes", label="makes", help="What a purified-water unit fills into it, such as 6 L/h."),
        Field(key="doses", label="doses", how=CHOICE, choices=DOSED, help="Of a dosing container."),
        Field(key="strength", label="strength", help="Of the solution, such as 1.0 meq/mL."),
        Field(
            key="strength_reading",
            label="read at outlet",
            help="Of limewater: the conductivity reading of its outlet.",
            of="readings",
        ),
        Field(
            key="saturated",
            label="saturated",
            help="What freshly settled limewater shows on that meter at 25 °C, such as 8.9 mS/cm.",
        ),
        Field(key="paired_with", label="paired with", help="What has to fall in step with it.", of="reservoirs"),
        Field(
            key="refill",
            label="its refill",
            how=PART,
            headers=True,
            help="How it is refilled; empty: as the care catalogue has it for its kind.",
            fields=(*_GUIDANCE, _BASIS),
        ),
        *_WHEN,
    ),
)

EQUIPMENT = Form(
    kind="equipment",
    key="equipment",
    fields=(
        _ID,
        Field(
            key="kind",
            label="kind",
            kinds="equipment",
            help="Such as skimmer, return pump, heater; one of the care catalogue brings its tasks.",
        ),
        _NAME,
        _STATION,
        Field(
            key="care", label="brings care", how=FLAG, default=True, help="Whether its kind brings tasks and readings."
        ),
        Field(key="without", label="without", how=TEXTS, help="Ids of tasks that it does not bring."),
        Field(key="flow", label="flow", help="Of a CO2 reactor: what runs through it, such as 45 mL/min."),
        Field(
            key="outlet",
            label="outlet",
            help="Of a CO2 reactor: the alkalinity reading of what comes out of it.",
            of="readings",
        ),
        Field(
            key="stops_with",
            label="stops with it",
            how=TEXTS,
            help="What has to stop when it stops: dosing, limewater, CO2, UV.",
            of="equipment",
        ),
        Field(
            key="put_back_order",
            label="back in order",
            how=TEXTS,
            help="In which order it and they are put back.",
            of="equipment",
        ),
    ),
)

INSTRUMENT = Form(
    kind="instrument",
    key="instruments",
    fields=(
        _KEPT_ID,
        Field(key="kind", label="kind", how=CHOICE, choices=INSTRUMENT_KINDS),
        _NAME,
        Field(key="batch", label="batch", help="As printed on it."),
        Field(key="opened", label="opened", how=DAY),
        Field(key="expires", label="expires", how=DAY, help="The last day on which it is good."),
        Field(key="reference", label="reference", help="Of a refractometer: SG 20/20, SG 25/25 or SG 60/60F."),
    ),
)

_COURSE = (
    Field(key="begins", label="begins", help="Such as 09:30."),
    Field(key="ramp_up", label="ramp up", help="How long it takes to its peak, such as 2 hours."),
    Field(key="plateau", label="plateau", help="How long it stays there, such as 6 hours."),
    Field(key="ramp_down", label="ramp down", help="How long it takes from there to dark, such as 2 hours."),
)

LIGHTS = Form(
    kind="lights",
    key="lights",
    fields=(
        _KEPT_ID,
        _NAME,
        _STATION,
        *_COURSE,
        Field(
            key="channels",
            label="channels",
            how=ROWS,
            one="channel",
            help="The colours of the lights; times of its own only where they differ.",
            fields=(_NAME, Field(key="peak", label="peak", help="Such as 64 %."), *_COURSE),
        ),
        Field(key="measured", label="measured", help="The light reading taken under them.", of="readings"),
        Field(key="measured_at", label="measured at", help="How much of the peaks was on then; empty: 100 %."),
    ),
)

PROTOCOL = Form(
    kind="protocol",
    key="protocols",
    fields=(
        _KEPT_ID,
        _NAME,
        Field(key="place", label="called for", how=CHOICE, choices=PROTOCOL_PLACES, help="Empty: a system."),
        _BASIS,
        Field(
            key="steps",
            label="steps",
            how=ROWS,
            one="step",
            headers=True,
            help="What is to be done after the call, and when.",
            fields=(
                _TITLE,
                Field(
                    key="task",
                    label="task",
                    help="In place of a title: a task that is due only when it is called.",
                    of="tasks",
                    anywhere=True,
                ),
                Field(key="after", label="after", help=f"How long after the call. {_SPANS} Empty: at once."),
                Field(key="every", label="every", help="Again after so long, such as 1 day; with times."),
                Field(key="times", label="times", how=WHOLE, help="How often in all."),
                Field(key="grace", label="grace", help=f"How long it is fine. {_SPANS} Empty: a quarter of its time."),
                Field(
                    key="if_kind",
                    label="if there is",
                    kinds="equipment",
                    help="Only where there is equipment of this kind.",
                ),
                Field(key="station", label="station", help="Where it is done.", of="stations", anywhere=True),
                _IMPORTANCE,
                *_GUIDANCE,
                Field(
                    key="takes",
                    label="takes",
                    how=TEXTS,
                    help="Readings asked for when it is done.",
                    of="readings",
                    anywhere=True,
                ),
            ),
        ),
    ),
)

STOCK = Form(
    kind="stock",
    key="stock",
    fields=(
        _ID,
        _NAME,
        Field(key="kind", label="kind", how=CHOICE, choices=STOCK_KINDS),
        _STATION,
        Field(key="unit", label="unit", help="What it is counted in, in your own words: kg, tests, piece."),
        Field(key="minimum", label="minimum", help="Order before it falls below, such as 15 kg."),
        Field(key="pack", label="pack", help="What a delivery adds, such as 25 kg."),
        Field(key="expires", label="expires", how=DAY, help="Its last good day."),
    ),
)

KEEPER = Form(
    kind="keeper",
    key="keepers",
    only_room=True,
    fields=(
        Field(key="initials", label="initials", help="As records have them; they stay.", stays=_NAMED_SO),
        _NAME,
    ),
)

ZONE = Form(
    kind="zone",
    key="zones",
    only_room=True,
    fields=(
        _KEPT_ID,
        _NAME,
        Field(key="tools", label="tools", help="How what stays in it is marked."),
    ),
)

SHIFT = Form(
    kind="shift",
    key="shifts",
    only_room=True,
    fields=(
        _NAME,
        Field(key="begins", label="begins", help="Such as 07:00."),
        Field(key="ends", label="ends", help="Such as 13:00."),
        Field(key="keepers", label="keepers", how=TEXTS, help="Initials of who usually has it.", of="keepers"),
    ),
)

FORMS = (
    SYSTEM, STATION, TASK, READING, RESERVOIR, EQUIPMENT, INSTRUMENT, LIGHTS, TANK, STOCK, PROTOCOL, KEEPER, ZONE,
    SHIFT,
)  # fmt: skip
"""What can be added."""
BY_KEY = {form.key: form for form in FORMS}


def form_of(system: str, key: str) -> Form:
    """The form of a table of the list `key`, or without one of a system or the room."""
    return THE_ROOM if system == ROOM and not key else BY_KEY[key]
