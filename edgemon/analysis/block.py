"""Captures of one length, rate and band as rows of one float32 block: what several levels share is computed once."""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from edgemon.analysis.prepare import EnvelopePlan, Plan, VelocityPlan
from edgemon.analysis.window import window
from edgemon.model.reading import Counts

Rows = NDArray[np.float32]
"""One number for each row, shape (rows,)."""
NAN = float("nan")
HOLD_STEP = 4
"""Samples; looking at every fourth one costs a fourth, and misses no stretch that is long enough to matter."""


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
    """Four samples in a row, each `HOLD_STEP` apart, are equal: as in every stretch of 4 x `HOLD_STEP` equal samples."""
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
    padding : int
        Rows of zeros added: the transform works on four rows at a time.
    """

    def __init__(self, counts: Sequence[Counts], plan: Plan, padding: int = 0) -> None:
        self.plan = plan
        self.rows = len(counts)
        raw = _stacked(counts, plan.n, padding)
        top, bottom = np.maximum.reduce(raw, axis=1).tolist(), np.minimum.reduce(raw, axis=1).tolist()
        wave = raw.astype(np.float32)
        mean: Rows = np.vecdot(wave, plan.share)
        wave -= mean[:, None]
        self.wave = wave
        """Samples about their mean, shape (rows and padding, n)."""
        work = wave * wave
        # what rounding of the mean leaves of a constant is not vibration
        second = [(a > b) * square for a, b, square in zip(top, bottom, np.vecdot(work, plan.share).tolist(), strict=True)]
        fourth = [square / plan.n for square in np.vecdot(work, work).tolist()]
        self._columns = [top, bottom, mean.tolist(), second, fourth, list(map(_at_extremes, raw, top, bottom))]
        self._columns += [_may_hold(raw), _unsteadiness(wave)]
        np.multiply(wave, plan.window, out=work)  # in memory that is at hand already
        self.lines: NDArray[np.complex64] = scipy.fft.rfft(work, axis=1, overwrite_x=True)
        """Lines of the tapered rows, nothing at 0 Hz."""
        self.lines[:, : plan.offset.size] -= self.lines[:, :1] * plan.offset
        self.envelope = None if plan.envelope is None else _envelope(self.lines, plan.envelope)
        """Envelope of the band where the taper allows, its mean kept; shape (rows and padding, fewer than m)."""

    def figures(self) -> list[Figures]:
        """Give the figures of every capture, in order."""
        plan = self.plan
        velocity = _nothing(self.rows, 6) if plan.velocity is None else _velocity_columns(self.lines, plan.velocity)
        envelope = _nothing(self.rows, 3) if self.envelope is None else _envelope_columns(self.envelope)
        columns = (column[: self.rows] for column in (*self._columns, *velocity, *envelope))  # without the padding
        return list(map(Figures._make, zip(*columns, strict=True)))

    def spectrum(self) -> NDArray[np.float32]:
        """Give the r.m.s. amplitude of every line under a Hann window, counts, shape (rows and padding, n // 2 + 1)."""
        return hann_amplitude(self.wave)

    def envelope_spectrum(self) -> NDArray[np.float32]:
        """Give the same of the envelope about its mean; the plan must have one."""
        plan = self.plan.envelope
        assert plan is not None
        assert self.envelope is not None
        wave = self.envelope[:, plan.centre]
        return hann_amplitude(wave - wave.mean(axis=1, keepdims=True))


def _at_extremes(row: NDArray[np.int16], top: int, bottom: int) -> int:
    """Count the samples within one count of either extreme; of a row that spans fewer than four counts, a part of them."""
    low = min(bottom, 32765) + 2
    inside = row - np.int16(low)  # what is below wraps round to more than any span
    return int(np.count_nonzero(inside.view(np.uint16) > np.uint16(max(max(top, -32766) - 2 - low, 0))))


def _may_hold(raw: NDArray[np.int16]) -> list[bool]:
    few = raw[:, ::HOLD_STEP]
    same = few[:, 1:] == few[:, :-1]
    found: list[bool] = (same[:, 2:] & same[:, 1:-1] & same[:, :-2]).any(axis=1).tolist()
    return found


def _unsteadiness(wave: NDArray[np.float32]) -> list[float]:
    """Compare the thirds of each row; 1 where nothing moves at all."""
    third = wave.shape[1] // 3
    parts = [wave[:, start : start + third] for start in (0, third, 2 * third)]
    squares = zip(*(np.vecdot(part, part).tolist() for part in parts), strict=True)
    return [max(three) / least if (least := min(three)) > 0.0 else math.inf if max(three) > 0.0 else 1.0 for three in squares]


def _stacked(counts: Sequence[Counts], n: int, padding: int) -> NDArray[np.int16]:
    if len(counts) == 1 and not padding:
        return counts[0].reshape(1, n)  # read only
    return np.concatenate([*counts, np.zeros(padding * n, np.int16)]).reshape(len(counts) + padding, n)


def _nothing(rows: int, columns: int) -> list[list[float]]:
    return [[NAN] * rows] * columns


def hann_lines(lines: NDArray[np.complex64]) -> NDArray[np.complex64]:
    """Give lines 1 to k - 2 under a Hann window of mean 1 from the k lines without it: three neighbours each."""
    hann = lines[:, :-2] + lines[:, 2:]
    hann *= np.float32(-0.5)
    hann += lines[:, 1:-1]
    return hann


def hann_amplitude(wave: NDArray[np.float32]) -> NDArray[np.float32]:
    """Give one-sided r.m.s. amplitudes under a Hann window, shape (rows, n // 2 + 1), of rows about their mean."""
    n = wave.shape[1]
    amplitude: NDArray[np.float32] = np.abs(scipy.fft.rfft(wave * _hann(n), axis=1, overwrite_x=True))
    amplitude[:, 0] *= np.float32(math.sqrt(0.5))
    if n % 2 == 0:
        amplitude[:, -1] *= np.float32(math.sqrt(0.5))
    return amplitude


@lru_cache(maxsize=64)
def _hann(n: int) -> NDArray[np.float32]:
    """Give a Hann window that makes r.m.s. amplitudes of lines."""
    shape = window("hann", n)
    scaled = (shape.samples * (math.sqrt(2.0) / (n * shape.coherent_gain))).astype(np.float32)
    scaled.flags.writeable = False
    return scaled


def _velocity_columns(lines: NDArray[np.complex64], plan: VelocityPlan) -> list[list[float]]:
    lines = lines[:, : plan.n_lines]
    parts = hann_lines(lines).view(np.float32)
    parts *= parts
    power: NDArray[np.float32] = parts @ plan.power
    both = np.empty((lines.shape[0], plan.m), np.complex64)  # velocity its real part, displacement its imaginary one
    np.multiply(lines, plan.positive, out=both[:, : plan.n_lines])
    both[:, plan.n_lines : plan.m - plan.n_lines + 1] = 0.0
    mirrored = both[:, plan.m - plan.n_lines + 1 :]
    np.conjugate(lines[:, :0:-1], out=mirrored)
    mirrored *= plan.negative
    both = scipy.fft.ifft(both, axis=1, overwrite_x=True)[:, plan.inside]
    velocity, displacement = np.ascontiguousarray(both.real), np.ascontiguousarray(both.imag)
    by = plan.displacement_scale
    return [
        power[:, 0].tolist(),
        power[:, 1].tolist(),
        crest(velocity),
        trough(velocity),
        [by * value for value in crest(displacement)],
        [by * value for value in trough(displacement)],
    ]


def _envelope(lines: NDArray[np.complex64], plan: EnvelopePlan) -> NDArray[np.float32]:
    count = plan.lines.stop - plan.lines.start
    padded = np.empty((lines.shape[0], plan.m), np.complex64)
    padded[:, :count] = lines[:, plan.lines]
    padded[:, count:] = 0.0
    size: NDArray[np.float32] = np.abs(scipy.fft.ifft(padded, axis=1, overwrite_x=True)[:, plan.inside])
    size *= plan.gain
    return size


def _envelope_columns(envelope: NDArray[np.float32]) -> list[list[float]]:
    count = envelope.shape[1]
    means = [total / count for total in np.add.reduce(envelope, axis=1).tolist()]
    squares = [total / count for total in np.vecdot(envelope, envelope).tolist()]
    return [means, squares, crest(envelope)]


def crest(waveform: NDArray[np.float32]) -> list[float]:
    """Give the highest value of each row, between samples too: a parabola through the highest sample and its neighbours.

    Notes
    -----
    At twelve samples in a period the highest sample alone reads up to 3.4 % low, the parabola 0.2 % (recomputed).
    """
    return _vertices(waveform, waveform.argmax(axis=1).tolist())


def trough(waveform: NDArray[np.float32]) -> list[float]:
    """Give the lowest value of each row, as `crest` gives the highest."""
    return _vertices(waveform, waveform.argmin(axis=1).tolist())


def _vertices(waveform: NDArray[np.float32], at: list[int]) -> list[float]:
    last = waveform.shape[1] - 1
    return [_parabola(row, k, last) for row, k in zip(waveform, at, strict=True)]


def _parabola(row: NDArray[np.float32], k: int, last: int) -> float:
    """Give the vertex of the parabola through three samples; plain floats are quicker here than arrays of a few rows."""
    if not 0 < k < last:
        return float(row[k])
    item = row.item
    before, middle, after = item(k - 1), item(k), item(k + 1)
    bend: float = 2.0 * middle - before - after
    return float(middle + (after - before) ** 2 / (8.0 * bend)) if bend else float(middle)
