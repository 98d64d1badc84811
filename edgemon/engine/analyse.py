"""Messages to readings, captures and measurements, in order of arrival; keeps nothing and may be slow."""

import zlib
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeAlias

from edgemon.analysis.measure import Waveform, measure
from edgemon.analysis.sensor import said_of_sensor
from edgemon.decode.assemble import Assembly, add, expire, reopened
from edgemon.decode.decoded import Decoded
from edgemon.decode.registry import decode, quarantine
from edgemon.engine import received
from edgemon.engine.arrivals import digest_of, first_arrival
from edgemon.engine.memory import Memory, Setting
from edgemon.engine.speeds import Speeds, with_speed
from edgemon.errors import DecodeError
from edgemon.model.alarm import Arrival
from edgemon.model.ids import CaptureKey, PointKey, ReadingKey, SensorId
from edgemon.model.instant import Instant
from edgemon.model.level import Detector, Level, Measurement
from edgemon.model.machine import Point
from edgemon.model.message import Message, Quarantined
from edgemon.model.quality import Flaw, Verdict
from edgemon.model.reading import Capture, CapturePart, Reading, SimulationNote
from edgemon.model.speed import Speed
from edgemon.units import Quantity

TEMPERATURE = "temperature"


@dataclass(frozen=True, slots=True)
class Heard:
    """A pack of readings, and what they mean for points."""

    sensor: SensorId
    readings: tuple[Reading, ...]
    measurements: tuple[Measurement, ...]
    is_again: bool = False
    """They were judged before, while nothing could be stored."""


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """A whole capture (or closed with parts missing), and what it means for points."""

    capture: Capture
    measurements: tuple[Measurement, ...]
    digest: int
    """Checksum of its samples."""
    is_again: bool = False
    """It was judged before, while nothing could be stored."""


@dataclass(frozen=True, slots=True, eq=False)
class Waiting:
    """A part of a capture that is not whole yet."""

    part: CapturePart
    is_again: bool = False
    """Its capture was judged before, while nothing could be stored."""


@dataclass(frozen=True, slots=True)
class Repeated:
    """A reading, capture or part that is stored already."""

    sensor: SensorId


Item: TypeAlias = Heard | Taken | Waiting | Repeated | SimulationNote | Quarantined


@dataclass(frozen=True, slots=True)
class Analysis:
    """What a batch of messages says."""

    assembly: Assembly
    items: tuple[Item, ...]
    messages: int
    arrivals: Mapping[SensorId, tuple[Arrival, ...]] = field(default_factory=dict)
    """Messages to remember because their time is that of their arrival."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What was judged while nothing could be stored: to be stored when it comes again, and not judged a second time."""

    captures: Mapping[CaptureKey, bool] = field(default_factory=dict)
    """And whether its samples were those of the capture before."""
    readings: Container[ReadingKey] = frozenset()


NOTHING_JUDGED = Judged()


@dataclass(frozen=True, slots=True)
class Questions:
    """Keys that may be stored already; everything else of the batch is new for certain."""

    captures: tuple[CaptureKey, ...] = ()
    readings: tuple[ReadingKey, ...] = ()
    parts: tuple[tuple[CaptureKey, int], ...] = ()

    @property
    def are_any(self) -> bool:
        """Say whether there is anything to ask."""
        return bool(self.captures or self.readings or self.parts)


def decode_all(setting: Setting, memory: Memory, messages: Iterable[Message]) -> tuple[Decoded | Quarantined, ...]:
    """Decode messages one by one; what cannot be decoded becomes a quarantined message.

    What came before and has no usable time of its own gets the time of its first arrival (`edgemon.engine.arrivals`).
    """
    results: list[Decoded | Quarantined] = []
    arrived: dict[SensorId, tuple[Arrival, ...]] = {}
    for message in messages:
        try:
            one = _decoded(setting, memory, arrived, message)
        except DecodeError as error:
            results.append(quarantine(message, error))
            continue
        results.append(one)
        if one.digest and not one.is_again and one.sensor is not None:
            arrival = Arrival(one.digest, message.received_at, message.received_at)
            arrived[one.sensor] = (*arrived.get(one.sensor, ()), arrival)
    return tuple(results)


def _decoded(setting: Setting, memory: Memory, arrived: Mapping[SensorId, tuple[Arrival, ...]], message: Message) -> Decoded:
    gateway, sensors = setting.gateway, setting.plant.sensors
    one = decode(message, gateway.root, sensors, gateway.borders)
    if one.sensor is None:
        return one
    state = memory.sensors.get(one.sensor)
    known = (*(state.arrivals if state is not None else ()), *arrived.get(one.sensor, ()))
    if not (known or one.by_arrival):
        return one
    digest = digest_of(message)
    first = first_arrival(known, digest, message, sensors[one.sensor].interval_s)
    if first is None:
        return replace(one, digest=digest) if one.by_arrival else one
    again = decode(replace(message, received_at=first.received_at), gateway.root, sensors, gateway.borders)
    part = replace(again.part, taken_at=first.taken_at) if again.part is not None else None
    return replace(again, part=part, digest=digest, is_again=True)


