"""Files of waveforms with a time each, as the captures of a plant's sensors."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timezone
from fnmatch import fnmatchcase
from functools import lru_cache
from pathlib import Path

from edgemon.cli.npz_files import Times, npz_times, read_row
from edgemon.cli.recordings import Given, read_raw, record_of, unit_of
from edgemon.cli.waveform_files import Raw, RecordingError
from edgemon.decode.decoded import Decoded
from edgemon.diagnosis.noise import to_counts
from edgemon.model.ids import CaptureId, PointKey, SensorId
from edgemon.model.instant import Duration, Instant
from edgemon.model.machine import Plant, Point
from edgemon.model.message import Message
from edgemon.model.reading import CapturePart, Counts
from edgemon.units import Quantity

STAMP = re.compile(
    r"(?<!\d)(\d{4})[-_.]?(\d{2})[-_.]?(\d{2})[T_ .-]?(\d{2})[-_.:h]?(\d{2})[-_.:m]?(\d{2})(?:[.,-](\d{1,6}))?Z?(?!\d)"
)
"""A date and a time within a file's name, UTC: `2026-11-25T060000-000Z`, `20261125_060000`, `2026.11.25.06.00.00`."""


@dataclass(frozen=True, slots=True)
class How:
    """What the user says of the files."""

    begin: Instant | None = None
    """When the first capture of a folder was taken, where the files say nothing."""
    every_s: Duration | None = None
    """And how long after it the next one, in order of names."""
    places: tuple[tuple[str, PointKey], ...] = ()
    """Pattern of a file's or channel's name, and the point it belongs to; the first that fits counts."""
    fs_hz: float | None = None
    unit: str | None = None


@dataclass(frozen=True, slots=True, order=True)
class Timed:
    """One capture in a file."""

    t: Instant
    path: Path
    number: int | None = None
    """Of several in the file, from 0; None where it holds one."""


def timed(paths: Iterable[Path], how: How) -> Iterator[Timed | RecordingError]:
    """Say when each capture of these files was taken: by the file, else by its name, else by begin and interval."""
    unnamed: Counter[Path] = Counter()
    for path in paths:
        try:
            said = npz_times(path) if path.suffix.lower() == ".npz" else Times(None)
            base = said.base if said.base is not None else stamp_of(path.stem)
            if base is None:
                base = _counted(path, how, unnamed[path.parent])
                unnamed[path.parent] += said.after_s is None
            if said.after_s is None:
                yield Timed(base, path)
            else:
                yield from (Timed(base + after, path, k) for k, after in enumerate(said.after_s))
        except RecordingError as error:
            yield error
        except OSError as error:
            yield RecordingError(f"cannot be read: {error.strerror or error}", str(path))


def stamp_of(name: str) -> Instant | None:
    """Read the date and time in a file's name as UTC; None where there is none."""
    for match in STAMP.finditer(name):
        *numbers, fraction = match.groups()
        try:
            at = datetime(*map(int, numbers), tzinfo=timezone.utc)  # type: ignore[misc,arg-type]  # six numbers
        except ValueError:
            continue
        return at.timestamp() + (float(f"0.{fraction}") if fraction else 0.0)
    return None


def _counted(path: Path, how: How, number: int) -> Instant:
    if how.begin is None:
        raise RecordingError("no time in the file nor in its name", str(path), "--begin TIME, and --every for a folder of them")
    if number and how.every_s is None:
        raise RecordingError(f"no time in the file nor in its name, and it is number {number + 1}", str(path), "--every 10s")
    return how.begin + number * (how.every_s or 0.0)


