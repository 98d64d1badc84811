"""Journal entries in words: a level of one's own is called by the title that the plant file gives it."""

from dataclasses import replace

import pytest

from edgemon.api.view import journal_view, words
from edgemon.model.alarm import AlarmState
from edgemon.model.event import JournalEntry
from edgemon.model.level import Detector, LevelSpec
from edgemon.model.limit import Severity
from edgemon.units import Quantity
from tests.report import making

ONE_X = LevelSpec("velocity_1x", Quantity.VELOCITY, Detector.RMS, 0.5, 1.5, True, "velocity at 1 x")
POINT = replace(making.point(), levels=(ONE_X,))


@pytest.mark.parametrize(
    ("level", "title"),
    [
        ("velocity_1x", "velocity at 1 x"),
        ("velocity_rms", "velocity r.m.s."),
        ("monitoring", "loss of monitoring"),
        ("gone", "gone"),
    ],
)
def test_levels_go_by_their_titles(level: str, title: str) -> None:
    event = making.changed("RAISED", AlarmState.UNACK, Severity.ALARM, 1.7e9, level).event
    assert words(event, {POINT.key: POINT}).startswith(f"hp-pump-1/pump-de-h {title}: alarm raised")
    entry = journal_view(JournalEntry(7, 1.7e9, event, ""), {POINT.key: POINT})
    assert (entry.seq, entry.text) == (7, words(event, {POINT.key: POINT}))


def test_without_the_plant_file_a_level_of_ones_own_goes_by_its_name() -> None:
    event = making.changed("RAISED", AlarmState.UNACK, Severity.ALARM, 1.7e9, "velocity_1x").event
    assert words(event).startswith("hp-pump-1/pump-de-h velocity_1x: alarm raised")
