"""Writing what is read on a screen into a file, to print it or to pass it on."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path

from rounds.core.errors import Refused
from rounds.core.words import quoted
from rounds.storage.atomic import replace_file
from rounds.ui.asking import Left, sure, write_in
from rounds.ui.screens.room_screen import RoomScreen

Forms = Mapping[str, Callable[[], str]]
"""By the ending of a file's name (``.html``), what is written into it."""


async def save(screen: RoomScreen, name: str, forms: Forms) -> None:
    """Ask where to, and write the form that the name's ending asks for; what is there is overwritten only on a yes.

    Raises `Left`, and `Refused` where the file cannot be written.
    """
    title = f"Write it to which file? It may end in {', '.join(forms)}"
    path = await write_in(screen, title, (), "a path", partial(_path, forms), str(Path.cwd() / name))
    if path.exists() and not await sure(screen, "Overwrite?", [f"{path} exists already."], "yes, overwrite it"):
        raise Left
    try:
        replace_file(path, forms[path.suffix.casefold()]().encode("utf-8"))
    except OSError as error:
        raise Refused(f"{path} cannot be written ({error.strerror or error}); name another file") from None
    screen.say(f"Written to {path}.")


def _path(forms: Forms, text: str) -> Path:
    path = Path(text.strip()).expanduser()
    if path.is_dir() or not path.name:
        raise Refused(f"{quoted(text)} is a folder; name a file in it")
    if not path.parent.is_dir():
        raise Refused(f"{path.parent} is no folder; name a file in one that is there")
    if path.suffix.casefold() not in forms:
        raise Refused(f"{quoted(path.name)} says no form; let the name end in {', '.join(forms)}")
    return path
