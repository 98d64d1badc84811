"""The entrance: one point, one thing that happens to it, the next state and the events; pure, and quick where all is well."""

from collections.abc import Mapping
from dataclasses import replace
from math import isfinite, isnan

from edgemon.alarms import orphans, silence
from edgemon.alarms.limits import severity_by_value, severity_of
from edgemon.alarms.onset import begins, hear
from edgemon.alarms.registry import Evidence, rule_of
from edgemon.alarms.rules import Rules
from edgemon.alarms.running import factor_at, hide, is_judged, is_starting, join, notice, told_by
from edgemon.alarms.state import Cause, new_record, settle
from edgemon.alarms.suppress import expire, obey, realarm, realarm_at
from edgemon.alarms.timing import drop_pending
from edgemon.errors import ParameterError
from edgemon.model.alarm import MONITORING, AlarmRecord, AlarmState, PointState
from edgemon.model.command import Command, Person
from edgemon.model.event import CommandRefused, Event, MeasurementLate, QualityChanged
from edgemon.model.instant import Instant
from edgemon.model.level import Level, Measurement
from edgemon.model.limit import Severity
from edgemon.model.quality import Flaw, Quality

__all__ = ["Rules", "command", "judge", "next_due", "point_word", "restart", "tick"]

TREND_LENGTH = 32
_NEVER = float("-inf")
_LATCHED = (AlarmState.LATUN, AlarmState.LATAK)

Next = tuple[PointState, tuple[Event, ...]]


def judge(rules: Rules, state: PointState, measurement: Measurement, now: Instant) -> Next:
    """Let one measurement act on its point.

    Raises
    ------
    ParameterError
        The measurement belongs to another point, or mixes real and simulated data.

    Notes
    -----
    A measurement not newer than what was judged is late: it is told, and changes nothing but, at most, when an alarm is known
    to have begun (`alarms.onset`). One that is not fit makes the
    quality bad and breaks what is pending; nothing else moves. A value that is no number is not fit where a limit is set, and
    passed over where none is.
    """
    _check(rules, state, measurement)
    known, taken_at = state.level_at, measurement.taken_at
    if not measurement.levels:
        fresh: tuple[Level, ...] = ()
        late = state.taken_at is not None and taken_at <= state.taken_at
    else:
        fresh = measurement.levels
        if known and taken_at <= max(known.values()):
            fresh = tuple(level for level in fresh if known.get(level.name, _NEVER) < taken_at)
        late = not fresh or _speaks_for_nothing(rules, state, measurement, fresh)
    if late:
        told = _late(rules, state, measurement)
        state, moved = hear(rules, state, measurement)
        return state, (told, *moved)
    if not measurement.verdict.is_fit:
        return _unfit(rules, state, measurement, fresh, now)
    if not isfinite(sum([level.value for level in fresh])):
        if any(level.name in rules.limits and not isfinite(level.value) for level in fresh):
            return _unfit(rules, state, measurement, fresh, now)
        fresh = tuple(level for level in fresh if isfinite(level.value))
    return _fit(rules, state, measurement, fresh, now)


def _check(rules: Rules, state: PointState, measurement: Measurement) -> None:
    key = rules.point.key
    if state.point != key or measurement.point != key:
        raise ParameterError(f"rules, state and measurement of different points: {key}, {state.point}, {measurement.point}")
    if state.sim is not measurement.sim:
        raise ParameterError("real and simulated data are kept apart", str(key), "keep a state for each")
    if isnan(measurement.taken_at):
        raise ParameterError("a measurement without a time", str(key))


def _speaks_for_nothing(rules: Rules, state: PointState, measurement: Measurement, fresh: tuple[Level, ...]) -> bool:
    """Say whether an older capture is unfit and new only in levels without a limit: it must not spoil what is newer."""
    is_older = state.taken_at is not None and measurement.taken_at <= state.taken_at
    return is_older and not measurement.verdict.is_fit and not any(level.name in rules.limits for level in fresh)


def _late(rules: Rules, state: PointState, measurement: Measurement) -> MeasurementLate:
    beyond = max(
        (severity_by_value(rules.limits.get(level.name), level.value) for level in measurement.levels), default=Severity.NORMAL
    )
    known = (state.level_at[level.name] for level in measurement.levels if level.name in state.level_at)
    newest = max(known, default=state.taken_at or measurement.taken_at)
    return MeasurementLate(measurement.taken_at, state.point, measurement.capture, newest, beyond, state.sim)


def _newest(before: Instant | None, at: Instant) -> Instant:
    return at if before is None or at > before else before


