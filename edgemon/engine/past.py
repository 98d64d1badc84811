"""Recorded messages through decode, levels and judge as the daemon runs them, with nothing stored; pure.

What the daemon asks its store (is this a repeat?) is answered from what came before in the same recording.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from edgemon.alarms import judge as alarms
from edgemon.decode.assemble import Assembly
from edgemon.decode.decoded import Decoded
from edgemon.engine.analyse import analyse, decode_all, questions
from edgemon.engine.follow import follow
from edgemon.engine.judge import judge
from edgemon.engine.memory import Memory, Setting, Track
from edgemon.model.alarm import PointState
from edgemon.model.ids import CaptureKey, PointKey, ReadingKey
from edgemon.model.instant import Instant
from edgemon.model.level import Measurement
from edgemon.model.limit import Limit
from edgemon.model.machine import Machine, Plant
from edgemon.model.message import Message, Quarantined


@dataclass(frozen=True, slots=True, eq=False)
class Batch:
    """Messages that come together, at most as many as the daemon takes at once."""

    messages: tuple[Message, ...]
    decoded: tuple[Decoded | Quarantined, ...] | None = None
    """Of captures that lie in a file of their own instead of a message: what decoding would have made of each."""


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """What one batch says."""

    measurements: tuple[Measurement, ...]
    """In order of arrival; with the levels that follow from others."""
    rejected: tuple[Quarantined, ...]


def measured(setting: Setting, batches: Iterable[Batch]) -> Iterator[Found]:
    """Give what each batch says, and at the end what waited for parts that never came.

    Parameters
    ----------
    setting : Setting
        Of the plant file whose levels, bands and speeds are wanted.
    batches : iterable of Batch
        In the order in which the messages were received.
    """
    memory = Memory({}, {}, {}, Assembly(), {})
    captures: set[CaptureKey] = set()
    readings: set[ReadingKey] = set()
    now = 0.0
    for batch in batches:
        now = max((now, *(message.received_at for message in batch.messages)))
        decoded = decode_all(setting, memory, batch.messages) if batch.decoded is None else batch.decoded
        memory, found = _judged(setting, memory, batch.messages, decoded, captures, readings, now)
        yield found
    if memory.assembly.open:
        now += setting.gateway.borders.part_wait_s
        yield _judged(setting, memory, (), (), captures, readings, now)[1]


def _judged(
    setting: Setting,
    memory: Memory,
    messages: Sequence[Message],
    decoded: Sequence[Decoded | Quarantined],
    captures: set[CaptureKey],
    readings: set[ReadingKey],
    now: Instant,
) -> tuple[Memory, Found]:
    asked = questions(memory, decoded)
    known = captures.intersection(asked.captures), readings.intersection(asked.readings)
    analysis = analyse(setting, memory, messages, decoded, frozenset(known[0]), frozenset(known[1]), now)
    judgement = judge(setting, memory, analysis, now)
    commit = judgement.commit
    captures.update(capture.key for capture in commit.captures)
    readings.update(reading.key for reading in commit.readings)
    return judgement.memory, Found(commit.measurements, commit.quarantined)


def followed(setting: Setting, past: Mapping[PointKey, Sequence[Measurement]]) -> dict[PointKey, list[Measurement]]:
    """Add to stored values the levels that follow from others, as this setting has them: with its baselines, over its times.

    Parameters
    ----------
    past : mapping
        Measured levels, oldest first by point; points that the setting does not have are left out.
    """
    found = {key: list(some) for key, some in past.items() if key in setting.rules and not setting.plant.points[key].derived}
    deriving = [key for key in past if key in setting.rules and key not in found]
    references = {spec.reference for key in deriving for spec in setting.plant.points[key].derived if spec.reference}
    points: dict[Track, PointState] = {}
    asked = {*deriving, *references} & past.keys()
    for one in sorted((one for key in asked for one in past[key]), key=lambda one: one.taken_at):
        rules, track = setting.rules[one.point], (one.point, one.sim)
        state = points.get(track) or PointState(one.point, one.sim)
        if rules.point.derived and one.verdict.is_fit:
            state, one = follow(rules, state, one, points)
        points[track], _ = alarms.judge(rules, state, one, one.taken_at)
        if rules.point.derived:
            found.setdefault(one.point, []).append(one)
    return found


def measures_alike(one: Plant, other: Plant) -> bool:
    """Say whether two plants make the same values of the same messages; how high a limit is makes no difference."""
    return one.sensors == other.sensors and _measuring(one) == _measuring(other)


def _measuring(plant: Plant) -> tuple[Machine, ...]:
    """Give the machines of a plant without what only limits are about; which levels have one stays."""
    return tuple(
        replace(
            machine,
            points=tuple(
                replace(point, responses={}, limits=tuple(_named(limit) for limit in point.limits)) for point in machine.points
            ),
        )
        for machine in plant.machines
    )


def _named(limit: Limit) -> Limit:
    return Limit(limit.level, limit.quantity, "", None, None, 0.0)
