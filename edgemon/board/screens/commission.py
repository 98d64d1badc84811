"""The commissioning state: what stands between each point and being trusted."""

from collections.abc import Sequence

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.base import ListScreen, bindings, why_not
from edgemon.board.screens.signoff import sign
from edgemon.board.theme import Role
from edgemon.board.view import commission as view
from edgemon.board.view.cells import Row, Span, blank, fit_row, width_of
from edgemon.board.widgets.lines import Lines
from edgemon.errors import EdgemonError
from edgemon.model.commission import CommissionRow, CommissionView

ASK_AGAIN_S = 10.0
"""The journal and the store are asked for it: so often, and no oftener."""
_ROOMY = 12
"""Rows from which on the point selected stands under the list in full."""


class CommissionScreen(ListScreen):
    """Every point with what it lacks; the selection follows its point."""

    NAME = "commission"
    BINDINGS = bindings(keys.COMMISSION_PAGE)

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self.selected = ("", "")
        self._asked_at: float | None = None
        self._found: CommissionView | None = None
        self._why = "The points are being looked at."
        self._is_open_only = False

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the summary, the list and the point selected in full; ask for it anew now and then."""
        self._ask()
        look, found = self.desk.look, self._found
        if found is None:
            return [fit_row([Span(f" {self._why}", Role.BRIGHT)], width, look.glyphs.ellipsis)]
        head = [view.head(found, look, width)]
        if self._why:
            head.append(fit_row([Span(f" As of a while ago. {self._why}", Role.NO_DATA)], width, look.glyphs.ellipsis))
        listed, at = self._listed(), self._at()
        under = view.below(listed[at] if listed else None, look, width) if height >= _ROOMY else []
        room = max(1, height - len(head) - len(under))
        self.top = min(max(self.top, at - room + 1), at)
        name = max((width_of(view.title(one)) for one in listed), default=8)
        name = min(name, max(16, width // 2))
        seen = self.window(listed, room)
        shown = [view.row(one, name, look, width, place + self.top == at) for place, one in enumerate(seen)]
        shown += [blank(width)] * (room - len(shown))
        return [self.with_more(head[0]), *head[1:], *shown, *under][:height]

    def _ask(self) -> None:
        elapsed = self.desk.clock.elapsed()
        if self.desk.picture.lost is None and (self._asked_at is None or elapsed - self._asked_at >= ASK_AGAIN_S):
            self._asked_at = elapsed
            self.fetch(self._fetch, "commission")

    async def _fetch(self) -> None:
        try:
            self._found, self._why = await self.desk.source.commissioning(), ""
        except EdgemonError as error:
            self._why = why_not(error)
        self.redraw()

    def _listed(self) -> tuple[CommissionRow, ...]:
        rows = () if self._found is None else self._found.rows
        return tuple(row for row in rows if row.missing) if self._is_open_only else rows

    def _at(self) -> int:
        keys_ = [(one.machine, one.point) for one in self._listed()]
        if self.selected not in keys_:
            self.selected = keys_[0] if keys_ else ("", "")
        return keys_.index(self.selected) if keys_ else 0

    def subject(self) -> tuple[str, str]:
        """Give the point selected: what a proof begun here is of."""
        return self.selected

    def action_move(self, down: int, right: int) -> None:
        """Select the point above or below."""
        listed = self._listed()
        if listed:
            one = listed[max(0, min(self._at() + down, len(listed) - 1))]
            self.selected = one.machine, one.point
        self.redraw()

    def action_page(self, by: int) -> None:
        """Move the selection by a page."""
        self.action_move(by * self._window, 0)

    def action_edge(self, end: int) -> None:
        """Select the first or last point."""
        self.action_move(end * len(self._listed()), 0)

    def action_filter(self) -> None:
        """Show only points of which something is open, or every point again."""
        self._is_open_only = not self._is_open_only
        self.redraw()

    def action_open(self) -> None:
        """Open the machine of the point selected."""
        if self.selected[0] and self.desk.picture.machine(self.selected[0]) is not None:
            self.call_later(self.app.run_action, f"open_machine({self.selected[0]!r})")

    def action_sign(self) -> None:
        """Ask about signing the point selected off, or about taking that back."""
        listed = self._listed()
        if listed:
            sign(self, listed[self._at()], self._again)

    def _again(self) -> None:
        self._asked_at = None
        self.redraw()

    def on_lines_pressed(self, message: Lines.Pressed) -> None:
        """Select with the mouse; pressed twice, open the machine."""
        place = message.y - (2 if self._why else 1) + self.top
        listed = self._listed()
        if 0 <= place < len(listed) and place - self.top < self._window:
            self.selected = listed[place].machine, listed[place].point
            self.redraw()
            if message.twice:
                self.action_open()
