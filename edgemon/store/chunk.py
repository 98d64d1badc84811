"""Stretches of a trend as bytes and back: lossless, or thinned to its extremes, mean and count per hour.

A lossless stretch holds every time and value bit for bit: times as ticks of a second, millisecond or microsecond where that
gives the same number again (steady stamps cost nothing, jitter one or two bytes), values as float32 where that gives the same
number again. It takes 4 to 10 bytes a reading; a row of a clustered table takes 23 (measured).

A thinned stretch keeps of each hour the lowest and the highest reading with their times, mean and count. Fit values and values
with flaws are thinned apart, so that what is not judged never hides what is.
"""

import struct
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from edgemon.errors import StoreCorrupt

THIN_S = 3600.0
"""What a thinned stretch keeps the extremes of. House choice."""

Floats: TypeAlias = NDArray[np.float64]
Flags: TypeAlias = NDArray[np.bool_]

_LOSSLESS, _THINNED = 1, 2
_HEAD = struct.Struct("<BBBBIqq")
"""Form, ticks, bytes of what is left of a step, flags, readings, first tick, steady step."""
_TICKS = (1, 1000, 1_000_000)
"""Per second; any other code: times as they are."""
_AS_THEY_ARE = len(_TICKS)
_FLOAT32, _FLAWS = 1, 2
_WIDTHS = (0, 1, 2, 4, 8)


@dataclass(frozen=True, slots=True, eq=False)
class Values:
    """Readings of one trend, oldest first, no two of one time."""

    t: Floats
    value: Floats
    fit: Flags

    def __len__(self) -> int:
        return len(self.t)

    def part(self, wanted: Any) -> "Values":
        """Give the readings of a slice or mask."""
        return Values(self.t[wanted], self.value[wanted], self.fit[wanted])


@dataclass(frozen=True, slots=True, eq=False)
class Thinned:
    """Hours of one trend, by hour, fit ones first."""

    low_at: Floats
    low: Floats
    high_at: Floats
    high: Floats
    mean: Floats
    count: Floats
    """Whole numbers."""
    fit: Flags

    def __len__(self) -> int:
        return len(self.count)


Stretch: TypeAlias = Values | Thinned


def values_of(rows: Iterable[tuple[float, float, int]]) -> Values:
    """Read rows `t, value, fit`, oldest first."""
    table = np.array(list(rows), np.float64).reshape(-1, 3)
    return Values(table[:, 0].copy(), table[:, 1].copy(), table[:, 2] != 0)


def joined(pieces: Sequence[Values]) -> Values:
    """Put pieces behind one another that follow one another in time."""
    if not pieces:
        return values_of(())
    columns = ([getattr(piece, name) for piece in pieces] for name in ("t", "value", "fit"))
    return Values(*(np.concatenate(column) for column in columns))


def merged(one: Values, other: Values) -> Values:
    """Put two together; of two readings of one time the fit one counts, or else the first."""
    if not len(one) or not len(other):
        return one if len(one) else other
    if one.t[-1] < other.t[0]:
        return joined((one, other))
    if other.t[-1] < one.t[0]:
        return joined((other, one))
    t = np.concatenate((one.t, other.t))
    value, fit = np.concatenate((one.value, other.value)), np.concatenate((one.fit, other.fit))
    order = np.lexsort((~fit, t))  # stable: what comes from the first stands first
    t, value, fit = t[order], value[order], fit[order]
    new = np.ones(len(t), np.bool_)
    new[1:] = t[1:] != t[:-1]
    return Values(t[new], value[new], fit[new])


def cut(values: Values, most: int) -> tuple[Values, ...]:
    """Cut into stretches of about `most` readings at whole seconds, so that no second lies in two."""
    seconds = np.floor(values.t)
    cuts = [0]
    while len(values) - cuts[-1] > most:
        at = int(np.searchsorted(seconds, seconds[cuts[-1] + most], "left"))
        if at <= cuts[-1]:  # more than that in one second: they stay together
            at = int(np.searchsorted(seconds, seconds[cuts[-1]], "right"))
        cuts.append(at)
    ends = [*cuts[1:], len(values)]
    return tuple(values.part(slice(begin, end)) for begin, end in zip(cuts, ends, strict=True) if end > begin)


