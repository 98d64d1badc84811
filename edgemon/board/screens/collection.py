"""Beginning a fast collection, and taking it back: a question with its cost, a name, a reason and a confirmation."""

from collections.abc import Sequence
from dataclasses import replace

from textual import events

from edgemon.board.desk import Desk
from edgemon.board.screens.ask import Question, ask
from edgemon.board.screens.base import BoardScreen
from edgemon.board.screens.question import QuestionScreen, Said, permitted, put, written
from edgemon.board.view import orders
from edgemon.board.view.cells import Row, safe
from edgemon.board.view.collection import FastDraft, forbidden, question
from edgemon.model.snapshot import MachineView, PointView


class FastScreen(QuestionScreen[FastDraft | None]):
    """Asks; answers with the order as written, or None for a no."""

    WIDE, TALL = 80, 12

    def __init__(self, desk: Desk, draft: FastDraft) -> None:
        super().__init__(desk)
        self.draft = draft

    def rows(self, width: int) -> Sequence[Row]:
        """Say how often, for how long, at what cost and why."""
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
                self.draft = draft.seldom(1 if event.key == "down" else -1)
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


def collect(screen: BoardScreen, machine: MachineView, point: PointView) -> None:
    """Ask about collecting faster at a point, or about taking back what is on."""
    desk, target = screen.desk, f"{machine.id}/{point.point}"
    person = permitted(screen, machine.id)
    if person is None:
        return
    sensor = desk.picture.sensors.get(point.sensor)
    shown = None if sensor is None else sensor.collection
    why = forbidden(person, shown)
    if why or shown is None:
        screen.say(why)
        return
    where, source = f"{safe(machine.name)}, {safe(point.name)}", desk.source
    if shown.fast is not None:
        means = f"sensor {safe(point.sensor)} measures every {shown.interval_s:g} s again"
        one = Question(f"End the fast collection at {where}?", means, "because", must=True)
        ask(screen, one, lambda reason: source.stop_collection(target, reason), machine=machine.id)
        return
    said = Said("Ordered", "Nothing was ordered", f"fast collection at {where}", "f takes it back")
    put(
        screen,
        FastScreen(desk, FastDraft(where, point.sensor, shown, person)),
        lambda done: source.start_collection(target, done.interval_s, done.duration_s, done.reason.strip()),
        said,
    )
