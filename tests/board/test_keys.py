from textual.binding import Binding

from edgemon.board import keys
from edgemon.board.app import SCREENS_BY_NAME, BoardApp
from edgemon.board.screens.acknowledge import AcknowledgeScreen
from edgemon.board.screens.alarms import AlarmsScreen
from edgemon.board.screens.commission import CommissionScreen
from edgemon.board.screens.handover import HandoverScreen
from edgemon.board.screens.journal import JournalScreen
from edgemon.board.screens.lamps import LampsScreen
from edgemon.board.screens.machine import MachineScreen
from edgemon.board.screens.pages import HelpScreen, NotesScreen, SensorsScreen
from edgemon.board.screens.performance import PerformanceScreen
from edgemon.board.screens.plant import PlantScreen
from edgemon.board.screens.point import PointScreen
from edgemon.board.theme import Look
from edgemon.board.view.banner import footer
from edgemon.board.view.cells import row_text
from edgemon.board.view.pages import help_page

OURS = (
    BoardApp, PlantScreen, MachineScreen, AlarmsScreen, NotesScreen, SensorsScreen, HandoverScreen, JournalScreen, HelpScreen,
    AcknowledgeScreen, PointScreen, PerformanceScreen, LampsScreen, CommissionScreen,
)  # fmt: skip


def test_every_key_that_does_something_is_in_the_help() -> None:
    helped = {key.key for _, group in keys.HELPED for key in group}
    bound = {binding.key for kind in OURS for binding in kind.BINDINGS if isinstance(binding, Binding)}
    assert bound == helped
    text = "\n".join(row_text(row) for row in help_page(None, Look(), 100))
    assert all(f" {key.cap} " in text and key.help in text for _, group in keys.HELPED for key in group)


def test_every_screen_has_a_footer() -> None:
    assert set(keys.FOOTERS) == {"plant", "machine", "point", *SCREENS_BY_NAME}


def test_at_80_columns_every_footer_shows_every_key_it_needs() -> None:
    for group in keys.FOOTERS.values():
        text = row_text(footer(group, "", Look(), 80))
        assert all(f"{key.cap} {key.label}" in text for key in group if key.needed)
