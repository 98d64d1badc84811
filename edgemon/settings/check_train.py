"""Doubts about `train`: gears, belt, blades and motor of a machine."""

import math

from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report
from edgemon.settings.schema import BeltTable, GearTable, TrainTable

MOST_TEETH = 2000
SUPPLY_HZ = (10.0, 400.0)
"""What inverters and grids give; common practice, no source."""


def check_train(train: TrainTable, path: KeyPath, report: Report) -> None:
    """Doubt counts and sizes that no machine has."""
    if train.blades is not None and not 1 <= train.blades <= 500:
        report.error((*path, "blades"), f"must be 1 to 500, not {train.blades}", "blades or vanes of the wheel")
    if train.poles is not None and (train.poles < 2 or train.poles % 2):
        report.error(
            (*path, "poles"), f"must be an even number from 2 on, not {train.poles}", "2 at about 3000 r/min and 50 Hz"
        )
    low, high = SUPPLY_HZ
    if train.supply_hz is not None and not low <= train.supply_hz <= high:
        report.error((*path, "supply_hz"), f"must be {low:g} to {high:g}, not {train.supply_hz:g}", "50 or 60 on the grid")
    if train.poles is not None and train.supply_hz is None:
        report.warning((*path, "poles"), "are of no use without supply_hz", "add supply_hz = 50")
    if train.rotor_bars is not None and not 2 <= train.rotor_bars <= 500:
        report.error((*path, "rotor_bars"), f"must be 2 to 500, not {train.rotor_bars}", "bars of the motor's cage")
    if train.rotor_bars is not None and train.supply_hz is None:
        report.warning((*path, "rotor_bars"), "are of no use without supply_hz", "add supply_hz = 50")
    if train.belt is not None:
        _belt(train.belt, (*path, "belt"), report)
    for number, gear in enumerate(train.gear):
        _gear(gear, (*path, "gear", number), report)


def _belt(belt: BeltTable, path: KeyPath, report: Report) -> None:
    if belt.sheave_mm is None or belt.length_mm is None:
        report.error(path, "is not complete", "a belt needs sheave_mm and length_mm")
    elif belt.sheave_mm <= 0.0:
        report.error((*path, "sheave_mm"), f"must be above zero, not {belt.sheave_mm:g}", "pitch diameter of the sheave")
    elif belt.length_mm <= math.pi * belt.sheave_mm:
        report.error(
            (*path, "length_mm"),
            f"a belt of {belt.length_mm:g} mm does not reach round a sheave of {belt.sheave_mm:g} mm",
            f"above {math.pi * belt.sheave_mm:.0f}; are the two swapped?",
        )


def _gear(gear: GearTable, path: KeyPath, report: Report) -> None:
    for key in ("teeth", "driven_teeth"):
        count = getattr(gear, key)
        if count is None:
            report.error((*path, key), "is missing", "a pair of gears needs teeth and driven_teeth")
        elif not 3 <= count <= MOST_TEETH:
            report.error((*path, key), f"must be 3 to {MOST_TEETH}, not {count}", "teeth of one gear")
    if gear.order <= 0.0:
        report.error((*path, "order"), f"must be above zero, not {gear.order:g}", "1 for a gear on the machine's own shaft")
