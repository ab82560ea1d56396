"""The balance of every system that is dosed, with the proposal for it: worked out, put in order, accepted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime

import msgspec

from rounds.core.errors import Refused
from rounds.core.history import History
from rounds.core.model import Reading, Room, System
from rounds.core.record import CHANGE_STEP, Record
from rounds.report.balance import SystemBalance, balance_lines, proposal_lines, system_balance
from rounds.report.reservoirs import LevelAccount
from rounds.report.series import tank_reading
from rounds.water.balance import Break
from rounds.water.proposal import Proposal


class DoseAccount(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of the balance of one system."""

    system: System
    found: SystemBalance | None
    """None: something is missing for it."""
    missing: str = ""
    """What that is, in a sentence."""

    @property
    def proposal(self) -> Proposal | None:
        return self.found.proposal if self.found is not None else None


def dose_account(
    room: Room,
    history: History,
    system: System,
    now: datetime,
    *,
    uses: Mapping[str, float],
    instruments: Iterable[Record] = (),
) -> DoseAccount:
    """The balance of the system by all its records; `uses` and `instruments` as `system_balance` and `kit_breaks`."""
    reading = tank_reading(system, "alkalinity")
    breaks = kit_breaks(reading, instruments, now) if reading is not None else []
    try:
        found = system_balance(room, history, system, now, uses=uses, breaks=breaks)
    except Refused as missing:
        return DoseAccount(system=system, found=None, missing=str(missing))
    return DoseAccount(system=system, found=found)


def litres_a_day(accounts: Iterable[LevelAccount]) -> dict[str, float]:
    """What each reservoir gives by its levels; where these agree with the use that is set, that is left to stand.

    A pump is turned from what it is set to, and levels tell that no better than their interval.
    """
    found = {}
    for each in (account.level for account in accounts):
        if each.use_per_day is None:
            continue
        low, high = each.use_interval or (each.use_per_day, each.use_per_day)
        known = each.tank.use
        found[each.tank.id] = known if known is not None and low <= known <= high else _rounded(each.use_per_day)
    return found


def _rounded(litres: float) -> float:
    """To three figures: more are not known, and nothing is set more finely."""
    return float(f"{litres:.3g}")


def kit_breaks(reading: Reading, records: Iterable[Record], now: datetime) -> list[Break]:
    """The steps of the instrument of a reading up to `now`: values before and after are no one line."""
    return [
        Break(record.at.astimezone(UTC), record.reason or record.note)
        for record in records
        if record.kind == CHANGE_STEP and record.task == reading.instrument and record.at <= now
    ]


def headline(account: DoseAccount) -> str:
    """``limewater feed: 6.4 to 6.8 L/day``: what is proposed, in a line."""
    proposal = account.proposal
    if account.found is None:
        return account.missing
    if proposal is None:
        return "no target, or nothing that could be turned: no proposal"
    dial = proposal.dial
    if proposal.changes:
        return f"{dial.name}: {dial.present:g} to {proposal.new:g} {dial.unit}"
    return proposal.waits or f"{dial.name} stays at {dial.present:g} {dial.unit}"


def balance_and_proposal(room: Room, account: DoseAccount) -> tuple[list[str], list[str]]:
    """The lines of the balance, and those of the proposal."""
    if account.found is None:
        return [account.missing], []
    alone = balance_lines(room, msgspec.structs.replace(account.found, proposal=None))
    return alone, proposal_lines(account.proposal) if account.proposal is not None else []


def to_confirm(proposal: Proposal) -> list[str]:
    """What has to be read before a proposal is accepted."""
    dials = [(proposal.dial, proposal.new), *([proposal.calcium] if proposal.calcium is not None else [])]
    steps = [f"{dial.name}: {dial.present:g} to {new:g} {dial.unit}" for dial, new in dials if new != dial.present]
    return [
        "; ".join(steps),
        proposal.first,
        *(f"Caution: {text}" for text in proposal.cautions),
        "This records the step; turn the pump, the valve or the timer yourself.",
    ]
