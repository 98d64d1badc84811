"""The question before an acknowledgement: it names the alarm and who acknowledges it."""

from collections.abc import Sequence

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.base import BoardScreen, bindings, why_not
from edgemon.board.screens.question import QuestionScreen
from edgemon.board.view import pages, status
from edgemon.board.view.cells import Row, safe
from edgemon.errors import EdgemonError
from edgemon.model.command import Person
from edgemon.model.snapshot import AlarmView


class AcknowledgeScreen(QuestionScreen[bool]):
    """Asks; answers True only for a yes."""

    BINDINGS = bindings(keys.QUESTION)

    def __init__(self, desk: Desk, alarm: AlarmView, person: Person) -> None:
        super().__init__(desk)
        self.alarm, self.person = alarm, person

    def rows(self, width: int) -> Sequence[Row]:
        """Name the alarm and who acknowledges it."""
        return pages.question(self.alarm, self.person, self.desk.look, width)

    def action_answer(self, yes: bool) -> None:
        """Close with the answer."""
        self.dismiss(yes)


def acknowledge(screen: BoardScreen, alarms: Sequence[AlarmView]) -> None:
    """Ask about the first of these alarms that waits for it; or say why there is nothing to ask."""
    desk = screen.desk
    waiting = [alarm for alarm in alarms if status.wants_acknowledgement(alarm)]
    if not waiting:
        screen.say("Nothing selected waits to be acknowledged.")
        return
    forbidden = desk.forbidden()
    if forbidden or desk.person is None:
        screen.say(forbidden)
        return
    alarm = waiting[0]

    def answered(yes: bool | None) -> None:
        if yes:
            screen.run_worker(_send(screen, alarm), group="acknowledge", name=f"acknowledge {alarm.id}")
        else:
            screen.say("Not acknowledged.")

    screen.app.push_screen(AcknowledgeScreen(desk, alarm, desk.person), answered)


async def _send(screen: BoardScreen, alarm: AlarmView) -> None:
    named = f"{safe(alarm.machine_name)}, {safe(alarm.point_name)}, {safe(alarm.title)}"
    try:
        outcome = await screen.desk.source.acknowledge(alarm.id, alarm.occurrence)
    except EdgemonError as error:
        screen.say(f"Not acknowledged: {named}. {why_not(error)}")
        return
    if outcome.done:
        screen.say(f"Acknowledged: {named}.")
    else:
        screen.say(f"Not acknowledged: {safe(outcome.why, 120)} ({named}).")
