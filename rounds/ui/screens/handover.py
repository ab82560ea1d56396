"""The handover: the report of the shift, signed by who goes, accepted by who comes; older ones read back."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from functools import partial
from typing import ClassVar

from textual.binding import BindingType

from rounds.core.errors import RoundsError
from rounds.core.handovers import MID_SHIFT, SHIFT, UNATTENDED, Handover, draft_handover
from rounds.core.model import Room
from rounds.core.words import moment, plain, plural
from rounds.report.handover import Line, Report, head, list_line, sections, signatures, signed_report, title
from rounds.report.handover_forms import written
from rounds.report.handover_sections import prepared
from rounds.storage.room import RoomFolder
from rounds.ui.answering import Answering, Started
from rounds.ui.asking import Left, choose, in_turn, record, write_in
from rounds.ui.keymap import HANDOVER, bindings
from rounds.ui.saving import save
from rounds.ui.screens.room_page import RoomPage
from rounds.ui.screens.room_screen import Tell
from rounds.ui.text import MUTED

_NO_WORDS = "nothing to add"

_KINDS = (
    ("at the end of the shift", SHIFT),
    ("within the shift, which goes on", MID_SHIFT),
    ("the room is left to nobody", UNATTENDED),
)

_FORMS = {".html": "html", ".md": "markdown", ".txt": "text", ".json": "json"}


class HandoverPage(RoomPage):
    """One report over the whole screen: as it stands, or one as it was signed."""

    ACTIONS = HANDOVER
    BINDINGS: ClassVar[list[BindingType]] = [*bindings(HANDOVER)]

    def __init__(self, room: RoomFolder, keeper: str | None, started: Started) -> None:
        """`started`: which handovers were begun to be accepted in this run of the app, and how far."""
        super().__init__(room, keeper)
        self._started = started
        self._report: Report | None = None
        """As it stands; None: being prepared."""
        self._read: Handover | None = None
        """The one that is read back; None: the report as it stands is shown."""
        self._shift: str | None = None
        """Of which shift the report is; None: whichever it is when the page is opened."""
        self._kind = SHIFT
        self._signing = False
        """Whether the report that is being prepared is to be signed."""
        self._words = ""
        """Words of the outgoing that are not signed yet."""

    # -- what is worked out ----------------------------------------------------------------------------

    def plan(self) -> None:
        super().plan()
        work = partial(self._prepare, self._shift, self._kind, self._read, self.now)
        self.work_out("handover", work, self._prepared, self._not_prepared)

    def _prepare(self, shift: str | None, kind: str, read: Handover | None, now: datetime, tell: Tell) -> None:
        """Runs in a thread of its own: the trends of every reading are looked at."""
        if read is not None:
            tell(next((each for each in self.room.handovers(now) if each.id == read.id), None))
        tell(prepared(self.room, now, shift=shift, kind=kind))

    def _prepared(self, found: Report | Handover | None) -> None:
        if isinstance(found, Report):
            self._report, self._shift = found, found.shift
        elif self._read is not None and (found is None or found.id == self._read.id):
            self._read = found
        self.draw()
        if self._signing and isinstance(found, Report):
            self._signing = False
            in_turn(self, partial(self._sign, found))

    def _not_prepared(self, why: str) -> None:
        self._signing = False
        self.say(f"The handover cannot be prepared: {why}")

    # -- what is shown -------------------------------------------------------------------------------

    @property
    def _shown(self) -> Report | None:
        return signed_report(self._read) if self._read is not None else self._report

    def draw(self) -> None:
        super().draw()
        self.show_head(self._head_parts())
        report = self._shown
        lines = page_lines(self.room.model, report, self.now) if report is not None else ()
        self.show_lines(lines, of=(self._read and self._read.id, self._shift))

    def _head_parts(self) -> Iterator[tuple[str, str]]:
        report = self._shown
        if report is None:
            yield "Handover  ", "bold"
            yield "being prepared …  ", ""
            return
        yield f"{title(report)}  ", "bold"
        signed = report.signed
        if self._read is not None:
            yield "read back  ", "$text-accent"
            yield ("not accepted yet  " if self._read.accepted is None else ""), "bold $text-warning"
            return
        if signed is None or (signed.accepted is not None and report.again is None):
            yield "not signed yet  ", ""
            return
        if signed.record.reason not in ("", report.shift):
            yield f"{plain(signed.record.reason)} shift ", ""
        yield from self._signed(signed)

    def _signed(self, signed: Handover) -> Iterator[tuple[str, str]]:
        when = moment(self.room.model.calendar, signed.record.at, self.now)
        yield f"signed {when} by {plain(signed.record.by)}, ", ""
        if signed.accepted is None:
            yield "not accepted yet  ", "bold $text-warning"
        else:
            at = moment(self.room.model.calendar, signed.accepted.at, self.now)
            yield f"accepted {at} by {plain(signed.accepted.by)}  ", "$text-success"

    # -- signing -------------------------------------------------------------------------------------

    def action_sign(self) -> None:
        if self._read is not None:
            self.say("This one was signed; Esc leads back to the handover of now.")
        elif self._report is None:
            self.say("The handover is still being prepared.")
        else:
            in_turn(self, partial(self._choose_kind, self._report))

    async def _choose_kind(self, report: Report) -> None:
        """What is signed is prepared for it anew."""
        self._kind = await choose(self, f"{title(report)}: sign it how?", _KINDS)
        self._signing = True
        self.say("The handover is being prepared …")
        self.plan()

    async def _sign(self, report: Report) -> None:
        self.say("")
        self._kind = SHIFT
        try:
            self._words = await write_in(
                self,
                f"Words for who comes? {plural(len(report.open), 'line')} to be answered",
                (_NO_WORDS,),
                "what matters most",
                str,
                self._words,
            )
            draft = draft_handover(
                self.room.model, report.shift, report.kind, report.points, self.room.now(),
                "" if self._words == _NO_WORDS else self._words, left=self.off_normal(), again=report.again,
            )  # fmt: skip
            await record(self, "Sign the handover?", [draft])
        except (Left, RoundsError):
            self.plan()
            raise
        self._words = ""

    # -- accepting -----------------------------------------------------------------------------------

    def action_accept(self) -> None:
        report = self._shown
        if report is None:
            self.say("The handover is still being prepared.")
        elif report.signed is None:
            self.say("No handover is signed yet; s signs this one.")
        elif report.signed.accepted is not None and self._read is None:
            self.say("The handover signed last is accepted; o reads it back.")
        else:
            in_turn(self, partial(self._accept, report.signed))

    async def _accept(self, handover: Handover) -> None:
        if handover.record.by == self.keeper and handover.kind != UNATTENDED:
            await self._change_keeper(handover)
        from rounds.ui.screens.accepting import Accepting

        answering = self._started.setdefault((handover.id, self.keeper or ""), Answering(handover))
        self.app.push_screen(Accepting(self.room, self.keeper, handover, answering))

    async def _change_keeper(self, handover: Handover) -> None:
        """Who signed has the laptop: another keeper may take it, and keeps the room from here."""
        from rounds.ui.screens.walk import Walk

        signer = handover.record.by
        others = [each.initials for each in self.room.model.keepers if each.initials != signer]
        asked = f"{plain(signer)} signed it and keeps the room. Who accepts it?"
        keeper = await write_in(self, asked, (*others, signer), "initials", self.room.keeper)
        if keeper != signer:
            self.keeper = keeper
            for screen in self.app.screen_stack:
                if isinstance(screen, Walk):
                    screen.take_over(keeper)

    # -- the others ----------------------------------------------------------------------------------

    def action_older(self) -> None:
        now = self.room.now()
        self.work_out(
            "older", lambda tell: tell(self.room.handovers(now)), self._choose_older, "They cannot be read back"
        )

    def _choose_older(self, found: list[Handover]) -> None:
        from rounds.ui.screens.ask import Choice

        if not found:
            self.say("No handover is signed yet.")
            return
        labels = [(list_line(self.room.model, each, self.now), each) for each in reversed(found)]
        self.app.push_screen(Choice("Read back which handover?", labels), self._read_back)

    def _read_back(self, handover: Handover | None) -> None:
        if handover is not None:
            self._read = handover
            self.draw()

    def action_other_shift(self) -> None:
        """The report of the shift after this one in the room's file, and after the last of the first."""
        names = [shift.name for shift in self.room.model.shifts]
        if len(names) < 2:
            self.say("The room has no other shift.")
        elif self._read is None and self._report is not None:
            place = names.index(self._report.shift) if self._report.shift in names else -1
            self._shift, self._report = names[(place + 1) % len(names)], None
            self.plan()
            self.draw()

    def action_write(self) -> None:
        report = self._shown
        if report is None:
            self.say("The handover is still being prepared.")
            return
        model, now = self.room.model, self.now
        local = model.calendar.local(report.at)
        forms = {end: partial(written, form, model, report, now) for end, form in _FORMS.items()}
        in_turn(self, partial(save, self, f"handover-{local:%Y-%m-%d-%H%M}.html", forms))

    def action_back(self) -> None:
        if self._read is not None:
            self._read = None
            self.draw()
        else:
            super().action_back()


def page_lines(room: Room, report: Report, now: datetime) -> Iterator[tuple[str, str]]:
    """The report as lines with their styles: what needs an answer has its number, what stands out is bold."""
    state = "" if report.read_back else f"; as it stands {moment(room.calendar, report.at, now)}"
    for line in report.section("shift"):
        yield f"{line.text}{state}", MUTED
    for sentence in signatures(room, report, now):
        yield sentence, "bold" if report.signed and report.signed.accepted is None else ""
    for label, found in head(report):
        yield f"{label}: {found[0].text}", "bold" if found[0].strong else ""
        for line in found[1:]:
            yield f"    {line.text}", ""
    for name, lines in sections(report):
        yield "", ""
        yield (name, "bold $text-accent") if lines else (f"{name}: nothing", MUTED)
        for line in lines:
            yield from _line(line)


def _line(line: Line) -> Iterator[tuple[str, str]]:
    number = f"{line.number}." if line.number is not None else "•"
    yield f"  {number} {'▲ ' if line.strong else ''}{line.text}", "bold $text-warning" if line.strong else ""
    if line.answer:
        yield f"    ? {line.answer}", "$text-accent"
