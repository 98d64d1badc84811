"""The alarm list."""

from collections.abc import Sequence

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens import order
from edgemon.board.screens.acknowledge import acknowledge
from edgemon.board.screens.base import ListScreen, bindings
from edgemon.board.view import alarms as view
from edgemon.board.view.cells import Row, fit_row
from edgemon.board.widgets.lines import Lines
from edgemon.model.snapshot import AlarmView

_ROOMY = 8
"""Rows from which on the list has a head, and the alarm selected stands under it in full."""


class AlarmsScreen(ListScreen):
    """Every alarm record that is not plainly normal; the selection follows its alarm, not its row."""

    NAME = "alarms"
    BINDINGS = bindings(keys.ALARM_LIST)

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.selected = ""
        self._listed: list[AlarmView] = []
        self._lines: list[AlarmView | Row] = []
        self._columns = view.Columns.of(())
        self._laid_out: tuple[object, ...] = ()

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the list and, under it, the selected alarm in full with what is to do; only rows in view are drawn."""
        look, now = self.desk.look, self.desk.picture.now
        self._lay_out(width)
        at = self._at()
        chosen = self._chosen()
        roomy = height >= _ROOMY
        under = view.below(chosen, now, look, width, max(view.BELOW, height // 2 - 1)) if roomy else []
        room = height - 1 - len(under) if roomy else height
        line = self._lines.index(chosen) if chosen is not None else 0
        self.top = min(max(self.top, line - room + 1), (line - 1 if at else 0) if roomy else line)
        seen = self.window(self._lines, room)
        shown = [
            view.row(one, self._columns, now, look, width, one is chosen) if isinstance(one, AlarmView) else one for one in seen
        ]
        shown.extend([fit_row([], width)] * (room - len(shown)))
        if not roomy:
            return shown
        heads = view.heading(width, self._columns, look)
        return [self.with_more(heads), *shown, *under]

    def _lay_out(self, width: int) -> None:
        """Sort the alarms into their sections, once per change."""
        picture, glyphs = self.desk.picture, self.desk.look.glyphs
        key = (picture.revision, width, glyphs)
        if key != self._laid_out:
            self._laid_out = key
            self._lines = view.lines(picture.machines, self.desk.look, width, picture.own_alarms)
            self._listed = [one for one in self._lines if isinstance(one, AlarmView)]
            self._columns = view.Columns.of(self._listed, width)

    def _at(self) -> int:
        ids = [alarm.id for alarm in self._listed]
        if self.selected not in ids:
            self.selected = ids[0] if ids else ""
        return ids.index(self.selected) if ids else 0

    def action_move(self, down: int, right: int) -> None:
        """Select the alarm above or below."""
        if self._listed:
            self.selected = self._listed[max(0, min(self._at() + down, len(self._listed) - 1))].id
        self.redraw()

    def action_page(self, by: int) -> None:
        """Move the selection by a page."""
        self.action_move(by * self._window, 0)

    def action_edge(self, end: int) -> None:
        """Select the first or last alarm."""
        self.action_move(end * len(self._listed), 0)

    def action_open(self) -> None:
        """Open the alarm's machine."""
        if self._listed and self.desk.picture.machine(self._listed[self._at()].machine) is not None:
            self.call_later(self.app.run_action, f"open_machine({self._listed[self._at()].machine!r})")

    def action_acknowledge(self) -> None:
        """Ask about the alarm selected."""
        acknowledge(self, self._listed[self._at() : self._at() + 1])

    def action_shelve(self) -> None:
        """Ask about shelving the alarm selected, or about the end of its shelf."""
        order.shelve(self, self._chosen())

    def action_reset(self) -> None:
        """Ask about resetting the alarm selected."""
        order.reset(self, self._chosen())

    def action_service(self) -> None:
        """Ask about taking the alarm selected out of service, or putting it back."""
        order.service(self, self._chosen())

    def action_undo(self) -> None:
        """Ask about undoing what was last hidden from here."""
        order.undo(self, {one.id: one for one in self._listed})

    def _chosen(self) -> AlarmView | None:
        return self._listed[self._at()] if self._listed else None

    def on_lines_pressed(self, message: Lines.Pressed) -> None:
        """Select with the mouse; pressed twice, open the machine."""
        line = message.y - (self.query_one("#body", Lines).size.height >= _ROOMY) + self.top
        alarm = self._lines[line] if 0 <= line < len(self._lines) else None
        if isinstance(alarm, AlarmView):
            self.selected = alarm.id
            self.redraw()
            if message.twice:
                self.action_open()
