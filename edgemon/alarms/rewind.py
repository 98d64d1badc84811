"""The clock was set back: what is remembered from then on lies in the future, and would make everything that comes late.

Until the old time is reached again no measurement would be judged, and a point would stay fresh though nothing comes. So
whatever lies ahead is taken to be of now: at most one measurement that was under way is judged twice or out of order.
"""

from dataclasses import replace
from typing import TypeVar

from edgemon.model.alarm import AlarmRecord, Condition, Hiding, PointState
from edgemon.model.instant import Duration, Instant

_Known = TypeVar("_Known", Instant, Instant | None)


def rewind(state: PointState, now: Instant, ahead_s: Duration = 0.0) -> PointState:
    """Bring what lies more than `ahead_s` ahead of now back to now; the same state where nothing does."""
    latest = now + ahead_s
    if not any(at > latest for at in _instants(state)):
        return state

    def earlier(at: _Known) -> _Known:
        return now if at is not None and at > latest else at

    return replace(
        state,
        taken_at=earlier(state.taken_at),
        fit_at=earlier(state.fit_at),
        heard_at=earlier(state.heard_at),
        running_at=earlier(state.running_at),
        started_at=earlier(state.started_at),
        level_at={level: earlier(at) for level, at in state.level_at.items()},
        alarms={level: _record(record, now, latest) for level, record in state.alarms.items()},
    )


def _instants(state: PointState) -> list[Instant]:
    of_point = (state.taken_at, state.fit_at, state.heard_at, state.running_at, state.started_at)
    found = [at for at in (*of_point, *state.level_at.values()) if at is not None]
    for record in state.alarms.values():
        found += (record.since, record.raised_at)
        found += (at for at in (record.told_at, record.silenced_at) if at is not None)
        found += (one.pending.since for one in (record.alert, record.alarm) if one.pending is not None)
        found += (one.since for one in (record.shelf, record.suppression, record.out_of_service) if one is not None)
    return found


def _record(record: AlarmRecord, now: Instant, latest: Instant) -> AlarmRecord:
    def earlier(at: _Known) -> _Known:
        return now if at is not None and at > latest else at

    mark = record.first_out
    return replace(
        record,
        since=earlier(record.since),
        raised_at=earlier(record.raised_at),
        told_at=earlier(record.told_at),
        silenced_at=earlier(record.silenced_at),
        onset_at=earlier(record.onset_at),
        judged_onset_at=earlier(record.judged_onset_at),
        within_at=earlier(record.within_at),
        first_out=None if mark is None else replace(mark, onset_at=earlier(mark.onset_at)),
        alert=_condition(record.alert, now, latest),
        alarm=_condition(record.alarm, now, latest),
        shelf=_hiding(record.shelf, now, latest),
        suppression=_hiding(record.suppression, now, latest),
        out_of_service=_hiding(record.out_of_service, now, latest),
    )


def _condition(one: Condition, now: Instant, latest: Instant) -> Condition:
    if one.pending is None or one.pending.since <= latest:
        return one
    return replace(one, pending=replace(one.pending, since=now))


def _hiding(one: Hiding | None, now: Instant, latest: Instant) -> Hiding | None:
    """Let a shelf last as long as it was meant to, and no longer."""
    if one is None or one.since <= latest:
        return one
    until = None if one.until is None else one.until - (one.since - now)
    return replace(one, since=now, until=until)
