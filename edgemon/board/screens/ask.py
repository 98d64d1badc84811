"""A question with a line of text to it: asked with the name of whom it concerns, confirmed with enter."""

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from textual import events

from edgemon.board.desk import Desk
from edgemon.board.port import Outcome
from edgemon.board.screens.base import BoardScreen
from edgemon.board.screens.question import QuestionScreen, Said, permitted, put, written
from edgemon.board.theme import Role
from edgemon.board.view.cells import Row, Span, fit_row, safe, wrap
from edgemon.model.command import Person

TEXT_LENGTH = 300
_FRAME = 2
_BELOW = 5
"""Rows below what is asked."""
Ordering: TypeAlias = Callable[[str], Awaitable[Outcome]]
"""What is ordered, given the text that was written."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked, what it means, and how the text is called."""

    asks: str
    means: str
    label: str = ""
    """Empty: no text belongs to it."""
    must: bool = False
    """Without a text there is no yes."""


class AskScreen(QuestionScreen[str | None]):
    """Asks; answers with the text, or None for a no."""

    WIDE = 76

    def __init__(self, desk: Desk, question: Question, person: Person) -> None:
        super().__init__(desk)
        self.question, self.person = question, person
        self.text = ""
        asked = self._asked(self.WIDE - _FRAME)
        self.TALL = len(asked) + _BELOW + _FRAME

    def rows(self, width: int) -> Sequence[Row]:
        """Write question and text; of a long text its end."""
        one, person = self.question, self.person
        room = max(8, width - len(one.label) - 6)
        may = bool(self.text.strip()) or not one.must
        rows = [
            *self._asked(width),
            [Span(f" as {safe(person.name)} ({person.role}) at {safe(person.station)}")],
            [],
            [Span(f" {one.label}: "), Span(f"{self.text[-room:]}_", Role.BRIGHT)] if one.label else [],
            [],
            [*_way(may), Span("     esc", Role.BRIGHT), Span(" no", Role.DIM)],
        ]
        return [fit_row(spans, width, self.desk.look.glyphs.ellipsis) for spans in rows]

    def _asked(self, width: int) -> list[list[Span]]:
        """Write in full what is asked and what it means: nobody says yes to half of it."""
        said = ((self.question.asks, Role.BRIGHT), (self.question.means, Role.DIM))
        return [[Span(f" {line}", role)] for text, role in said for line in wrap(text, max(8, width - 2)) or [""]]

    def on_key(self, event: events.Key) -> None:
        """Take every key: here they are text, yes or no."""
        event.stop()
        event.prevent_default()
        if event.key == "escape":
            self.dismiss(None)
            return
        if event.key == "enter" and (self.text.strip() or not self.question.must):
            self.dismiss(self.text.strip())
            return
        if self.question.label:
            self.text = written(self.text, event, TEXT_LENGTH)
            self.redraw()

    def on_paste(self, event: events.Paste) -> None:
        """Take pasted text, where any belongs to it."""
        if not self.question.label:
            return
        self.text = safe(self.text + event.text[:TEXT_LENGTH], TEXT_LENGTH)
        self.redraw()


def _way(may: bool) -> tuple[Span, ...]:
    """Say how to say yes, or what it takes first."""
    return (Span(" enter", Role.BRIGHT), Span(" yes", Role.DIM)) if may else (Span(" write something first", Role.BRIGHT),)


def ask(
    screen: BoardScreen, question: Question, order: Ordering, then: Callable[[], None] = lambda: None, machine: str = ""
) -> None:
    """Ask, give the order on a yes, and say what came of it; without a machine it goes to every gateway there is."""
    person = permitted(screen, machine)
    if person is not None:
        said = Said("Done", "Nothing was changed", question.asks.rstrip("?").casefold())
        put(screen, AskScreen(screen.desk, question, person), order, said, then)
