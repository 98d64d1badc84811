"""What every screen has: the banner that navigation never hides, a body of rows, a footer with its keys."""

from collections.abc import Callable, Coroutine, Sequence
from typing import ClassVar, TypeVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.screen import Screen
from textual.worker import WorkType

from edgemon.board.desk import Desk
from edgemon.board.keys import FOOTERS, Key
from edgemon.board.theme import Role
from edgemon.board.view import banner
from edgemon.board.view.cells import Row, Span, blank, row_width, safe, sides
from edgemon.board.widgets.lines import Lines
from edgemon.errors import EdgemonError

T = TypeVar("T")


def bindings(keys: Sequence[Key]) -> list[BindingType]:
    """Make Textual's bindings from the table of keys; they come before what the screen would do with a key itself."""
    return [Binding(key.key, key.action, key.label, show=False, priority=key.first) for key in keys if key.action]


class BoardScreen(Screen[None]):
    """Base of all screens; a screen gives its rows for a size."""

    NAME: ClassVar[str] = ""

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk

    def compose(self) -> ComposeResult:
        """Stack banner, body and footer."""
        palette, ascii_only = self.desk.palette, self.desk.look.glyphs.plain
        yield Lines(palette, id="banner", height=2, ascii=ascii_only)
        yield Lines(palette, id="body", ascii=ascii_only)
        yield Lines(palette, id="foot", height=1, ascii=ascii_only)

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the rows of the body."""
        raise NotImplementedError

    def redraw(self) -> None:
        """Draw what differs from what is shown."""
        if not self.is_mounted or not self.size.width:
            return
        desk, width = self.desk, self.size.width
        body = self.query_one("#body", Lines)
        self.query_one("#banner", Lines).show(banner.banner(desk.picture, desk.summary(), desk.look, width))
        if body.size.height:
            body.show(self.rows(body.size.width, body.size.height)[: body.size.height])
        self.query_one("#foot", Lines).show([banner.footer(FOOTERS[self.NAME], self.foot(), desk.look, width)])

    def foot(self) -> str:
        """Give what stands in the footer instead of the keys; empty for the keys."""
        return self.desk.message

    def say(self, message: str) -> None:
        """Say something in the footer."""
        self.desk.say(message)
        self.redraw()

    def subject(self) -> tuple[str, str]:
        """Give the machine, and the point, that this screen is about; the point is empty where it is about none."""
        return self.desk.selected, ""

    def fetch(self, work: Callable[[], Coroutine[None, None, None]], name: str) -> None:
        """Ask the daemon something beside what goes on; a newer question of that name takes its place, begun or not."""
        asked: WorkType[None] = work
        self.run_worker(asked, group=name, name=name, exclusive=True)

    def on_lines_resized(self) -> None:
        """Draw for the new size."""
        self.redraw()

    def on_screen_resume(self) -> None:
        """Draw what happened while another screen was in front."""
        self.redraw()

    def on_unmount(self) -> None:
        """Let go of what was drawn, as its parts do."""
        self._styles_cache.clear()

    def action_back(self) -> None:
        """Go back to the screen before."""
        self.app.pop_screen()


class ListScreen(BoardScreen):
    """A screen of rows that scroll."""

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.top = 0
        self._window = 1
        self._below = 0

    def window(self, rows: Sequence[T], height: int) -> Sequence[T]:
        """Give the rows that are in view, keeping the view within what there is."""
        self._window = max(1, height)
        self.top = max(0, min(self.top, len(rows) - height))
        self._below = max(0, len(rows) - self.top - height)
        return rows[self.top : self.top + height]

    def page(self, rows: Sequence[Row], height: int) -> Sequence[Row]:
        """Give the rows in view of a page to be read; where not all are, the row under them tells how many lie below."""
        if len(rows) <= height or height < 2:
            return list(self.window(rows, height))
        shown = list(self.window(rows, height - 1))
        return [*shown, self.with_more(blank(row_width(rows[0])))]

    def with_more(self, row: Row) -> Row:
        """Set how many rows lie below the view at the end of a row; nothing where none does."""
        if not self._below:
            return row
        said = Span(f" {self._below} more {self.desk.look.glyphs.more} ", Role.BRIGHT)
        return sides(row, [said], row_width(row), ellipsis=" ")

    def action_move(self, down: int, right: int) -> None:
        """Scroll by a row."""
        self.top += down
        self.redraw()

    def action_page(self, by: int) -> None:
        """Scroll by a page."""
        self.top += by * self._window
        self.redraw()

    def action_edge(self, end: int) -> None:
        """Scroll to the first or last row."""
        self.top = 0 if end < 0 else 1_000_000
        self.redraw()

    def on_lines_turned(self, message: Lines.Turned) -> None:
        """Scroll with the wheel."""
        self.action_move(3 * message.by, 0)


def why_not(error: EdgemonError) -> str:
    """Say what went wrong between board and daemon."""
    return f"The daemon could not be asked: {safe(error.what, 200)}"
