"""The measurements run; what they find depends on the machine and decides nothing here."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path


def test_the_small_bench_prints_a_row_for_every_target(tmp_path):
    """Each row has its target and a result."""
    top = Path(__file__).parents[2]
    env = {**os.environ, "PYTHONPATH": str(top)}
    command = [sys.executable, "-m", "tests.bench", "--small", "--room", str(tmp_path / "room")]
    done = subprocess.run(command, capture_output=True, text=True, env=env, cwd=top, timeout=300, check=False)
    assert done.returncode == 0, done.stderr
    rows = [line for line in done.stdout.splitlines() if "<=" in line]
    assert len(rows) == 7
    assert all(row.split("<=")[1].strip() for row in rows)
