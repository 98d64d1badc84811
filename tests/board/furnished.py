"""A daemon in memory that has something to say on every screen, so that none is empty."""

from edgemon.board.memory import MemorySource
from tests.board.test_handover import PAGE
from tests.board.test_performance import FIGURES
from tests.board.test_point import looking
from tests.board.test_snapshots import JOURNAL, PAST


def source() -> MemorySource:
    """Give it."""
    found = looking()
    found.figures, found.page, found.past, found.entries = FIGURES, PAGE, PAST, JOURNAL
    return found