def questions(memory: Memory, decoded: Iterable[Decoded | Quarantined]) -> Questions:
    """Say what to ask the store: only what is not newer than the newest of its sensor can be a repeat."""
    captures: list[CaptureKey] = []
    readings: list[ReadingKey] = []
    parts: list[tuple[CaptureKey, int]] = []
    for one in decoded:
        if isinstance(one, Quarantined):
            continue
        if (part := one.part) is not None:
            remembered = memory.sensors.get(part.sensor)
            if remembered is not None and remembered.capture_at is not None and part.taken_at <= remembered.capture_at:
                captures.append(part.key)
                parts.append((part.key, part.number))
        for reading in one.readings:
            remembered = memory.sensors.get(reading.sensor)
            if remembered is not None and remembered.reading_at is not None and reading.taken_at <= remembered.reading_at:
                readings.append(reading.key)
    return Questions(tuple(captures), tuple(readings), tuple(parts))


def analyse(
    setting: Setting,
    memory: Memory,
    messages: Sequence[Message],
    decoded: Sequence[Decoded | Quarantined],
    known_captures: frozenset[CaptureKey],
    known_readings: frozenset[ReadingKey],
    now: Instant,
    judged: Judged = NOTHING_JUDGED,
) -> Analysis:
    """Leave out repeats, join parts, close captures whose parts never came, and measure what is whole.

    Parameters
    ----------
    setting, memory : Setting, Memory
        What the engine is set to and remembers.
    messages, decoded : sequences of the same length
        The batch, and what `decode_all` made of it.
    known_captures, known_readings : frozenset
        Keys that are stored already, of those `questions` asked for.
    now : Instant
        Gateway time.
    judged : Judged
        What of the rest was judged before it could be stored.

    Returns
    -------
    Analysis
        Items in order of arrival.
    """
    borders = setting.gateway.borders
    assembly = memory.assembly
    stored = set(known_captures)
    said = set(known_readings)
    items: list[Item | Capture] = []
    arrivals: dict[SensorId, dict[str, Arrival]] = {}
    for message, one in zip(messages, decoded, strict=True):
        if isinstance(one, Quarantined):
            items.append(one)
            continue
        if one.note is not None:
            items.append(one.note)
        if one.readings:
            items.extend(_fresh_readings(setting, one.readings, said, judged))
        remembered = arrivals.setdefault(one.sensor, {}) if one.digest and one.sensor is not None else {}
        if one.digest and not one.is_again:
            remembered[one.digest] = Arrival(one.digest, message.received_at, message.received_at)
        if (part := one.part) is not None:
            if one.is_again and one.digest in remembered:  # it came first in this batch, and may have joined another part
                part = replace(part, taken_at=remembered[one.digest].taken_at)
            if part.key in stored:
                items.append(Repeated(part.sensor))
                continue
            if part.key in judged.captures:  # closed once, and not stored: its parts are needed again
                assembly = reopened(assembly, part)
            try:
                added = add(assembly, part, borders)
            except DecodeError as error:
                items.append(quarantine(message, error))
                remembered.pop(one.digest, None)
                continue
            assembly = added.assembly
            if one.digest in remembered:
                remembered[one.digest] = replace(remembered[one.digest], taken_at=added.part.taken_at)
            if added.is_repeat:
                items.append(Repeated(part.sensor))
            elif all(capture.key != added.part.key for capture in added.captures):
                items.append(Waiting(added.part, added.part.key in judged.captures))
            items.extend(added.captures)
            stored.update(capture.key for capture in added.captures)
    assembly, closed = expire(assembly, now, borders)
    items.extend(closed)
    to_keep = {sensor: tuple(kept.values()) for sensor, kept in arrivals.items() if kept}
    return Analysis(assembly, tuple(_measured(setting, memory, items, judged)), len(messages), to_keep)


def _fresh_readings(setting: Setting, readings: Sequence[Reading], said: set[ReadingKey], judged: Judged) -> list[Item]:
    fresh: list[Reading] = []
    again: list[Reading] = []
    items: list[Item] = []
    for reading in readings:
        key = reading.key
        if key in said:
            items.append(Repeated(reading.sensor))
        else:
            said.add(key)
            (again if key in judged.readings else fresh).append(reading)
    for some in (again, fresh):
        if some:
            sensor = some[0].sensor
            items.append(Heard(sensor, tuple(some), _measurements_of_readings(setting, sensor, some), some is again))
    return items


