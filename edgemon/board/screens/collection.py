"""Beginning a fast collection, and taking it back: a question with its cost, a name, a reason and a confirmation."""

from collections.abc import Sequence

from edgemon.board.screens.ask import Question, ask
from edgemon.board.screens.base import BoardScreen
from edgemon.board.screens.drafting import DraftScreen
from edgemon.board.screens.question import Said, permitted, put
from edgemon.board.view.cells import Row, safe
from edgemon.board.view.collection import FastDraft, forbidden, question
from edgemon.model.snapshot import MachineView, PointView


class FastScreen(DraftScreen[FastDraft]):
    """Asks; answers with the order as written, or None for a no."""

    WIDE, TALL = 80, 12

    def rows(self, width: int) -> Sequence[Row]:
        """Say how often, for how long, at what cost and why."""
        return question(self.draft, self.desk.picture.now, self.desk.look, width)


def collect(screen: BoardScreen, machine: MachineView, point: PointView) -> None:
    """Ask about collecting faster at a point, or about taking back what is on."""
    desk, target = screen.desk, f"{machine.id}/{point.point}"
    person = permitted(screen, machine.id)
    if person is None:
        return
    sensor = desk.picture.sensors.get(point.sensor)
    shown = None if sensor is None else sensor.collection
    why = forbidden(person, point.sensor, shown)
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
