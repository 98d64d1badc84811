"""The handover page on the board: read it, write into the shift log, take over."""

from collections.abc import Sequence

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.ask import Question, ask
from edgemon.board.screens.base import ListScreen, bindings, why_not
from edgemon.board.view import handover as view
from edgemon.board.view.cells import Row
from edgemon.errors import EdgemonError
from edgemon.model.shift import HandoverView
from edgemon.model.snapshot import Outcome

ASK_AGAIN_S = 10.0
"""The page reads a shift's journal: asked for again so seldom, unless something was ordered here."""


class HandoverScreen(ListScreen):
    """The page, as the daemon writes it; written anew as the journal grows."""

    NAME = "shift"
    BINDINGS = bindings(keys.SHIFT_PAGE)

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._page: HandoverView | None = None
        self._events: int | None = None
        self._asked_at: float | None = None

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the page, and ask for a new one where there is something new."""
        picture, elapsed = self.desk.picture, self.desk.clock.elapsed()
        due = self._asked_at is None or elapsed - self._asked_at >= ASK_AGAIN_S
        if picture.gateway is not None and picture.gateway.events != self._events and picture.lost is None and due:
            self._events, self._asked_at = picture.gateway.events, elapsed
            self.fetch(self._fetch, "handover")
        return self.page(view.page(self._page, self.desk.look, width), height)

    async def _fetch(self) -> None:
        try:
            self._page = await self.desk.source.handover()
        except EdgemonError as error:
            self._events = None  # asked for again when it is due
            self.say(why_not(error))
            return
        self.redraw()

    def action_write(self) -> None:
        """Ask what is to stand in the log."""
        ask(
            self,
            Question("Write into the shift log", "what is written stays, with your name", "text", must=True),
            self._write,
            self._again,
        )

    def action_take(self) -> None:
        """Ask whether the page is taken over as it stands here."""
        page = self._page
        if page is None:
            self.say("The page has not come yet.")
            return
        question = Question("Take the shift over?", "you have read this page, hidden alarms and blind spots included", "note")
        ask(self, question, lambda note: self.desk.source.take_over(page.digest, note), self._again)

    async def _write(self, text: str) -> Outcome:
        return await self.desk.source.write_log(text)

    def _again(self) -> None:
        self._events = self._asked_at = None
        self.redraw()
