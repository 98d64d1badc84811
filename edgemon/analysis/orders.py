"""Waveforms over shaft angle instead of time: orders that speed changes do not smear, and averages of revolutions."""

import math

import numpy as np
import scipy.fft
import scipy.interpolate
from numpy.typing import NDArray

from edgemon.errors import ParameterError

DENSER = 4
"""Times the rate to which a waveform is brought before the curve through its samples is read between them: with a cubic
curve at most 0.04 % is lost at 0.4 of the sample rate (recomputed)."""


def revolutions(n: int, fs_hz: float, rpm: float | NDArray[np.floating]) -> NDArray[np.float64]:
    """Give the shaft's angle at each sample, in revolutions from the first.

    Parameters
    ----------
    n : int
        Samples, 2 or more.
    fs_hz : float
        Sample rate, above zero.
    rpm : float or array, shape (n,)
        Speed, constant or at each sample; finite and above zero.

    Returns
    -------
    array, shape (n,)
        Starts at 0 and rises.

    Raises
    ------
    ParameterError
        Arguments out of range.
    """
    speed: NDArray[np.float64] = np.broadcast_to(np.asarray(rpm, np.float64), (n,)) if np.ndim(rpm) == 0 else np.asarray(rpm)
    if n < 2 or not fs_hz > 0.0:
        raise ParameterError(f"{n} samples at {fs_hz:g} Hz", "n, fs_hz", "2 or more, above zero")
    if speed.shape != (n,) or not np.all(np.isfinite(speed) & (speed > 0.0)):
        raise ParameterError("speed profile", "rpm", f"one speed, or {n}, all above zero")
    steps = 0.5 * (speed[1:] + speed[:-1]) / (60.0 * fs_hz)
    return np.concatenate(([0.0], np.cumsum(steps)))


def over_angle(samples: NDArray[np.floating], turns: NDArray[np.floating], per_revolution: int) -> NDArray[np.float64]:
    """Read a waveform at even steps of shaft angle.

    Parameters
    ----------
    samples : array, shape (n,)
        Even in time; n >= 16.
    turns : array, shape (n,)
        Shaft angle at each sample, revolutions, rising; see `revolutions`.
    per_revolution : int
        Samples in a revolution, 2 or more.

    Returns
    -------
    array, shape (m,)
        From the first sample to the last that whole steps reach. What lies above per_revolution / 2 orders at the lowest
        speed is taken out first: it would come back as orders that are not there.

    Raises
    ------
    ParameterError
        Shapes differ, too few samples, angle that does not rise.
    """
    n = samples.shape[-1]
    if turns.shape != (n,) or n < 16 or per_revolution < 2:
        raise ParameterError(f"{n} samples, {turns.size} angles, {per_revolution} a revolution", "samples", "16 or more, 2")
    steps = np.diff(turns)
    if not np.all(steps > 0.0):
        raise ParameterError("shaft angle that does not rise", "turns", "strictly rising")
    # mirrored at its end, the record is periodic without a jump
    lines = scipy.fft.rfft(np.concatenate((samples, samples[::-1])).astype(np.float64))
    cycles = np.arange(lines.size) / (2.0 * n)  # in a sample
    lines[cycles >= 0.5 * per_revolution * float(steps.min())] = 0.0
    dense = scipy.fft.irfft(lines, 2 * n * DENSER)[: (n - 1) * DENSER + 1] * DENSER
    at = np.arange(dense.size) / DENSER
    wanted = np.arange(math.floor((turns[-1] - turns[0]) * per_revolution + 1e-9) + 1) / per_revolution + turns[0]
    where = scipy.interpolate.CubicSpline(turns, np.arange(n))(np.minimum(wanted, turns[-1]))
    return np.asarray(scipy.interpolate.CubicSpline(at, dense)(where))


def synchronous_average(
    samples: NDArray[np.floating], turns: NDArray[np.floating], per_revolution: int
) -> tuple[NDArray[np.float64], int]:
    """Average the revolutions of a shaft: what is not locked to it falls by the root of their number.

    Returns
    -------
    (average, count)
        Average shape (per_revolution,), from the first sample's angle on; and the whole revolutions averaged.

    Raises
    ------
    ParameterError
        As for `over_angle`; not one whole revolution.

    Notes
    -----
    Source: S. Braun, Acustica 32 (1975) 69-77 (from memory, unverified); the factor is that of independent noise.
    """
    wave = over_angle(samples, turns, per_revolution)
    count = wave.size // per_revolution
    if count < 1:
        raise ParameterError("not one whole revolution", "samples", f"{turns[-1] - turns[0]:.3g} revolutions in the record")
    return wave[: count * per_revolution].reshape(count, per_revolution).mean(axis=0), count
