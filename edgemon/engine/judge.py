"""Items to next memory, events and what to store; quick, and nothing is changed in place."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from edgemon.alarms import judge as alarms
from edgemon.alarms.health import came, charged
from edgemon.alarms.rewind import rewind
from edgemon.engine.analyse import Analysis, Heard, Repeated, Taken, Waiting, condemned
from edgemon.engine.arrivals import remember
from edgemon.engine.baselines import key_of, obey
from edgemon.engine.firstout import marked
from edgemon.engine.follow import follow
from edgemon.engine.memory import NOTES_KEPT, Memory, Rejections, Setting, Track
from edgemon.errors import ParameterError
from edgemon.model.alarm import MachineSpeed, PointState, SensorState
from edgemon.model.command import BaselineCommand, Command, Person
from edgemon.model.event import (
    BaselineApproved,
    BaselineProposed,
    BaselineRetired,
    CaptureIncomplete,
    ClockStepped,
    DiagnosisMade,
    Event,
    GatewayStarted,
    MeasurementLate,
    MessageRejected,
    SimulationNoted,
)
from edgemon.model.ids import MachineId, PointKey, SensorId
from edgemon.model.instant import Instant
from edgemon.model.level import Measurement
from edgemon.model.message import Quarantined
from edgemon.model.reading import Capture, CapturePart, Reading, SimulationNote
from edgemon.store.port import Commit, Saved


@dataclass(frozen=True, slots=True)
class Judgement:
    """The next memory, what happened, what to store, and which tracks moved."""

    memory: Memory
    commit: Commit
    moved: frozenset[Track]


@dataclass(slots=True)
class _Draft:
    """The next memory while it is being made, and what goes into the commit."""

    setting: Setting
    now: Instant
    points: dict[Track, PointState]
    sensors: dict[SensorId, SensorState]
    speeds: dict[tuple[MachineId, bool], MachineSpeed]
    counters: dict[str, int]
    rejections: dict[str, Rejections]
    notes: tuple[SimulationNote, ...]
    events: list[Event] = field(default_factory=list)
    parts: list[CapturePart] = field(default_factory=list)
    captures: list[Capture] = field(default_factory=list)
    measurements: list[Measurement] = field(default_factory=list)
    readings: list[Reading] = field(default_factory=list)
    quarantined: list[Quarantined] = field(default_factory=list)
    moved: set[Track] = field(default_factory=set)
    heard: set[SensorId] = field(default_factory=set)
    spun: set[tuple[MachineId, bool]] = field(default_factory=set)

    def count(self, name: str, by: int = 1) -> None:
        self.counters[name] = self.counters.get(name, 0) + by

    def adopt(self, track: Track, before: PointState, after: PointState, events: tuple[Event, ...]) -> None:
        if after is not before:
            self.points[track] = after
            self.moved.add(track)
        if events:
            self.moved.add(track)
            self.events.extend(events)


def judge(setting: Setting, memory: Memory, analysis: Analysis, now: Instant) -> Judgement:
    """Judge a batch, item by item in order of arrival."""
    draft = _draft(setting, memory, now)
    draft.count("messages", analysis.messages)
    for item in analysis.items:
        match item:
            case Heard():
                _hear(draft, item)
            case Taken():
                _take(draft, item)
            case Waiting(part):
                draft.parts.append(part)
                _sensor_heard(draft, part.sensor, part.received_at, part.taken_at, part.sim, capture_at=part.taken_at)
            case Repeated(sensor):
                draft.count("repeats")
                state = draft.sensors.get(sensor, SensorState(sensor))
                draft.sensors[sensor] = replace(state, repeats=state.repeats + 1)
                draft.heard.add(sensor)
            case Quarantined():
                _reject(draft, item)
            case SimulationNote():
                machine = MachineId(item.machine) if item.machine in setting.plant.machine_of else None
                draft.notes = (*draft.notes, item)[-NOTES_KEPT:]
                draft.events.append(SimulationNoted(item.taken_at, item.title, item.text, machine))
    for heard, arrivals in analysis.arrivals.items():
        before = draft.sensors.get(heard, SensorState(heard))
        draft.sensors[heard] = replace(before, arrivals=remember(before.arrivals, arrivals))
        draft.heard.add(heard)
    return _judgement(draft, replace(memory, assembly=analysis.assembly))


def tick(setting: Setting, memory: Memory, now: Instant) -> Judgement:
    """Let time do its work: silence, shelves that end, rejections not told of yet."""
    draft = _draft(setting, memory, now)
    for track, state in memory.points.items():
        rules = setting.rules.get(track[0])
        if rules is not None:
            after, events = alarms.tick(rules, state, now)
            draft.adopt(track, state, after, events)
    for cause, rejections in memory.rejections.items():
        if rejections.untold and now - rejections.told_at >= setting.gateway.borders.rejection_interval_s:
            _tell(draft, cause, rejections)
    return _judgement(draft, memory)


def happened(setting: Setting, memory: Memory, event: Event, now: Instant) -> Judgement:
    """Journal what happened outside the path: the link, the clock, the stop, a diagnosis."""
    draft = _draft(setting, memory, now)
    draft.events.append(event)
    if isinstance(event, DiagnosisMade):
        track = (event.point, event.sim)
        memory = replace(memory, diagnoses={**memory.diagnoses, track: event})
        draft.moved.update({track} & memory.points.keys())
    elif isinstance(event, BaselineProposed | BaselineApproved | BaselineRetired):
        one = event.baseline
        memory = replace(memory, baselines={**memory.baselines, key_of(one): one})
        tracks = {(one.point, sim) for sim in (False, True)}  # the limits in force hold for both
        draft.moved.update(tracks & memory.points.keys())
    elif isinstance(event, ClockStepped):
        _clock_was_set(draft)
    return _judgement(draft, memory)


def _clock_was_set(draft: _Draft) -> None:
    """Take everything up as after a start: nothing lies in the future, and no point is called lost for the step's sake."""
    now = draft.now
    for track, state in list(draft.points.items()):
        rules = draft.setting.rules.get(track[0])
        if rules is not None:
            draft.adopt(track, state, *alarms.restart(rules, rewind(state, now), now))
    for key, speed in draft.speeds.items():
        if speed.taken_at > now:
            draft.speeds[key] = replace(speed, taken_at=now)
            draft.spun.add(key)
    for cause, told in draft.rejections.items():
        draft.rejections[cause] = replace(told, told_at=min(told.told_at, now))


