"""Ids of records: no two devices make the same, and they sort by when they were made."""

from __future__ import annotations

import os
import time
from uuid import UUID

_last = 0
"""Milliseconds of the id made last."""


def new_id() -> str:
    """A UUID of version 7 by the real clock, later than every other of this process (RFC 9562, section 5.7)."""
    global _last
    _last = max(time.time_ns() // 1_000_000, _last + 1)
    chance = int.from_bytes(os.urandom(10), "big")
    fields = (_last << 80 | chance) & ~(0xF << 76 | 0b11 << 62)
    return str(UUID(int=fields | 7 << 76 | 0b10 << 62))
