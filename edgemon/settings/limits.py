"""Limits of a point: which hold, what they are in the house's unit, and what is filled in where the plant file is silent."""

import math
from collections.abc import Sequence

from edgemon.model.level import LEVEL_KINDS, LevelKind
from edgemon.model.limit import Limit, Side, Zones, low_name
from edgemon.settings.choice import Held, both_sides, held
from edgemon.settings.classes import SEVERITY_CLASSES, Bounds, SeverityClass
from edgemon.settings.delays import off_delay, on_delay, said_by
from edgemon.settings.derived import differences_of, own_specs, shown_unit
from edgemon.settings.levels import kinds_with
from edgemon.settings.schema import AlarmsTable, DelaysTable, LimitTable, MachineTable, PointTable
from edgemon.units import Quantity, interval_to_si, to_si, unit_name

DEADBAND_SHARE = 0.10
"""Deadband over the lowest limit set, where none is given. Common practice for values that come minutes apart, no source."""
DEADBAND_TEMPERATURE_K = 2.0
"""Deadband of a temperature, whose zero is no measure of its size. Common practice for bearings, no source."""


def limits_of(machine: MachineTable, point: PointTable, alarms: AlarmsTable) -> tuple[Limit, ...]:
    """Give the limits of a point: its own, else its machine's, else those of the machine's severity class.

    A point's own limit has the delays and the deadband of the machine's limit whose place it takes, where it says none.
    """
    row = SEVERITY_CLASSES.get(machine.severity_class)
    specs = own_specs(machine, point)
    both, differences = both_sides(machine, point), differences_of(specs)
    named = {
        low_name(level) if side == "below" and level in both else level: tables
        for (level, side), tables in held(machine, point).items()
    }
    found = []
    for name, kind in kinds_with(specs).items():
        if name in named:
            tables = tuple(map(shown_unit, named[name])) if name in differences else named[name]
            found.append(_limit(tables, row, kind, said_by(tables, machine, alarms)))
    return tuple(found)


def figures(table: LimitTable, row: SeverityClass | None) -> tuple[float | None, float | None]:
    """Give alert and alarm in the house's unit: as written; what is not written is filled from the class, if it has it."""
    unit = unit_of(table.level, table.unit)
    alert = None if table.alert is None else to_si(table.alert, unit)
    alarm = None if table.alarm is None else to_si(table.alarm, unit)
    bounds = of_class(table, row)
    if bounds is None:
        return alert, alarm
    return bounds.alert if alert is None else alert, bounds.alarm if alarm is None else alarm


def of_class(table: LimitTable, row: SeverityClass | None) -> Bounds | None:
    """Give what the machine's severity class, whose limits are upper ones, says of a limit's level; None: nothing."""
    return row.of(table.level) if row is not None and table.side == "above" else None


def unit_of(level: str, unit: str) -> str:
    """Give the unit a value is written in; a ratio needs none."""
    return unit_name(unit or (LEVEL_KINDS[level].unit if level in LEVEL_KINDS else "1"))


def _limit(tables: Held, row: SeverityClass | None, kind: LevelKind, delays: Sequence[DelaysTable]) -> Limit:
    table = tables[0]
    alert, alarm = figures(table, row)
    quantity = kind.quantity
    unit = unit_of(table.level, table.unit)
    written = deadband_of(tables)
    deadband = default_deadband(quantity, alert, alarm) if written is None else written
    return Limit(
        level=kind.name,
        quantity=quantity,
        unit=unit,
        alert=alert,
        alarm=alarm,
        deadband=deadband,
        on_delay_alert=on_delay(delays, "alert"),
        on_delay_alarm=on_delay(delays, "alarm"),
        off_delay=off_delay(delays),
        latch_alert="alert" in table.latch,
        latch_alarm="alarm" in table.latch,
        origin=_origin(table, row) + _speeds(table),
        promote_alert=table.promote_alert,
        zones=_zones(table, row),
        low_rpm=table.low_rpm or 0.0,
        high_rpm=math.inf if table.high_rpm is None else table.high_rpm,
        max_shelve_s=table.max_shelve_s,
        side=Side(table.side),
    )


def _speeds(table: LimitTable) -> str:
    """Say between which speeds a limit is judged; empty where at all."""
    low, high = table.low_rpm, table.high_rpm
    if high is None:
        return "" if low is None else f", judged from {low:g} r/min"
    return f", judged up to {high:g} r/min" if low is None else f", judged from {low:g} to {high:g} r/min"


def _zones(table: LimitTable, row: SeverityClass | None) -> Zones | None:
    """Give the zone boundaries of the class where the alert is filled from it."""
    bounds = of_class(table, row)
    if row is None or not row.has_zones or bounds is None or table.alert is not None:
        return None
    return Zones(bounds.alert, bounds.alarm, row.edition, bounds.upper_a)


def deadband_of(tables: Held) -> float | None:
    """Give the deadband written, in the house's unit: its own, else that of the machine's limit whose place it takes."""
    said = next((table for table in tables if table.deadband is not None), None)
    if said is None or said.deadband is None:
        return None
    return interval_to_si(said.deadband, unit_of(said.level, said.unit))


def default_deadband(quantity: Quantity, alert: float | None, alarm: float | None) -> float:
    """Give the deadband used where none is written, in the house's unit."""
    if quantity is Quantity.TEMPERATURE:
        return DEADBAND_TEMPERATURE_K
    return DEADBAND_SHARE * min((abs(limit) for limit in (alert, alarm) if limit is not None), default=0.0)


def _origin(table: LimitTable, row: SeverityClass | None) -> str:
    """Say who set the limit: the plant file, the class, or one each."""
    if row is None or of_class(table, row) is None or (table.alert is not None and table.alarm is not None):
        return "plant file"
    if table.alert is None and table.alarm is None:
        return row.origin
    filled = f"alarm: {row.edition}, {row.alarm_is}" if table.alarm is None else f"alert: {row.edition}, {row.alert_is}"
    return f"plant file; {filled}"
