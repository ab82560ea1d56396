"""The app: opens the room, asks who keeps it, shows the walk. Wiring only."""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import ClassVar

from textual import events
from textual.app import App
from textual.binding import Binding, BindingType
from textual.command import DiscoveryHit, Hit, Hits, Provider
from textual.screen import Screen

from rounds.core.errors import NoRoom, RoundsError
from rounds.core.units import Seawater
from rounds.storage import device
from rounds.storage.room import Forecaster, RoomFolder, TakesLong
from rounds.ui.keymap import Action
from rounds.ui.screens.room_screen import RoomScreen
from rounds.ui.screens.walk import Walk
from rounds.ui.themes import THEMES


class ScreenCommands(Provider):
    """What keys do on the screen that is seen, in the command palette."""

    def _commands(self) -> Iterable[tuple[Action, Callable[[], object]]]:
        if isinstance(screen := self.screen, RoomScreen):
            for action in screen.ACTIONS:
                if screen.check_action(action.method, ()):
                    yield action, functools.partial(screen.run_action, action.name)

    async def discover(self) -> Hits:
        for action, run in self._commands():
            yield DiscoveryHit(action.label.capitalize(), run, help=action.help)

    async def search(self, query: str) -> Hits:
        matcher = self.matcher(query)
        for action, run in self._commands():
            score = matcher.match(f"{action.label} {action.help}")
            if score:
                yield Hit(score, matcher.highlight(action.label.capitalize()), run, help=action.help)


class RoundsApp(App[int]):
    """Full-screen app over one room folder."""

    CSS_PATH = "rounds.tcss"
    COMMANDS: ClassVar[set[type[Provider] | Callable[[], type[Provider]]]] = App.COMMANDS | {ScreenCommands}
    BINDINGS: ClassVar[list[BindingType]] = [Binding("ctrl+q", "quit", show=False)]
    ESCAPE_TO_MINIMIZE = False

    def __init__(
        self,
        folder: Path,
        by: str | None = None,
        *,
        seawater: Seawater | None = None,
        forecaster: Forecaster | None = None,
        new: bool = False,
    ) -> None:
        """`new`: the folder is where a room is to be, and it is set up first."""
        super().__init__()
        self._new = new
        self._folder = folder
        self._by = by
        self._seawater = seawater
        self._forecaster = forecaster
        for theme in THEMES:
            self.register_theme(theme)
        chosen = device.settings().get("theme")
        self.theme = chosen if isinstance(chosen, str) and chosen in self.available_themes else THEMES[0].name

    async def action_quit(self) -> None:
        """From wherever it is asked for, the walk asks first when something is off normal."""
        walk = next((screen for screen in self.screen_stack if isinstance(screen, Walk)), None)
        if walk is None:
            await super().action_quit()
        else:
            walk.action_leave()

    async def on_event(self, event: events.Event) -> None:
        """Keys that come after the app is left open nothing: what they would open could not be shown any more."""
        if self.return_code is None or not isinstance(event, events.Key):
            await super().on_event(event)

    def on_mount(self) -> None:
        self.theme_changed_signal.subscribe(self, lambda theme: self._remember_theme(theme.name))

    def get_default_screen(self) -> Screen[None]:
        """The walk, the set-up of a new room, or what is wrong with the room's files: there is no screen before it."""
        screen = self._first_screen()
        for path in screen.css_path:  # which are read by themselves only for screens that follow another
            self.stylesheet.read(path)
        return screen

    def _first_screen(self) -> Screen[None]:
        if self._new:
            return self._founding()
        try:
            return self._walk()
        except TakesLong:
            return self._first_reading()
        except NoRoom as found:
            from rounds.ui.screens.broken import BrokenRoom

            return BrokenRoom(self._folder, found, self._reopen)

    def _founding(self) -> Screen[None]:
        from rounds.ui.screens.founding import Founding, answers_for

        self.title = "A new room"
        return Founding(*answers_for(self._folder), self._founded)

    def _founded(self, folder: Path) -> None:
        self._folder = folder
        found = self._reopen()
        if found is not None:
            from rounds.ui.screens.broken import BrokenRoom

            self.push_screen(BrokenRoom(folder, found, self._reopen))

    def _walk(self) -> Walk:
        """The walk of the room; raises `NoRoom` when its files have faults."""
        return self._walk_of(
            RoomFolder(self._folder, seawater=self._seawater, forecaster=self._forecaster, runs_on=True, quickly=True)
        )

    def _first_reading(self) -> Screen[None]:
        from rounds.ui.screens.reading import FirstReading

        return FirstReading(self._read, self._walk_of)

    def _read(self, progress: Callable[[float], object]) -> RoomFolder:
        return RoomFolder(
            self._folder, seawater=self._seawater, forecaster=self._forecaster, runs_on=True, progress=progress
        )

    def _walk_of(self, room: RoomFolder) -> Walk:
        self.title = room.model.name
        return Walk(room, self._keeper(room), self.size.width)

    def _reopen(self) -> NoRoom | None:
        try:
            self.push_screen(self._walk())
        except TakesLong:
            self.push_screen(self._first_reading())
        except NoRoom as found:
            return found
        return None

    def _keeper(self, room: RoomFolder) -> str | None:
        """The keeper of this device; None: to be asked."""
        try:
            return room.keeper(self._by)
        except RoundsError:
            return None

    def _remember_theme(self, name: str) -> None:
        try:
            device.remember(theme=name)
        except RoundsError as refused:
            self.notify(str(refused), markup=False)


def run(
    folder: Path,
    by: str | None,
    *,
    seawater: Seawater | None = None,
    forecaster: Forecaster | None = None,
    new: bool = False,
) -> int:
    """Run the app over the room in `folder`, or, `new`, over the set-up of one; returns the exit status."""
    import os

    app = RoundsApp(folder, by or os.environ.get("ROUNDS_BY"), seawater=seawater, forecaster=forecaster, new=new)
    app.run()
    return app.return_code or 0
