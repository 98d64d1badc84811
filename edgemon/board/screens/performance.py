"""How the alarms do, beside the figures that the alarm standards ask for."""

from collections.abc import Sequence
from functools import partial

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.base import ListScreen, bindings, why_not
from edgemon.board.theme import Role
from edgemon.board.view import figures
from edgemon.board.view.cells import Row, Span, fit_row, safe, wrap
from edgemon.board.view.performance import lines
from edgemon.errors import EdgemonError
from edgemon.model.performance import Performance

PERIODS_S = (8 * 3600.0, 86_400.0, 7 * 86_400.0, 30 * 86_400.0)
"""A shift, a day, a week, and the 30 days over which the figures are asked for."""
ASK_AGAIN_S = 300.0
"""A period up to now moves on: counted anew so often, for counting a month takes seconds."""
RETRY_S = 10.0
WITH_SOURCES = 120


class PerformanceScreen(ListScreen):
    """The figures of a period up to now; simulated ones where everything is simulated."""

    NAME = "performance"
    BINDINGS = bindings(keys.FIGURES_PAGE)

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._period = 1
        self._asked: tuple[int, bool] | None = None
        self._asked_at = 0.0
        self._found: Performance | None = None
        self._has_failed = False
        self._why = "The figures are being counted."

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the figures, and ask for them where the period is another one."""
        total = self.desk.summary()
        asked, elapsed = (self._period, 0 < total.machines == total.simulated), self.desk.clock.elapsed()
        is_old = elapsed - self._asked_at >= (RETRY_S if self._found is None or self._has_failed else ASK_AGAIN_S)
        if (asked != self._asked or is_old) and self.desk.picture.lost is None:
            if asked != self._asked:
                self._found, self._why = None, "The figures are being counted."
            self._asked, self._asked_at = asked, elapsed
            self.fetch(partial(self._fetch, *asked), "performance")
        title = f" Alarm performance of the last {figures.spoken(PERIODS_S[self._period])}"
        head = fit_row([Span(title, Role.BRIGHT)], width, self.desk.look.glyphs.ellipsis)
        told = lines(self._found, width >= WITH_SOURCES) if self._found is not None else [self._why]
        if self._found is not None and self._has_failed:
            told = [f"Not counted anew: {self._why}", *told]
        wrapped = [part for line in told for part in (wrap(line, width - 2) if len(line) > width - 2 else [line])]
        return self.page([head, *(fit_row([Span(f" {safe(line, 400)}")], width) for line in wrapped)], height)

    async def _fetch(self, period: int, sim: bool) -> None:
        try:
            self._found = await self.desk.source.performance(self.desk.picture.now - PERIODS_S[period], None, sim)
            self._has_failed = False
        except EdgemonError as error:
            self._has_failed, self._why = True, why_not(error)
        self.redraw()

    def action_period(self, by: int) -> None:
        """Look at a longer period, or a shorter one."""
        self._period = max(0, min(self._period + by, len(PERIODS_S) - 1))
        self.redraw()
