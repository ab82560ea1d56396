"""Writing what is read on a screen into a file, to print it or to pass it on."""

from __future__ import annotations

from pathlib import Path

from rounds.core.errors import Refused
from rounds.storage.atomic import replace_file
from rounds.ui.asking import Left, sure, write_in
from rounds.ui.screens.room_screen import RoomScreen


async def save(screen: RoomScreen, name: str, content: str) -> None:
    """Ask where to, and write the file; one that is there is overwritten only on a yes. Raises `Left`."""
    path = await write_in(screen, "Write it to which file?", (), "a path", _path, str(Path.cwd() / name))
    if path.exists() and not await sure(screen, "Overwrite?", [f"{path} exists already."], "yes, overwrite it"):
        raise Left
    try:
        replace_file(path, content.encode("utf-8"))
    except OSError as error:
        raise Refused(f"{path} cannot be written ({error.strerror or error}); name another file") from None
    screen.say(f"Written to {path}.")


def _path(text: str) -> Path:
    path = Path(text.strip()).expanduser()
    if path.is_dir() or not path.name:
        raise Refused(f"{text!r} is a folder; name a file in it")
    if not path.parent.is_dir():
        raise Refused(f"{path.parent} is no folder; name a file in one that is there")
    return path