def _fit(rules: Rules, state: PointState, measurement: Measurement, fresh: tuple[Level, ...], now: Instant) -> Next:
    taken_at = measurement.taken_at
    said = told_by(rules, state, measurement)
    told: tuple[Event, ...] = ()
    if said.running is not state.running:
        state, told = notice(rules, state, said, taken_at)
    alarms, moved = _judge_levels(rules, state, fresh, taken_at, said.rpm, now)
    names = [level.name for level in fresh]
    levels = _merged(state.levels, fresh, names)
    flawed = state.flawed and tuple(name for name in state.flawed if name not in names)
    newest = state.taken_at is None or taken_at >= state.taken_at
    healed = state.quality is Quality.BAD and not flawed and newest
    following = PointState(
        point=state.point,
        sim=state.sim,
        taken_at=_newest(state.taken_at, taken_at),
        fit_at=_newest(state.fit_at, taken_at),
        heard_at=now,
        quality=Quality.STALE if healed else state.quality,
        reasons=state.reasons,
        levels=levels,
        level_at={**state.level_at, **dict.fromkeys(names, taken_at)},
        alarms=alarms,
        running=state.running,
        rpm=said.rpm,
        capture=state.capture if measurement.capture is None else measurement.capture,
        trend=_trend(rules, state.trend, levels),
        flawed=flawed,
        running_at=said.at,
        started_at=state.started_at,
        left_out=state.left_out if measurement.capture is None else dict(measurement.verdict.left_out),
        recent=state.recent,
    )
    if following.quality is Quality.GOOD and not silence.is_silent(rules, following, now):
        return following, told + moved
    assessed, quality = silence.assess(rules, following, now, now, state)
    return assessed, told + moved + quality


def _judge_levels(
    rules: Rules, state: PointState, fresh: tuple[Level, ...], at: Instant, rpm: float | None, now: Instant
) -> tuple[Mapping[str, AlarmRecord], tuple[Event, ...]]:
    changed: dict[str, AlarmRecord] = {}
    events: tuple[Event, ...] = ()
    within, known = rules.within, state.alarms
    starts = is_starting(rules, state, at)
    for level in fresh:
        edges = within.get(level.name)
        if edges is None:
            continue
        record = known.get(level.name)
        if record is not None and edges[0] < level.value < edges[1] and not starts and _is_calm(record):
            continue
        if record is None:
            record = new_record(rules, level.name, state.sim, at)
            changed[level.name] = record
        if not is_judged(record):
            continue
        if not rules.limits[level.name].holds_at(rpm):
            changed[level.name] = _broken(record)
            continue
        bridged = at - state.level_at.get(level.name, _NEVER) <= rules.point.stale_after_s
        factor = factor_at(rules, state, level.name, at)
        alert, alarm = rule_of(level.name)(Evidence(rules, record, at, level.value, bridged, factor))
        if alert is record.alert and alarm is record.alarm:
            continue
        within_at = state.level_at.get(level.name) if begins(record, alert, alarm) else record.within_at
        cause = Cause(at, value=level.value, detail=level.remark, told_at=now)
        moved = settle(rules, record, alert, alarm, severity_of(alert, alarm), cause, within_at)
        changed[level.name], hidden = hide(rules, moved.record, at)
        events += moved.events + hidden
    return ({**state.alarms, **changed} if changed else state.alarms), events


def _is_calm(record: AlarmRecord) -> bool:
    """Say whether no limit of a record's level counts as exceeded and nothing is pending: a value within changes nothing."""
    alert, alarm = record.alert, record.alarm
    return not (alert.active or alarm.active) and alert.pending is None and alarm.pending is None


def _merged(known: tuple[Level, ...], fresh: tuple[Level, ...], names: list[str]) -> tuple[Level, ...]:
    if [level.name for level in known] == names:
        return fresh
    return tuple({level.name: level for level in (*known, *fresh)}.values())


def _trend(rules: Rules, trend: tuple[float, ...], levels: tuple[Level, ...]) -> tuple[float, ...]:
    nearest = rules.nearest(levels)
    return trend if nearest is None else (*trend[1 - TREND_LENGTH :], nearest)


def _unfit(rules: Rules, state: PointState, measurement: Measurement, fresh: tuple[Level, ...], now: Instant) -> Next:
    taken_at, flaws = measurement.taken_at, measurement.verdict.flaws or (Flaw.IMPLAUSIBLE,)
    names = [level.name for level in fresh] or list(rules.limits)
    watched = [name for name in names if name in rules.limits]
    sure = [name for name in watched if not rules.may_be_missing(name)]  # what may be missing may never come to heal it
    flawed = [name for name in sure if rules.gates(name)] or sure  # a temperature comes or not; the waveform must be fit
    alarms = {name: _broken(record) if name in watched else record for name, record in state.alarms.items()}
    following = replace(
        state,
        taken_at=_newest(state.taken_at, taken_at),
        quality=Quality.BAD,
        reasons=tuple(flaw.value for flaw in flaws),
        level_at={**state.level_at, **dict.fromkeys((level.name for level in fresh), taken_at)},
        alarms=alarms,
        flawed=tuple(dict.fromkeys((*state.flawed, *flawed))),
    )
    return silence.assess(rules, following, now, taken_at, state)


def _broken(record: AlarmRecord) -> AlarmRecord:
    alert, alarm = drop_pending(record.alert), drop_pending(record.alarm)
    return record if alert is record.alert and alarm is record.alarm else replace(record, alert=alert, alarm=alarm)


