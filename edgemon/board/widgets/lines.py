"""The one widget all screens are drawn with: rows of coloured text, of which only those that changed are sent again."""

from collections.abc import Sequence

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.cache import LRUCache
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip

from edgemon.board.theme import Paint, Role
from edgemon.board.view.cells import Row, Span, blank, fit_row, plain, row_width


class Lines(ScrollView, can_focus=False):
    """Shows the rows it is given; text goes to the terminal as plain segments, never as markup."""

    DEFAULT_CSS = "Lines { height: 1fr; overflow: hidden hidden; scrollbar-size: 0 0; }"

    class Pressed(Message):
        """The mouse was pressed on a cell."""

        def __init__(self, x: int, y: int, twice: bool) -> None:
            super().__init__()
            self.x, self.y, self.twice = x, y, twice

    class Turned(Message):
        """The mouse wheel was turned: 1 down, -1 up."""

        def __init__(self, by: int) -> None:
            super().__init__()
            self.by = by

    def __init__(
        self,
        palette: dict[Role, Paint],
        id: str,  # noqa: A002 (Textual's word)
        height: int | None = None,
        ascii: bool = False,  # noqa: A002 (the option's word)
    ) -> None:
        super().__init__(id=id)
        self._ascii = ascii
        if height is not None:
            self.styles.height = height
        self._rows: list[Row] = []
        self._styles_of = {(role, chosen): _style(paint, chosen) for role, paint in palette.items() for chosen in (False, True)}
        self._strips: LRUCache[Row, Strip] = LRUCache(512 if height is None else 8 * height)
        self.lines_refreshed = 0
        """Counts rows sent for redrawing: what a redraw costs, whatever the machine's speed."""

    def show(self, rows: Sequence[Row]) -> None:
        """Show these rows from the top; refreshes those whose text or colour differs."""
        before, self._rows = self._rows, list(rows)
        for y in range(max(len(before), len(rows))):
            old = before[y] if y < len(before) else None
            new = rows[y] if y < len(rows) else None
            if old != new:
                self.lines_refreshed += 1
                self.refresh_lines(y)

    @property
    def rows(self) -> tuple[Row, ...]:
        """Give the rows shown."""
        return tuple(self._rows)

    def render_line(self, y: int) -> Strip:
        """Draw one row of the widget."""
        width = self.size.width
        row = self._rows[y] if y < len(self._rows) else blank(width)
        if row_width(row) != width:  # between a resize and the redraw that follows it
            row = fit_row(row, width)
        strip = self._strips.get(row)
        if strip is None:
            strip = Strip([self._segment(span) for span in row], width)
            self._strips[row] = strip
        return strip

    def _segment(self, span: Span) -> Segment:
        return Segment(plain(span.text) if self._ascii else span.text, self._styles_of[span.role, span.selected])

    def on_unmount(self) -> None:
        """Let go of what was drawn: the library keeps the caches of a thousand widgets that are gone."""
        self._styles_cache.clear()
        self._strips.clear()

    def on_resize(self, event: events.Resize) -> None:
        """Have the screen draw for the new size."""
        self.post_message(self.Resized())

    class Resized(Message):
        """The widget has another size."""

    def on_click(self, event: events.Click) -> None:
        """Say where the mouse was pressed."""
        self.post_message(self.Pressed(event.x, event.y, event.chain > 1))

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        """Say that the wheel was turned."""
        event.stop()
        self.post_message(self.Turned(1))

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        """Say that the wheel was turned."""
        event.stop()
        self.post_message(self.Turned(-1))


def _style(paint: Paint, selected: bool) -> Style:
    return Style(color=paint.ink, bgcolor=paint.selected if selected else paint.ground, bold=paint.bold)
