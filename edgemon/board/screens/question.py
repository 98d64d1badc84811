"""What every question has: a frame in the middle of the screen, a line of text, and one way from yes to what came of it."""

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from textual import events
from textual.app import ComposeResult
from textual.screen import ModalScreen

from edgemon.board.desk import Desk
from edgemon.board.port import Outcome
from edgemon.board.screens.base import BoardScreen, why_not
from edgemon.board.theme import Role
from edgemon.board.view.cells import Row, safe
from edgemon.board.view.whole import Partly
from edgemon.board.widgets.lines import Lines
from edgemon.errors import EdgemonError
from edgemon.model.command import Person

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
        lines = Lines(self.desk.palette, id="question", ascii=self.desk.look.glyphs.plain)
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

    def on_unmount(self) -> None:
        """Let go of what was drawn, as its parts do."""
        self._styles_cache.clear()

    def on_lines_resized(self) -> None:
        """Draw for the new size."""
        self.redraw()


def written(text: str, event: events.Key, most: int) -> str:
    """Give a text after a key: a character more, the last one less, or as it was."""
    if event.key == "backspace":
        return text[:-1]
    return safe(text + event.character, most) if event.is_printable and event.character else text


@dataclass(frozen=True, slots=True)
class Said:
    """What the footer says of an order: done, or not, and what it was about."""

    done: str
    undone: str
    about: str
    hint: str = ""
    """What may follow where it was done."""


def permitted(screen: BoardScreen, machine: str = "") -> Person | None:
    """Give who sits here, if they may order anything (of a machine) now; otherwise the footer says why not."""
    forbidden = screen.desk.forbidden(machine)
    if forbidden:
        screen.say(forbidden)
    return None if forbidden else screen.desk.person_at(machine)


def put(
    screen: BoardScreen,
    question: QuestionScreen[Answer | None],
    order: Callable[[Answer], Awaitable[Outcome]],
    said: Said,
    then: Callable[[], None] = lambda: None,
) -> None:
    """Ask, give the order on a yes, and say what came of it."""

    def answered(answer: Answer | None) -> None:
        if answer is None:
            screen.say(f"{said.undone}.")
        else:
            screen.run_worker(_send(screen, order(answer), said, then), group="order", name=said.about)

    screen.app.push_screen(question, answered)


async def _send(screen: BoardScreen, order: Awaitable[Outcome], said: Said, then: Callable[[], None]) -> None:
    try:
        outcome = await order
    except EdgemonError as error:
        screen.say(f"{said.undone}: {said.about}. {why_not(error)}")
        return
    hint = f" ({said.hint})" if said.hint else ""
    if isinstance(outcome, Partly):
        hint = f", but {safe(outcome.why, 200)}"
    done, undone = f"{said.done}: {said.about}{hint}.", f"{said.undone}: {safe(outcome.why, 120)} ({said.about})."
    screen.say(done if outcome.done else undone)
    then()
