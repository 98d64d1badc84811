"""What was heard, into the draft of the next memory: readings, captures, sensors, speeds, and what was rejected."""

from collections.abc import Iterable
from dataclasses import replace

from edgemon.alarms import judge as alarms
from edgemon.alarms.health import came, charged
from edgemon.engine.analyse import Heard, Taken, condemned
from edgemon.engine.draft import Draft
from edgemon.engine.follow import follow
from edgemon.engine.memory import Rejections
from edgemon.model.alarm import MachineSpeed, PointState, SensorState
from edgemon.model.event import (
    CaptureIncomplete,
    MeasurementLate,
    MessageRejected,
)
from edgemon.model.ids import SensorId
from edgemon.model.instant import Instant
from edgemon.model.level import Measurement
from edgemon.model.message import Quarantined


def hear(draft: Draft, heard: Heard) -> None:
    """Take readings, and the measurements made of them; those judged before are stored, and nothing else."""
    draft.count("readings", len(heard.readings))
    draft.readings.extend(heard.readings)
    if heard.is_again:
        _stored(draft, heard.measurements)
        return
    for reading in heard.readings:
        sensor_heard(
            draft,
            reading.sensor,
            reading.received_at,
            reading.taken_at,
            reading.sim,
            battery_pct=reading.value if reading.name == "battery" else None,
            rssi_dbm=reading.value if reading.name == "rssi" else None,
            temperature_c=reading.value if reading.name == "temperature" else None,
            reading_at=reading.taken_at,
        )
        if reading.name == "rpm":
            _spin(draft, reading.sensor, reading.value * 60.0, reading.taken_at, reading.sim)
    for measurement in heard.measurements:
        _measured(draft, measurement)


def take(draft: Draft, taken: Taken) -> None:
    """Take a capture, and the measurements made of it; one judged before is stored, and nothing else."""
    capture = taken.capture
    draft.count("captures")
    draft.captures.append(capture)
    if taken.is_again:
        _stored(draft, taken.measurements)
        return
    before = draft.sensors.get(capture.sensor)
    is_stuck = before is not None and before.digest == taken.digest and before.sim is capture.sim
    sensor_heard(
        draft,
        capture.sensor,
        capture.received_at,
        capture.taken_at,
        capture.sim,
        battery_pct=capture.battery_pct,
        rssi_dbm=capture.rssi_dbm,
        temperature_c=capture.temperature_c,
        capture_at=capture.taken_at,
        digest=taken.digest,
    )
    if capture.missing_parts:
        draft.events.append(
            CaptureIncomplete(draft.now, capture.sensor, capture.id, capture.missing_parts, capture.sim),
        )
    if capture.rpm is not None:
        _spin(draft, capture.sensor, capture.rpm, capture.taken_at, capture.sim)
    for measurement in taken.measurements:
        _measured(draft, condemned(measurement) if is_stuck else measurement)


def _stored(draft: Draft, measurements: Iterable[Measurement]) -> None:
    """Put into the trend what was judged while nothing could be stored; what follows from other values is not made anew."""
    for measurement in measurements:
        stale_after_s = draft.setting.rules[measurement.point].point.stale_after_s
        draft.measurements.append(_with_speed(draft, measurement, stale_after_s))


def _measured(draft: Draft, measurement: Measurement) -> None:
    rules = draft.setting.rules[measurement.point]
    measurement = _with_speed(draft, measurement, rules.point.stale_after_s)
    track = (measurement.point, measurement.sim)
    state = draft.points.get(track) or PointState(measurement.point, measurement.sim)
    judged = state
    if rules.point.derived and measurement.verdict.is_fit:
        judged, measurement = follow(rules, state, measurement, draft.points)
    draft.measurements.append(measurement)
    after, events = alarms.judge(rules, judged, measurement, draft.now)
    draft.adopt(track, state, after, events)
    sensor = draft.sensors[rules.point.sensor]
    if any(isinstance(event, MeasurementLate) for event in events):
        draft.count("late")
        draft.sensors[rules.point.sensor] = replace(sensor, late=sensor.late + 1)
    elif not measurement.verdict.is_fit:
        draft.count("unfit")
        draft.sensors[rules.point.sensor] = replace(sensor, unfit=sensor.unfit + 1)


