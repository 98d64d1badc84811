"""Captures of one length, rate and band as rows of one float32 block: what several levels share is computed once."""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from edgemon.analysis.inverse import crests, troughs, waveforms
from edgemon.analysis.prepare import LANES, Plan, VelocityPlan
from edgemon.model.reading import Counts

Rows = NDArray[np.float32]
"""One number for each row, shape (rows,)."""
NAN = float("nan")
ONE = np.int16(1)
WORD = 4
"""Samples that are compared at once, as one number of 64 bits."""


class Figures(NamedTuple):
    """What the levels of one capture are made of, in counts and seconds; not a number where the plan leaves a part out."""

    top: float
    bottom: float
    mean: float
    second: float
    """Second moment about the mean."""
    fourth: float
    at_extremes: int
    """Samples within one count of the highest or the lowest."""
    may_hold: bool
    """Two words in a row are equal: as in every stretch of `HELD` equal samples, which holds three whole words."""
    unsteadiness: float
    """Mean square of the strongest third of the record over that of the weakest."""
    velocity_square: float = NAN
    """Mean square velocity in the point's band."""
    lowest_square: float = NAN
    """The part of it in the band's lowest octave."""
    velocity_top: float = NAN
    velocity_bottom: float = NAN
    displacement_top: float = NAN
    displacement_bottom: float = NAN
    envelope_mean: float = NAN
    envelope_square: float = NAN
    """Mean square of the envelope, its mean kept."""
    envelope_top: float = NAN


class Block:
    """Rows of counts with their moments, their lines and the waveforms made from them, all in counts.

    Parameters
    ----------
    counts : sequence of int16 arrays, each shape (n,)
        The captures; n >= 16.
    plan : Plan
        Prepared for n.
    """

    def __init__(self, counts: Sequence[Counts], plan: Plan) -> None:
        self.plan = plan
        self.rows = len(counts)
        raw = _stacked(counts, plan.n)
        self.wave, self._columns = _moments(raw, plan)
        """Samples about their mean, shape (rows, n)."""
        formed = plan.velocity is not None and plan.velocity.waves
        hann, *tapered = _lines(self.wave, plan.hann, *([plan.window] if formed else []))
        _flatten(hann)
        self.hann = hann[: self.rows]
        """Lines under a Hann window, nothing at 0 Hz: their size is an r.m.s. amplitude, at half the rate sqrt 2 times that."""
        self._tapered = _without_offset(tapered[0], plan) if formed else None
        velocity, envelope = waveforms(self._tapered, hann, plan.velocity, plan.envelope)
        self._envelope = None if envelope is None else envelope[: self.rows]
        self._velocity = _nothing(self.rows, 6) if plan.velocity is None else self._of_velocity(plan.velocity, velocity)

    @property
    def lines(self) -> NDArray[np.complex64]:
        """Lines of the tapered rows, nothing at 0 Hz."""
        if self._tapered is None:
            self._tapered = _without_offset(_lines(self.wave, self.plan.window)[0], self.plan)
        return self._tapered[: self.rows]

    def figures(self, envelopes: bool = True) -> list[Figures]:
        """Give the figures of every capture, in order; those of envelopes where they are wanted."""
        plan = self.plan.envelope
        if envelopes and plan is not None and self._envelope is not None:
            envelope = _envelope_columns(self._envelope[:, plan.inside] * plan.gain)
        else:
            envelope = _nothing(self.rows, 3)
        return list(map(Figures._make, zip(*self._columns, *self._velocity, *envelope, strict=True)))

    def spectrum(self) -> NDArray[np.float32]:
        """Give the r.m.s. amplitude of every line under a Hann window, counts, shape (rows, n // 2 + 1)."""
        return _amplitude(self.hann, self.plan.n)

    def envelope_spectrum(self, rows: slice = slice(None)) -> NDArray[np.float32]:
        """Give the same of the envelopes of some rows, of lines as far apart; the plan must have one."""
        plan = self.plan.envelope
        assert plan is not None
        assert self._envelope is not None
        wave = self._envelope[rows]  # the Hann window is a part of it already
        lines = _transformed(wave, _more(wave.shape[0]))[: wave.shape[0]]
        _flatten(lines)
        return _amplitude(lines, plan.m, 2.0)

    def _of_velocity(self, plan: VelocityPlan, both: NDArray[np.float32] | None) -> list[list[float]]:
        parts = self.hann[:, 1 : plan.n_lines - 1].view(np.float32)
        power: list[list[float]] = (parts * parts @ plan.power).T.tolist()
        if both is None:
            return power + _nothing(self.rows, 4)
        waves = np.ascontiguousarray(both[: self.rows]).reshape(2 * self.rows, -1)
        tops, bottoms = crests(waves), troughs(waves)
        return [*power, tops[::2], bottoms[::2], tops[1::2], bottoms[1::2]]


