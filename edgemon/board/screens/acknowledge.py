"""The question before an acknowledgement: it names the alarm and who acknowledges it."""

from collections.abc import Sequence

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.base import BoardScreen, bindings
from edgemon.board.screens.question import QuestionScreen, Said, permitted, put
from edgemon.board.view import pages, status
from edgemon.board.view.alarms import machine_of, named
from edgemon.board.view.cells import Row
from edgemon.model.command import Person
from edgemon.model.snapshot import AlarmView


class AcknowledgeScreen(QuestionScreen[bool | None]):
    """Asks; answers True for a yes, and None for a no."""

    BINDINGS = bindings(keys.QUESTION)

    def __init__(self, desk: Desk, alarm: AlarmView, person: Person) -> None:
        super().__init__(desk)
        self.alarm, self.person = alarm, person

    def rows(self, width: int) -> Sequence[Row]:
        """Name the alarm and who acknowledges it."""
        return pages.question(self.alarm, self.person, self.desk.look, width)

    def action_answer(self, yes: bool) -> None:
        """Close with the answer."""
        self.dismiss(yes or None)


def acknowledge(screen: BoardScreen, alarms: Sequence[AlarmView]) -> None:
    """Ask about the first of these alarms that waits for it; or say why there is nothing to ask."""
    waiting = [alarm for alarm in alarms if status.wants_acknowledgement(alarm)]
    if not waiting:
        screen.say("Nothing selected waits to be acknowledged.")
        return
    person = permitted(screen, machine_of(waiting[0]))
    if person is not None:
        alarm, source = waiting[0], screen.desk.source
        said = Said("Acknowledged", "Not acknowledged", named(alarm))
        put(
            screen,
            AcknowledgeScreen(screen.desk, alarm, person),
            lambda _: source.acknowledge(alarm.id, alarm.occurrence),
            said,
        )
