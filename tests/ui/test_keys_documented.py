"""The table of actions is what the README tells."""

from __future__ import annotations

from pathlib import Path

from rounds.ui.keymap import EVERY

README = Path(__file__).parents[2] / "README.md"


def test_the_readme_lists_every_key() -> None:
    """Under its heading "Keys" stand the key and the sentence of every action, in the words of the table."""
    text = README.read_text(encoding="utf-8")
    assert "\n## Keys\n" in text
    keys = text.partition("\n## Keys\n")[2].partition("\n## ")[0]
    rows = keys.splitlines()
    missing = [a.name for a in EVERY if not any(a.shown in row and a.help in row for row in rows)]
    assert missing == []
