"""What is chosen and reasoned before it is ordered: up and down choose, left and right lengthen, all else is the reason."""

from typing import TypeVar

from textual import events

from edgemon.board.desk import Desk
from edgemon.board.screens.question import QuestionScreen, written
from edgemon.board.view import orders
from edgemon.board.view.cells import safe
from edgemon.board.view.draft import Written

D = TypeVar("D", bound=Written)


class DraftScreen(QuestionScreen[D | None]):
    """Asks; answers with the order as written, or None for a no."""

    def __init__(self, desk: Desk, draft: D) -> None:
        super().__init__(desk)
        self.draft = draft

    def on_key(self, event: events.Key) -> None:
        """Take every key: here they are text, a choice, yes or no."""
        event.stop()
        event.prevent_default()
        draft = self.draft
        match event.key:
            case "escape":
                self.dismiss(None)
                return
            case "enter":
                if not draft.lacks:
                    self.dismiss(draft)
                    return
            case "up" | "down":
                self.draft = draft.other(1 if event.key == "down" else -1)
            case "left" | "right":
                self.draft = draft.longer(1 if event.key == "right" else -1)
            case _:
                self.draft = draft.because(written(draft.reason, event, orders.REASON_LENGTH))
        self.redraw()

    def on_paste(self, event: events.Paste) -> None:
        """Take pasted text into the reason."""
        pasted = self.draft.reason + event.text[: orders.REASON_LENGTH]
        self.draft = self.draft.because(safe(pasted, orders.REASON_LENGTH))
        self.redraw()
