"""Doubts about limits and standstill rules: levels, units, order, deadband, delays."""

import math
from collections.abc import Mapping, Sequence

from edgemon.model.derived import DerivedSpec, MaskSpec
from edgemon.model.level import LEVEL_KINDS, LevelKind, LevelSpec
from edgemon.model.limit import BELOW, low_name
from edgemon.settings.check_alarms import check_shelf
from edgemon.settings.check_delays import check_delays
from edgemon.settings.choice import Held, both_sides, held
from edgemon.settings.classes import SeverityClass
from edgemon.settings.derived import differences_of, shown_unit, signed_of, written_specs
from edgemon.settings.levels import kinds_with
from edgemon.settings.limits import deadband_of, default_deadband, figures, of_class, unit_of
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, shown, suggest
from edgemon.settings.schema import LimitTable, MachineTable, PointTable
from edgemon.units import Quantity, from_si, interval_from_si, interval_to_si, quantity_of, to_si, units_of

NEVER_BELOW = {"crest_factor": 1.0, "kurtosis": 1.0}
"""No waveform has less, so a limit there is always exceeded. Mathematics: peak >= r.m.s.; mean x^4 >= (mean x^2)^2."""


def check_limits(
    limits: Sequence[LimitTable],
    row: SeverityClass | None,
    around: KeyPath,
    report: Report,
    specs: Sequence[LevelSpec | MaskSpec | DerivedSpec] = (),
) -> None:
    """Report everything doubtful in the limits of one machine or point, which has levels of its own besides the usual."""
    kinds = kinds_with(specs)
    differences, signed = differences_of(specs), signed_of(specs)
    first: dict[tuple[str, str], int] = {}
    for number, limit in enumerate(limits):
        path: KeyPath = (*around, "limit", number)
        side = (limit.level, limit.side)
        if side in first:
            hint = f"the first one is in line {report.line((*around, 'limit', first[side], 'level'))}"
            other = "above" if limit.side == "below" else "below"
            what = f'level "{shown(limit.level)}" has two limits here on one side'
            report.error((*path, "level"), what, f'{hint}; the other side is side = "{other}"')
        elif limit.level:
            first[side] = number
        check_delays(limit, path, report)
        _speeds(limit, path, report)
        check_shelf(limit.max_shelve_s, (*path, "max_shelve_s"), report)
        kind = _level(limit.level, path, report, kinds)
        if limit.level in differences:
            limit = shown_unit(limit)
            if limit.unit == "degF":  # its zero is no zero of a difference
                report.error((*path, "unit"), "a difference of temperatures is limited in Cel or K, not in degF", 'unit = "K"')
                continue
        if kind is not None and _unit(limit.unit, kind, path, report):
            _values(limit, kind, row, path, report, limit.level in signed)


def check_sides(
    machine: MachineTable, point: PointTable | None, row: SeverityClass | None, around: KeyPath, report: Report
) -> None:
    """Report what is doubtful only in what a point and its machine (or that alone) say together: two sides, a deadband."""
    tables, here = held(machine, point), machine if point is None else point
    names = {one.name for one in here.level} | {one.name for one in here.mask} | {one.name for one in here.derived}
    every = names | {spec.name for spec in written_specs(machine, point)}
    for number, limit in enumerate(() if point is None else point.limit):
        if limit.deadband is None:
            _inherited(tables[limit.level, limit.side], row, (*around, "limit", number), report)
    for level in both_sides(machine, point):
        low, upper = tables[level, "below"][0], tables[level, "above"][0]
        place = next((i for one in (low, upper) for i, limit in enumerate(here.limit) if limit is one), None)
        where: KeyPath = around if place is None else (*around, "limit", place, "level")
        if low_name(level) in (names if place is None else every):
            what = f'the low limit of {level} is watched under the name "{low_name(level)}", which another level here has'
            report.error(where, what, "give that level another name")
        if place is not None:  # else it is said of the machine
            _crossed(level, low, upper, row, where, report)


def _crossed(level: str, low: LimitTable, upper: LimitTable, row: SeverityClass | None, where: KeyPath, report: Report) -> None:
    """Report a low limit that does not lie below the upper one: between the two there must be room for what is normal."""
    if (low.high_rpm or math.inf) < (upper.low_rpm or 0.0) or (upper.high_rpm or math.inf) < (low.low_rpm or 0.0):
        return  # never judged at one speed
    try:
        highest, lowest = (
            pick(value for value in figures(limit, row) if value is not None) for pick, limit in ((max, low), (min, upper))
        )
    except (KeyError, ValueError):  # a unit that is wrong, or no value at all: said elsewhere
        return
    if highest >= lowest:
        unit = unit_of(level, low.unit)
        low_one, other = (f"{from_si(value, unit):g} {unit}" for value in (highest, lowest))
        what = f"the low limit of {low_one} does not lie below the upper one of {other}"
        report.error(where, f"{what}: one of them would always be exceeded", "are the two sides swapped?")