def baseline(filed: Setting, memory: Memory, order: BaselineCommand, person: Person, now: Instant) -> Judgement:
    """Do what a person commands about a baseline, or journal why not; `filed` is the setting of the plant file alone.

    Raises
    ------
    ParameterError
        No such point or level.
    """
    return happened(filed, memory, obey(filed, memory.baselines, order, person, now), now)


def command(setting: Setting, memory: Memory, order: Command, person: Person, now: Instant) -> Judgement:
    """Do what a person commands, or journal why not.

    Raises
    ------
    ParameterError
        No such point.
    """
    key = PointKey(order.alarm.machine, order.alarm.point)
    rules = setting.rules.get(key)
    if rules is None:
        raise ParameterError("no such point", str(order.alarm), "look up the alarm in the alarm list")
    track = (key, order.alarm.sim)
    state = memory.points.get(track, PointState(key, order.alarm.sim))
    draft = _draft(setting, memory, now)
    after, events = alarms.command(rules, state, order, person, now)
    draft.adopt(track, state, after, events)
    return _judgement(draft, memory)


def begin(setting: Setting, saved: Saved, memory: Memory, started: GatewayStarted) -> Judgement:
    """Take up where the last run left off; every point the plant file names has a state from now on."""
    draft = _draft(setting, memory, started.at)
    draft.events.append(started)
    ahead_s = setting.gateway.borders.future_skew_s
    remembered = {(state.point, state.sim): state for state in saved.points}
    tracks = [(key, setting.gateway.simulated) for key in setting.rules]
    for track in dict.fromkeys([*tracks, *(track for track in remembered if track[0] in setting.rules)]):
        state = remembered.get(track, PointState(track[0], track[1]))
        after, events = alarms.restart(setting.rules[track[0]], rewind(state, started.at, ahead_s), started.at)
        draft.points[track] = after
        draft.moved.add(track)
        draft.events.extend(events)
    return _judgement(draft, memory)


def _draft(setting: Setting, memory: Memory, now: Instant) -> _Draft:
    return _Draft(
        setting,
        now,
        dict(memory.points),
        dict(memory.sensors),
        dict(memory.speeds),
        dict(memory.counters),
        dict(memory.rejections),
        memory.notes,
    )


