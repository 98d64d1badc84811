"""Doubts about what operators are told to do: `[[response]]` of site, machine and point."""

from collections.abc import Collection, Sequence

from edgemon.model.alarm import MONITORING
from edgemon.model.level import LEVEL_KINDS
from edgemon.model.response import Response
from edgemon.settings.derived import own_specs
from edgemon.settings.limits import limits_of
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, shown, suggest
from edgemon.settings.responses import SEVERITIES, responses_of
from edgemon.settings.schema import PlantFile, ResponseTable


def check_responses(file: PlantFile, report: Report) -> None:
    """Report tables that speak of nothing, and alarms for which nobody wrote what to do."""
    own = {spec.name for machine in file.machine for point in (None, *machine.point) for spec in own_specs(machine, point)}
    kinds = {machine.kind for machine in file.machine if machine.kind}
    _tables(file.response, (), kinds, own, report)
    for number, machine in enumerate(file.machine):
        path: KeyPath = ("machine", number)
        _tables(machine.response, path, (machine.kind,), own, report)
        for index, point in enumerate(machine.point):
            _tables(point.response, (*path, "point", index), (machine.kind,), own, report)


def check_actions(file: PlantFile, report: Report) -> None:
    """Warn once of alarms without an action, where a site has begun to write actions down.

    Only for a file in which nothing is wrong. Source: IEC 62682, no action, no alarm.
    """
    points = [point for machine in file.machine for point in machine.point]
    if not any([file.response, *(machine.response for machine in file.machine), *(point.response for point in points)]):
        return
    silent = []
    for machine in file.machine:
        for point in machine.point:
            limits = limits_of(machine, point, file.alarms)
            written = responses_of(file.response, machine, point, limits)
            set_ = {(limit.level, severity) for limit in limits for severity in SEVERITIES if limit.of(severity) is not None}
            silent += [
                f"{machine.id}/{point.id}/{level}"
                for level, severity in sorted(set_)
                if not written.get((level, severity), Response()).action
            ]
    if silent:
        count = len(dict.fromkeys(silent))
        what = f"of {count} limits nobody has written what the operator is to do, first {silent[0]}"
        report.warning(("response",), what, 'add [[response]] with action = "..." for the site, a machine or a point')


def _tables(tables: Sequence[ResponseTable], around: KeyPath, kinds: Collection[str], own: set[str], report: Report) -> None:
    levels = [*LEVEL_KINDS, *sorted(own), MONITORING]
    for number, table in enumerate(tables):
        path: KeyPath = (*around, "response", number)
        if table.level and table.level not in levels:
            report.error((*path, "level"), f'"{shown(table.level)}" is not a level', suggest(table.level, levels, "levels"))
        if table.kind and table.kind not in kinds:
            report.warning((*path, "kind"), f'no machine here is a "{shown(table.kind)}"', suggest(table.kind, kinds, "kinds"))
        if table.within_min is not None and table.within_min <= 0.0:
            report.error((*path, "within_min"), f"must be above zero, not {table.within_min:g}", "minutes there are to respond")
        if not (table.cause or table.consequence or table.action or table.confirm or table.within_min is not None):
            report.error(path, "says nothing", "give at least action")
