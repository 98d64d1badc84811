"""A question with a line of text to it: asked with the name of whom it concerns, confirmed with enter."""

from dataclasses import dataclass

from textual import events
from textual.app import ComposeResult
from textual.screen import ModalScreen

from edgemon.board.desk import Desk
from edgemon.board.theme import Role
from edgemon.board.view.cells import Span, fit_row, safe
from edgemon.board.widgets.lines import Lines
from edgemon.model.command import Person

_WIDTH, _HEIGHT = 76, 9
TEXT_LENGTH = 300


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked, what it means, and how the text is called."""

    asks: str
    means: str
    label: str
    must: bool = False
    """Without a text there is no yes."""


class AskScreen(ModalScreen[str | None]):
    """Asks; answers with the text, or None for a no."""

    CSS = f"""
    AskScreen {{ align: center middle; background: transparent; }}
    AskScreen Lines {{ width: {_WIDTH}; max-width: 100%; height: {_HEIGHT}; max-height: 100%; }}
    """

    def __init__(self, desk: Desk, question: Question, person: Person) -> None:
        super().__init__()
        self.desk, self.question, self.person = desk, question, person
        self.text = ""

    def compose(self) -> ComposeResult:
        """Show the question in a frame."""
        lines = Lines(self.desk.palette, id="question")
        paint = self.desk.palette[Role.BANNER]
        lines.styles.border = ("ascii" if self.desk.look.glyphs.plain else "solid", paint.ink)
        lines.styles.background = paint.ground
        yield lines

    def redraw(self) -> None:
        """Draw the question for the size there is; of a long text its end."""
        lines = self.query_one(Lines)
        width, one, person = lines.size.width, self.question, self.person
        room = max(8, width - len(one.label) - 6)
        yes = "enter" if self.text.strip() or not one.must else "write something first"
        rows = [
            [Span(f" {one.asks}", Role.BRIGHT)],
            [Span(f" {one.means}", Role.DIM)],
            [Span(f" as {safe(person.name)} ({person.role}) at {safe(person.station)}")],
            [],
            [Span(f" {one.label}: "), Span(f"{self.text[-room:]}_", Role.BRIGHT)],
            [],
            [Span(f" {yes}", Role.BRIGHT), Span(" yes     ", Role.DIM), Span("esc", Role.BRIGHT), Span(" no", Role.DIM)],
        ]
        shown = [fit_row(spans, width, self.desk.look.glyphs.ellipsis) for spans in rows]
        lines.show([tuple(span._replace(selected=True) for span in row) for row in shown])

    def on_lines_resized(self) -> None:
        """Draw for the new size."""
        self.redraw()

    def on_key(self, event: events.Key) -> None:
        """Take every key: here they are text, yes or no."""
        event.stop()
        event.prevent_default()
        if event.key == "escape":
            self.dismiss(None)
            return
        if event.key == "enter":
            if self.text.strip() or not self.question.must:
                self.dismiss(self.text.strip())
                return
        elif event.key == "backspace":
            self.text = self.text[:-1]
        elif event.is_printable and event.character:
            self.text = safe(self.text + event.character, TEXT_LENGTH)
        self.redraw()

    def on_paste(self, event: events.Paste) -> None:
        """Take pasted text."""
        self.text = safe(self.text + event.text[:TEXT_LENGTH], TEXT_LENGTH)
        self.redraw()