def thinned(stretch: Stretch) -> Thinned:
    """Keep extremes, mean and count of each hour."""
    if isinstance(stretch, Thinned):
        return stretch
    one = np.ones(len(stretch))
    return _joined(Thinned(stretch.t, stretch.value, stretch.t, stretch.value, stretch.value, one, stretch.fit))


def thinned_with(thin: Thinned, late: Values) -> Thinned:
    """Add readings that came late."""
    more = thinned(late)
    pairs = ((getattr(thin, field.name), getattr(more, field.name)) for field in fields(Thinned))
    return _joined(Thinned(*(np.concatenate(pair) for pair in pairs)))


def readings(stretch: Stretch) -> Values:
    """Give what is still known reading by reading: all of them, or of each hour the lowest and the highest."""
    if isinstance(stretch, Values):
        return stretch
    low = Values(stretch.low_at, stretch.low, stretch.fit)
    high = Values(stretch.high_at, stretch.high, stretch.fit)
    order_low, order_high = np.argsort(low.t, kind="stable"), np.argsort(high.t, kind="stable")
    return merged(low.part(order_low), high.part(order_high))


def weighed(stretch: Stretch) -> tuple[Floats, Floats, Floats]:
    """Give times, values and weights of the fit readings, such that extremes, sums and counts are those of what was measured.

    Of a thinned hour these are its lowest and its highest reading, and the mean of the others at the middle of the hour.
    """
    if isinstance(stretch, Values):
        t, value = stretch.t[stretch.fit], stretch.value[stretch.fit]
        return t, value, np.ones(len(t))
    low_at, low, high_at, high, mean, count = (
        getattr(stretch, name)[stretch.fit] for name in ("low_at", "low", "high_at", "high", "mean", "count")
    )
    two, more = count > 1, count > 2
    rest = count[more] - 2
    others = (mean[more] * count[more] - low[more] - high[more]) / rest
    middle = (np.floor(low_at[more] / THIN_S) + 0.5) * THIN_S
    t = np.concatenate((low_at, high_at[two], middle))
    value = np.concatenate((low, high[two], np.clip(others, low[more], high[more])))
    return t, value, np.concatenate((np.ones(len(low) + int(two.sum())), rest))


def encoded(stretch: Stretch) -> bytes:
    """Write a stretch."""
    if isinstance(stretch, Thinned):
        columns = [getattr(stretch, field.name) for field in fields(Thinned)]
        body = b"".join(column.astype("<f8").tobytes() for column in columns[:-1]) + stretch.fit.tobytes()
        return _HEAD.pack(_THINNED, 0, 0, 0, len(stretch), 0, 0) + zlib.compress(body, 6)
    code, width, base, step, times = _times(stretch.t)
    flags = 0
    with np.errstate(over="ignore", under="ignore"):
        short = stretch.value.astype("<f4")
    values = stretch.value.astype("<f8").tobytes()
    if np.array_equal(short.astype(np.float64), stretch.value):
        flags, values = _FLOAT32, short.tobytes()
    flaws = b""
    if not stretch.fit.all():
        flags, flaws = flags | _FLAWS, np.packbits(stretch.fit).tobytes()
    return _HEAD.pack(_LOSSLESS, code, width, flags, len(stretch), base, step) + times + values + flaws


