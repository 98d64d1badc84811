"""The whole journal: the newest entries, older ones page by page, and a search through all of it."""

from collections.abc import Sequence

from textual import events

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.base import ListScreen, bindings, why_not
from edgemon.board.screens.question import QuestionScreen, written
from edgemon.board.theme import Glyphs, Role
from edgemon.board.view import pages
from edgemon.board.view.cells import Row, Span, fit_row, safe
from edgemon.board.view.finding import FORMS, Sought, sought
from edgemon.errors import EdgemonError, ParameterError
from edgemon.model.snapshot import JournalView

PAGE = 300
"""Entries shown at first, and added by each step back."""
MOST = 6000
"""Entries shown at once at most; past it a search is to be narrowed."""
ASKED = 1000
"""Entries of one answer while words are looked for."""
ANSWERS = 20
"""Answers gone through in one go; what was not reached is said."""
TEXT_LENGTH = 120
RETRY_S = 10.0
"""An answer that did not come is asked for again so much later."""


class FindScreen(QuestionScreen[str | None]):
    """Asks what is looked for."""

    WIDE, TALL = 76, 8

    def __init__(self, desk: Desk, text: str) -> None:
        super().__init__(desk)
        self.text = text

    def rows(self, width: int) -> Sequence[Row]:
        """Write the text so far; of a long one its end."""
        rows = [
            [Span(" Search the journal", Role.BRIGHT)],
            [Span(f" {FORMS}", Role.DIM)],
            [],
            [Span(" for: "), Span(f"{self.text[-(max(8, width - 10)) :]}_", Role.BRIGHT)],
            [],
            [Span(" enter", Role.BRIGHT), Span(" search, nothing written: everything   ", Role.DIM), Span("esc", Role.BRIGHT)],
        ]
        return [fit_row(spans, width, self.desk.look.glyphs.ellipsis) for spans in rows]

    def on_key(self, event: events.Key) -> None:
        """Take every key: here they are text, yes or no."""
        event.stop()
        event.prevent_default()
        if event.key in ("escape", "enter"):
            self.dismiss(None if event.key == "escape" else self.text.strip())
            return
        self.text = written(self.text, event, TEXT_LENGTH)
        self.redraw()

    def on_paste(self, event: events.Paste) -> None:
        """Take pasted text."""
        self.text = safe(self.text + event.text[:TEXT_LENGTH], TEXT_LENGTH)
        self.redraw()


class JournalScreen(ListScreen):
    """Journal entries, newest first; without a search asked for again whenever the daemon has written more."""

    NAME = "journal"
    BINDINGS = bindings(keys.JOURNAL_PAGE)

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._entries: tuple[JournalView, ...] = ()
        self._events: int | None = None
        self._failed_at: float | None = None
        self._text, self._sought = "", Sought()
        self._wanted = PAGE
        self._told = ""
        self._rows_of: tuple[tuple[tuple[JournalView, ...], int, Glyphs], list[Row]] | None = None

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the entries, the newest first."""
        gateway = self.desk.picture.gateway
        is_new = gateway is not None and gateway.events != self._events and not self._text and self._wanted == PAGE
        is_due = self._failed_at is None or self.desk.clock.elapsed() - self._failed_at >= RETRY_S
        if gateway is not None and self.desk.picture.lost is None and is_due and (is_new or self._events is None):
            self._events = gateway.events
            self.fetch(self._fetch, "journal")
        rows = self._drawn(width)
        if self._text or self._wanted > PAGE:
            shown = f" {self._told}" + (f"; search: {safe(self._text)}" if self._text else "")
            rows[1] = fit_row([Span(shown, Role.BRIGHT)], width, self.desk.look.glyphs.ellipsis)
        return self.page(rows, height)

    def _drawn(self, width: int) -> list[Row]:
        """Give a row for each entry; thousands of them are drawn when they come, not at each beat."""
        key = (self._entries, width, self.desk.look.glyphs)
        if self._rows_of is None or self._rows_of[0][0] is not key[0] or self._rows_of[0][1:] != key[1:]:
            self._rows_of = key, pages.journal(self._entries, self.desk.look, width)
        return list(self._rows_of[1])

    async def _fetch(self) -> None:
        try:
            found, is_end = await self._gather()
        except EdgemonError as error:
            self._events, self._failed_at = None, self.desk.clock.elapsed()
            self.say(why_not(error))
            return
        self._failed_at = None
        self._entries = tuple(found[: self._wanted])
        count = len(self._entries)
        more = "that is all" if is_end and len(found) <= self._wanted else "there may be older ones: +"
        self._told = f"{count} {'entry' if count == 1 else 'entries'}, {more}"
        self.redraw()

    async def _gather(self) -> tuple[list[JournalView], bool]:
        """Go back through the journal until there is enough; says whether its beginning was reached."""
        found: list[JournalView] = []
        before: int | None = None
        size = ASKED if self._sought.words or self._wanted > PAGE else PAGE
        for _ in range(max(ANSWERS, self._wanted // ASKED + 1)):
            some = await self.desk.source.journal(size, before, self._sought.search)
            found += [entry for entry in some if self._sought.is_met(entry)]
            if len(some) < size:
                return found, True
            before = some[-1].seq
            if len(found) > self._wanted:
                break
        return found, False

    def action_search(self) -> None:
        """Ask what is looked for."""

        def answered(text: str | None) -> None:
            if text is not None:
                self._search(text)

        self.app.push_screen(FindScreen(self.desk, self._text), answered)

    def _search(self, text: str) -> None:
        try:
            self._sought = sought(text, self.desk.picture.now)
        except ParameterError as error:
            self.say(f"Not searched: {safe(str(error), 200)}")
            return
        self._text, self._wanted, self.top = text, PAGE, 0
        self._again()

    def action_older(self) -> None:
        """Show older entries too."""
        if self._wanted + PAGE > MOST:
            self.say(f"{MOST} entries are shown at most: search with / for what you need.")
            return
        self._wanted += PAGE
        self._again()

    def _again(self) -> None:
        self._entries, self._events, self._failed_at, self._told = (), None, None, "searching"
        self.redraw()

    def action_back(self) -> None:
        """End the search; without one, go back."""
        if self._text or self._wanted > PAGE:
            self._search("")
        else:
            super().action_back()
