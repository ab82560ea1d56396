"""A published row pushed through the command line, as someone outside would."""

from __future__ import annotations

import json
from contextlib import redirect_stdout
from io import StringIO
from typing import Any

from rounds.cli import main


def calc(line: str, **inputs: object) -> dict[str, Any]:
    """What `rounds calc` answers as JSON to a name with inputs, parted by spaces, and to `inputs`."""
    told = StringIO()
    with redirect_stdout(told):
        assert main(["calc", *line.split(), *(f"{name}={value}" for name, value in inputs.items()), "--json"]) == 0
    return json.loads(told.getvalue())
