"""The pages to be read: notes, sensor health, help."""

from collections.abc import Sequence

from edgemon.board import keys
from edgemon.board.screens.base import ListScreen, bindings
from edgemon.board.view import pages, sensors
from edgemon.board.view.cells import Row


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
        return self.page(
            sensors.page(picture.sensors, picture.machines, picture.now, self.desk.look, width, picture.gateway), height
        )


class HelpScreen(ListScreen):
    """Cautions, every key, every mark."""

    NAME = "help"
    BINDINGS = bindings(keys.LIST)

    def rows(self, width: int, height: int) -> Sequence[Row]:
        """Give the help page."""
        return self.page(pages.help_page(self.desk.person, self.desk.look, width), height)
