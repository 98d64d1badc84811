"""What a report says of a level with low limits: no word of it may say that much is bad."""

from dataclasses import replace

import pytest

from edgemon.model.alarm import AlarmState
from edgemon.model.event import AlarmChanged
from edgemon.model.limit import Severity, Side
from edgemon.report.document import Picture, TrendPlot
from edgemon.report.port import LevelMaterial, Material
from edgemon.report.view import document_of
from edgemon.report.view.standing import Standing, assess
from tests.report import making
from tests.report.making import UNTIL, changed, material
from tests.report.test_view import said, with_level

SHAKE = replace(making.VELOCITY, alert=0.006, alarm=0.004, side=Side.BELOW, origin="plant file")


def with_value(last: float, first: float | None = None) -> Material:
    return with_level(material(), LevelMaterial("velocity_rms", SHAKE, making.values(last, first)))


@pytest.mark.parametrize(
    ("last", "standing", "sentence"),
    [
        (0.008, Standing.NORMAL, "is 8.00 mm/s, above its alert limit of 6 mm/s (alarm 4 mm/s)"),
        (0.006, Standing.ALERT, "is 6.00 mm/s, below its alert limit of 6 mm/s and above its alarm limit of 4 mm/s"),
        (0.003, Standing.ALARM, "is 3.00 mm/s, below its alarm limit of 4 mm/s (alert 6 mm/s)"),
    ],
)
def test_the_verdict_knows_the_side(last: float, standing: Standing, sentence: str) -> None:
    made = with_value(last)
    found = assess(made)
    assert found.standing is standing
    page = said(made)
    assert sentence in page
    assert ("above" in page.partition(". What it means")[0]) == (standing is not Standing.ALARM)
    assert "| below 6 mm/s | below 4 mm/s |" in page


def test_low_levels_are_not_said_to_be_severe() -> None:
    page = said(with_value(0.003))
    assert "ALARM: BELOW THE ALARM LIMIT" in page
    assert "severe enough" not in page
    assert "keep above" in page


def test_the_nearest_level_is_the_one_furthest_down() -> None:
    # by hand: good end 4 + 2 / 0.375 = 9.333; (9.333 - 3) / 5.333 = 1.1875
    worst = assess(with_value(0.003)).worst
    assert worst is not None
    assert worst.ratio == pytest.approx(1.1875)


def test_the_alarm_history_gives_the_lowest_value_and_the_low_limit() -> None:
    raised = changed("RAISED", AlarmState.UNACK, Severity.ALARM, UNTIL - 6000.0)
    assert isinstance(raised.event, AlarmChanged)
    raised = replace(raised, event=replace(raised.event, side=Side.BELOW, value=0.0039, limit=0.004))
    page = said(replace(with_value(0.002, 0.008), history=(raised,)))
    assert "2.00 mm/s | below 4 mm/s" in page


def test_limits_in_the_plot_say_that_they_are_low_ones() -> None:
    plots = [
        block.plot
        for section in document_of(with_value(0.003)).sections
        for block in section.blocks
        if isinstance(block, Picture) and isinstance(block.plot, TrendPlot)
    ]
    labels = [line.label for plot in plots for line in plot.limits]
    assert labels == ["alert below 6 mm/s", "alarm below 4 mm/s"]


def test_the_table_of_levels_gives_the_lowest_value_under_a_low_limit() -> None:
    assert "| 7.00 mm/s | 3.00 mm/s | below 6 mm/s" in said(with_value(0.007, 0.003))
