"""`[alarms]` and `[[annunciator]]` to model values."""

from collections.abc import Iterable
from pathlib import Path

from edgemon.model.annunciation import Output, OutputKind
from edgemon.model.machine import Criticality
from edgemon.model.policy import AlarmClass, AlarmPolicy
from edgemon.settings.schema import AlarmsTable, AnnunciatorTable, ClassTable

_USUAL = AlarmClass()


def policy_of(table: AlarmsTable) -> AlarmPolicy:
    """Make what a site decided about its alarms; what a class leaves open is that of the site."""
    return AlarmPolicy(
        classes={criticality.value: _class(getattr(table, criticality.value), table) for criticality in Criticality},
        silence_s=table.silence_s,
        ringback_s=table.ringback_s,
        clock_error_s=table.clock_error_s,
        gateway_delay_s=table.gateway_delay_s,
        gateway_sensors=table.gateway_sensors,
        gateway_chance=table.gateway_chance,
    )


def _class(own: ClassTable, site: ClassTable) -> AlarmClass:
    shelves = [table.max_shelve_s for table in (own, site) if table.max_shelve_s is not None]
    realarms = [table.realarm_s for table in (own, site) if table.realarm_s is not None]
    needs = [table.alert_needs_ack for table in (own, site) if table.alert_needs_ack is not None]
    return AlarmClass(
        max_shelve_alert_s=next((one.alert for one in shelves if one.alert is not None), _USUAL.max_shelve_alert_s),
        max_shelve_alarm_s=next((one.alarm for one in shelves if one.alarm is not None), _USUAL.max_shelve_alarm_s),
        realarm_s=next((one or None for one in realarms), _USUAL.realarm_s),
        alert_needs_ack=next(iter(needs), _USUAL.alert_needs_ack),
    )


def outputs_of(tables: Iterable[AnnunciatorTable], directory: Path) -> tuple[Output, ...]:
    """Make the outputs; a program named with a path is looked for from the config directory."""
    return tuple(_output(table, directory) for table in tables)


def _output(table: AnnunciatorTable, directory: Path) -> Output:
    if not table.command:
        return Output(table.name, OutputKind.MQTT, topic=table.topic or "")
    program, *arguments = table.command
    return Output(
        table.name,
        OutputKind.COMMAND,
        argv=(str(program_path(program, directory)), *arguments),
        timeout_s=table.timeout_s,
        retry_s=table.retry_s,
    )


def program_path(program: str, directory: Path) -> str | Path:
    """Give where a program is meant to be; a bare name is looked for where the daemon's PATH says."""
    return directory / program if "/" in program else program
