"""How soon the operator must act, and who is told."""

from edgemon.alarms.rules import Rules
from edgemon.model.alarm import MONITORING, Priority
from edgemon.model.limit import Severity
from edgemon.model.machine import Criticality

_HIGH, _MEDIUM, _LOW = Priority.HIGH, Priority.MEDIUM, Priority.LOW
MATRIX: dict[Criticality, tuple[Priority, Priority, Priority]] = {
    # alarm, alert, loss of monitoring
    Criticality.CRITICAL: (_HIGH, _MEDIUM, _MEDIUM),
    Criticality.ESSENTIAL: (_HIGH, _LOW, _LOW),
    Criticality.GENERAL: (_MEDIUM, _LOW, _LOW),
}
"""Priority from what the plant loses and how far gone it is; three annunciated priorities as ANSI/ISA-18.2 has them.

The matrix itself is the house's; the standard asks for one matrix, applied to all alarms, and gives none.
"""


def priority(rules: Rules, level: str, severity: Severity) -> Priority:
    """Give the priority of a record at a severity."""
    if rules.is_system:
        return _HIGH
    alarm, alert, loss = MATRIX[rules.machine.criticality]
    if level == MONITORING:
        return loss
    return alarm if severity is Severity.ALARM else alert if severity is Severity.ALERT else _LOW


def annunciates(rules: Rules, level: str, severity: Severity) -> bool:
    """Say whether the operator is called: by an alarm, by lost monitoring of a critical machine, by a promoted alert."""
    if level == MONITORING:
        return rules.machine.criticality is Criticality.CRITICAL
    limit = rules.limits.get(level)
    return severity is Severity.ALARM or (severity is Severity.ALERT and limit is not None and limit.promote_alert)


def needs_ack(rules: Rules, level: str, severity: Severity) -> bool:
    """Say whether a person must acknowledge a record at a severity."""
    return rules.alert_needs_ack or level == MONITORING or severity is Severity.ALARM
