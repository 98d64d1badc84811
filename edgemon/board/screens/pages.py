"""The pages to be read: notes, sensor health, journal, help."""

from collections.abc import Sequence

from edgemon.board import keys
from edgemon.board.desk import Desk
from edgemon.board.screens.base import ListScreen, bindings, why_not
from edgemon.board.view import pages, sensors
from edgemon.board.view.cells import Row
from edgemon.errors import EdgemonError
from edgemon.model.snapshot import JournalView

JOURNAL_ROWS = 300
"""Newest entries asked for."""


class NotesScreen(ListScreen):
    """What is being simulated, and why."""

    NAME = "notes"
    BINDINGS = bindings(keys.LIST)

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the notes, the newest first."""
        picture = self.desk.picture
        told = picture.gateway.notes if picture.gateway is not None else ()
        return self.page(pages.notes(told, picture.machines, self.desk.look, width), height)


class SensorsScreen(ListScreen):
    """Health of every sensor."""

    NAME = "sensors"
    BINDINGS = bindings(keys.LIST)

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the sensors, those that need a hand first."""
        picture = self.desk.picture
        return self.page(sensors.page(picture.sensors, picture.machines, picture.now, self.desk.look, width), height)


class JournalScreen(ListScreen):
    """The newest journal entries; asked for again whenever the daemon has written more."""

    NAME = "journal"
    BINDINGS = bindings(keys.LIST)

    def __init__(self, desk: Desk) -> None:
        super().__init__(desk)
        self._entries: tuple[JournalView, ...] = ()
        self._events: int | None = None

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the entries, the newest first."""
        gateway = self.desk.picture.gateway
        if gateway is not None and gateway.events != self._events and self.desk.picture.lost is None:
            self._events = gateway.events
            self.run_worker(self._fetch(), group="journal", name="journal", exclusive=True)
        return self.page(pages.journal(self._entries, self.desk.look, width), height)

    async def _fetch(self) -> None:
        try:
            self._entries = await self.desk.source.journal(JOURNAL_ROWS)
        except EdgemonError as error:
            self.say(why_not(error))
            return
        self.redraw()


class HelpScreen(ListScreen):
    """Cautions, every key, every mark."""

    NAME = "help"
    BINDINGS = bindings(keys.LIST)

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the help page."""
        return self.page(pages.help_page(self.desk.person, self.desk.look, width), height)
