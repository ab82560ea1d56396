"""The one root of everything that is told to a keeper."""

from __future__ import annotations


class RoundsError(Exception):
    """One sentence that names the file or value and the remedy; shown as it stands."""

    exit_status = 1
    """What the command line ends with: 1 refused, 2 the line cannot be read, 3 the room cannot."""


class Refused(RoundsError):
    """The request was understood and is not carried out: an impossible value, an unknown task."""


class NeedsConfirmation(RoundsError):
    """Carried out only when the keeper says so: an implausible value, a second dose."""


class CannotRead(RoundsError):
    """What was typed has no meaning here."""

    exit_status = 2


class NoRoom(RoundsError):
    """There is no room folder, or its files have faults."""

    exit_status = 3
