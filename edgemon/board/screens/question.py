"""What every question has: a frame in the middle of the screen, drawn for the room there is; and a line that takes text."""

from collections.abc import Sequence
from typing import TypeVar

from textual import events
from textual.app import ComposeResult
from textual.screen import ModalScreen

from edgemon.board.desk import Desk
from edgemon.board.theme import Role
from edgemon.board.view.cells import Row, safe
from edgemon.board.widgets.lines import Lines

Answer = TypeVar("Answer")


class QuestionScreen(ModalScreen[Answer]):
    """Base of all questions; a question gives its rows for a width."""

    DEFAULT_CSS = """
    QuestionScreen { align: center middle; background: transparent; }
    QuestionScreen Lines { max-width: 100%; max-height: 100%; }
    """
    WIDE, TALL = 62, 12

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self.desk = desk

    def compose(self) -> ComposeResult:
        """Show the question in a frame."""
        lines = Lines(self.desk.palette, id="question")
        paint = self.desk.palette[Role.BANNER]
        lines.styles.border = ("ascii" if self.desk.look.glyphs.plain else "solid", paint.ink)
        lines.styles.background = paint.ground
        lines.styles.width, lines.styles.height = self.WIDE, self.TALL
        yield lines

    def rows(self, width: int) -> Sequence[Row]:
        """Give the rows of the question."""
        raise NotImplementedError

    def redraw(self) -> None:
        """Draw the question for the size there is."""
        lines = self.query_one(Lines)
        lines.show([tuple(span._replace(selected=True) for span in row) for row in self.rows(lines.size.width)])

    def on_lines_resized(self) -> None:
        """Draw for the new size."""
        self.redraw()


def written(text: str, event: events.Key, most: int) -> str:
    """Give a text after a key: a character more, the last one less, or as it was."""
    if event.key == "backspace":
        return text[:-1]
    return safe(text + event.character, most) if event.is_printable and event.character else text
