"""What becomes of a judgement while the store does not take what comes: people are told all of it, the broker keeps the data.

Captures and readings are left to the broker, which delivers them again because they are not acknowledged; what followed from
them (states, journal entries) stays, is written as soon as that is possible, and is not judged a second time. What changes no
state (rejected messages, notes of a simulation, figures of what was stored) is forgotten here, for it comes again with them.
A crash before that forgets all of it alike, and the broker's messages are judged as if for the first time.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from edgemon.engine.draft import Judgement
from edgemon.engine.memory import Memory, Setting
from edgemon.model.alarm import MachineSpeed, PointState, SensorState
from edgemon.model.event import AlarmChanged, Event, MessageRejected, SimulationNoted
from edgemon.model.ids import CaptureKey, ReadingKey, SensorId
from edgemon.model.instant import Instant
from edgemon.model.quality import Flaw
from edgemon.model.reading import Capture, CapturePart, Reading
from edgemon.store.port import Commit

COMES_AGAIN = ("messages", "captures", "readings", "rejected", "repeats")
"""Counters of what is delivered again; the others count what was judged."""


def unkept(judgement: Judgement, before: Memory) -> Judgement:
    """Leave out of a judgement what is not kept, and note with each sensor since when.

    Parameters
    ----------
    judgement : Judgement
        As if all of it were stored.
    before : Memory
        What was remembered before.
    """
    commit, memory = judgement.commit, judgement.memory
    events = tuple(event for event in commit.events if not _comes_again(event, commit))
    counters = dict(memory.counters)
    for name in COMES_AGAIN:
        counters[name] = before.counters.get(name, 0)
    counters["events"] = memory.counters.get("events", 0) - (len(commit.events) - len(events))
    sensors = dict(memory.sensors)
    since = _heard_since(commit)
    touched = {SensorId(state.sensor): None for state in commit.sensors} | dict.fromkeys(since)
    for sensor in touched:
        sensors[sensor] = _marked(sensors[sensor], before.sensors.get(sensor), since.get(sensor))
    memory = replace(memory, counters=counters, sensors=sensors, notes=before.notes)
    if commit.quarantined:
        memory = replace(memory, rejections=before.rejections)
    light = Commit(
        commit.recorded_at,
        events=events,
        points=commit.points,
        sensors=tuple(sensors[sensor] for sensor in touched),
        speeds=commit.speeds,
        counters={name: value for name, value in counters.items() if before.counters.get(name, 0) != value},
        settings=commit.settings,
        schedules=commit.schedules,
    )
    return Judgement(memory, light, judgement.moved)


def _comes_again(event: Event, commit: Commit) -> bool:
    return isinstance(event, SimulationNoted) or (isinstance(event, MessageRejected) and bool(commit.quarantined))


def _heard_since(commit: Commit) -> dict[SensorId, Instant]:
    """Give the time of the earliest thing of each sensor that is not kept."""
    since: dict[SensorId, Instant] = {}
    unstored: tuple[Capture | CapturePart | Reading, ...] = (*commit.captures, *commit.parts, *commit.readings)
    for one in unstored:
        since[one.sensor] = min(since.get(one.sensor, one.taken_at), one.taken_at)
    return since


def _marked(state: SensorState, before: SensorState | None, since: Instant | None) -> SensorState:
    known = None if before is None else before.unkept_since
    earliest = min((one for one in (known, since) if one is not None), default=None)
    return replace(state, unkept_since=earliest, repeats=0 if before is None else before.repeats)


def judged_until(setting: Setting, memory: Memory, key: CaptureKey) -> Instant:
    """Give the time of the newest measurement judged at any point of a capture's sensor; before all times if there is none."""
    points = setting.plant.points_of_sensor.get(key.sensor, ())
    states = (memory.points.get((point.key, key.sim)) for point in points)
    return max((state.taken_at for state in states if state and state.taken_at is not None), default=float("-inf"))


def judged_in(commit: Commit) -> tuple[dict[CaptureKey, bool], tuple[ReadingKey, ...]]:
    """Name what was judged: captures, each with whether its samples were those of the one before, and readings."""
    stuck = {(one.capture, one.taken_at, one.sim) for one in commit.measurements if Flaw.REPEATED in one.verdict.flaws}
    captures = {one.key: (one.id, one.taken_at, one.sim) in stuck for one in commit.captures}
    return captures, tuple(reading.key for reading in commit.readings)


@dataclass(frozen=True, slots=True)
class Backlog:
    """What waits to be written, in one piece: the events in order, and the newest of every state."""

    events: tuple[Event, ...] = ()
    points: Mapping[tuple[object, ...], PointState] = field(default_factory=dict)
    sensors: Mapping[tuple[object, ...], SensorState] = field(default_factory=dict)
    speeds: Mapping[tuple[object, ...], MachineSpeed] = field(default_factory=dict)
    counters: Mapping[str, int] = field(default_factory=dict)
    dropped: int = 0
    """Events beyond the most that are kept."""
    settings: Mapping[str, str] = field(default_factory=dict)
    schedules: Mapping[str, bool] = field(default_factory=dict)

    def with_commit(self, commit: Commit, most: int) -> "Backlog":
        """Add what another judgement came to; beyond `most` events the oldest go that are no changes of alarms."""
        events = (*self.events, *commit.events)
        kept = events if len(events) <= most else _fewer(events, most)
        return Backlog(
            kept,
            {**self.points, **{(*one.point, one.sim): one for one in commit.points}},
            {**self.sensors, **{(one.sensor, one.sim): one for one in commit.sensors}},
            {**self.speeds, **{(one.machine, one.sim): one for one in commit.speeds}},
            {**self.counters, **commit.counters},
            self.dropped + len(events) - len(kept),
            {**self.settings, **commit.settings},
            {**self.schedules, **commit.schedules},
        )

    def commit(self, now: Instant) -> Commit:
        """Give it as one transaction."""
        return Commit(
            now,
            events=self.events,
            points=tuple(self.points.values()),
            sensors=tuple(self.sensors.values()),
            speeds=tuple(self.speeds.values()),
            counters=self.counters,
            settings=self.settings,
            schedules=self.schedules,
        )


def _fewer(events: Iterable[Event], most: int) -> tuple[Event, ...]:
    all_of_them = tuple(events)
    excess = len(all_of_them) - most
    others = [number for number, event in enumerate(all_of_them) if not isinstance(event, AlarmChanged)]
    gone = set(others[:excess])
    left = tuple(event for number, event in enumerate(all_of_them) if number not in gone)
    return left[max(0, len(left) - most) :]
