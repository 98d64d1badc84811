"""No data when data was due, and data that is not fit: the point's quality, and the alarm `loss of monitoring`.

A point is silent once its newest fit measurement is `stale_after_s` old, by the sensor's time or by the time it came,
whichever is earlier. So a backlog that comes after an outage does not make a point fresh, and a clock that runs ahead does not
keep it fresh. Where several vibration levels of a point have limits, the one heard longest ago counts: a sensor that still
sends temperature, but no vibration any more, is silent.
"""

from dataclasses import replace

from edgemon.alarms.registry import Evidence, rule_of
from edgemon.alarms.rules import Rules
from edgemon.alarms.state import Cause, Moved, new_record, settle
from edgemon.model.alarm import MONITORING, AlarmRecord, Pending, PointState
from edgemon.model.event import Event, QualityChanged
from edgemon.model.instant import Instant
from edgemon.model.limit import Severity
from edgemon.model.quality import Quality

NO_DATA = "no-data"
WAITING = "waiting-for-first-data"
_SILENT = (NO_DATA,)
_FIRST = (WAITING,)


def silent_since(rules: Rules, state: PointState) -> Instant | None:
    """Give the time of the measurement that the point's freshness rests on; None if there never was one.

    Where vibration has a limit, only vibration speaks for the point: a temperature that still comes does not. A level that
    may be missing (its speed, or its baseline) does not either: it alone has no data then.
    """
    if state.fit_at is None:
        return None
    heard = state.fit_at if state.heard_at is None else min(state.fit_at, state.heard_at)
    if not rules.speaking:
        return heard
    known = state.level_at
    times = [known[level] for level in rules.speaking if level in known]
    return min(heard, *times) if times else None


def is_silent(rules: Rules, state: PointState, now: Instant) -> bool:
    """Say whether the newest fit measurement is too old to speak for the present."""
    since = silent_since(rules, state)
    return since is None or now - since >= rules.point.stale_after_s


def shown(rules: Rules, state: PointState, now: Instant) -> tuple[Quality, tuple[str, ...]]:
    """Give quality and reasons as they are now, even where nothing was judged since the point fell silent."""
    if state.quality is Quality.GOOD and is_silent(rules, state, now):
        return Quality.STALE, _SILENT
    return state.quality, state.reasons


def due_at(rules: Rules, state: PointState) -> Instant | None:
    """Give the instant at which the quality may change by the passing of time alone; None if it will not."""
    record = state.alarms.get(MONITORING)
    waiting = None if record is None else record.alert.pending or record.alarm.pending
    if state.quality is Quality.GOOD:
        since = silent_since(rules, state)
    elif state.quality is Quality.BAD:
        since = state.taken_at
    else:
        since = None
    if waiting is not None:
        since = waiting.since if since is None else min(since, waiting.since)
    return None if since is None else since + rules.point.stale_after_s


def assess(
    rules: Rules, state: PointState, now: Instant, at: Instant, before: PointState | None = None
) -> tuple[PointState, tuple[Event, ...]]:
    """Bring quality, reasons and the record of the loss of monitoring up to date.

    Parameters
    ----------
    rules, state :
        Of one point.
    now : Instant
        Time by which silence is judged.
    at : Instant
        Time that a change gets in the journal.
    before : PointState, optional
        The state whose quality was journalled last; `state` itself if not given.
    """
    known = state.alarms.get(MONITORING)
    record = wait(new_record(rules, MONITORING, state.sim, at), now) if known is None else known
    since = record.alert.pending or record.alarm.pending
    waiting = since is not None and now - since.since < rules.point.stale_after_s
    quality, reasons = _quality(rules, state, now, waiting)
    if quality is Quality.STALE and waiting:
        moved = Moved(record)
    else:
        moved = _judge(rules, record, quality is not Quality.GOOD, at, reasons)
    events: tuple[Event, ...] = moved.events
    told = state if before is None else before
    if quality is not told.quality or reasons != told.reasons:
        events = (QualityChanged(at, state.point, quality.value, reasons, state.sim), *events)
    elif moved.record is known and quality is state.quality and reasons == state.reasons:
        return state, ()
    return replace(state, quality=quality, reasons=reasons, alarms={**state.alarms, MONITORING: moved.record}), events


def wait(record: AlarmRecord, now: Instant) -> AlarmRecord:
    """Let the patience with a silent point begin now: a point just set up, or a gateway just started."""
    return record if record.severity else replace(record, alarm=replace(record.alarm, pending=Pending(now, 0)))


def _quality(rules: Rules, state: PointState, now: Instant, waiting: bool) -> tuple[Quality, tuple[str, ...]]:
    if state.quality is Quality.BAD and state.taken_at is not None and now - state.taken_at < rules.point.stale_after_s:
        return Quality.BAD, state.reasons
    if state.fit_at is None:
        return Quality.STALE, _FIRST if state.taken_at is None else _SILENT
    if state.quality is not Quality.BAD and not is_silent(rules, state, now):
        return Quality.GOOD, ()
    return Quality.STALE, _FIRST if waiting and state.reasons == _FIRST else _SILENT


def _judge(rules: Rules, record: AlarmRecord, lost: bool, at: Instant, reasons: tuple[str, ...]) -> Moved:
    alert, alarm = rule_of(MONITORING)(Evidence(rules, record, at, lost=lost))
    if alert == record.alert and alarm == record.alarm:
        return Moved(record)
    severity = rules.loss_severity if lost else Severity.NORMAL
    moved = settle(rules, record, alert, alarm, severity, Cause(at), record.within_at)
    return replace(moved, events=tuple(replace(event, reason=event.reason or ", ".join(reasons)) for event in moved.events))
