"""Doubts about derived levels, their names beside other levels, and the time after a start."""

from edgemon.model.derived import OF_BASELINE
from edgemon.model.level import LEVEL_KINDS
from edgemon.settings.check_levels import check_name
from edgemon.settings.choice import TEMPERATURE
from edgemon.settings.derived import reference_of
from edgemon.settings.levels import kinds_with, level_specs
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, shown, suggest
from edgemon.settings.schema import DerivedTable, MachineTable, PlantFile, PointTable, StartupTable
from edgemon.units import Quantity

_RULES = {
    "change": "distance from the approved baseline, either way",
    "spread": "the same in standard deviations of the baseline",
    "rate": "rise within over_s",
    "rise": "temperature above that of the point named by above",
    "same": "the same value, for a limit on its other side",
}
MOST_FACTOR = 10.0
"""Limits times more than this are no limits. House choice; 2 to 3 is common practice, no source."""


def check_derived(
    tables: list[DerivedTable],
    machine: MachineTable,
    point: PointTable | None,
    file: PlantFile,
    around: KeyPath,
    report: Report,
) -> None:
    """Report everything doubtful in the derived levels of one machine or point."""
    kinds = kinds_with(level_specs(machine, point))
    for number, table in enumerate(tables):
        path: KeyPath = (*around, "derived", number)
        check_name(table.name, path, report)
        if not table.rule and not report.is_blamed((*path, "rule")):
            said = "; ".join(f"{name}: {what}" for name, what in _RULES.items())
            report.error((*path, "rule"), "is missing or empty", said)
        if table.of not in kinds and not report.is_blamed((*path, "of")):
            what = f'"{shown(table.of)}" is not a level' if table.of else "is missing or empty"
            report.error((*path, "of"), what, suggest(table.of, kinds, "levels"))
        elif table.of in kinds and table.rule:
            _of_its_rule(table, kinds[table.of].quantity, path, report)
        if point is not None and table.of == TEMPERATURE:
            _is_told(machine, point, path, report)
        _over(table, path, report)
        _above(table, machine, file, path, report)


def _is_told(machine: MachineTable, point: PointTable, path: KeyPath, report: Report) -> None:
    """Report a level that follows from a temperature at a point that is not told it: a sensor tells one of its points."""
    siblings = [one for one in machine.point if one.sensor == point.sensor]
    limited = [one for one in siblings if any(limit.level == TEMPERATURE for limit in one.limit)]
    if any(limit.level == TEMPERATURE for limit in machine.limit):
        limited.append(siblings[0])
    if point not in (limited or siblings[:1]):
        told = shown((limited or siblings)[0].id)
        what = (
            f'the temperature of sensor "{shown(point.sensor)}" is watched at point "{told}" only: this would never be judged'
        )
        report.error((*path, "of"), what, f'write it at "{told}", or give this point a limit on temperature')


def _of_its_rule(table: DerivedTable, quantity: Quantity, path: KeyPath, report: Report) -> None:
    is_temperature = quantity is Quantity.TEMPERATURE
    if table.rule == "rise" and not is_temperature:
        report.error((*path, "of"), f"a rise is one of temperature, not of {shown(table.of)}", 'of = "temperature"')
    elif table.rule in [rule.value for rule in OF_BASELINE] and is_temperature:
        hint = 'rule = "rise" above another point, or rule = "rate"'
        report.error((*path, "of"), "a temperature has no baseline: its zero is a convention, so its spread says nothing", hint)


def _over(table: DerivedTable, path: KeyPath, report: Report) -> None:
    where = (*path, "over_s")
    if report.is_blamed(where):
        return
    if table.rule == "rate" and table.over_s is None:
        report.error(where, "is missing", "seconds within which the rise is told; ten intervals of the sensor or more")
    elif table.rule == "rate" and table.over_s is not None and table.over_s <= 0.0:
        report.error(where, f"must be above zero, not {table.over_s:g}", "seconds")
    elif table.rule != "rate" and table.over_s is not None:
        report.error(where, f'is for rule = "rate", not for "{table.rule}"', "leave it out")


def _above(table: DerivedTable, machine: MachineTable, file: PlantFile, path: KeyPath, report: Report) -> None:
    where = (*path, "above")
    if report.is_blamed(where):
        return
    if table.rule != "rise":
        if table.above:
            report.error(where, f'is for rule = "rise", not for "{table.rule}"', "leave it out")
        return
    if not table.above:
        report.error(where, "is missing", 'the point whose temperature is taken off: "point", or "machine/point"')
        return
    key = reference_of(table, machine)
    points = [(one.id, other.id) for one in file.machine for other in one.point]
    if key is None or tuple(map(str, key)) not in points:
        report.error(
            where, f'no point is called "{shown(table.above)}"', suggest(table.above, ["/".join(one) for one in points])
        )


def check_names(table: MachineTable | PointTable, path: KeyPath, report: Report) -> None:
    """Report a name that two levels of one machine or point have."""
    first: dict[str, KeyPath] = {one.name: (*path, "level", i, "name") for i, one in reversed([*enumerate(table.level)])}
    others = [(one.name, (*path, "mask", i, "name")) for i, one in enumerate(table.mask)]
    others += [(one.name, (*path, "derived", i, "name")) for i, one in enumerate(table.derived)]
    for name, where in others:
        if name and name not in LEVEL_KINDS and name in first:
            what = f'level "{shown(name)}" is there twice'
            report.error(where, what, f"the first one is in line {report.line(first[name])}")
        first.setdefault(name, where)


def check_startup(table: StartupTable | None, path: KeyPath, report: Report) -> None:
    """Report a time after a start in which nothing would change, or in which nothing would be watched."""
    if table is None:
        return
    for key in ("factor", "seconds"):
        if getattr(table, key) is None and not report.is_blamed((*path, key)):
            report.error((*path, key), "is missing", "startup = { factor = 2.0, seconds = 120 }")
    if table.factor is not None and not 1.0 <= table.factor <= MOST_FACTOR:
        report.error((*path, "factor"), f"must be 1 to {MOST_FACTOR:g}, not {table.factor:g}", "usually 2 to 3")
    if table.seconds is not None and table.seconds < 0.0:
        report.error((*path, "seconds"), f"must not be below zero, not {table.seconds:g}", "seconds after the start")
