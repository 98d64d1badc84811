"""Whether a machine runs, as one point is told, and what that does to the records of its vibration levels."""

from dataclasses import replace
from typing import NamedTuple

from edgemon.alarms.rules import Rules
from edgemon.alarms.state import BY_LEVEL, BY_SPEED, Cause, is_held, move, new_record
from edgemon.alarms.table import Stimulus
from edgemon.alarms.timing import drop_pending
from edgemon.model.alarm import AlarmRecord, AlarmState, Hiding, PointState
from edgemon.model.event import Event, RunningChanged
from edgemon.model.instant import Instant
from edgemon.model.level import Measurement
from edgemon.model.limit import Side

NOT_RUNNING = "machine not running"
NOT_KNOWN = "not known whether the machine runs"


class Told(NamedTuple):
    """What a measurement says of the machine; `running` None where nothing tells."""

    running: bool | None
    rpm: float | None
    at: Instant | None


def told_by(rules: Rules, state: PointState, measurement: Measurement) -> Told:
    """Tell whether the machine runs: by speed, else by the level well below its running level, else unknown.

    Notes
    -----
    A measurement that does not tell (one scalar alone) leaves what was told before in force, for no longer than the point
    may be silent. Unknown counts as running: it must not hide anything.
    """
    machine, taken_at = rules.machine, measurement.taken_at
    if state.running_at is not None and taken_at < state.running_at:
        return Told(state.running, state.rpm, state.running_at)
    rpm, rule = measurement.rpm, machine.standstill
    if rpm is not None and machine.standstill_rpm is not None:
        return Told(rpm > machine.standstill_rpm, rpm, taken_at)
    if rule is not None and rule.level not in state.flawed:
        value = next((level.value for level in measurement.levels if level.name == rule.level), None)
        if value is not None:
            return Told(value >= rule.below, None, taken_at)
    if state.running_at is not None and taken_at - state.running_at <= rules.point.stale_after_s and rpm is None:
        return Told(state.running, state.rpm, state.running_at)
    return Told(None, rpm, taken_at) if rpm is not None else Told(None, None, None)


def notice(rules: Rules, state: PointState, told: Told, at: Instant) -> tuple[PointState, tuple[Event, ...]]:
    """Take over what was told; where the machine stopped or started, move the records of its vibration levels."""
    if told.running is state.running:
        if told.rpm == state.rpm and told.at == state.running_at:
            return state, ()
        return replace(state, rpm=told.rpm, running_at=told.at), ()
    stopped, stood = told.running is False, state.running is False
    events: list[Event] = []
    if stopped or (stood and told.running):
        events.append(RunningChanged(at, state.point, not stopped, told.rpm, state.sim))
    state = replace(
        state,
        running=told.running,
        rpm=told.rpm,
        running_at=told.at,
        started_at=at if stood else None if stopped else state.started_at,
    )
    if stopped == stood:
        return state, tuple(events)
    alarms = dict(state.alarms)
    for level in rules.limits:
        if rules.gates(level):
            record = alarms.get(level) or new_record(rules, level, state.sim, at)
            alarms[level], more = mark(rules, record, told, at) if stopped else _unmark(rules, record, told, at)
            events.extend(more)
    return replace(state, alarms=alarms), tuple(events)


def join(rules: Rules, state: PointState, at: Instant) -> tuple[PointState, tuple[Event, ...]]:
    """Mark records that are new on a machine that stands, or none where the plant file can no longer tell that it does."""
    if rules.machine.standstill_rpm is None and rules.machine.standstill is None:
        return notice(rules, state, Told(None, state.rpm, None), at)
    if state.running is not False:
        return state, ()
    told, alarms = Told(False, state.rpm, state.running_at), dict(state.alarms)
    events: tuple[Event, ...] = ()
    for level in filter(rules.gates, rules.limits):
        record = alarms.get(level) or new_record(rules, level, state.sim, at)
        if record.suppression is None:
            alarms[level], more = mark(rules, record, told, at)
            events += more
    return (replace(state, alarms=alarms) if alarms != state.alarms else state), events


def mark(rules: Rules, record: AlarmRecord, told: Told, at: Instant) -> tuple[AlarmRecord, tuple[Event, ...]]:
    """Mark a record as one of a stopped machine, drop what is pending, and hide it where the table lets it."""
    by = BY_LEVEL if told.rpm is None else BY_SPEED
    stopped = replace(
        record,
        alert=drop_pending(record.alert),
        alarm=drop_pending(record.alarm),
        suppression=Hiding(by, NOT_RUNNING, at, severity=record.severity),
    )
    return hide(rules, stopped, at)


def hide(rules: Rules, record: AlarmRecord, at: Instant) -> tuple[AlarmRecord, tuple[Event, ...]]:
    """Hide a record of a stopped machine if nobody needs to look at it any more."""
    if record.suppression is None or record.state is AlarmState.DSUPR:
        return record, ()
    moved = move(rules, record, Stimulus.SUPPRESS, Cause(at, reason=f"{record.suppression.reason} ({record.suppression.by})"))
    return moved.record, moved.events


def _unmark(rules: Rules, record: AlarmRecord, told: Told, at: Instant) -> tuple[AlarmRecord, tuple[Event, ...]]:
    shown = replace(record, suppression=None, alert=drop_pending(record.alert), alarm=drop_pending(record.alarm))
    moved = move(rules, shown, Stimulus.UNSUPPRESS, Cause(at, reason="machine running" if told.running else NOT_KNOWN))
    return moved.record, moved.events


def is_judged(record: AlarmRecord) -> bool:
    """Say whether new values of a record's level count now: not while the machine is known not to run, unless held."""
    return record.suppression is None or is_held(record)


def is_starting(rules: Rules, state: PointState, at: Instant) -> bool:
    """Say whether the machine started so short a time ago that its limits are multiplied."""
    started = state.started_at
    return started is not None and started <= at < started + rules.runup_s


def factor_at(rules: Rules, state: PointState, level: str, at: Instant) -> float:
    """Give what the limits of a level are multiplied by at an instant: more than 1 only for a while after a start.

    Low limits stay as they are: multiplied they would be stricter just when the level is only coming up.
    """
    if not is_starting(rules, state, at) or not rules.gates(level):
        return 1.0
    return 1.0 if rules.limits[level].side is Side.BELOW else rules.runup_factor
