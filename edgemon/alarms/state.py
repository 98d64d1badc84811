"""One stimulus, one instant: the next record, and the event for the journal."""

from dataclasses import dataclass, replace

from edgemon.alarms.priority import annunciates, needs_ack, priority
from edgemon.alarms.rules import Rules
from edgemon.alarms.table import HIDDEN, Facts, Stimulus, Transition, find
from edgemon.alarms.timing import INACTIVE
from edgemon.model.alarm import AlarmRecord, AlarmState, Condition
from edgemon.model.event import AlarmChanged
from edgemon.model.ids import AlarmKey
from edgemon.model.instant import Instant
from edgemon.model.limit import Limit, Severity, Side

BY_SPEED = "speed"
BY_LEVEL = "standstill level"
"""What tells that a machine does not run; see the theory in `table`."""
BY_GATEWAY = "gateway"
"""Suppresses the loss of monitoring of single points while the gateway itself hears nothing; see `parent`."""

WAITING = (AlarmState.UNACK, AlarmState.RTNUN, AlarmState.LATUN)
"""States in which an occurrence waits for its acknowledgement."""
_ENDED = (AlarmState.RTNUN, AlarmState.LATUN, AlarmState.LATAK)


@dataclass(frozen=True, slots=True)
class Cause:
    """When, by whom and why a stimulus comes."""

    at: Instant
    """Time of the measurement, or of the command."""
    by: str = ""
    station: str = ""
    reason: str = ""
    until: Instant | None = None
    value: float | None = None
    detail: str = ""
    told_at: Instant | None = None
    """Gateway time, where that is another."""


@dataclass(frozen=True, slots=True)
class Moved:
    """What a stimulus did; `refusal` is empty unless a command changed nothing."""

    record: AlarmRecord
    events: tuple[AlarmChanged, ...] = ()
    refusal: str = ""


def new_record(rules: Rules, level: str, sim: bool, at: Instant) -> AlarmRecord:
    """Make the record of a level (or of the loss of monitoring) that nothing happened to yet."""
    key = AlarmKey(*rules.point.key, level, sim)
    return AlarmRecord(key=key, since=at, annunciates=False, side=_side(rules.limits.get(level)))


def _side(limit: Limit | None) -> Side:
    return Side.ABOVE if limit is None else limit.side


def closed(record: AlarmRecord, now: Instant, why: str) -> AlarmChanged:
    """Tell of a record that ends, whatever its state, because what it is about is no more."""
    return AlarmChanged(
        at=now,
        alarm=record.key,
        change="CLEARED",
        from_state=record.state,
        to_state=AlarmState.NORM,
        severity=Severity.NORMAL,
        occurrence=record.occurrence,
        priority=record.priority,
        annunciates=False,
        reason=why,
        side=record.side,
    )


def is_held(record: AlarmRecord) -> bool:
    """Say whether the machine stands only by its low level while a condition is there: that hides nothing."""
    return record.suppression is not None and record.suppression.by == BY_LEVEL and record.severity > Severity.NORMAL


def facts_of(rules: Rules, record: AlarmRecord, occurrence: int | None = None) -> Facts:
    """Give what the guards of the table ask about a record."""
    level, severity, shelf = record.key.level, record.severity, record.shelf
    limit = rules.limits.get(level)
    return Facts(
        active=severity > Severity.NORMAL,
        latched=limit is not None and _latches(limit, record.peak_severity),
        stopped=record.suppression is not None and not is_held(record),
        shelved=shelf is not None,
        one_shot=shelf is not None and shelf.one_shot,
        escalates=shelf is not None and severity > shelf.severity,
        needs_ack=needs_ack(rules, level, severity),
        current=occurrence is None or occurrence == record.occurrence,
    )


def _latches(limit: Limit, peak: Severity) -> bool:
    return (limit.latch_alarm and peak is Severity.ALARM) or (limit.latch_alert and peak >= Severity.ALERT)


def move(rules: Rules, record: AlarmRecord, stimulus: Stimulus, cause: Cause, occurrence: int | None = None) -> Moved:
    """Let one stimulus act on a record.

    Parameters
    ----------
    rules : Rules
        Of the record's point.
    record : AlarmRecord
        With conditions, severity and causes of hiding as they are now; its state is still the one before the stimulus.
    stimulus : Stimulus
        What happened.
    cause : Cause
        When, by whom and why.
    occurrence : int, optional
        The one a command names.
    """
    line = find(record.state, stimulus, facts_of(rules, record, occurrence))
    if line is None:
        return Moved(record)
    if line.refusal:
        return Moved(record, refusal=line.refusal)
    moved = _follow(rules, record, line, cause)
    return Moved(moved, (_event(rules, record, moved, line, cause),))


