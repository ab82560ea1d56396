"""Makes the pictures of the README from the app itself: ``python -m tests.picture``."""

from __future__ import annotations

import asyncio
import os
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

PICTURES = Path(__file__).resolve().parents[1] / ".pictures"
OPENED = datetime(2026, 11, 25, 9, 10, tzinfo=UTC)


async def make(folder: Path, name: str, size: tuple[int, int], keys: list[str]) -> None:
    """One picture of the demo room after some keys."""
    from rounds.ui.app import RoundsApp

    app = RoundsApp(folder, "TV")
    async with app.run_test(size=size) as pilot:
        await pilot.pause(0.5)
        await pilot.press(*keys)
        await pilot.pause(0.5)
        PICTURES.mkdir(exist_ok=True)
        picture = app.export_screenshot(title="rounds")
        # viewers drop the blanks that a text begins with, unless told to keep them
        (PICTURES / name).write_text(picture.replace("<text ", '<text xml:space="preserve" '), encoding="utf-8")


def main() -> None:
    from rounds.demo import write_demo

    with tempfile.TemporaryDirectory() as home:
        for name in ("XDG_CONFIG_HOME", "XDG_CACHE_HOME", "XDG_DATA_HOME"):
            os.environ[name] = home
        os.environ["ROUNDS_NOW"] = OPENED.isoformat()
        folder = Path(home) / "demo"
        write_demo(folder, OPENED)
        for name, size, keys in (
            ("walk.svg", (120, 36), []),
            ("narrow.svg", (80, 24), ["space", "space", "enter"]),
        ):
            asyncio.run(make(folder, name, size, keys))


if __name__ == "__main__":
    sys.exit(main())
