"""The handover page on the board: read it, write into the shift log, take over."""

from collections.abc import Sequence

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.ask import AskScreen, Question
from edgemon.board.screens.base import ListScreen, bindings, why_not
from edgemon.board.view import handover as view
from edgemon.board.view.cells import Row, safe
from edgemon.errors import EdgemonError
from edgemon.model.shift import HandoverView
from edgemon.model.snapshot import Outcome


class HandoverScreen(ListScreen):
    """The page, as the daemon writes it; written anew whenever the journal grows."""

    NAME = "shift"
    BINDINGS = bindings(keys.SHIFT_PAGE)

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._page: HandoverView | None = None
        self._events: int | None = None

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the page, and ask for a new one where there is something new."""
        picture = self.desk.picture
        if picture.gateway is not None and picture.gateway.events != self._events and picture.lost is None:
            self._events = picture.gateway.events
            self.run_worker(self._fetch(), group="handover", name="handover", exclusive=True)
        return self.page(view.page(self._page, self.desk.look, width), height)

    async def _fetch(self) -> None:
        try:
            self._page = await self.desk.source.handover()
        except EdgemonError as error:
            self.say(why_not(error))
            return
        self.redraw()

    def action_write(self) -> None:
        """Ask what is to stand in the log."""
        self._ask(Question("Write into the shift log", "what is written stays, with your name", "text", must=True), self._write)

    def action_take(self) -> None:
        """Ask whether the page is taken over as it stands here."""
        page = self._page
        if page is None:
            self.say("The page has not come yet.")
            return
        question = Question("Take the shift over?", "you have read this page, hidden alarms and blind spots included", "note")
        self._ask(question, lambda note: self.desk.source.take_over(page.digest, note))

    async def _write(self, text: str) -> Outcome:
        return await self.desk.source.write_log(text)

    def _ask(self, question: Question, order: view.Ordering) -> None:
        desk = self.desk
        forbidden = desk.forbidden()
        if forbidden or desk.person is None:
            self.say(forbidden)
            return

        def answered(text: str | None) -> None:
            if text is None:
                self.say("Nothing was changed.")
            else:
                self.run_worker(self._send(question, text, order), group="shift", name="shift")

        self.app.push_screen(AskScreen(desk, question, desk.person), answered)

    async def _send(self, question: Question, text: str, order: view.Ordering) -> None:
        try:
            outcome = await order(text)
        except EdgemonError as error:
            self.say(f"Nothing was changed. {why_not(error)}")
            return
        self.say(f"Done: {question.asks.rstrip('?').casefold()}." if outcome.done else f"Not done: {safe(outcome.why, 120)}.")
        self._events = None
        self.redraw()
