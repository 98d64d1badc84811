"""Beginning a proof of alarms, and ending it: a question with a name, a reason and a confirmation."""

from collections.abc import Sequence
from dataclasses import replace

from textual import events

from edgemon.board.desk import Desk
from edgemon.board.screens.ask import Question, ask
from edgemon.board.screens.base import BoardScreen
from edgemon.board.screens.question import QuestionScreen, Said, permitted, put, written
from edgemon.board.view import orders
from edgemon.board.view.cells import Row, safe
from edgemon.board.view.proof import ProofDraft, choices, forbidden, question
from edgemon.model.proof import ProofView


class ProofScreen(QuestionScreen[ProofDraft | None]):
    """Asks; answers with the proof as written, or None for a no."""

    WIDE, TALL = 80, 13

    def __init__(self, desk: Desk, draft: ProofDraft) -> None:
        super().__init__(desk)
        self.draft = draft

    def rows(self, width: int) -> Sequence[Row]:
        """Say what it means, of what, for how long and why."""
        return question(self.draft, self.desk.picture.now, self.desk.look, width)

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
                if draft.reason.strip():
                    self.dismiss(draft)
                    return
            case "up" | "down":
                self.draft = draft.wider(1 if event.key == "down" else -1)
            case "left" | "right":
                self.draft = draft.longer(1 if event.key == "right" else -1)
            case _:
                self.draft = replace(draft, reason=written(draft.reason, event, orders.REASON_LENGTH))
        self.redraw()

    def on_paste(self, event: events.Paste) -> None:
        """Take pasted text into the reason."""
        pasted = self.draft.reason + event.text[: orders.REASON_LENGTH]
        self.draft = replace(self.draft, reason=safe(pasted, orders.REASON_LENGTH))
        self.redraw()


def prove(screen: BoardScreen) -> None:
    """Ask about beginning a proof where somebody stands, or about ending the one that is on."""
    desk = screen.desk
    machine, point = screen.subject()
    shown = desk.picture.machine(machine)
    person = permitted(screen, machine)
    if person is None:
        return
    if why := forbidden(person):
        screen.say(why)
        return
    on = None if desk.picture.gateway is None else desk.picture.gateway.proof
    if on is not None:
        _ask_to_end(screen, on)
        return
    draft = ProofDraft(choices(shown, point, desk.picture.areas), person)
    said = Said("Announced", "No proof was begun", "proof of alarms", "simulated alarms call in a few seconds; y ends it")
    put(
        screen,
        ProofScreen(desk, draft),
        lambda done: desk.source.start_proof(done.scope, done.duration_s, done.reason.strip()),
        said,
    )


def _ask_to_end(screen: BoardScreen, on: ProofView) -> None:
    source = screen.desk.source
    one = Question(f"End the proof of {safe(on.scope, 50)}?", "what simulated data raised ends with it", "because", must=True)
    ask(screen, one, source.stop_proof)
