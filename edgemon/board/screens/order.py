"""Shelve, end a shelf, reset, out of service and back: a question with a name, a reason where due, and a confirmation."""

from collections.abc import Callable, Mapping, Sequence

from edgemon.board.desk import Desk
from edgemon.board.port import Outcome, Source
from edgemon.board.screens.base import BoardScreen
from edgemon.board.screens.drafting import DraftScreen
from edgemon.board.screens.question import Said, permitted, put
from edgemon.board.view import orders
from edgemon.board.view.alarms import HIDDEN, machine_of, named
from edgemon.board.view.cells import Row
from edgemon.board.view.orders import Draft, Order
from edgemon.model.command import Person
from edgemon.model.snapshot import AlarmView


class OrderScreen(DraftScreen[Draft]):
    """Asks; answers with the order as written, or None for a no."""

    WIDE, TALL = 72, 13

    def rows(self, width: int) -> Sequence[Row]:
        """Name the alarm, who orders, for how long and why."""
        return orders.question(self.draft, self.desk.picture.now, self.desk.look, width)


def shelve(screen: BoardScreen, alarm: AlarmView | None) -> None:
    """Ask about shelving an alarm, or about the end of its shelf."""
    _ask(screen, alarm, _hiding)


def reset(screen: BoardScreen, alarm: AlarmView | None) -> None:
    """Ask about resetting a latched alarm."""
    _ask(screen, alarm, lambda alarm, person: orders.resetting(alarm))


def service(screen: BoardScreen, alarm: AlarmView | None) -> None:
    """Ask about taking an alarm out of service, or putting it back."""
    _ask(screen, alarm, orders.service)


def undo(screen: BoardScreen, known: Mapping[str, AlarmView]) -> None:
    """Ask about undoing what was last hidden from this board, as far as it is hidden still."""
    if not screen.desk.hidden:
        screen.say("Nothing to undo: only a shelf and a taking out of service ordered at this board can be.")
        return
    alarm = known.get(screen.desk.hidden)
    if alarm is None or alarm.alarm_state not in HIDDEN:
        screen.desk.hidden = ""
        screen.say("Nothing to undo: what was hidden from here is not hidden any more.")
        return
    _ask(screen, alarm, orders.service if alarm.alarm_state == "OOSRV" else _hiding)


def _ask(screen: BoardScreen, alarm: AlarmView | None, choose: Callable[[AlarmView, Person], Order | str]) -> None:
    if alarm is None:
        screen.say("No alarm is selected.")
        return
    person = permitted(screen, machine_of(alarm))
    if person is None:
        return
    order = choose(alarm, person)
    if isinstance(order, str):
        screen.say(order)
        return
    said = Said(order.done, "Nothing was changed", named(alarm), "u undoes it" if order.reasoned else "")
    put(screen, OrderScreen(screen.desk, Draft(order, alarm, person)), lambda draft: _give(screen.desk, draft), said)


def _hiding(alarm: AlarmView, person: Person) -> Order | str:
    return orders.hiding(alarm)


async def _give(desk: Desk, draft: Draft) -> Outcome:
    """Give the order, and keep in mind what can be undone."""
    outcome = await _command(desk.source, draft)
    if outcome.done and draft.order is not Order.RESET:
        desk.hidden = draft.alarm.id if draft.order.reasoned else ""
    return outcome


async def _command(source: Source, draft: Draft) -> Outcome:
    alarm, reason = draft.alarm.id, draft.reason.strip()
    match draft.order:
        case Order.SHELVE:
            return await source.shelve(alarm, draft.duration_s, reason)
        case Order.UNSHELVE:
            return await source.unshelve(alarm)
        case Order.RESET:
            return await source.reset(alarm)
        case Order.REMOVE:
            return await source.remove_from_service(alarm, reason)
        case Order.RETURN:
            return await source.return_to_service(alarm)