def _with_speed(draft: Draft, measurement: Measurement, valid_s: float) -> Measurement:
    speed = draft.speeds.get((measurement.point.machine, measurement.sim))
    if measurement.rpm is not None or speed is None or abs(measurement.taken_at - speed.taken_at) > valid_s:
        return measurement
    return replace(measurement, rpm=speed.rpm)


def _spin(draft: Draft, sensor: SensorId, rpm: float, taken_at: Instant, sim: bool) -> None:
    for machine in {point.key.machine for point in draft.setting.plant.points_of_sensor.get(sensor, ())}:
        key = (machine, sim)
        before = draft.speeds.get(key)
        if before is None or taken_at >= before.taken_at:
            draft.speeds[key] = MachineSpeed(machine, rpm, taken_at, sim)
            draft.spun.add(key)


def sensor_heard(
    draft: Draft,
    sensor: SensorId,
    received_at: Instant,
    taken_at: Instant,
    sim: bool,
    *,
    battery_pct: float | None = None,
    rssi_dbm: float | None = None,
    temperature_c: float | None = None,
    capture_at: Instant | None = None,
    reading_at: Instant | None = None,
    digest: int | None = None,
) -> None:
    """Note that a sensor was heard, and what it said of itself."""
    before = draft.sensors.get(sensor, SensorState(sensor))
    if battery_pct is not None:
        before = charged(before, battery_pct, taken_at)
    known = draft.setting.plant.sensors.get(sensor)
    counted_at, completeness = before.counted_at, before.completeness
    if known is not None and (capture_at is not None or reading_at is not None):
        counted_at, completeness = came(before, known.interval_s, taken_at)
    draft.sensors[sensor] = replace(
        before,
        rssi_dbm=rssi_dbm if rssi_dbm is not None else before.rssi_dbm,
        temperature_c=temperature_c if temperature_c is not None else before.temperature_c,
        heard_at=received_at,
        captures=before.captures + (digest is not None),
        readings=before.readings + (reading_at is not None),
        capture_at=_newest(before.capture_at, capture_at),
        reading_at=_newest(before.reading_at, reading_at),
        digest=digest if digest is not None else before.digest,
        clock_offset_s=received_at - taken_at,
        sim=sim,
        counted_at=counted_at,
        completeness=completeness,
        unkept_since=None,
        real_battery_pct=before.real_battery_pct if sim or battery_pct is None else battery_pct,
        real_rssi_dbm=before.real_rssi_dbm if sim or rssi_dbm is None else rssi_dbm,
    )
    draft.heard.add(sensor)
    draft.is_hearing |= sim is draft.setting.gateway.simulated


def _newest(one: Instant | None, other: Instant | None) -> Instant | None:
    if one is None or other is None:
        return one if other is None else other
    return max(one, other)


def reject(draft: Draft, rejected: Quarantined) -> None:
    """Take a message that could not be used."""
    draft.count("rejected")
    draft.quarantined.append(rejected)
    before = draft.rejections.get(rejected.cause)
    untold = (before.untold if before else 0) + 1
    told_at = before.told_at if before else float("-inf")
    latest = Rejections(told_at, untold, rejected.topic, rejected.detail)
    draft.rejections[rejected.cause] = latest
    if draft.now - told_at >= draft.setting.gateway.borders.rejection_interval_s:
        tell(draft, rejected.cause, latest)


def tell(draft: Draft, cause: str, rejections: Rejections) -> None:
    """Journal rejected messages of one cause."""
    draft.events.append(MessageRejected(draft.now, cause, rejections.topic, rejections.detail, rejections.untold))
    draft.rejections[cause] = replace(rejections, told_at=draft.now, untold=0)