def _judgement(draft: _Draft, memory: Memory) -> Judgement:
    firsts, told = marked(draft.setting, draft.points, draft.events, draft.now)
    draft.points.update(firsts)
    draft.moved.update(firsts)
    draft.events.extend(told)
    if draft.events:
        draft.count("events", len(draft.events))
    after = Memory(
        draft.points,
        draft.sensors,
        draft.speeds,
        memory.assembly,
        draft.counters,
        draft.rejections,
        draft.notes,
        memory.diagnoses,
        memory.baselines,
    )
    commit = Commit(
        recorded_at=draft.now,
        parts=tuple(draft.parts),
        captures=tuple(draft.captures),
        measurements=tuple(draft.measurements),
        readings=tuple(draft.readings),
        quarantined=tuple(draft.quarantined),
        events=tuple(draft.events),
        points=tuple(draft.points[track] for track in draft.moved),
        sensors=tuple(draft.sensors[sensor] for sensor in draft.heard),
        speeds=tuple(draft.speeds[key] for key in draft.spun),
        counters=_changed(memory.counters, draft.counters),
    )
    return Judgement(after, commit, frozenset(draft.moved))


def _changed(before: Mapping[str, int], after: Mapping[str, int]) -> dict[str, int]:
    return {name: value for name, value in after.items() if before.get(name) != value}


def _hear(draft: _Draft, heard: Heard) -> None:
    draft.count("readings", len(heard.readings))
    draft.readings.extend(heard.readings)
    for reading in heard.readings:
        _sensor_heard(
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


def _take(draft: _Draft, taken: Taken) -> None:
    capture = taken.capture
    draft.count("captures")
    draft.captures.append(capture)
    before = draft.sensors.get(capture.sensor)
    is_stuck = before is not None and before.digest == taken.digest and before.sim is capture.sim
    _sensor_heard(
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


def _measured(draft: _Draft, measurement: Measurement) -> None:
    rules = draft.setting.rules[measurement.point]
    if measurement.rpm is None:
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


def _with_speed(draft: _Draft, measurement: Measurement, valid_s: float) -> Measurement:
    speed = draft.speeds.get((measurement.point.machine, measurement.sim))
    if speed is None or abs(measurement.taken_at - speed.taken_at) > valid_s:
        return measurement
    return replace(measurement, rpm=speed.rpm)


def _spin(draft: _Draft, sensor: SensorId, rpm: float, taken_at: Instant, sim: bool) -> None:
    for machine in {point.key.machine for point in draft.setting.plant.points_of_sensor.get(sensor, ())}:
        key = (machine, sim)
        before = draft.speeds.get(key)
        if before is None or taken_at >= before.taken_at:
            draft.speeds[key] = MachineSpeed(machine, rpm, taken_at, sim)
            draft.spun.add(key)


def _sensor_heard(
    draft: _Draft,
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
    before = draft.sensors.get(sensor, SensorState(sensor))
    if battery_pct is not None:
        before = charged(before, battery_pct, taken_at)
    known = draft.setting.plant.sensors.get(sensor)
    if known is not None and (capture_at is not None or reading_at is not None):
        before = came(before, known.interval_s, taken_at)
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
    )
    draft.heard.add(sensor)


def _newest(one: Instant | None, other: Instant | None) -> Instant | None:
    if one is None or other is None:
        return one if other is None else other
    return max(one, other)


def _reject(draft: _Draft, rejected: Quarantined) -> None:
    draft.count("rejected")
    draft.quarantined.append(rejected)
    before = draft.rejections.get(rejected.cause)
    untold = (before.untold if before else 0) + 1
    told_at = before.told_at if before else float("-inf")
    latest = Rejections(told_at, untold, rejected.topic, rejected.detail)
    draft.rejections[rejected.cause] = latest
    if draft.now - told_at >= draft.setting.gateway.borders.rejection_interval_s:
        _tell(draft, rejected.cause, latest)


def _tell(draft: _Draft, cause: str, rejections: Rejections) -> None:
    draft.events.append(MessageRejected(draft.now, cause, rejections.topic, rejections.detail, rejections.untold))
    draft.rejections[cause] = replace(rejections, told_at=draft.now, untold=0)