def _measurements_of_readings(setting: Setting, sensor: SensorId, readings: Iterable[Reading]) -> tuple[Measurement, ...]:
    """Group what a pack says by point and time; a value without an axis belongs to every point of its sensor."""
    groups: dict[tuple[PointKey, Instant, bool], list[Level]] = {}
    received: dict[tuple[PointKey, Instant, bool], Instant] = {}
    points = setting.plant.points_of_sensor.get(sensor, ())
    for reading in readings:
        for point in points:
            kind = point.kind_of(reading.name)
            if kind is None or kind.quantity is not reading.quantity:
                continue
            if reading.axis not in ("", point.axis) or (reading.name == TEMPERATURE and not _takes_temperature(point, points)):
                continue
            group = (point.key, reading.taken_at, reading.sim)
            groups.setdefault(group, []).append(Level(reading.name, reading.value, kind.quantity, kind.detector))
            received[group] = reading.received_at
    return tuple(
        Measurement(key, taken_at, received[key, taken_at, sim], tuple(levels), sim=sim)
        for (key, taken_at, sim), levels in groups.items()
    )


def _takes_temperature(point: Point, siblings: Sequence[Point]) -> bool:
    """Say whether a point shows its sensor's temperature: where a limit is set for it, else at the sensor's first point."""
    if point.limit_of(TEMPERATURE) is not None:
        return True
    return point is siblings[0] and all(other.limit_of(TEMPERATURE) is None for other in siblings)


def _measured(setting: Setting, memory: Memory, items: Sequence[Item | Capture], judged: Judged) -> list[Item]:
    """Measure all captures of the batch at once and put them back in their places."""
    plant = setting.plant
    work: list[tuple[int, Point, Waveform, Speed]] = []
    for index, item in enumerate(items):
        if isinstance(item, Capture) and item.form is None:
            sensor, speeds = plant.sensors[item.sensor], Speeds(setting, memory, item)
            work.extend(
                (
                    index,
                    point,
                    Waveform(
                        counts=item.axes[point.axis],
                        si_per_count=item.si_per_count,
                        fs_hz=item.fs_hz,
                        band=point.band,
                        envelope_band=point.envelope_band,
                        range_si=sensor.range_si,
                        missing=bool(item.missing_parts),
                        bands=point.levels,
                        rpm=(speed := speeds.of(point)).rpm,
                        masks=point.masks,
                        levels=point.computes,
                    ),
                    speed,
                )
                for point in plant.points_of_sensor.get(item.sensor, ())
                if point.axis in item.axes
            )
    results = measure([waveform for _, _, waveform, _ in work])
    of_item: dict[int, list[Measurement]] = {}
    for (index, point, _, used), (levels, verdict) in zip(work, results, strict=True):
        capture = items[index]
        assert isinstance(capture, Capture)
        siblings, levels = plant.points_of_sensor[capture.sensor], with_speed(point, levels, used)
        levels = said_of_sensor(levels, plant.sensors[capture.sensor], point.levels)
        of_item.setdefault(index, []).append(_measurement(capture, point, levels, verdict, _takes_temperature(point, siblings)))
    for index, item in enumerate(items):
        if isinstance(item, Capture):
            siblings = plant.points_of_sensor.get(item.sensor, ())
            of_item.setdefault(index, []).extend(
                _measurement(item, point, levels, verdict, _takes_temperature(point, siblings))
                for point, levels, verdict in received.measured(plant, item, Speeds(setting, memory, item))
            )
    return [
        _taken(item, of_item.get(index, ()), judged) if isinstance(item, Capture) else item for index, item in enumerate(items)
    ]


def _taken(capture: Capture, measurements: Iterable[Measurement], judged: Judged) -> Taken:
    was_stuck = judged.captures.get(capture.key, False)
    found = tuple(condemned(one) if was_stuck else one for one in measurements)
    return Taken(capture, found, _digest(capture.axes), capture.key in judged.captures)


def _measurement(
    capture: Capture, point: Point, levels: tuple[Level, ...], verdict: Verdict, takes_temperature: bool
) -> Measurement:
    if takes_temperature and capture.temperature_c is not None:
        levels = (*levels, Level(TEMPERATURE, capture.temperature_c, Quantity.TEMPERATURE, Detector.VALUE))
    return Measurement(point.key, capture.taken_at, capture.received_at, levels, verdict, capture.id, capture.rpm, capture.sim)


def _digest(axes: Mapping[str, object]) -> int:
    total = 0
    for counts in axes.values():
        total = zlib.crc32(counts, total)  # type: ignore[arg-type]  # contiguous int16 arrays are buffers
    return total


def condemned(measurement: Measurement) -> Measurement:
    """Give the same measurement with the verdict that its samples repeat an earlier capture's."""
    verdict = Verdict(
        (*measurement.verdict.flaws, Flaw.REPEATED),
        (*measurement.verdict.remarks, "the samples are those of the capture before: the sensor is stuck"),
    )
    return Measurement(
        measurement.point,
        measurement.taken_at,
        measurement.received_at,
        measurement.levels,
        verdict,
        measurement.capture,
        measurement.rpm,
        measurement.sim,
    )
