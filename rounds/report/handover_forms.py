"""A handover in each of the forms in which it is passed on."""

from __future__ import annotations

import json
from datetime import datetime

from rounds.core.model import Room
from rounds.report.handover import Report

FORMS = ("text", "markdown", "html", "json")


def written(form: str, room: Room, report: Report, now: datetime) -> str:
    """The report in one of `FORMS`; times are said as at `now`. Each form is loaded when it is asked for."""
    if form == "json":
        from rounds.report.handover_json import handover_json

        return json.dumps(handover_json(room, report), ensure_ascii=False, indent=2) + "\n"
    if form == "html":
        from rounds.report.handover_html import handover_html

        return handover_html(room, report, now)
    if form == "markdown":
        from rounds.report.handover_markdown import handover_markdown

        return handover_markdown(room, report, now)
    from rounds.report.handover_text import handover_text

    return handover_text(room, report, now)