def _inherited(tables: Held, row: SeverityClass | None, path: KeyPath, report: Report) -> None:
    """Report a deadband of the machine's limit that is too wide for the point's own."""
    try:
        deadband, values = deadband_of(tables), [value for value in figures(tables[0], row) if value is not None]
    except KeyError:
        return
    lowest = min(values, default=0.0)
    if deadband is not None and tables[0].side == "above" and 0.0 < lowest <= deadband:
        unit = unit_of(tables[0].level, tables[0].unit)
        said = f"{interval_from_si(deadband, unit):g} {unit}"
        what = f"the deadband of {said} that its machine's limit sets is not smaller than the limit: it would never clear"
        report.error((*path, "level"), what, f"a deadband of its own, smaller than {from_si(lowest, unit):g} {unit}")


def check_standstill(machine: MachineTable, row: SeverityClass | None, path: KeyPath, report: Report) -> None:
    """Report everything doubtful in a machine's standstill rule."""
    rule = machine.standstill
    if rule is None:
        return
    if rule.below is None and not report.is_blamed((*path, "below")):
        report.error((*path, "below"), "is missing", 'standstill = { level = "velocity_rms", below = 0.3, unit = "mm/s" }')
    kind = _level(rule.level, path, report, LEVEL_KINDS)
    if kind is None or not _unit(rule.unit, kind, path, report) or rule.below is None:
        return
    if rule.below <= 0.0 and kind.quantity is not Quantity.TEMPERATURE:
        report.error((*path, "below"), f"must be above zero, not {rule.below:g}", "well below the level of the running machine")
        return
    unit = unit_of(rule.level, rule.unit)
    _hides(machine, to_si(rule.below, unit), path, report)
    own = (limit for limit in machine.limit if limit.level == rule.level and limit.side == "above")
    alert = _alert(next(own, LimitTable(level=rule.level, unit=unit)), row)
    if alert is not None and to_si(rule.below, unit) >= alert:
        shown_alert = f"{from_si(alert, unit):g} {unit}"
        report.error(
            (*path, "below"), f"a machine in alert ({shown_alert}) would count as not running", f"well below {shown_alert}"
        )


def _hides(machine: MachineTable, below: float, path: KeyPath, report: Report) -> None:
    """Report a low limit at or under the standstill rule: the machine counts as not running before the limit is reached."""
    assert machine.standstill is not None
    limits = [*machine.limit, *(limit for point in machine.point for limit in point.limit)]
    for limit in limits:
        lowest = _lowest(limit) if limit.side == "below" and limit.level == machine.standstill.level else None
        if lowest is not None and lowest <= below:
            said = f"{from_si(lowest, unit_of(limit.level, limit.unit)):g} {limit.unit}".rstrip()
            what = f"a machine at its low limit of {said} counts as not running, so it would never be judged there"
            report.error((*path, "below"), what, f"well below {said}")


def _lowest(limit: LimitTable) -> float | None:
    """Give the lowest value a limit writes, in the house's unit; None where its unit is wrong (which is said elsewhere)."""
    try:
        return min((value for value in figures(limit, None) if value is not None), default=None)
    except KeyError:
        return None


def _alert(limit: LimitTable, row: SeverityClass | None) -> float | None:
    """Give the alert limit in the house's unit, None where there is none or its unit is wrong (which is said elsewhere)."""
    try:
        alert, alarm = figures(limit, row)
    except KeyError:
        return None
    return alarm if alert is None else alert


def _level(name: str, path: KeyPath, report: Report, kinds: Mapping[str, LevelKind]) -> LevelKind | None:
    where = (*path, "level")
    if report.is_blamed(where):
        return None
    if not name:
        report.error(where, "is missing or empty", f"levels: {', '.join(kinds)}")
    elif name not in kinds:
        base = name.removesuffix(BELOW)
        hint = f'level = "{base}" and side = "below"' if base != name and base in kinds else suggest(name, kinds, "levels")
        report.error(where, f'"{shown(name)}" is not a level', hint)
    return kinds.get(name)