def _follow(rules: Rules, record: AlarmRecord, line: Transition, cause: Cause) -> AlarmRecord:
    at = cause.at
    target = record.state if line.target is None else line.target
    alert, alarm, severity = record.alert, record.alarm, record.severity
    if target is AlarmState.DSUPR and record.state is not AlarmState.DSUPR:
        alert, alarm, severity = INACTIVE, INACTIVE, Severity.NORMAL
    raised = line.announce or line.change == "RAISED"
    begins = raised or line.change == "LEVEL_UP" or (target is AlarmState.ACKED and record.state in HIDDEN)
    peak, rank, calls = record.peak_severity, record.priority, record.annunciates
    if begins:
        peak = max(peak, severity) if record.state in _ENDED else severity
        told = peak if record.state in WAITING else severity
        rank, calls = priority(rules, record.key.level, told), annunciates(rules, record.key.level, told)
    elif target in (AlarmState.NORM, AlarmState.DSUPR):
        peak, rank, calls = Severity.NORMAL, priority(rules, record.key.level, Severity.NORMAL), False
    is_new = line.announce or target is not record.state
    return replace(
        record,
        state=target,
        severity=severity,
        peak_severity=peak,
        occurrence=record.occurrence + raised,
        since=at if is_new else record.since,
        told_at=cause.told_at if is_new else record.told_at,
        raised_at=at if raised else record.raised_at,
        alert=alert,
        alarm=alarm,
        annunciates=calls,
        priority=rank,
        value=record.value if cause.value is None else cause.value,
        shelf=record.shelf if target in (AlarmState.SHLVD, AlarmState.DSUPR) else None,
        out_of_service=record.out_of_service if target is AlarmState.OOSRV else None,
        silenced_at=record.silenced_at if target in WAITING and not raised else None,
    )


def _event(rules: Rules, before: AlarmRecord, after: AlarmRecord, line: Transition, cause: Cause) -> AlarmChanged:
    limit = rules.limits.get(after.key.level)
    told = after.severity if line.announce else max(after.severity, before.peak_severity)
    return AlarmChanged(
        at=cause.at,
        alarm=after.key,
        change=line.change,
        from_state=before.state,
        to_state=after.state,
        severity=after.severity,
        occurrence=after.occurrence,
        priority=after.priority if after.state is not AlarmState.NORM else before.priority,
        annunciates=after.annunciates,
        value=after.value,
        limit=None if limit is None else limit.of(told),
        unit="" if limit is None else limit.unit,
        by=cause.by,
        station=cause.station,
        reason=cause.reason,
        until=cause.until,
        detail=cause.detail,
        side=_side(limit),
    )


def settle(
    rules: Rules,
    record: AlarmRecord,
    alert: Condition,
    alarm: Condition,
    severity: Severity,
    cause: Cause,
    within_at: Instant | None,
) -> Moved:
    """Let newly judged conditions act on a record: raise, clear, rise, fall, or nothing but a changed delay.

    Parameters
    ----------
    rules, record :
        Of one point.
    alert, alarm : Condition
        As they are now.
    severity : Severity
        That follows from them.
    cause : Cause
        The measurement.
    within_at : float or None
        The record's `within_at` from now on.
    """
    before = record.severity
    if alert is record.alert and alarm is record.alarm and severity is before:
        return Moved(record)
    peak = max(record.peak_severity, severity) if record.state not in _ENDED else record.peak_severity
    if severity > before:
        stimulus = Stimulus.RAISE if before is Severity.NORMAL else Stimulus.RISE
        onset = _onset(record, stimulus, cause.at)
        judged_onset_at: Instant | None = onset
        onset_at: Instant | None = _heard(record.onset_at, within_at, onset)
    else:
        stimulus = Stimulus.CLEAR if severity is Severity.NORMAL else Stimulus.FALL
        judged_onset_at, onset_at = record.judged_onset_at, record.onset_at
    judged = replace(
        record,
        alert=alert,
        alarm=alarm,
        severity=severity,
        peak_severity=peak,
        onset_at=onset_at,
        judged_onset_at=judged_onset_at,
        within_at=within_at,
    )
    if severity is before:
        return Moved(judged)
    reason = _why(record, stimulus)
    return move(rules, judged, stimulus, cause if cause.reason == reason else replace(cause, reason=reason))


def _onset(record: AlarmRecord, stimulus: Stimulus, at: Instant) -> Instant:
    """Give when what was just confirmed began: a rise began with the alarm's own limit."""
    conditions = (record.alarm,) if stimulus is Stimulus.RISE else (record.alert, record.alarm)
    return min((one.pending.since for one in conditions if one.pending is not None), default=at)


def _heard(told: Instant | None, within_at: Instant | None, onset: Instant) -> Instant:
    """Give the onset that a late value told while the delay ran, if it belongs to this run; else the one judged."""
    return told if told is not None and within_at is not None and within_at < told < onset else onset


def _why(record: AlarmRecord, stimulus: Stimulus) -> str:
    if record.state is not AlarmState.SHLVD:
        return ""
    return "returned to normal" if stimulus is Stimulus.CLEAR else "escalation"