def next_due(rules: Rules, state: PointState) -> Instant | None:
    """Give the instant from which `tick` may find something to do; None if only a measurement or a person can change it."""
    if MONITORING not in state.alarms:
        return _NEVER
    due = silence.due_at(rules, state)
    for record in state.alarms.values():
        if record.shelf is None and record.state is not AlarmState.ACKED:
            continue  # nothing of it ends or comes again by itself
        for more in (None if record.shelf is None else record.shelf.until, realarm_at(rules, record)):
            due = more if due is None else due if more is None else min(due, more)
    return due


def tick(rules: Rules, state: PointState, now: Instant) -> Next:
    """Let time pass: silence, shelves that end, alarms to be announced again."""
    due = next_due(rules, state)
    if due is None or now < due:
        return state, ()
    alarms = dict(state.alarms)
    events: tuple[Event, ...] = ()
    for name, record in state.alarms.items():
        ended = expire(rules, record, now)
        again = realarm(rules, ended.record, now)
        alarms[name] = again.record
        events += ended.events + again.events
    if events:
        state = replace(state, alarms=alarms)
    assessed, quality = silence.assess(rules, state, now, now)
    return assessed, events + quality


def command(rules: Rules, state: PointState, command: Command, person: Person, now: Instant) -> Next:
    """Let a person's command act; a refused one gives `CommandRefused` and changes nothing."""
    key = command.alarm
    level = key.level
    known = (key.machine, key.point) == tuple(rules.point.key) and key.sim is state.sim
    if not known or not _is_watched(rules, state, level):
        return state, (_refused(command, person, now, "no such alarm"),)
    record = state.alarms.get(level) or new_record(rules, level, state.sim, now)
    if level == MONITORING and level not in state.alarms:
        record = silence.wait(record, now)
    moved = obey(rules, record, command, person, now)
    if moved.refusal:
        return state, (_refused(command, person, now, moved.refusal),)
    record, hidden = hide(rules, moved.record, now)
    return replace(state, alarms={**state.alarms, level: record}), moved.events + hidden


def _is_watched(rules: Rules, state: PointState, level: str) -> bool:
    """Say whether there is an alarm of that name; of one whose limit was taken out only the count is kept."""
    if level == MONITORING or level in rules.limits:
        return True
    record = state.alarms.get(level)
    return record is not None and (rules.is_system or record.state is not AlarmState.NORM)


def _refused(command: Command, person: Person, now: Instant, why: str) -> CommandRefused:
    return CommandRefused(now, command.alarm, type(command).__name__, why, person.name, person.station)


def restart(rules: Rules, state: PointState, now: Instant) -> Next:
    """Take up a stored state after a start: everything goes on as it was, and time that passed meanwhile is made up for.

    Notes
    -----
    What is pending stays pending; the next measurement goes on with it unless the gap in source time is longer than the point
    may be silent. A point whose newest measurement is too old by now waits for its first data, and is called lost only when
    none has come `stale_after_s` after the start: the outage was the gateway's. Records of limits that the plant file no
    longer has, or has on the other side, are closed; what is new begins hidden where the machine stands. A loss of monitoring
    that stands rises or falls with how critical the machine is now.
    """
    state, orphaned = orphans.close(rules, state, now)
    state, hidden = join(rules, state, now)
    closed: tuple[Event, ...] = orphaned + hidden
    known = state.alarms.get(MONITORING)
    told = known is not None and known.severity > Severity.NORMAL
    if state.quality is not Quality.STALE and not told and silence.is_silent(rules, state, now):
        state = replace(state, quality=Quality.STALE, reasons=(silence.WAITING,))
        closed += (QualityChanged(now, state.point, state.quality.value, state.reasons, state.sim),)
    elif told and known is not None and known.severity is not rules.loss_severity:
        state, risen = silence.assess(rules, state, now, now)
        closed += risen
    if state.quality is Quality.STALE:
        record = state.alarms.get(MONITORING) or new_record(rules, MONITORING, state.sim, now)
        state = replace(state, alarms={**state.alarms, MONITORING: silence.wait(record, now)})
    ticked, events = tick(rules, state, now)
    return ticked, closed + events


def severity_shown(record: AlarmRecord) -> Severity:
    """Give the severity a record shows: in force, or for a latched one the highest it had."""
    return record.peak_severity if record.state in _LATCHED else record.severity


def point_word(rules: Rules, state: PointState, now: Instant) -> str:
    """Give the state of the contract: normal, alert, alarm, not-running or unknown.

    Notes
    -----
    A condition that is there is said, hidden or not: shelving ends the call, not the fact. Without one, only fit data that is
    not silent may say normal or not-running.
    """
    worst = max(
        (severity_shown(record) for name, record in state.alarms.items() if name != MONITORING), default=Severity.NORMAL
    )
    if worst > Severity.NORMAL:
        return worst.word
    if state.quality is Quality.STALE or silence.is_silent(rules, state, now):
        return "unknown"
    return "not-running" if state.running is False else "normal"
