"""The band of a waveform that rings most with impacts, or none."""

import math

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.kurtogram import MIN_LINES, kurtogram
from edgemon.model.level import Band

IMPACTS = 5.0
"""Standard deviations of a band's spectral kurtosis in noise, 2 / sqrt(lines), from which it rings with impacts. Derived: the
squared envelope of noise is exponential, and var(m2 / m1^2) = 4 / n for it (delta method)."""
EDGE = 32
"""A record's first and last part of so many are tapered and not judged: the jump between its ends is no impact."""


def ringing_band(samples: NDArray[np.floating], fs_hz: float, min_width_hz: float) -> tuple[Band, float] | None:
    """Find the band of the tree with the highest spectral kurtosis.

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
        None where no band is more impulsive than noise is by chance, or the record too short to tell.

    Notes
    -----
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
        outside = math.ceil(one.samples.size / EDGE)
        inside = one.samples[outside : one.samples.size - outside]
        mean = float(inside.mean())
        kurtosis = float(np.mean(inside**2)) / mean**2 - 2.0 if mean > 0.0 else 0.0
        if kurtosis > max(IMPACTS * 2.0 / math.sqrt(inside.size / 2.0), 0.0 if best is None else best[1]):
            best = one.band, kurtosis
    return best
