"""The next memory while it is being made, and the judgement that comes of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from edgemon.alarms.parent import SENSORS
from edgemon.engine.firstout import marked
from edgemon.engine.memory import Memory, Rejections, Setting, Track
from edgemon.model.alarm import MachineSpeed, PointState, SensorState
from edgemon.model.event import Event
from edgemon.model.ids import MachineId, SensorId
from edgemon.model.instant import Instant
from edgemon.model.level import Measurement
from edgemon.model.message import Quarantined
from edgemon.model.reading import Capture, CapturePart, Reading, SimulationNote
from edgemon.store.port import Commit


@dataclass(frozen=True, slots=True)
class Judgement:
    """The next memory, what happened, what to store, and which tracks moved."""

    memory: Memory
    commit: Commit
    moved: frozenset[Track]


@dataclass(slots=True)
class Draft:
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
    is_hearing: bool = False
    """A sensor that counts was heard: no simulated one, on a gateway of real data."""
    looked_at: int = 0
    """Events after which first-out marks were looked at."""

    def count(self, name: str, by: int = 1) -> None:
        """Count something."""
        self.counters[name] = self.counters.get(name, 0) + by

    def adopt(self, track: Track, before: PointState, after: PointState, events: tuple[Event, ...]) -> None:
        """Take the next state of a point, and what happened to it."""
        if after is not before:
            self.points[track] = after
            self.moved.add(track)
        if events:
            self.moved.add(track)
            self.events.extend(events)

    def mark(self) -> None:
        """Look at first-out marks anew; after every item, so that nothing depends on how messages fell into batches."""
        fresh = self.events[self.looked_at :]
        if fresh:
            firsts, told = marked(self.setting, self.points, fresh, self.now)
            self.points.update(firsts)
            self.moved.update(firsts)
            self.events.extend(told)
            self.looked_at = len(self.events)


def draft_of(setting: Setting, memory: Memory, now: Instant) -> Draft:
    """Begin with what is remembered."""
    return Draft(
        setting,
        now,
        dict(memory.points),
        dict(memory.sensors),
        dict(memory.speeds),
        dict(memory.counters),
        dict(memory.rejections),
        memory.notes,
    )


def judgement_of(draft: Draft, memory: Memory) -> Judgement:
    """Close the draft: the next memory, and what is to be stored."""
    draft.mark()
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
        {cause: since for cause, since in memory.lost.items() if cause != SENSORS} if draft.is_hearing else memory.lost,
        draft.now if draft.is_hearing else memory.quiet_since,
        memory.proof,
        memory.fast,
        memory.signs,
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
