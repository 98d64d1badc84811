"""Doubts about `baseline`: from how many captures it is learnt, and how much their speeds may differ."""

from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report
from edgemon.settings.schema import BaselineTable
from edgemon.trend.baseline import LEAST

MOST_CAPTURES = 500
"""A baseline from more would take days and hide a slow change. House choice."""
WIDEST = 0.2
"""Speeds that differ by more are not like conditions: unbalance alone changes by 44 %. Common practice, no source."""


def check_baseline(table: BaselineTable, path: KeyPath, report: Report) -> None:
    """Doubt numbers from which no baseline can be learnt, or one that means nothing."""
    if not LEAST <= table.captures <= MOST_CAPTURES:
        report.error(
            (*path, "captures"),
            f"must be {LEAST} to {MOST_CAPTURES}, not {table.captures}",
            "20 know the baseline to about a quarter of the spread of single values",
        )
    if not 0.0 < table.speed_tolerance <= WIDEST:
        report.error(
            (*path, "speed_tolerance"),
            f"must be above 0, at most {WIDEST:g}, not {table.speed_tolerance:g}",
            "a part of the speed: 0.03 is 3 %",
        )
