"""The balance of every water that is dosed, with the proposal for it: worked out, put in order, accepted."""

from __future__ import annotations

from datetime import datetime

import msgspec

from rounds.core.errors import Refused
from rounds.core.model import Room, System
from rounds.core.staged import held_at, steps
from rounds.core.waters import Water, waters
from rounds.core.words import moment, plain
from rounds.report.balance import SystemBalance, balance_lines, system_balance
from rounds.report.past import Past
from rounds.report.proposal import proposal_lines, system_proposal, turned
from rounds.water.proposal import Proposal


class DoseAccount(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of the balance of one water."""

    water: Water
    found: SystemBalance | None = None
    """None: something is missing for it."""
    proposal: Proposal | None = None
    """None: there is no balance, no target, or nothing that could be turned."""
    missing: str = ""
    """What is missing, in a sentence."""
    held: str = ""
    """That the dose is held, and why, in a sentence; empty: it is not."""


def dose_account(room: Room, past: Past, system: System, now: datetime, water: Water | None = None) -> DoseAccount:
    """The balance of a water of the system and what follows from it; `water` as for `system_balance`."""
    water = water or waters(past.history, system, now)[0]
    found = None
    try:
        found = system_balance(room, past, system, now, water)
        proposal = system_proposal(room, past, found, now)
        held = _held(room, past, proposal.dial.source, now) if proposal is not None else ""
        return DoseAccount(water=water, found=found, proposal=proposal, held=held)
    except Refused as missing:
        return DoseAccount(water=water, found=found, missing=str(missing))


def _held(room: Room, past: Past, source: str, now: datetime) -> str:
    """A hold that a keeper has recorded of a dose and that stands."""
    hold = held_at(steps(past.history, source, now), now)
    if hold is None:
        return ""
    record = hold.record
    until = f" until {moment(room.calendar, record.until, now)}" if record.until is not None else ""
    return f"{plain(record.by)} holds it{until} ({plain(record.note)})"


def headline(account: DoseAccount) -> str:
    """``limewater feed: 6.4 to 6.8 L/day``: what is proposed, in a line."""
    proposal = account.proposal
    if proposal is None:
        return account.missing or "no target, or nothing that could be turned: no proposal"
    dial = proposal.dial
    if proposal.changes:
        return f"{dial.name}: {turned(dial, proposal.new)}"
    return proposal.waits or f"{dial.name} stays at {dial.present:g} {dial.unit}"


def balance_and_proposal(room: Room, account: DoseAccount) -> tuple[list[str], list[str]]:
    """The lines of the balance, and those of the proposal."""
    if account.found is None:
        return [account.missing], []
    proposal = proposal_lines(account.proposal) if account.proposal is not None else []
    return balance_lines(room, account.found), proposal


def to_confirm(account: DoseAccount) -> list[str]:
    """What has to be read before the proposal of an account is accepted; a hold that stands first."""
    proposal = account.proposal
    assert proposal is not None
    return [
        *([f"{account.held}; to accept ends that."] if account.held else []),
        "; ".join(f"{dial.name}: {turned(dial, new)}" for dial, new in proposal.steps),
        f"For {proposal.volume:g} L.",
        proposal.first,
        *(f"Caution: {text}" for text in proposal.cautions),
        "What was added by hand, once, is no part of the daily dose that is changed here.",
        "This records the step; turn the pump, the valve or the timer yourself.",
    ]
