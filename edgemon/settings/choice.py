"""Which limits hold at a point: its own, else its machine's, else its class's, for each level and side by itself.

A level may have a limit on either side; the low one is then watched under another name (`model.limit.low_name`).
"""

from typing import TypeAlias

from edgemon.settings.classes import SEVERITY_CLASSES, VELOCITY
from edgemon.settings.schema import LimitTable, MachineTable, PointTable

TEMPERATURE = "temperature"

Held: TypeAlias = tuple[LimitTable, ...]
"""The table that holds, and after it the one of the machine whose place it takes, if any: that says what it leaves open."""


def held(machine: MachineTable, point: PointTable | None = None) -> dict[tuple[str, str], Held]:
    """Give the limits that hold at a point, or of its machine alone, by level and side.

    A sensor has one temperature, whatever its axes: the machine's limit on it is watched at the sensor's first point only.
    """
    first = None if point is None else next((other for other in machine.point if other.sensor == point.sensor), point)
    row = SEVERITY_CLASSES.get(machine.severity_class)
    found: dict[tuple[str, str], Held] = {}
    if row is not None:
        found[VELOCITY, "above"] = (LimitTable(level=VELOCITY, unit="mm/s"),)
    of_machine = [limit for limit in machine.limit if limit.level != TEMPERATURE or first is point]
    found |= {(limit.level, limit.side): (limit,) for limit in of_machine}
    written = {(limit.level, limit.side): limit for limit in machine.limit}
    for limit in () if point is None else point.limit:
        key = (limit.level, limit.side)
        found[key] = (limit, written[key]) if key in written else (limit,)
    return found


def both_sides(machine: MachineTable, point: PointTable | None = None) -> tuple[str, ...]:
    """Name the levels that have a limit on either side."""
    found = held(machine, point)
    return tuple(level for level, side in found if side == "below" and level and (level, "above") in found)
