"""Level 1: the whole plant at a glance."""

from collections.abc import Sequence
from dataclasses import replace

from textual import events

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.acknowledge import acknowledge
from edgemon.board.screens.base import BoardScreen, bindings
from edgemon.board.view import detail, figures, plant, status
from edgemon.board.view.alarms import listed
from edgemon.board.view.cells import Row, Span, blank, fit_row, safe
from edgemon.board.view.grid import GUTTER, Grid, Heading, Place
from edgemon.board.widgets.lines import Lines
from edgemon.model.snapshot import MachineView

_WITH_DETAIL = 12
"""Body rows from which on the strip with the selected machine is shown."""
SOUGHT_LONGEST = 40
"""Characters of a search; more are not taken."""


class PlantScreen(BoardScreen):
    """Every machine at once; the selected one in full underneath."""

    NAME = "plant"
    BINDINGS = bindings(keys.PLANT)

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.wish = plant.Wish()
        self._typing = False
        self._grid: Grid | None = None
        self._grid_of: tuple[object, ...] = ()
        self._name_width = 0
        self._tiles: dict[str, tuple[tuple[object, ...], tuple[Row, ...]]] = {}

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the page on which the selected machine stands, and the strip with its details."""
        machines = {machine.id: machine for machine in self.desk.picture.machines}
        strip = detail.HEIGHT if height >= _WITH_DETAIL else 0
        grid = self._arranged(width, height - strip)
        found = grid.find(self.desk.selected)
        if found is None:
            shown = [machines[id_] for id_ in grid.order()]
            self.desk.selected = min(shown, key=plant.severity).id if shown else ""
            found = grid.find(self.desk.selected)
        page = found[0] if found is not None else 0
        cols = plant.columns(grid.form, grid.column_width, self._name_width)
        rows = [self._row(grid, cols, machines, page, line, width) for line in range(height - strip)]
        if found is None:
            rows[:1] = [fit_row([Span(f" {self._nothing()}")], width)]
        if strip:
            look, now = self.desk.look, self.desk.picture.now
            rows.extend(detail.detail(machines.get(self.desk.selected), self._hint(grid, page), now, look, width))
        return rows

    def _arranged(self, width: int, height: int) -> Grid:
        picture = self.desk.picture
        machines = picture.machines
        moves = self.wish.hides or self.wish.sort is plant.Sort.SEVERITY
        names = picture.revision if moves else tuple((machine.id, machine.name, machine.area) for machine in machines)
        key = (width, height, self.wish, picture.areas, names)
        if self._grid is None or self._grid_of != key:
            self._grid = plant.layout(machines, picture.areas, self.wish, width, height)
            self._grid_of = key
            self._name_width = plant.name_width(machines)
        return self._grid

    def _row(self, grid: Grid, cols: plant.Columns, machines: dict[str, MachineView], page: int, line: int, width: int) -> Row:
        spans: list[Span] = []
        for column in range(grid.columns):
            slot = grid.slot(page, column, line)
            if column:
                spans.append(Span(" " * GUTTER))
            if isinstance(slot, Heading):
                spans.extend(plant.heading(slot, cols, grid.column_width, self.desk.look))
            elif isinstance(slot, Place):
                spans.extend(self._tile(machines[slot.machine], grid, cols)[slot.line])
            else:
                spans.extend(blank(grid.column_width))
        return fit_row(spans, width)

    def _tile(self, machine: MachineView, grid: Grid, cols: plant.Columns) -> tuple[Row, ...]:
        look, now = self.desk.look, self.desk.picture.now
        selected = machine.id == self.desk.selected
        phase = look.phase if machine.unacknowledged else None
        key = (machine, grid.form, cols, figures.age(machine.t, now), phase, selected, look.still, look.mixed)
        known = self._tiles.get(machine.id)
        if known is not None and known[0][0] is machine and known[0][1:] == key[1:]:
            return known[1]
        rows = plant.tile(machine, grid.form, cols, grid.column_width, now, look, selected)
        self._tiles[machine.id] = key, rows
        if len(self._tiles) > 2 * max(1, len(self.desk.picture.machines)):  # some have gone
            self._tiles = {machine.id: (key, rows)}
        return rows

    def _nothing(self) -> str:
        total = len(self.desk.picture.machines)
        if not total:
            return "No machine is known yet."
        if self.wish.search:
            return f"No machine of {total} is called so."
        return f"Nothing abnormal or near a limit: all {total} machines are normal or not running."

    def _hint(self, grid: Grid, page: int) -> str:
        said: list[str] = []
        total = len(self.desk.picture.machines)
        if self.wish.hides:
            shown = len(grid.order())
            said.append(f"{shown} of {total} shown{', abnormal or near a limit' if self.wish.abnormal_only else ''}")
        if self.wish.search and not self._typing:
            said.append(f"search: {self.wish.search}")
        if len(grid.pages) > 1:
            said.append(f"page {page + 1} of {len(grid.pages)} {self.desk.look.glyphs.more}")
        return "  ".join(said)

    def foot(self) -> str:
        """Give the search while it is typed."""
        return f"search: {self.wish.search}_   (enter keeps, esc ends)" if self._typing else super().foot()

    def action_move(self, down: int, right: int) -> None:
        """Select the machine above, below, left or right."""
        grid = self._grid
        found = grid.find(self.desk.selected) if grid is not None else None
        if grid is None or found is None:
            return
        if down:
            order = grid.order()
            at = order.index(self.desk.selected) + down
            self._select(order[max(0, min(at, len(order) - 1))])
        else:
            page, column, line = found
            page, column = divmod(page * grid.columns + column + right, grid.columns)
            self._select(_nearest(grid, page, column, line))

    def action_page(self, by: int) -> None:
        """Turn a page."""
        found = self._grid.find(self.desk.selected) if self._grid is not None else None
        if self._grid is not None and found is not None:
            page = max(0, min(found[0] + by, len(self._grid.pages) - 1))
            self._select(_nearest(self._grid, page, 0, 0) if page != found[0] else "")

    def action_edge(self, end: int) -> None:
        """Select the first or last machine."""
        order = self._grid.order() if self._grid is not None else []
        self._select(order[0 if end < 0 else -1] if order else "")

    def action_abnormal(self, by: int) -> None:
        """Select the next machine that is not plainly well."""
        order = self._grid.order() if self._grid is not None else []
        machines = {machine.id: machine for machine in self.desk.picture.machines}
        abnormal = [at for at, id_ in enumerate(order) if status.is_abnormal(machines[id_])]
        if not abnormal:
            self.say("Nothing abnormal.")
            return
        here = order.index(self.desk.selected) if self.desk.selected in order else -1
        onward = [at for at in abnormal if (at - here) * by > 0]
        self._select(order[(onward or abnormal)[0 if by > 0 else -1]])

    def _select(self, machine: str) -> None:
        if machine:
            self.desk.selected = machine
            self.redraw()

    def action_filter(self) -> None:
        """Show only what is abnormal or near a limit, or everything again."""
        self.wish = replace(self.wish, abnormal_only=not self.wish.abnormal_only)
        self.redraw()

    def action_sort(self) -> None:
        """Group by area, or set the most severe first."""
        by_area = self.wish.sort is plant.Sort.AREA
        self.wish = replace(self.wish, sort=plant.Sort.SEVERITY if by_area else plant.Sort.AREA)
        self.redraw()

    def action_search(self) -> None:
        """Begin to type a search."""
        self._typing = True
        self.redraw()

    def action_back(self) -> None:
        """End search and filter."""
        self.wish = replace(self.wish, abnormal_only=False, search="")
        self.redraw()

    def action_acknowledge(self) -> None:
        """Ask about the gravest alarm of the machine selected."""
        machine = self.desk.picture.machine(self.desk.selected)
        acknowledge(self, listed([machine]) if machine is not None else [])

    def key_typed(self, event: events.Key) -> None:
        """Take a key into the search."""
        if event.key == "escape":
            self._typing = False
            self.wish = replace(self.wish, search="")
        elif event.key == "enter":
            self._typing = False
        elif event.key == "backspace":
            self.wish = replace(self.wish, search=self.wish.search[:-1])
        elif event.is_printable and event.character:
            self.wish = replace(self.wish, search=safe((self.wish.search + event.character)[:SOUGHT_LONGEST], SOUGHT_LONGEST))
        self.redraw()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Leave every key to the search while it is typed."""
        return not self._typing

    def on_key(self, event: events.Key) -> None:
        """Take keys while a search is typed."""
        if self._typing:
            event.stop()
            event.prevent_default()
            self.key_typed(event)

    def on_paste(self, event: events.Paste) -> None:
        """Take pasted text into the search; elsewhere it means nothing."""
        if self._typing:
            self.wish = replace(self.wish, search=safe((self.wish.search + event.text)[:SOUGHT_LONGEST], SOUGHT_LONGEST))
            self.redraw()

    def on_lines_pressed(self, message: Lines.Pressed) -> None:
        """Select with the mouse; pressed twice, open."""
        grid = self._grid
        found = grid.find(self.desk.selected) if grid is not None else None
        if grid is None or found is None:
            return
        slot = grid.slot(found[0], message.x // (grid.column_width + GUTTER), message.y)
        if isinstance(slot, Place):
            self._select(slot.machine)
            if message.twice:
                self.run_action_open()

    def run_action_open(self) -> None:
        """Open the machine selected."""
        if self.desk.selected:
            self.call_later(self.app.run_action, f"open_machine({self.desk.selected!r})")

    def action_open(self) -> None:
        """Open the machine selected."""
        self.run_action_open()

    def on_lines_turned(self, message: Lines.Turned) -> None:
        """Turn pages with the wheel."""
        self.action_page(message.by)


def _nearest(grid: Grid, page: int, column: int, line: int) -> str:
    """Give the machine nearest to a line of a column; empty where there is none."""
    if not 0 <= page < len(grid.pages) or column >= len(grid.pages[page]):
        return ""
    places = [(abs(at - line), slot.machine) for at, slot in enumerate(grid.pages[page][column]) if isinstance(slot, Place)]
    return min(places)[1] if places else ""