def decoded_of(one: Timed, plant: Plant, how: How) -> tuple[tuple[Message, Decoded], ...]:
    """Read a capture, as decoding would have given it: one for each sensor and scale.

    Raises
    ------
    RecordingError
        With file and field: it cannot be read, is no acceleration of a known unit, or belongs to no point.
    """
    raw = read_raw(one.path) if one.number is None else _of_row(one)
    if raw.origin.missing_parts:
        raise RecordingError(f"parts {', '.join(map(str, raw.origin.missing_parts))} never came: not fit", str(one.path))
    points = _points(one.path, raw, plant, how)
    chosen = tuple(raw.names[i] for i in points)
    record = record_of(one.path, raw, Given(fs_hz=how.fs_hz, unit=how.unit, channels=chosen))
    if record.quantity is not Quantity.ACCELERATION:
        raise RecordingError(f"{record.quantity}: captures are of acceleration", f"{one.path}: quantity")
    groups: dict[tuple[SensorId, float], dict[str, Counts]] = {}
    for (i, point), row, channel in zip(points.items(), record.samples, record.channels, strict=True):
        if not channel.calibrated:
            raise RecordingError(f"unit of channel {raw.names[i]!r} not known", f"{one.path}: channels", "give it with --unit")
        counts, step = _counts(one.path, raw, i, how) if raw.counts is not None else to_counts(row)
        axes = groups.setdefault((point.sensor, step), {})
        if point.axis in axes:
            raise RecordingError(f"two channels of {point.key}", f"{one.path}: channels", "a --place for each")
        axes[point.axis] = counts
    parts = [_part(one, raw, sensor, step, record.fs_hz, axes) for (sensor, step), axes in groups.items()]
    return tuple((Message(str(one.path), b"", one.t), Decoded(part=part)) for part in parts)


def _of_row(one: Timed) -> Raw:
    rows = _row(one.path)
    number = one.number or 0
    if number >= len(rows):
        raise RecordingError(f"{len(rows)} captures, and a time for number {number + 1}", f"{one.path}: raw")
    return rows[number]


@lru_cache(maxsize=2)
def _row(path: Path) -> tuple[Raw, ...]:
    return read_row(path)


def _counts(path: Path, raw: Raw, i: int, how: How) -> tuple[Counts, float]:
    assert raw.counts is not None
    factor, _, _ = unit_of(path, raw, i, how.unit)
    return raw.counts[i], raw.steps[i] * factor


def _points(path: Path, raw: Raw, plant: Plant, how: How) -> Mapping[int, Point]:
    """Say which channel belongs to which point; channels that belong to none are left out."""
    found: dict[int, Point] = {}
    of_sensor = {point.axis: point for point in plant.points_of_sensor.get(SensorId(raw.origin.sensor), ())}
    for i, name in enumerate(raw.names):
        said = [name, str(i + 1), f"{path.stem}:{name}", *([path.stem] if len(raw.names) == 1 else [])]
        place = next((key for pattern, key in how.places if any(fnmatchcase(word, pattern) for word in said)), None)
        point = of_sensor.get(name) if place is None else plant.points.get(place)
        if point is not None:
            found[i] = point
    if not found:
        what = f"belongs to no point: channel{'s' if len(raw.names) > 1 else ''} {', '.join(raw.names)}"
        of = f" of sensor {raw.origin.sensor}" if raw.origin.sensor else ""
        raise RecordingError(
            what + of, str(path), "--place NAME=MACHINE/POINT, NAME that of a channel or of files, * for any text"
        )
    return found


def _part(one: Timed, raw: Raw, sensor: SensorId, step: float, fs_hz: float, axes: Mapping[str, Counts]) -> CapturePart:
    name = raw.origin.capture or (one.path.stem if one.number is None else f"{one.path.stem}-{one.number}")
    return CapturePart(
        sensor=sensor,
        id=CaptureId(f"{name}-{'-'.join(axes)}"),
        taken_at=one.t,
        received_at=one.t,
        fs_hz=fs_hz,
        unit="m/s2",
        scale=step,
        si_per_count=step,
        axes=axes,
        rpm=None if raw.facts.speed_hz is None else 60.0 * raw.facts.speed_hz,
        sim=raw.origin.sim,
    )
