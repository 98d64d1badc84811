"""Doubts about spectral masks: band, lines, floor, and the frequencies and limits of a written one."""

from collections.abc import Sequence
from itertools import pairwise

from edgemon.settings.check_levels import check_name
from edgemon.settings.derived import MASK_QUANTITIES, fits
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, shown
from edgemon.settings.schema import MaskTable
from edgemon.units import units_of

MOST_LINES = 3200
"""Lines of a mask at most: more would fill the journal, and the resolution of most captures. House choice."""
_BAND = "low_hz, high_hz and line_hz, or low_order, high_order and line_order in multiples of running speed"


def check_masks(masks: Sequence[MaskTable], around: KeyPath, report: Report) -> None:
    """Report everything doubtful in the masks of one machine or point."""
    for number, mask in enumerate(masks):
        path: KeyPath = (*around, "mask", number)
        check_name(mask.name, path, report)
        if not mask.quantity and not report.is_blamed((*path, "quantity")):
            report.error((*path, "quantity"), "is missing or empty", f"one of: {', '.join(MASK_QUANTITIES)}")
        elif mask.quantity and not fits(mask) and not report.is_blamed((*path, "unit")):
            known = units_of(MASK_QUANTITIES[mask.quantity])
            what = f'"{shown(mask.unit)}" is no unit of {mask.quantity}' if mask.unit else "is missing: a unit is never assumed"
            report.error((*path, "unit"), what, f"units: {', '.join(known)}")
        band = _band(mask, path, report)
        if mask.lines:
            _written(mask, band, path, report)
        else:
            _learnt(mask, path, report)


def _band(mask: MaskTable, path: KeyPath, report: Report) -> tuple[float, float] | None:
    """Check the band and the width of its lines; give the band where it is sound."""
    hz = {"low_hz": mask.low_hz, "high_hz": mask.high_hz, "line_hz": mask.line_hz}
    orders = {"low_order": mask.low_order, "high_order": mask.high_order, "line_order": mask.line_order}
    if any(report.is_blamed((*path, key)) for key in (*hz, *orders)):
        return None
    in_hz, in_orders = (any(value is not None for value in keys.values()) for keys in (hz, orders))
    if in_hz and in_orders:
        key = next(key for key, value in orders.items() if value is not None)
        report.error((*path, key), "the mask is given in Hz and in orders", f"keep one: {_BAND}")
        return None
    keys = orders if in_orders else hz
    missing = [key for key, value in keys.items() if value is None]
    for key in missing:
        report.error((*path, key), "is missing", _BAND)
    low, high, width = keys.values()
    if low is None or high is None or width is None:
        return None
    low_key, high_key, width_key = keys
    if width <= 0.0:
        report.error((*path, width_key), f"must be above zero, not {width:g}", "width of one line")
    elif low < width:
        report.error(
            (*path, low_key), f"must be at least one line, {width:g}, not {low:g}", "a line at 0 is the sensor's offset"
        )
    elif high <= low:
        report.error((*path, high_key), f"the band ends at {high:g}, before it begins", f"above {low_key} = {low:g}")
    elif high / width > MOST_LINES:
        report.error((*path, width_key), f"{high / width:.0f} lines are too many", f"at most {MOST_LINES}: wider lines")
    else:
        return low, high
    return None


def _learnt(mask: MaskTable, path: KeyPath, report: Report) -> None:
    where = (*path, "floor")
    if report.is_blamed(where) or report.is_blamed((*path, "lines")):
        return
    if mask.floor is None:
        hint = (
            'a learnt mask never goes below it, for example 0.1 with unit = "mm/s"; or write the mask: lines = [[10, 2.8], ...]'
        )
        report.error(where, "is missing", hint)
    elif mask.floor <= 0.0:
        report.error(where, f"must be above zero, not {mask.floor:g}", "lines that were nothing are not judged by nothing")


def _written(mask: MaskTable, band: tuple[float, float] | None, path: KeyPath, report: Report) -> None:
    where = (*path, "lines")
    if mask.floor is not None:
        report.error((*path, "floor"), "is for a learnt mask, and this one is written", "keep floor or lines")
    wrong = [line for line in mask.lines if len(line) != 2]
    if wrong:
        report.error(where, f"each is [frequency, limit], not {wrong[0]}", "lines = [[10, 2.8], [100, 1.0]]")
        return
    for (before, _), (after, _) in pairwise(mask.lines):
        if after <= before:
            report.error(where, f"{after:g} comes after {before:g}: frequencies must rise", "sort them, each but once")
            return
    low = min(mask.lines, key=lambda line: line[1])
    if low[1] <= 0.0:
        report.error(where, f"the limit at {low[0]:g} must be above zero, not {low[1]:g}", "a limit in unit")
    if band is None:
        return
    outside = [at for at, _ in mask.lines if not band[0] <= at <= band[1]]
    if outside:
        what = f"{outside[0]:g} lies outside the band of {band[0]:g} to {band[1]:g}"
        report.warning(where, what, "it only shapes the limit towards it; widen the band, or leave it out")
