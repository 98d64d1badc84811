"""The board's share of a lamp test: every mark, word and colour, flashing and still, and the bell; ends by itself.

A test is the gateway's: whoever ordered it, all boards attached to it show it for the time it lasts. How much of that is
left is told once; from then on the board counts by itself, so that a connection lost meanwhile neither ends the test nor
prolongs it.
"""

from collections.abc import Sequence

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.base import ListScreen, bindings
from edgemon.board.theme import MARKS, Role
from edgemon.board.view import status
from edgemon.board.view.cells import Row, Span, fit, fit_row, safe
from edgemon.model.instant import Duration

LASTS_S: Duration = 10.0
"""Until the gateway says how long it takes."""
LONGEST_S: Duration = 60.0
"""Whatever a gateway says, the operator has the screen back after that. House choice."""
BELL_S: Duration = 2.0
_WORD = 16


class LampsScreen(ListScreen):
    """Shows all a mark can be; the banner above goes on telling what is real."""

    NAME = "lamps"
    BINDINGS = bindings(keys.LIST)

    def __init__(self, desk: Desk, lasts_s: Duration = LASTS_S) -> None:
        super().__init__(desk)
        self._rung_at: Duration | None = None
        self._until = 0.0
        self.goes_on(lasts_s)

    def goes_on(self, lasts_s: Duration) -> None:
        """Let the test last for so long from now on."""
        self._until = self.desk.clock.elapsed() + min(lasts_s, LONGEST_S)

    def redraw(self) -> None:
        """Draw, and ring; or leave when the test is over and nothing lies over it."""
        elapsed = self.desk.clock.elapsed()
        if self.app.screen is self and elapsed >= self._until:
            self.app.pop_screen()
            return
        if self._rung_at is None or elapsed - self._rung_at >= BELL_S:
            self._rung_at = elapsed
            self.app.bell()
        super().redraw()

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give a row a mark: as it calls, as it stands, its word."""
        look, gateway = self.desk.look, self.desk.picture.gateway
        by = "" if gateway is None or not gateway.test_by else f" Ordered by {safe(gateway.test_by, 200)}."
        left = max(0.0, self._until - self.desk.clock.elapsed())
        rows = [
            fit_row([Span(" LAMP TEST: nothing below is real; the two lines above are.", Role.BRIGHT)], width),
            fit_row([Span(f" {left:.0f} s left, then it ends by itself; the bell sounds meanwhile.", Role.DIM)], width),
            fit_row([Span(" Left as it calls, then as it stands.", Role.DIM)], width),
            fit_row([Span(by, Role.DIM)], width, look.glyphs.ellipsis),
            fit_row([], width),
        ]
        for show, mark in MARKS.items():
            calling, still = status.tag(show, look, calling=True), status.tag(show, look, calling=False)
            spans = [Span("   "), *calling, Span("  "), *still, Span("  "), Span(fit(mark.word, _WORD), mark.role)]
            rows.append(fit_row(spans, width, look.glyphs.ellipsis))
        return self.page(rows, height)
