"""What people command: acknowledge, reset, shelve, take out of service; and shelves that end by themselves."""

from dataclasses import replace
from math import isfinite
from typing import assert_never

from edgemon.alarms.priority import needs_ack
from edgemon.alarms.rules import Rules
from edgemon.alarms.state import Cause, Moved, move
from edgemon.alarms.table import Stimulus
from edgemon.model.alarm import AlarmRecord, AlarmState, Hiding
from edgemon.model.command import (
    Acknowledge,
    Command,
    Person,
    RemoveFromService,
    Reset,
    ReturnToService,
    Role,
    Shelve,
    Unshelve,
)
from edgemon.model.instant import Instant
from edgemon.model.limit import Severity

EXPIRED = "shelf expired"
NAMELESS = "hiding an alarm needs a name and a reason"
_MAY = {
    Acknowledge: (Role.OPERATOR, Role.ENGINEER),
    Reset: (Role.OPERATOR, Role.ENGINEER),
    Shelve: (Role.OPERATOR, Role.ENGINEER),
    Unshelve: (Role.OPERATOR, Role.ENGINEER),
    RemoveFromService: (Role.ENGINEER,),
    ReturnToService: (Role.ENGINEER,),
}
_ENDED = (AlarmState.RTNUN, AlarmState.LATUN, AlarmState.LATAK)


def obey(rules: Rules, record: AlarmRecord, command: Command, person: Person, now: Instant) -> Moved:
    """Let a command act on its record; `refusal` says why it did not."""
    if person.role not in _MAY[type(command)]:
        return Moved(record, refusal=f"not permitted to the role {person.role.value}")
    cause = Cause(now, person.name, person.station)
    match command:
        case Acknowledge():
            moved = move(rules, record, Stimulus.ACK, cause, command.occurrence)
        case Reset():
            moved = move(rules, record, Stimulus.RESET, cause)
        case Shelve():
            moved = _shelve(rules, record, command, cause)
        case Unshelve():
            moved = _unshelve(rules, record, cause)
        case RemoveFromService():
            moved = _remove(rules, record, command, cause)
        case ReturnToService():
            moved = move(rules, record, Stimulus.RETURN, cause)
        case _:
            assert_never(command)
    return replace(moved, record=record) if moved.refusal else moved


def _shelve(rules: Rules, record: AlarmRecord, command: Shelve, cause: Cause) -> Moved:
    duration, reason = command.duration_s, command.reason.strip()
    if not reason or not cause.by.strip():
        return Moved(record, refusal=NAMELESS)
    if not isfinite(duration) or duration <= 0.0:
        return Moved(record, refusal="the duration must be above zero")
    severity = shelved_severity(rules, record)
    longest = rules.shelf_s(record.key.level, severity)
    if rules.is_system:
        return Moved(record, refusal="it may not be shelved: it is the gateway's own")
    if longest <= 0.0:
        return Moved(record, refusal="it may not be shelved: so the site decided")
    if duration > longest:
        return Moved(record, refusal=f"longer than the {longest:g} s allowed")
    until = cause.at + duration
    shelf = Hiding(cause.by, reason, cause.at, until, command.one_shot, severity)
    shelved = replace(record, shelf=shelf)
    return move(rules, shelved, Stimulus.SHELVE, replace(cause, reason=reason, until=until))


def shelved_severity(rules: Rules, record: AlarmRecord) -> Severity:
    """Give the severity a shelf covers: the one in force, or just gone; at least the lowest that the record can have."""
    limit = rules.limits.get(record.key.level)
    lowest = rules.loss_severity if limit is None else Severity.ALARM if limit.alert is None else Severity.ALERT
    peak = record.peak_severity if record.state in _ENDED else Severity.NORMAL
    return max(record.severity, peak, lowest)


def _unshelve(rules: Rules, record: AlarmRecord, cause: Cause) -> Moved:
    moved = move(rules, record, Stimulus.UNSHELVE, cause)
    return replace(moved, record=replace(moved.record, shelf=None)) if not moved.refusal else moved


def _remove(rules: Rules, record: AlarmRecord, command: RemoveFromService, cause: Cause) -> Moved:
    reason = command.reason.strip()
    if not reason or not cause.by.strip():
        return Moved(record, refusal=NAMELESS)
    removed = replace(record, out_of_service=Hiding(cause.by, reason, cause.at, severity=record.severity))
    return move(rules, removed, Stimulus.REMOVE, replace(cause, reason=reason))


def expire(rules: Rules, record: AlarmRecord, now: Instant) -> Moved:
    """End a shelf whose time is over; the journal gets the instant at which it ended, however late it is noticed."""
    until = None if record.shelf is None else record.shelf.until
    if until is None or now < until:
        return Moved(record)
    return _unshelve(rules, record, Cause(until, reason=EXPIRED, until=until))


def realarm(rules: Rules, record: AlarmRecord, now: Instant) -> Moved:
    """Announce again what was acknowledged long ago and is still there, where the site asks for it."""
    due = realarm_at(rules, record)
    if due is None or now < due:
        return Moved(record)
    return move(rules, record, Stimulus.REALARM, Cause(due, reason=f"still there {rules.realarm_s:g} s after"))


def realarm_at(rules: Rules, record: AlarmRecord) -> Instant | None:
    """Give the instant at which an acknowledged record is announced again; None if it will not be.

    What needs no acknowledgement is never announced.
    """
    if rules.realarm_s is None or record.state is not AlarmState.ACKED or record.severity is Severity.NORMAL:
        return None
    if not needs_ack(rules, record.key.level, record.severity):
        return None
    return record.since + rules.realarm_s
