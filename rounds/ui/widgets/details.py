"""The side panel: text that scrolls, drawn line by line so that a move of the pointer lays nothing out."""

from __future__ import annotations

from textual.content import Content
from textual.geometry import Size
from textual.scroll_view import ScrollView
from textual.strip import Strip
from textual.visual import Visual


class Details(ScrollView, can_focus=False):
    """Wrapped text; the mouse wheel scrolls it."""

    def __init__(self, *, id: str) -> None:
        super().__init__(id=id)
        self._content = Content("")
        self._strips: list[Strip] = []
        self._width = 0

    def show(self, content: Content, *, stay: bool = False) -> None:
        """Show the text from its beginning; if it is to `stay`, from where it is scrolled to."""
        if content != self._content:
            self._content = content
            self._wrap()
        if not stay:
            self.scroll_home(animate=False, immediate=True)

    def turn(self, pages: int) -> None:
        """So many pages on, or back."""
        self.scroll_relative(y=pages * max(1, self.size.height - 1), animate=False)

    def on_resize(self) -> None:
        if self.scrollable_content_region.width != self._width:
            self._wrap()
        else:
            self._fill()

    def notify_style_update(self) -> None:
        """Another theme: what was drawn in the old colours is drawn again."""
        super().notify_style_update()
        self._wrap()

    def _wrap(self) -> None:
        self._width = self.scrollable_content_region.width
        if self._width <= 0:
            return
        self._strips = Visual.to_strips(self, self._content, self._width, None, self.visual_style)
        self._fill()
        self.refresh()

    def _fill(self) -> None:
        """A text with room to spare counts as high as the panel, so that the next one lays nothing out anew."""
        self.virtual_size = Size(0, max(len(self._strips), self.scrollable_content_region.height))

    def render_line(self, y: int) -> Strip:
        place = y + self.scroll_offset.y
        if 0 <= place < len(self._strips):
            return self._strips[place]
        return Strip.blank(self._width, self.rich_style)
