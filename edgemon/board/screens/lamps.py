"""The board's share of a lamp test: every mark, word and colour, flashing and still, and the bell; ends by itself."""

from collections.abc import Sequence

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.base import ListScreen, bindings
from edgemon.board.theme import MARKS, Role
from edgemon.board.view import status
from edgemon.board.view.cells import Row, Span, fit, fit_row

LASTS_S = 10.0
_WORD = 16


class LampsScreen(ListScreen):
    """Shows all a mark can be; the banner above goes on telling what is real."""

    NAME = "lamps"
    BINDINGS = bindings(keys.LIST)

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._until = desk.clock.elapsed() + LASTS_S

    def on_mount(self) -> None:
        """Ring the bell once."""
        self.app.bell()

    def redraw(self) -> None:
        """Draw; or leave when the test is over and nothing lies over it."""
        if self.app.screen is self and self.desk.clock.elapsed() >= self._until:
            self.app.pop_screen()
            return
        super().redraw()

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give a row a mark: as it calls, as it stands, its word."""
        look = self.desk.look
        rows = [
            fit_row([Span(" LAMP TEST: nothing below is real; the two lines above are.", Role.BRIGHT)], width),
            fit_row([Span(" The bell has sounded. Left as it calls, then as it stands; ends by itself.", Role.DIM)], width),
            fit_row([], width),
        ]
        for show, mark in MARKS.items():
            calling, still = status.tag(show, look, calling=True), status.tag(show, look, calling=False)
            spans = [Span("   "), *calling, Span("  "), *still, Span("  "), Span(fit(mark.word, _WORD), mark.role)]
            rows.append(fit_row(spans, width, look.glyphs.ellipsis))
        return self.page(rows, height)
