"""Level 2: one machine, its points, levels, limits and the past of one level."""

from collections.abc import Sequence
from functools import partial

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.acknowledge import acknowledge
from edgemon.board.screens.base import ListScreen, bindings, why_not
from edgemon.board.screens.point import PointScreen
from edgemon.board.view import machine as view
from edgemon.board.view.alarms import listed
from edgemon.board.view.cells import Row, Span, fit_row
from edgemon.board.view.chart import chart
from edgemon.board.view.lead import lead
from edgemon.board.view.outlook import outlook
from edgemon.board.view.train import train
from edgemon.board.widgets.lines import Lines
from edgemon.errors import EdgemonError
from edgemon.model.instant import Duration
from edgemon.model.outlook import BaselineView, OutlookView
from edgemon.model.snapshot import MachineView, TrendPoint

TREND_FOR: Duration = 900.0
"""Seconds of the past shown, and the step in which it is asked for again."""
ASK_AGAIN: Duration = 4.0
FORESEE_AGAIN: Duration = 60.0
"""A forecast reads thousands of values: asked for again so seldom."""
_ROOMY = 30
"""Rows from which on the train is drawn."""
_CHART = 40
"""Rows the chart may take where nothing else needs them."""


class MachineScreen(ListScreen):
    """The machine opened."""

    NAME = "machine"
    BINDINGS = bindings(keys.MACHINE)

    def __init__(self, desk: Desk, machine: str) -> None:
        super().__init__(desk)
        self.machine = machine
        self.at: view.LevelAt | None = None
        self._past: tuple[TrendPoint, ...] = ()
        self._past_of: tuple[str, view.LevelAt | None] = ("", None)
        self._baseline: BaselineView | None = None
        self._coming: OutlookView | None = None
        self._asked_at: Duration | None = None
        self._foreseen_at: Duration | None = None
        self._lines: list[view.LevelAt | None] = []
        self._head = view.HEAD

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give head, levels, the past of the level selected, alarms and sensor."""
        machine = self.desk.picture.machine(self.machine)
        if machine is None:
            return [fit_row([Span(" This machine is no longer part of the plant file.")], width)]
        known = view.levels(machine)
        if self.at not in known:
            self.at = self._worst(machine, known)
        self._ask()
        picture = self.desk.picture
        area = next((area.name for area in picture.areas if area.id == machine.area), machine.area)
        drawn = train(machine, self.at.point if self.at is not None else "", self.desk.look, width) if height >= _ROOMY else []
        top, second, columns = view.head(machine, area, picture.now, self.desk.look, width)
        head = [top, second, *drawn, columns]
        self._head = len(head)
        body = view.body(machine, self.at, self.desk.look, width)
        under = self._under(machine, width, height - len(drawn), len(body))
        self._lines = [at for at, _ in body]
        room = max(1, height - len(head) - len(under))
        self._keep_in_view(room)
        shown = list(self.window([row for _, row in body], room))
        shown.extend([fit_row([], width)] * (room - len(shown)))
        return [head[0], self.with_more(head[1]), *head[2:], *shown, *under]

    def _under(self, machine: MachineView, width: int, height: int, above: int) -> list[Row]:
        look, now = self.desk.look, self.desk.picture.now
        found = view.found(machine, self.at)
        sensor = self.desk.picture.sensors.get(found[0].sensor if found else machine.points[0].sensor if machine.points else "")
        rows = view.beside(machine, self.at, sensor, now, look, width)
        if self._past_of == (self.machine, self.at):
            rows[1:1] = outlook(self._baseline, self._coming, look, width)
        room = height - len(rows) - view.HEAD
        tall = max(min(_CHART, room - above - 1), min(12, room // 3))
        if found is not None and tall >= 3:
            past = self._past if self._past_of == (self.machine, self.at) else ()
            rows[1:1] = chart(found[1], past, now - TREND_FOR, now, look, width, tall)
        return rows[: max(0, height - view.HEAD - 2)]

    def _worst(self, machine: MachineView, known: list[view.LevelAt]) -> view.LevelAt | None:
        worst = lead(machine)
        wished = view.LevelAt(worst.point, worst.level) if worst is not None else None
        return wished if wished in known else known[0] if known else None

    def _keep_in_view(self, room: int) -> None:
        if self.at in self._lines:
            line = self._lines.index(self.at)
            self.top = min(max(self.top, line - room + 1), max(0, line - 1))

    def _ask(self) -> None:
        elapsed = self.desk.clock.elapsed()
        fresh = self._asked_at is not None and elapsed - self._asked_at < ASK_AGAIN
        if self.at is None or self.desk.picture.lost is not None or (fresh and self._past_of == (self.machine, self.at)):
            return
        if self._past_of != (self.machine, self.at):
            self._past, self._past_of = (), (self.machine, self.at)
            self._baseline, self._coming, self._foreseen_at = None, None, None
        self._asked_at = elapsed
        self.fetch(partial(self._fetch, self.machine, self.at), "trend")
        if self._foreseen_at is None or elapsed - self._foreseen_at >= FORESEE_AGAIN:
            self._foreseen_at = elapsed
            self.fetch(partial(self._foresee, self.machine, self.at), "outlook")

    async def _fetch(self, machine: str, at: view.LevelAt) -> None:
        now = self.desk.picture.now
        try:
            past = await self.desk.source.trend(machine, at.point, at.level, now - TREND_FOR, now)
        except EdgemonError as error:
            self.say(why_not(error))
            return
        if self._past_of == (machine, at):
            self._past = past
            self.redraw()

    async def _foresee(self, machine: str, at: view.LevelAt) -> None:
        try:
            known = await self.desk.source.baselines()
            coming = await self.desk.source.forecast(machine, at.point, at.level)
        except EdgemonError as error:
            self.say(why_not(error))
            return
        if self._past_of == (machine, at):
            self._baseline = next((one for one in known if (one.machine, one.point, one.level) == (machine, *at)), None)
            self._coming = coming
            self.redraw()

    def subject(self) -> tuple[str, str]:
        """Give the machine, and the point of the level selected."""
        return self.machine, "" if self.at is None else self.at.point

    def action_move(self, down: int, right: int) -> None:
        """Select the level above or below."""
        levels = [at for at in self._lines if at is not None]
        if self.at in levels:
            self.at = levels[max(0, min(levels.index(self.at) + down, len(levels) - 1))]
        self.redraw()

    def action_page(self, by: int) -> None:
        """Move the selection by a page."""
        self.action_move(by * self._window, 0)

    def action_edge(self, end: int) -> None:
        """Select the first or last level."""
        self.action_move(end * len(self._lines), 0)

    def action_open(self) -> None:
        """Open the point of the level selected."""
        if self.at is not None:
            self.app.push_screen(PointScreen(self.desk, self.machine, self.at))

    def action_acknowledge(self) -> None:
        """Ask about the gravest alarm of the point selected, or else of the machine."""
        machine = self.desk.picture.machine(self.machine)
        alarms = listed([machine]) if machine is not None else []
        point = self.at.point if self.at is not None else ""
        acknowledge(self, sorted(alarms, key=lambda alarm: alarm.point != point))

    def on_lines_pressed(self, message: Lines.Pressed) -> None:
        """Select a level with the mouse."""
        line = message.y - self._head + self.top
        if 0 <= line < len(self._lines) and self._lines[line] is not None:
            self.at = self._lines[line]
            self.redraw()
