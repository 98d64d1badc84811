"""Doubts about levels of the plant file's own: names, quantities, bands."""

from collections.abc import Sequence

from edgemon.decode.readings import NAMES
from edgemon.model.alarm import MONITORING
from edgemon.model.ids import is_identifier
from edgemon.model.level import COMPUTED, LEVEL_KINDS
from edgemon.settings.levels import ENVELOPE, QUANTITIES
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, shown
from edgemon.settings.schema import LevelTable

TAKEN = frozenset({*NAMES, MONITORING, "sim"})
"""Names that mean something already."""
_EDGES = "low_hz and high_hz, or low_order and high_order in multiples of running speed"


def check_levels(levels: Sequence[LevelTable], around: KeyPath, report: Report) -> None:
    """Report everything doubtful in the levels of one machine or point."""
    first: dict[str, KeyPath] = {}
    for number, level in enumerate(levels):
        path: KeyPath = (*around, "level", number)
        if level.name in first:
            where = report.line((*first[level.name], "name"))
            report.error((*path, "name"), f'level "{shown(level.name)}" is there twice', f"the first one is in line {where}")
        elif level.name:
            first[level.name] = path
        check_name(level.name, path, report)
        if not level.quantity and not report.is_blamed((*path, "quantity")):
            report.error((*path, "quantity"), "is missing or empty", f"one of: {', '.join(QUANTITIES)}")
        if level.quantity == ENVELOPE and level.detector != "rms":
            report.error(
                (*path, "detector"), f'"{level.detector}" of a band of the envelope', 'detector = "rms", or leave it out'
            )
        _edges(level, path, report)


def check_compute(names: Sequence[str] | None, around: KeyPath, report: Report) -> None:
    """Report what is no level that a waveform makes."""
    known = [name for name in LEVEL_KINDS if name in COMPUTED]
    for number, name in enumerate(names or ()):
        if name not in COMPUTED:
            report.error((*around, "compute", number), f'unknown level "{shown(name)}"', f"known are {', '.join(known)}")


def check_name(name: str, path: KeyPath, report: Report) -> None:
    """Report the name of a level of one's own that is missing, no identifier, or taken."""
    where = (*path, "name")
    if report.is_blamed(where):
        return
    if not name:
        report.error(where, "is missing or empty", 'a name of your own, for example name = "velocity_1x"')
    elif not is_identifier(name):
        report.error(where, f'"{shown(name)}" is not an identifier', "a to z, 0 to 9, - and _, at most 63 characters")
    elif name in TAKEN:
        report.error(where, f'"{name}" has a meaning already', 'another name, for example "velocity_1x"')


def _edges(level: LevelTable, path: KeyPath, report: Report) -> None:
    hz = {"low_hz": level.low_hz, "high_hz": level.high_hz}
    orders = {"low_order": level.low_order, "high_order": level.high_order}
    if any(report.is_blamed((*path, key)) for key in (*hz, *orders)):
        return
    in_hz, in_orders = (any(value is not None for value in edges.values()) for edges in (hz, orders))
    if in_hz and in_orders:
        key = next(key for key, value in orders.items() if value is not None)
        report.error((*path, key), "the band is given in Hz and in orders", f"keep one: {_EDGES}")
        return
    if not in_hz and not in_orders:
        report.error(path, "the level has no band", _EDGES)
        return
    (low_key, low), (high_key, high) = (orders if in_orders else hz).items()
    for key, value in ((low_key, low), (high_key, high)):
        if value is None:
            report.error((*path, key), "is missing", _EDGES)
    if low is not None and low < 0.0:
        report.error((*path, low_key), f"must not be below zero, not {low:g}", "where the band begins")
    elif low is not None and high is not None and high <= low:
        report.error((*path, high_key), f"the band ends at {high:g}, before it begins", f"above {low_key} = {low:g}")
