"""The band of a waveform that rings most with impacts, or none."""

import math

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.kurtogram import MIN_LINES, kurtogram
from edgemon.model.level import Band

IMPACTS = 5.0
"""Standard deviations of a band's kurtosis in noise from which it rings with impacts."""
STRETCHES = 8
"""A band's kurtosis is the median of those of so many parts of the record: one shock, however large, is in one or two of them,
and impacts that come again are in all. House choice; of the median of eight the deviation is 1.25 times that of the whole."""
MEDIAN = 1.25
"""Root of pi / 2: deviation of a median over that of the mean. Source: in every text on statistics (normal values)."""
EDGE = 32
"""A record's first and last part of so many are tapered and not judged: the jump between its ends is no impact."""


def ringing_band(samples: NDArray[np.floating], fs_hz: float, min_width_hz: float) -> tuple[Band, float] | None:
    """Find the band of the tree that rings most with impacts that come again: the highest median of its kurtoses in parts.

    Parameters
    ----------
    samples : array, shape (n,)
        Acceleration, any unit.
    fs_hz : float
        Sample rate.
    min_width_hz : float
        No band is narrower.

    Returns
    -------
    (band, kurtosis) or None
        None where no band is more impulsive than noise is by chance, or the record too short to tell. Never one that begins
        at 0 Hz: there are the shaft's own lines, whose beats are no impacts, and no resonance (common practice, no source).

    Notes
    -----
    Kurtosis alone is decided by a single large shock; hence the median. In noise the squared envelope is exponential, and
    var(m2 / m1^2) = 4 / n for it (delta method).
    Source: J. Antoni, Mech. Syst. Signal Process. 21 (2007) 108-124 (from memory).
    """
    n = samples.shape[-1]
    edge = n // EDGE
    if n // 2 < MIN_LINES + 2:
        return None
    wave = np.asarray(samples, np.float64) - samples.mean()
    ramp = np.sin(0.5 * np.pi * (np.arange(edge) + 0.5) / max(1, edge)) ** 2
    wave[:edge] *= ramp
    wave[n - edge :] *= ramp[::-1]
    best: tuple[Band, float] | None = None
    for one in kurtogram(np.fft.rfft(wave), fs_hz / n, min_width_hz):
        if one.band.low_hz <= 0.0:
            continue
        outside = math.ceil(one.samples.size / EDGE)
        inside = one.samples[outside : one.samples.size - outside]
        kurtosis = _kurtosis(inside)
        by_chance = IMPACTS * MEDIAN * 2.0 / math.sqrt(inside.size / 2.0)
        if kurtosis > max(by_chance, 0.0 if best is None else best[1]):
            best = one.band, kurtosis
    return best


def _kurtosis(square: NDArray[np.float64]) -> float:
    """Give the median of the kurtoses of the parts of a squared envelope; 0 for noise.

    Notes
    -----
    The mean of m2 / m1^2 over n exponential values is 2 n / (n + 1), not 2: put right here. Source: beta distribution.
    """
    size = square.size // STRETCHES
    parts = square[: STRETCHES * size].reshape(STRETCHES, size)
    means = parts.mean(axis=1)
    ratios = np.divide(np.mean(parts**2, axis=1), means**2, out=np.full(STRETCHES, 2.0), where=means > 0.0)
    independent = size / 2.0  # the envelope has twice the rate of its band
    return float(np.median(ratios)) * (1.0 + 1.0 / independent) - 2.0
