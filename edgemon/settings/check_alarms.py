"""Doubts about `[alarms]` of the plant file and `[[annunciator]]` of the gateway file."""

from collections.abc import Callable, Sequence
from pathlib import Path

from edgemon.model.ids import is_identifier
from edgemon.settings.alarms import program_path
from edgemon.settings.check_delays import check_delays
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, shown
from edgemon.settings.schema import AlarmsTable, AnnunciatorTable, ClassTable

LONG_SHELF_S = 24 * 3600.0
"""A shelf that outlasts every shift. House choice: common practice is one shift."""
LONG_SILENCE_S = 600.0
SHORT_REALARM_S = 600.0
"""An alarm announced again sooner than that teaches people to acknowledge unread. House choice, no source."""
LONGEST_COMMAND_S = 60.0
LONG_DEAFNESS_S = 600.0
"""A gateway that hears nothing for longer than that and calls nobody. House choice, no source."""
LIKELY = 0.01
"""The gateway would be called deaf about once a day at intervals of some minutes. House choice, no source."""
TAKEN = ("machine", "gateway", "event")
"""First levels of the site's topics that the gateway uses itself."""


def check_alarms(table: AlarmsTable, report: Report) -> None:
    """Report everything in `[alarms]` that an engineer would doubt."""
    path: KeyPath = ("alarms",)
    _class(table, path, report)
    for name in ("critical", "essential", "general"):
        _class(getattr(table, name), (*path, name), report)
    for key in ("silence_s", "ringback_s", "clock_error_s", "gateway_delay_s"):
        _not_negative(report, (*path, key), getattr(table, key))
    if table.silence_s == 0.0:
        what = "what was silenced stays silent until it is acknowledged, however long that takes"
        report.warning((*path, "silence_s"), what, "30, as IMO resolution MSC.302(87) has it")
    elif table.silence_s > LONG_SILENCE_S:
        report.warning(
            (*path, "silence_s"), f"an alarm may be silent for {table.silence_s:g} s and nobody acknowledge it", "30"
        )
    if table.gateway_delay_s > LONG_DEAFNESS_S:
        what = f"the gateway may hear nothing for {table.gateway_delay_s:g} s before it calls"
        report.warning((*path, "gateway_delay_s"), what, "60; a point's shorter stale_after_s goes before it")
    _deafness(table, path, report)


def _deafness(table: AlarmsTable, path: KeyPath, report: Report) -> None:
    if table.gateway_sensors < 0:
        report.error((*path, "gateway_sensors"), f"must not be below zero, is {table.gateway_sensors}", "3; 0 for never")
    elif table.gateway_sensors == 0:
        what = "a gateway that hears nothing over a link that is up is not noticed: every point calls by itself"
        report.warning((*path, "gateway_sensors"), what, "3")
    elif table.gateway_sensors == 1:
        what = "one silent sensor is taken for a gateway that hears nothing"
        report.warning((*path, "gateway_sensors"), what, "3")
    if not 0.0 < table.gateway_chance <= LIKELY:
        what = f"must be above 0 and at most {LIKELY:g}, is {table.gateway_chance:g}"
        report.error((*path, "gateway_chance"), what, "0.000001, one in a million")


def check_shelf(value: float | None, path: KeyPath, report: Report) -> None:
    """Report a longest shelf that cannot be, or that nobody would expect."""
    if value is not None and _not_negative(report, path, value) and value > LONG_SHELF_S:
        report.warning(path, f"{value / 3600.0:g} h outlast every shift: nobody on duty knows of the shelf", "28800, one shift")


def _class(table: ClassTable, path: KeyPath, report: Report) -> None:
    check_delays(table, path, report)
    if table.max_shelve_s is not None:
        alert, alarm = table.max_shelve_s.alert, table.max_shelve_s.alarm
        check_shelf(alert, (*path, "max_shelve_s"), report)
        if alarm != alert:
            check_shelf(alarm, (*path, "max_shelve_s"), report)
        if alert is not None and alarm is not None and alarm > alert:
            report.warning((*path, "max_shelve_s"), "an alarm may be shelved for longer than an alert", "are the two swapped?")
    again = table.realarm_s
    if again is not None and _not_negative(report, (*path, "realarm_s"), again) and 0.0 < again < SHORT_REALARM_S:
        what = f"whatever stands calls again every {again:g} s"
        report.warning((*path, "realarm_s"), what, "hours; leave it out, and nothing calls again")


def _not_negative(report: Report, path: KeyPath, value: float) -> bool:
    if value < 0.0:
        report.error(path, f"must not be below zero, is {value:g}", "seconds")
    return value >= 0.0


def check_outputs(
    tables: Sequence[AnnunciatorTable], directory: Path, why_not_runnable: Callable[[str], str], report: Report
) -> None:
    """Report everything doubtful in the outputs for horn and beacon."""
    seen: dict[str, KeyPath] = {}
    for number, table in enumerate(tables):
        path: KeyPath = ("annunciator", number)
        if not report.is_blamed((*path, "name")):
            if not is_identifier(table.name):
                report.error((*path, "name"), "is missing, or no identifier", 'a-z, 0-9, - and _: name = "horn"')
            elif table.name in seen:
                report.error(
                    (*path, "name"), f'"{table.name}" is there twice', f"the other is in line {report.line(seen[table.name])}"
                )
            seen.setdefault(table.name, path)
        _output(table, path, directory, why_not_runnable, report)


def _output(
    table: AnnunciatorTable, path: KeyPath, directory: Path, why_not_runnable: Callable[[str], str], report: Report
) -> None:
    if report.is_blamed((*path, "command")) or report.is_blamed((*path, "topic")):
        return
    if (table.command is None) is (table.topic is None):
        report.error(path, "takes either command or topic", 'command = ["/usr/local/bin/horn"], or topic = "annunciator"')
    elif table.topic is not None:
        _topic(table.topic, (*path, "topic"), report)
    elif not table.command or not all(table.command[:1]) or any("\0" in part for part in table.command):
        report.error((*path, "command"), "names no program", 'a program and its arguments: ["/usr/local/bin/horn", "--loud"]')
    else:
        why = why_not_runnable(str(program_path(table.command[0], directory)))
        if why:
            report.warning((*path, "command"), why, "a program that the user of the daemon may run; no shell reads the list")
    for key, value in (("timeout_s", table.timeout_s), ("retry_s", table.retry_s)):
        if not 0.1 <= value <= LONGEST_COMMAND_S:
            report.error((*path, key), f"must be 0.1 to {LONGEST_COMMAND_S:g}, not {value:g}", "seconds, usually 5")


def _topic(topic: str, path: KeyPath, report: Report) -> None:
    levels = topic.split("/")
    if not all(levels) or any(mark in topic for mark in "+#\0"):
        report.error(path, f'"{shown(topic)}" cannot be a topic', 'levels with / between them: topic = "annunciator"')
    elif levels[0] in TAKEN:
        report.error(path, f'"{levels[0]}" is used by the gateway itself', 'topic = "annunciator"')
