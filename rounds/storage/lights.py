"""The channels of a programme of lights, read from their tables."""

from __future__ import annotations

from datetime import time, timedelta

import msgspec

from rounds.core.calendar import ONE_DAY
from rounds.core.model import Channel
from rounds.core.words import quoted
from rounds.storage.faults import Missing
from rounds.storage.tables import Table


class _Course(msgspec.Struct):
    """When lights begin and how long each part of their day is."""

    begins: time
    ramp_up: timedelta
    plateau: timedelta
    ramp_down: timedelta


def read_channels(table: Table) -> tuple[Channel, ...]:
    """The channels of one programme; its own times are those of each channel that says no other."""
    usual = _Course(
        table.clock("begins"), table.elapsed("ramp_up") or timedelta(), table.elapsed("plateau") or timedelta(),
        table.elapsed("ramp_down") or timedelta(),
    )  # fmt: skip
    channels: dict[str, Channel] = {}
    for each in table.within("channels"):
        channel = _channel(each, usual)
        if channel.name and channel.name in channels:
            each.fault("name", f"{quoted(channel.name)} stands twice; give one of them another name")
        channels[channel.name] = channel
        each.close()
    if not channels and not table.has("channels"):
        table.fault("", 'channels are missing; add channels = [{ name = "blue", peak = "90 %" }]', Missing("channels"))
    return tuple(channels.values())


def per_cent(table: Table, key: str, default: float | None) -> float:
    """A share such as ``"90 %"``, above 0 and at most 100; with None as the default it is required."""
    text = table.text(key, required=default is None)
    if not text:
        return default or 100.0
    number, sign, rest = text.partition("%")
    try:
        share = float(number) if sign and not rest.strip() else 0.0
    except ValueError:
        share = 0.0
    if not 0 < share <= 100:
        table.fault(key, f'{quoted(text)} is no share of the light; write a number above 0 and at most 100: "90 %"')
        return 100.0
    return share


def _channel(table: Table, usual: _Course) -> Channel:
    def span(key: str, default: timedelta) -> timedelta:
        found = table.elapsed(key)
        return default if found is None else found

    channel = Channel(
        name=table.text("name", required=True),
        peak=per_cent(table, "peak", None),
        begins=table.clock("begins", usual.begins),
        ramp_up=span("ramp_up", usual.ramp_up),
        plateau=span("plateau", usual.plateau),
        ramp_down=span("ramp_down", usual.ramp_down),
    )
    if not timedelta() < channel.ramp_up + channel.plateau + channel.ramp_down <= ONE_DAY:
        table.fault(
            "plateau",
            f"{channel.name or 'a channel'} shines for nothing or more than a day; "
            f'write ramp_up, plateau and ramp_down such as "8 hours"',
        )
    return channel
