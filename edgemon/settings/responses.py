"""What to do about an alarm: the `[[response]]` tables of site, machine and point, laid over each other."""

from collections.abc import Iterable

from edgemon.model.alarm import MONITORING
from edgemon.model.limit import Limit, Severity
from edgemon.model.response import Response
from edgemon.settings.schema import MachineTable, PointTable, ResponseTable

SEVERITIES = (Severity.ALERT, Severity.ALARM)


def responses_of(
    site: Iterable[ResponseTable], machine: MachineTable, point: PointTable, limits: Iterable[Limit]
) -> dict[tuple[str, Severity], Response]:
    """Give what is written for every alarm of a point, by level and severity.

    Notes
    -----
    Field by field the nearest table that fits counts: the point's before the machine's before the site's, and in each of them
    the one that names more (kind, level, severity) before the one that names less, the later before the earlier.
    """
    layers = [table for tables in (site, machine.response, point.response) for table in sorted(tables, key=_narrowness)]
    levels = [*(limit.level for limit in limits), MONITORING]
    laid = {(level, severity): _laid(layers, machine.kind, level, severity) for level in levels for severity in SEVERITIES}
    return {alarm: response for alarm, response in laid.items() if response != Response()}


def fits(table: ResponseTable, kind: str, level: str, severity: Severity) -> bool:
    """Say whether a table speaks of this alarm; what it leaves out it says of all."""
    return table.kind in ("", kind) and table.level in ("", level) and table.severity in ("", severity.word)


def _narrowness(table: ResponseTable) -> int:
    return (table.kind != "") + (table.level != "") + (table.severity != "")


def _laid(layers: Iterable[ResponseTable], kind: str, level: str, severity: Severity) -> Response:
    cause = consequence = action = confirm = ""
    within_s: float | None = None
    for table in layers:
        if fits(table, kind, level, severity):
            cause, consequence = table.cause or cause, table.consequence or consequence
            action, confirm = table.action or action, table.confirm or confirm
            within_s = within_s if table.within_min is None else 60.0 * table.within_min
    return Response(cause, consequence, action, confirm, within_s)