def _unit(unit: str, kind: LevelKind, path: KeyPath, report: Report) -> bool:
    """Report a unit that is missing, unknown or of another quantity; say whether it is right."""
    where = (*path, "unit")
    if report.is_blamed(where):
        return False
    fitting = f"units for {kind.title}: {', '.join(units_of(kind.quantity))}"
    if not unit:
        if kind.quantity is not Quantity.RATIO:
            report.error(where, "is missing: a unit is never assumed", fitting)
        return kind.quantity is Quantity.RATIO
    try:
        quantity = quantity_of(unit)
    except KeyError:
        report.error(where, f'"{shown(unit)}" is not a known unit', fitting)
        return False
    if quantity is not kind.quantity:
        report.error(where, f'"{unit}" is a unit of {quantity}, not of {kind.quantity}', fitting)
    return quantity is kind.quantity


def _values(
    limit: LimitTable, kind: LevelKind, row: SeverityClass | None, path: KeyPath, report: Report, is_signed: bool
) -> None:
    alert, alarm = figures(limit, row)
    if alert is None and alarm is None and not report.is_blamed((*path, "alert")) and not report.is_blamed((*path, "alarm")):
        report.error(path, "sets neither alert nor alarm", "give at least one of the two")
    any_sign = kind.quantity is Quantity.TEMPERATURE or (is_signed and limit.side == "below")
    sound = [_one_value(key, value, limit, kind, path, report, any_sign) for key, value in _written(limit).items()]
    if not all(sound):
        return
    if alert is not None and alarm is not None and (alert <= alarm if limit.side == "below" else alert >= alarm):
        _order(alert, alarm, limit, row, path, report)
    _deadband(limit, kind, alert, alarm, path, report)


def _written(limit: LimitTable) -> dict[str, float]:
    given = {"alert": limit.alert, "alarm": limit.alarm}
    return {key: value for key, value in given.items() if value is not None}


def _one_value(
    key: str, value: float, limit: LimitTable, kind: LevelKind, path: KeyPath, report: Report, any_sign: bool
) -> bool:
    if value <= 0.0 and not any_sign:
        report.error(
            (*path, key), f"must be above zero, not {value:g}", f"a limit of {kind.title} in {limit.unit or kind.unit}"
        )
        return False
    floor = NEVER_BELOW.get(limit.level)
    if floor is not None and value <= floor:
        always = "never reached" if limit.side == "below" else "always exceeded"
        report.error((*path, key), f"no {kind.title} is ever below {floor:g}: {always}", f"above {floor:g}")
        return False
    return True


def _order(alert: float, alarm: float, limit: LimitTable, row: SeverityClass | None, path: KeyPath, report: Report) -> None:
    unit = unit_of(limit.level, limit.unit)
    key = "alert" if limit.alert is not None else "alarm"
    by_class = of_class(limit, row) is not None and (limit.alert is None or limit.alarm is None)
    whose = f" (from {row.edition})" if by_class and row is not None else ""
    written, other = (alert, alarm) if key == "alert" else (alarm, alert)
    name = "alarm" if key == "alert" else "alert"
    what = f"{from_si(written, unit):g} {unit} against {name} {from_si(other, unit):g} {unit}{whose}"
    wrong, right = ("below", "above") if limit.side == "below" else ("above", "below")
    if alert != alarm:
        report.error((*path, key), f"alert is {wrong} alarm: {what}", f"alert {right} alarm; are the two swapped?")
    else:
        report.warning((*path, key), f"alert equals alarm, so it is never seen: {what}", f"alert {right} alarm")


def _deadband(
    limit: LimitTable, kind: LevelKind, alert: float | None, alarm: float | None, path: KeyPath, report: Report
) -> None:
    lowest = min((value for value in (alert, alarm) if value is not None), default=None)
    if limit.deadband is None or lowest is None:
        return
    unit = unit_of(limit.level, limit.unit)
    where = (*path, "deadband")
    usual = interval_from_si(default_deadband(kind.quantity, alert, alarm), unit)
    if limit.deadband < 0.0:
        report.error(where, f"must not be below zero, not {limit.deadband:g}", f"usually {usual:g} {unit}")
    elif limit.side == "above" and lowest > 0.0 and interval_to_si(limit.deadband, unit) >= lowest:
        what = (
            f"{limit.deadband:g} {unit} is not smaller than the limit of {from_si(lowest, unit):g} {unit}: it would never clear"
        )
        report.error(where, what, f"usually {usual:g} {unit}")


def _speeds(limit: LimitTable, path: KeyPath, report: Report) -> None:
    for key, value in (("low_rpm", limit.low_rpm), ("high_rpm", limit.high_rpm)):
        if value is not None and value < 0.0:
            report.error((*path, key), f"must not be below zero, not {value:g}", "shaft speed in r/min")
    if limit.low_rpm is not None and limit.high_rpm is not None and limit.low_rpm >= limit.high_rpm:
        what = f"no speed lies between {limit.low_rpm:g} and {limit.high_rpm:g} r/min: never judged"
        report.error((*path, "high_rpm"), what, "above low_rpm; are the two swapped?")
