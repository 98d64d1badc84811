"""Parts of captures to captures: in any order, with repeats, across restarts, bounded, and nothing lost without a word.

An `Assembly` is a value: every function gives the next one and leaves the old one as it was, so that a caller whose
commit fails goes on with what it had. Captures from a sensor without a usable clock get the time of arrival, which
differs from part to part; their parts are joined by sensor and id, under the time of the part that came first.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

import numpy as np

from edgemon.errors import OutOfRange, TooLarge
from edgemon.model.gateway import InputBorders
from edgemon.model.ids import CaptureKey
from edgemon.model.instant import Instant
from edgemon.model.reading import Capture, CapturePart, Counts

HELD_MESSAGES: Final = 16
"""Bytes of samples held in open captures at most, in messages of the largest size allowed."""

REMEMBERED: Final = 4
"""Keys of closed captures remembered, in times of the open captures allowed."""

_FORM: Final = {
    **{"detector": "detector", "df": "line_hz", "f0": "first_hz", "window": "window", "enbw": "noise_bandwidth_lines"},
    **{"averages": "averages", "format": "is_float"},
}
"""Fields of a spectrum in which its parts must agree, and where they stand."""


class OpenKey(NamedTuple):
    """What parts of one capture share."""

    capture: CaptureKey
    sim: bool


@dataclass(frozen=True, slots=True, eq=False)
class OpenCapture:
    """A capture that waits for parts."""

    first: CapturePart
    """The part that came first; the others must agree with it."""
    parts: Mapping[int, CapturePart]
    newest_at: Instant
    """When the newest part came."""
    samples: int
    """Of one axis, in all parts."""

    def with_part(self, part: CapturePart) -> "OpenCapture":
        """Give the capture with one more part."""
        return OpenCapture(
            first=self.first,
            parts={**self.parts, part.number: part},
            newest_at=max(self.newest_at, part.received_at),
            samples=self.samples + _length(part),
        )

    @property
    def is_whole(self) -> bool:
        """Say whether no part is missing."""
        return len(self.parts) == self.first.count

    @property
    def missing(self) -> tuple[int, ...]:
        """Number the parts that did not come."""
        return tuple(number for number in range(1, self.first.count + 1) if number not in self.parts)


@dataclass(frozen=True, slots=True, eq=False)
class Assembly:
    """All captures that wait for parts, in the order in which they were opened."""

    open: Mapping[OpenKey, OpenCapture] = field(default_factory=dict)
    held_bytes: int = 0
    """Bytes of samples in them."""
    closed: Mapping[OpenKey, tuple[int, ...]] = field(default_factory=dict)
    """Captures of more than one part closed lately, with the parts that were missing."""


@dataclass(frozen=True, slots=True, eq=False)
class Added:
    """What came of adding a part."""

    assembly: Assembly
    captures: tuple[Capture, ...]
    """The capture that this part made whole, and any that had to be closed early to stay within bounds."""
    is_repeat: bool
    """The part was known already; nothing changed."""
    part: CapturePart
    """The part as it was taken in: with the time of its capture, where only the time of arrival is known."""


def add(assembly: Assembly, part: CapturePart, borders: InputBorders) -> Added:
    """Add one part.

    Parameters
    ----------
    assembly : Assembly
        What waits; unchanged afterwards.
    part : CapturePart
        Any part; a capture sent whole (part 1 of 1) goes straight through.
    borders : InputBorders
        Bounds of open captures, of samples, and of bytes held (`HELD_MESSAGES`).

    Returns
    -------
    Added
        The next assembly and the captures closed by it.

    Raises
    ------
    OutOfRange
        The part contradicts those before it, or its capture was closed without it; it changes nothing.
    TooLarge
        The capture would have more samples than allowed.
    """
    if part.count == 1:
        return Added(assembly, (_joined(_started(part), borders),), False, part)
    key, part = _home(assembly, part)
    if key in assembly.closed:
        return _after_closing(assembly, key, part)
    opened = assembly.open.get(key)
    if opened is None:
        return _trimmed(*_put(assembly, key, _started(part), part), borders)
    _check_agreement(opened.first, part)
    known = opened.parts.get(part.number)
    if known is not None:
        if _same_samples(known, part):
            return Added(assembly, (), True, part)
        raise OutOfRange(f"part {part.number} of capture {part.id} came again with other samples", "axes")
    if opened.samples + _length(part) > borders.samples:
        raise TooLarge(f"capture {part.id} has more than {borders.samples} samples", "axes")
    grown = opened.with_part(part)
    assembly, part = _put(assembly, key, grown, part)
    if grown.is_whole:
        return Added(_without(assembly, key, borders), (_joined(grown, borders),), False, part)
    return _trimmed(assembly, part, borders)


def reopened(assembly: Assembly, part: CapturePart) -> Assembly:
    """Forget that the capture of a part was closed: what was made of it could not be kept, and its parts come again."""
    key = OpenKey(part.key, part.sim)
    if key not in assembly.closed:
        return assembly
    return replace(assembly, closed={other: missing for other, missing in assembly.closed.items() if other != key})


def expire(assembly: Assembly, now: Instant, borders: InputBorders) -> tuple[Assembly, tuple[Capture, ...]]:
    """Close what has waited too long for its next part, or does not fit within the bounds.

    Parameters
    ----------
    assembly : Assembly
        What waits; unchanged afterwards.
    now : float
        Gateway time.
    borders : InputBorders
        `part_wait_s`, and the bounds of `add`.

    Returns
    -------
    (Assembly, tuple of Capture)
        The next assembly, and the captures closed, with `missing_parts`. Where all parts but the last are of one
        length, the samples of a missing part are zeros, so that the others keep their place in time; where its length
        cannot be told (it is the last, or the others differ, or the whole would be too large) it is left out.
    """
    captures: list[Capture] = []
    for key, opened in assembly.open.items():
        if opened.is_whole or now - opened.newest_at >= borders.part_wait_s:
            captures.append(_joined(opened, borders))
            assembly = _without(assembly, key, borders)
    if captures or _is_over(assembly, borders):
        assembly, closed = _trim(assembly, borders)
        captures.extend(closed)
    return assembly, tuple(captures)


def restore(parts: Iterable[CapturePart]) -> Assembly:
    """Make an assembly of parts that were stored, in the order in which they came.

    Nothing is closed here, not even what is whole or out of bounds: the next `expire` does, so that it is not lost.
    A part that contradicts those before it is left out; `add` had refused it.
    """
    assembly = Assembly()
    for stored in parts:
        key, part = _home(assembly, stored)
        opened = assembly.open.get(key, OpenCapture(part, {}, part.received_at, 0))
        if part.number in opened.parts or _contradiction(opened.first, part):
            continue
        grown = opened.with_part(part)
        assembly, _ = _put(assembly, key, grown, part)
    return assembly


def _started(part: CapturePart) -> OpenCapture:
    return OpenCapture(part, {part.number: part}, part.received_at, _length(part))


def _home(assembly: Assembly, part: CapturePart) -> tuple[OpenKey, CapturePart]:
    """Find the capture a part belongs to; one that only has a time of arrival takes over the time of its capture.

    Sensors without a clock may also use one id again and again: a part that does not fit opens a capture of its own.
    """
    key = OpenKey(part.key, part.sim)
    if part.taken_at != part.received_at or key in assembly.open:
        return key, part
    for other in reversed(tuple(assembly.open)):
        opened = assembly.open[other]
        first = opened.first
        is_same = first.key._replace(taken_at=0.0) == part.key._replace(taken_at=0.0)
        if is_same and first.taken_at == first.received_at and _fits(opened, part):
            return other, replace(part, taken_at=first.taken_at)
    return key, part


def _fits(opened: OpenCapture, part: CapturePart) -> bool:
    known = opened.parts.get(part.number)
    return not _contradiction(opened.first, part) and (known is None or _same_samples(known, part))


def _after_closing(assembly: Assembly, key: OpenKey, part: CapturePart) -> Added:
    if part.number in assembly.closed[key]:
        raise OutOfRange(f"part {part.number} of capture {part.id} came after the capture was closed without it", "part")
    return Added(assembly, (), True, part)


def _contradiction(first: CapturePart, part: CapturePart) -> str:
    """Name the field in which two parts of one capture differ; empty if they agree."""
    pairs = {
        "fs": (first.fs_hz, part.fs_hz),
        "u": (first.unit, part.unit),
        "scale": (first.scale, part.scale),
        **{name: (getattr(first.form, of, None), getattr(part.form, of, None)) for name, of in _FORM.items()},
        "part": (first.count, part.count),
        "axes": (first.axes.keys(), part.axes.keys()),
    }
    return next((name for name, (one, other) in pairs.items() if one != other), "")


def _check_agreement(first: CapturePart, part: CapturePart) -> None:
    name = _contradiction(first, part)
    if name:
        raise OutOfRange(f"part {part.number} of capture {part.id} contradicts part {first.number}, which came first", name)


def _length(part: CapturePart) -> int:
    return len(next(iter(part.axes.values())))


def _bytes(part: CapturePart) -> int:
    return sum(samples.nbytes for samples in part.axes.values())


def _same_samples(one: CapturePart, other: CapturePart) -> bool:
    return all(np.array_equal(samples, other.axes[axis]) for axis, samples in one.axes.items())


def _put(assembly: Assembly, key: OpenKey, opened: OpenCapture, part: CapturePart) -> tuple[Assembly, CapturePart]:
    """Put in a capture that has grown by one part."""
    held = assembly.held_bytes + _bytes(part)
    return replace(assembly, open={**assembly.open, key: opened}, held_bytes=held), part


def _without(assembly: Assembly, key: OpenKey, borders: InputBorders) -> Assembly:
    """Take out a capture that is closed now, and remember it."""
    gone = assembly.open[key]
    closed = {**assembly.closed, key: gone.missing}
    while len(closed) > REMEMBERED * borders.open_captures:
        del closed[next(iter(closed))]
    return Assembly(
        open={other: opened for other, opened in assembly.open.items() if other != key},
        held_bytes=assembly.held_bytes - sum(_bytes(part) for part in gone.parts.values()),
        closed=closed,
    )


def _is_over(assembly: Assembly, borders: InputBorders) -> bool:
    return len(assembly.open) > borders.open_captures or assembly.held_bytes > HELD_MESSAGES * borders.message_bytes


def _trim(assembly: Assembly, borders: InputBorders) -> tuple[Assembly, list[Capture]]:
    """Close the captures opened first until the rest fits."""
    captures = []
    while assembly.open and _is_over(assembly, borders):
        key, opened = next(iter(assembly.open.items()))
        captures.append(_joined(opened, borders))
        assembly = _without(assembly, key, borders)
    return assembly, captures


def _trimmed(assembly: Assembly, part: CapturePart, borders: InputBorders) -> Added:
    assembly, captures = _trim(assembly, borders)
    return Added(assembly, tuple(captures), False, part)


def _joined(opened: OpenCapture, borders: InputBorders) -> Capture:
    """Make a capture of the parts that are there."""
    first = opened.first
    parts = [opened.parts[number] for number in sorted(opened.parts)]
    return Capture(
        sensor=first.sensor,
        id=first.id,
        taken_at=first.taken_at,
        received_at=opened.newest_at,
        fs_hz=first.fs_hz,
        unit=first.unit,
        scale=first.scale,
        si_per_count=first.si_per_count,
        axes=first.axes if first.count == 1 else _samples(opened, borders),
        rpm=_earliest(part.rpm for part in parts),
        temperature_c=_earliest(part.temperature_c for part in parts),
        battery_pct=_earliest(part.battery_pct for part in parts),
        rssi_dbm=_earliest(part.rssi_dbm for part in parts),
        sim=first.sim,
        missing_parts=opened.missing,
        form=first.form,
    )


def _earliest(values: Iterable[float | None]) -> float | None:
    return next((value for value in values if value is not None), None)


def _samples(opened: OpenCapture, borders: InputBorders) -> dict[str, Counts]:
    """Concatenate in order of the parts, zeros for a missing part whose length can be told."""
    count = opened.first.count
    filled = _filled_length(opened, borders)
    numbers = [number for number in range(1, count + 1) if number in opened.parts or (filled and number < count)]
    zeros = np.zeros(filled, dtype=np.int16)
    return {
        axis: np.concatenate([opened.parts[number].axes[axis] if number in opened.parts else zeros for number in numbers])
        for axis in sorted(opened.first.axes)
    }


def _filled_length(opened: OpenCapture, borders: InputBorders) -> int:
    """Tell the length of every missing part but the last; 0 where it cannot be told, or where the whole would be too large."""
    count = opened.first.count
    lengths = {_length(part) for number, part in opened.parts.items() if number < count}
    if len(lengths) != 1:
        return 0
    length = lengths.pop()
    last = opened.parts.get(count)
    if last is not None and _length(last) > length:
        return 0
    total = length * (count - 1) + (_length(last) if last is not None else 0)
    return length if total <= borders.samples else 0