def decoded(body: bytes, where: str) -> Stretch:
    """Read a stretch back.

    Raises
    ------
    StoreCorrupt
        These bytes are not what `encoded` gave.
    """
    try:
        form, code, width, flags, count, base, step = _HEAD.unpack_from(body)
        if form == _THINNED:
            return _thin_from(zlib.decompress(body[_HEAD.size :]), count)
        if form != _LOSSLESS:
            raise ValueError(f"form {form}")
        at = _HEAD.size
        t = _times_from(body, at, code, width, count, base, step)
        at += 8 * count if code == _AS_THEY_ARE else width * max(0, count - 1)
        kind = "<f4" if flags & _FLOAT32 else "<f8"
        value = np.frombuffer(body, kind, count, at).astype(np.float64)
        at += np.dtype(kind).itemsize * count
        if flags & _FLAWS:
            fit = np.unpackbits(np.frombuffer(body, np.uint8, (count + 7) // 8, at), count=count).astype(np.bool_)
        else:
            fit = np.ones(count, np.bool_)
    except (struct.error, zlib.error, ValueError) as error:
        raise StoreCorrupt(f"a stretch of a trend cannot be read: {error}", where, "check the disk") from error
    return Values(t, value, fit)


def _joined(hours: Thinned) -> Thinned:
    """Make one hour of the several of one number; of equal extremes the first low and the last high, so that two are known."""
    if not len(hours):
        return hours
    number = np.floor(hours.low_at / THIN_S)
    by_low = np.lexsort((hours.low_at, hours.low, ~hours.fit, number))
    by_high = np.lexsort((-hours.high_at, -hours.high, ~hours.fit, number))
    group, fit = number[by_low], hours.fit[by_low]
    new = np.ones(len(group), np.bool_)
    new[1:] = (group[1:] != group[:-1]) | (fit[1:] != fit[:-1])
    begin = np.flatnonzero(new)
    count = np.add.reduceat(hours.count[by_low], begin)
    low_at, low = hours.low_at[by_low][begin], hours.low[by_low][begin]
    high_at, high = hours.high_at[by_high][begin], hours.high[by_high][begin]
    mean = np.add.reduceat(hours.mean[by_low] * (hours.count[by_low] / np.repeat(count, np.diff([*begin, len(group)]))), begin)
    return Thinned(low_at, low, high_at, high, np.clip(mean, low, high), count, fit[begin])


def _times(t: Floats) -> tuple[int, int, int, int, bytes]:
    """Give code, width, first tick, steady step, and what is left of each step."""
    for code, per_s in enumerate(_TICKS):
        ticks = np.rint(t * per_s)
        if np.abs(ticks).max(initial=0.0) < 2**53 and np.array_equal(ticks / per_s, t):
            steps = np.diff(ticks.astype(np.int64))
            steady = int(steps.min()) if len(steps) else 0
            left = steps - steady
            largest = int(left.max()) if len(left) else 0
            width = next(width for width in _WIDTHS if largest < 256**width)
            first = int(ticks[0]) if len(ticks) else 0
            return code, width, first, steady, left.astype(f"<u{width}").tobytes() if width else b""
    return _AS_THEY_ARE, 0, 0, 0, t.astype("<f8").tobytes()


def _times_from(body: bytes, at: int, code: int, width: int, count: int, base: int, step: int) -> Floats:
    if code == _AS_THEY_ARE:
        return np.frombuffer(body, "<f8", count, at).astype(np.float64)
    if code > _AS_THEY_ARE or width not in _WIDTHS:
        raise ValueError(f"ticks {code} of width {width}")
    ticks = base + step * np.arange(count, dtype=np.int64)
    if width and count > 1:
        ticks[1:] += np.cumsum(np.frombuffer(body, f"<u{width}", count - 1, at), dtype=np.int64)
    t: Floats = ticks / _TICKS[code]
    return t


def _thin_from(body: bytes, count: int) -> Thinned:
    numbers = np.frombuffer(body, "<f8", 6 * count).astype(np.float64).reshape(6, count)
    low_at, low, high_at, high, mean, weight = numbers
    return Thinned(low_at, low, high_at, high, mean, weight, np.frombuffer(body, np.bool_, count, 48 * count))