def _moments(raw: NDArray[np.int16], plan: Plan) -> tuple[NDArray[np.float32], list[list[float]]]:
    """Give rows about their mean, and the columns of the figures that come from samples."""
    tops, bottoms = np.maximum.reduce(raw, axis=1), np.minimum.reduce(raw, axis=1)
    top, bottom = tops.tolist(), bottoms.tolist()
    wave = raw.astype(np.float32)
    mean: Rows = np.vecdot(wave, plan.share)
    wave -= mean[:, None]
    square = wave * wave
    second, unsteadiness = _steadiness(np.add.reduceat(square, plan.thirds, axis=1).tolist(), top, bottom, plan.n)
    fourth = [total / plan.n for total in np.vecdot(square, square).tolist()]
    near = _at_extremes(raw, tops, bottoms)
    return wave, [top, bottom, mean.tolist(), second, fourth, near, _may_hold(raw), unsteadiness]


def _without_offset(lines: NDArray[np.complex64], plan: Plan) -> NDArray[np.complex64]:
    """Take the constant that leaves nothing at 0 Hz out of lines of tapered rows, in place."""
    lines[:, : plan.offset.size] -= lines[:, :1] * plan.offset
    return lines


def _steadiness(thirds: list[list[float]], top: list[int], bottom: list[int], n: int) -> tuple[list[float], list[float]]:
    """Give mean squares, and compare those of the thirds; 0 and 1 where nothing moves at all."""
    second = [(a > b) * sum(three) / n for three, a, b in zip(thirds, top, bottom, strict=True)]
    # what rounding of the mean leaves of a constant is not vibration
    ratios = [max(three) / least if (least := min(three)) > 0.0 else math.inf if max(three) > 0.0 else 1.0 for three in thirds]
    return second, ratios


def _at_extremes(raw: NDArray[np.int16], tops: NDArray[np.int16], bottoms: NDArray[np.int16]) -> list[int]:
    """Count the samples within one count of either extreme; the step beyond int16 is only made where all samples are equal."""
    near = raw >= (tops - ONE)[:, None]
    near |= raw <= (bottoms + ONE)[:, None]
    return list(map(np.count_nonzero, near))


def _may_hold(raw: NDArray[np.int16]) -> list[bool]:
    words = raw[:, : raw.shape[1] // WORD * WORD].view(np.int64)
    equal = words[:, 1:] == words[:, :-1]
    if not np.count_nonzero(equal):
        return [False] * raw.shape[0]
    return [bool(count) for count in map(np.count_nonzero, equal)]


def _stacked(counts: Sequence[Counts], n: int) -> NDArray[np.int16]:
    joined = counts[0] if len(counts) == 1 else np.concatenate(counts)
    return np.ascontiguousarray(joined).reshape(len(counts), n)  # read only


def _lines(wave: NDArray[np.float32], *windows: NDArray[np.float32]) -> list[NDArray[np.complex64]]:
    """Transform rows under each window, and with them rows of nothing where that is quicker.

    Notes
    -----
    All in one transform, which works on four rows at once: three take longer than four, one or two less (measured).
    """
    rows, n = wave.shape
    each = rows if rows < LANES else rows + (-rows % LANES)
    count = each * len(windows)
    if count == rows and _more(count) == 0:
        work = wave * windows[0]
    else:
        work = np.empty((count + _more(count), n), np.float32)
        for start, shape in zip(range(0, count, each), windows, strict=True):
            np.multiply(wave, shape, out=work[start : start + rows])
            work[start + rows : start + each] = 0.0
        work[count:] = 0.0
    lines = _transformed(work)
    return [lines[start : start + each] for start in range(0, count, each)]


def _more(rows: int) -> int:
    """Say how many rows of nothing make so many quicker."""
    return -rows % LANES if rows > 2 else 0


def _transformed(wave: NDArray[np.float32], more: int = 0) -> NDArray[np.complex64]:
    """Transform rows, and so many rows of nothing."""
    rows = np.concatenate((wave, np.zeros((more, wave.shape[1]), np.float32))) if more else wave
    lines: NDArray[np.complex64] = scipy.fft.rfft(rows, axis=1)
    return lines


def _flatten(hann: NDArray[np.complex64]) -> None:
    """Take out the constant that leaves nothing at 0 Hz: under a Hann window it is in the first two lines only."""
    hann[:, 1] += np.float32(0.5) * hann[:, 0]
    hann[:, 0] = 0.0


def _nothing(rows: int, columns: int) -> list[list[float]]:
    return [[NAN] * rows] * columns


def _amplitude(lines: NDArray[np.complex64], n: int, scale: float = 1.0) -> NDArray[np.float32]:
    """Give amplitudes of lines under a scaled window; those at 0 Hz and at half the rate have no twin."""
    amplitude: NDArray[np.float32] = np.abs(lines)
    amplitude *= _scales(n, scale)
    return amplitude


@lru_cache(maxsize=64)
def _scales(n: int, scale: float) -> NDArray[np.float32]:
    """Give a factor for every line: of one capture a pass over all is quicker than two over one line each (measured)."""
    factors = np.full(n // 2 + 1, scale, np.float32)
    factors[:: n // 2 if n % 2 == 0 else n] *= math.sqrt(0.5)
    factors.flags.writeable = False
    return factors


def _envelope_columns(envelope: NDArray[np.float32]) -> list[list[float]]:
    count = envelope.shape[1]
    means = [total / count for total in np.add.reduce(envelope, axis=1).tolist()]
    squares = [total / count for total in np.vecdot(envelope, envelope).tolist()]
    return [means, squares, crests(envelope)]
