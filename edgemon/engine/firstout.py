"""First-out marks: every machine whose alarms moved is looked at anew."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TypeAlias

from edgemon.alarms.firstout import mark, onset_of
from edgemon.engine.memory import Setting, Track
from edgemon.model.alarm import MONITORING, AlarmRecord, AlarmState, PointState
from edgemon.model.event import AlarmChanged, Event, FirstOutMarked, OnsetMoved
from edgemon.model.ids import AlarmKey, MachineId, PointKey
from edgemon.model.instant import Instant

Records: TypeAlias = Mapping[AlarmKey, AlarmRecord]
_ACKNOWLEDGED = (AlarmState.ACKED, AlarmState.LATAK)


def marked(
    setting: Setting, points: Mapping[Track, PointState], events: Iterable[Event], now: Instant
) -> tuple[dict[Track, PointState], tuple[Event, ...]]:
    """Give the points whose marks change, and what the journal is told.

    Parameters
    ----------
    setting : Setting
        For the errors of the clocks.
    points : mapping of Track to PointState
        As they are after the events.
    events : iterable of Event
        What just happened.
    now : Instant
        Gateway time.
    """
    moved = {(event.alarm.machine, event.alarm.sim): None for event in events if isinstance(event, AlarmChanged | OnsetMoved)}
    changed: dict[Track, PointState] = {}
    told: list[Event] = []
    for machine, sim in moved:
        if machine not in setting.plant.machine_of:
            continue
        tracks = [(point.key, sim) for point in setting.plant.machine_of[machine].points]
        states = {track: points[track] for track in tracks if track in points}
        records = {record.key: record for state in states.values() for record in state.alarms.values()}
        fresh = {record.key: record for record in mark(records.values(), lambda key: error_s(setting, key))}
        if not fresh:
            continue
        for track, state in states.items():
            ours = {key.level: record for key, record in fresh.items() if (key.machine, key.point) == tuple(track[0])}
            if ours:
                changed[track] = replace(state, alarms={**state.alarms, **ours})
        told.append(_event(machine, sim, records, {**records, **fresh}, now))
    return changed, tuple(told)


def _event(machine: MachineId, sim: bool, before: Records, after: Records, now: Instant) -> FirstOutMarked:
    marked = sorted(
        (one.first_out.onset_at, one.key, one.first_out.sure) for one in after.values() if one.first_out is not None
    )
    keys = tuple(key for _, key, _ in marked)
    put_right = _put_right(before, marked[0][0]) if marked else ()
    return FirstOutMarked(
        now, machine, keys, all(sure for *_, sure in marked), sim, tuple(key for key in put_right if key not in keys)
    )


def _put_right(before: Records, first_at: Instant) -> tuple[AlarmKey, ...]:
    """Give who was told to be the first and began later than what is the first now.

    Those are the alarms that bore the mark; or, where their group is over, the first of what is there and acknowledged.
    """
    bearers = sorted((one.first_out.onset_at, one.key) for one in before.values() if one.first_out is not None)
    over = sorted((onset_of(one), one.key) for one in before.values() if one.annunciates and one.state in _ACKNOWLEDGED)
    return tuple(key for at, key in (bearers or over[:1]) if at > first_at)


def error_s(setting: Setting, key: AlarmKey) -> float:
    """Say by how much the onset of an alarm may be wrong: the sensor's clock, or an interval where it has none."""
    sensor = setting.plant.sensors[setting.plant.points[PointKey(key.machine, key.point)].sensor]
    return setting.plant.alarms.clock_error_s if sensor.clock and key.level != MONITORING else sensor.interval_s
