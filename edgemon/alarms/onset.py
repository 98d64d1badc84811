"""When an alarm really began, as late measurements tell: they are never judged, but they are heard.

A sensor that stores and forwards delivers what it measured during an outage after newer values. Where such a value lies
between the newest judged value within the limit and the onset known so far, and is beyond the limit itself, the alarm began
there; where it is within the limit, nothing before it belongs to the alarm. State, delays and severity never change by it.
House rule: no text at hand settles it.
"""

from dataclasses import replace

from edgemon.alarms.rules import Rules
from edgemon.alarms.running import factor_at
from edgemon.model.alarm import AlarmRecord, Condition, PointState
from edgemon.model.event import Event, OnsetMoved
from edgemon.model.instant import Instant
from edgemon.model.level import Level, Measurement
from edgemon.model.limit import Limit, Severity, is_beyond


def begins(record: AlarmRecord, alert: Condition, alarm: Condition) -> bool:
    """Say whether a value is the first of its run beyond the alert or the alarm limit."""
    return _begins(record.alert, alert) or _begins(record.alarm, alarm)


def _begins(before: Condition, now: Condition) -> bool:
    return not before.active and before.pending is None and (now.active or now.pending is not None)


def hear(rules: Rules, state: PointState, measurement: Measurement) -> tuple[PointState, tuple[Event, ...]]:
    """Let a late measurement tell when what its levels alarm about began.

    Parameters
    ----------
    rules : Rules
        Of the point.
    state : PointState
        As judged by newer measurements.
    measurement : Measurement
        Older than those.

    Returns
    -------
    (state, events)
        The very same state where nothing is told anew.
    """
    if not measurement.verdict.is_fit:
        return state, ()
    changed: dict[str, AlarmRecord] = {}
    events: list[Event] = []
    for level in measurement.levels:
        record, limit = state.alarms.get(level.name), rules.limits.get(level.name)
        if record is None or limit is None or not limit.holds_at(measurement.rpm):
            continue
        factor = factor_at(rules, state, level.name, measurement.taken_at)
        after = _heard(record, limit, level, measurement.taken_at, factor)
        if after is record:
            continue
        changed[level.name] = after
        if record.peak_severity > Severity.NORMAL and record.onset_at != after.onset_at and after.onset_at is not None:
            bound = limit.of(record.peak_severity)
            events.append(
                OnsetMoved(after.onset_at, record.key, record.onset_at or record.raised_at, level.value, bound, limit.unit)
            )
    return (replace(state, alarms={**state.alarms, **changed}) if changed else state), tuple(events)


def _heard(record: AlarmRecord, limit: Limit, level: Level, at: Instant, factor: float) -> AlarmRecord:
    known, bound = _known(record), limit.of(_severity(record))
    if known is None or bound is None or record.within_at is None or not record.within_at < at < known:
        return record
    if is_beyond(level.value, bound * factor, limit.side):
        onset = record.onset_at
        is_known = onset is not None and record.within_at < onset < at
        return record if is_known else _moved(record, at)
    within = replace(record, within_at=at)
    onset = record.onset_at
    return _moved(within, known) if onset is not None and record.within_at < onset < at else within


def _severity(record: AlarmRecord) -> Severity:
    """Give the severity whose limit the run is beyond: the worst it had, or the one that is pending."""
    if record.peak_severity > Severity.NORMAL:
        return record.peak_severity
    return Severity.ALERT if record.alert.pending is not None else Severity.ALARM


def _known(record: AlarmRecord) -> Instant | None:
    """Give the onset by judged values alone; None where nothing is there and nothing pending."""
    if record.peak_severity > Severity.NORMAL:
        return record.judged_onset_at
    return min((one.pending.since for one in (record.alert, record.alarm) if one.pending is not None), default=None)


def _moved(record: AlarmRecord, at: Instant) -> AlarmRecord:
    """Move the onset, and that of the first-out mark with it where the mark rests on this occurrence."""
    mark = record.first_out
    if mark is not None and mark.onset_at == record.onset_at:
        mark = replace(mark, onset_at=at)
    return replace(record, onset_at=at, first_out=mark)
