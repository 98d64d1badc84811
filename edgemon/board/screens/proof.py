"""Beginning a proof of alarms, and ending it: a question with a name, a reason and a confirmation."""

from collections.abc import Sequence

from edgemon.board.screens.ask import Question, ask
from edgemon.board.screens.base import BoardScreen
from edgemon.board.screens.drafting import DraftScreen
from edgemon.board.screens.question import Said, permitted, put
from edgemon.board.view.cells import Row, safe
from edgemon.board.view.proof import ProofDraft, choices, forbidden, question
from edgemon.model.proof import ProofView


class ProofScreen(DraftScreen[ProofDraft]):
    """Asks; answers with the proof as written, or None for a no."""

    WIDE, TALL = 80, 13

    def rows(self, width: int) -> Sequence[Row]:
        """Say what it means, of what, for how long and why."""
        return question(self.draft, self.desk.picture.now, self.desk.look, width)


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
