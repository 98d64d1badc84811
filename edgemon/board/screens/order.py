"""Shelve, end a shelf, reset, out of service and back: a question with a name, a reason where due, and a confirmation."""

from collections.abc import Callable

from textual import events
from textual.app import ComposeResult
from textual.screen import ModalScreen

from edgemon.board.desk import Desk
from edgemon.board.port import Outcome, Source
from edgemon.board.screens.base import BoardScreen, why_not
from edgemon.board.theme import Role
from edgemon.board.view import orders
from edgemon.board.view.cells import safe
from edgemon.board.view.orders import Draft, Order
from edgemon.board.widgets.lines import Lines
from edgemon.errors import EdgemonError
from edgemon.model.command import Person
from edgemon.model.snapshot import AlarmView

_WIDTH, _HEIGHT = 72, 13


class OrderScreen(ModalScreen[Draft | None]):
    """Asks; answers with the order as written, or None for a no."""

    CSS = f"""
    OrderScreen {{ align: center middle; background: transparent; }}
    OrderScreen Lines {{ width: {_WIDTH}; max-width: 100%; height: {_HEIGHT}; max-height: 100%; }}
    """

    def __init__(self, desk: Desk, draft: Draft) -> None:
        super().__init__()
        self.desk, self.draft = desk, draft

    def compose(self) -> ComposeResult:
        """Show the question in a frame."""
        lines = Lines(self.desk.palette, id="question")
        paint = self.desk.palette[Role.BANNER]
        lines.styles.border = ("ascii" if self.desk.look.glyphs.plain else "solid", paint.ink)
        lines.styles.background = paint.ground
        yield lines

    def redraw(self) -> None:
        """Draw the question for the size there is."""
        lines = self.query_one(Lines)
        rows = orders.question(self.draft, self.desk.picture.now, self.desk.look, lines.size.width)
        lines.show([tuple(span._replace(selected=True) for span in row) for row in rows])

    def on_lines_resized(self) -> None:
        """Draw for the new size."""
        self.redraw()

    def on_key(self, event: events.Key) -> None:
        """Take every key: here they are text, a duration, yes or no."""
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
            case "left" | "right" if draft.order is Order.SHELVE:
                self.draft = draft.longer(1 if event.key == "right" else -1)
            case "backspace":
                self.draft = draft.rubbed_out()
            case _ if draft.order.reasoned and event.is_printable and event.character:
                self.draft = draft.typed(event.character)
        self.redraw()

    def on_paste(self, event: events.Paste) -> None:
        """Take pasted text into the reason."""
        if self.draft.order.reasoned:
            self.draft = self.draft.typed(event.text[: orders.REASON_LENGTH])
            self.redraw()


def shelve(screen: BoardScreen, alarm: AlarmView | None) -> None:
    """Ask about shelving an alarm, or about the end of its shelf."""
    _ask(screen, alarm, lambda alarm, person: orders.hiding(alarm))


def reset(screen: BoardScreen, alarm: AlarmView | None) -> None:
    """Ask about resetting a latched alarm."""
    _ask(screen, alarm, lambda alarm, person: orders.resetting(alarm))


def service(screen: BoardScreen, alarm: AlarmView | None) -> None:
    """Ask about taking an alarm out of service, or putting it back."""
    _ask(screen, alarm, orders.service)


def _ask(screen: BoardScreen, alarm: AlarmView | None, choose: Callable[[AlarmView, Person], Order | str]) -> None:
    desk = screen.desk
    if alarm is None:
        screen.say("No alarm is selected.")
        return
    forbidden = desk.forbidden()
    if forbidden or desk.person is None:
        screen.say(forbidden)
        return
    order = choose(alarm, desk.person)
    if isinstance(order, str):
        screen.say(order)
        return

    def answered(draft: Draft | None) -> None:
        if draft is None:
            screen.say("Nothing was changed.")
        else:
            screen.run_worker(_send(screen, draft), group="order", name=f"{draft.order.name} {alarm.id}")

    screen.app.push_screen(OrderScreen(desk, Draft(order, alarm, desk.person)), answered)


async def _send(screen: BoardScreen, draft: Draft) -> None:
    alarm = draft.alarm
    named = f"{safe(alarm.machine_name)}, {safe(alarm.point_name)}, {safe(alarm.title)}"
    try:
        outcome = await _command(screen.desk.source, draft)
    except EdgemonError as error:
        screen.say(f"Nothing was changed: {named}. {why_not(error)}")
        return
    screen.say(f"{draft.order.done}: {named}." if outcome.done else f"Nothing was changed: {safe(outcome.why, 120)} ({named}).")


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
