"""Has the mounting of a sensor changed? What its resonance makes of the noise between the lines, against a baseline."""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

STEP = 6
"""Bands in an octave."""
FEWEST_LINES = 16
"""Lines in a band, from which their median tells the noise within 1.5 dB (of exponential power: 1.44 / sqrt n)."""
FEWEST_BANDS = 12
"""Two octaves, so that what is below, at and above a resonance can be seen."""
HIGHEST = 0.4
"""Of the sample rate: above it the sensor's filter has its say."""
DAMPING = (0.02, 0.04, 0.08, 0.15, 0.25)
"""Parts of the critical: a mounting that has come loose rings, or at least rises at its resonance."""

Rows = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LooseFit:
    """A mass on a spring that would make one noise out of another."""

    resonance_hz: float
    below_db: float
    """Median change of the bands below half of the resonance."""
    rise_db: float
    """Highest of the mean over two bands near the resonance, against those below."""
    fall_db: float
    """Median of the bands from 1.5 times the resonance on, against those below; below zero."""
    above: int
    """Bands there."""
    left_db: float
    """R.m.s. of what the fit leaves."""
    whole_db: float
    """R.m.s. of the change about its mean: what there is to be explained."""


def first_hz(line_hz: float) -> float:
    """Give the lowest band edge at which a band holds lines enough."""
    return FEWEST_LINES * line_hz / float(2.0 ** (1.0 / STEP) - 1.0)


def last_hz(fs_hz: float) -> float:
    """Give the highest band edge."""
    return HIGHEST * fs_hz


def noise_bands(power: Rows, line_hz: float, low_hz: float, high_hz: float) -> tuple[Rows, Rows]:
    """Give centre frequencies and levels of the noise between the lines.

    Parameters
    ----------
    power : array, shape (lines,)
        Squared lines of acceleration, from 0 Hz on.
    line_hz : float
        Their distance.
    low_hz, high_hz : float
        Where the first band begins, and none ends beyond.

    Returns
    -------
    (centres, levels)
        Hz, and dB of the median line a hertz, which a few strong lines do not move, and which records of any length share.
        Empty where there is no room for a band.
    """
    ratio = 2.0 ** (1.0 / STEP)
    count = int(np.log2(high_hz / low_hz) * STEP) if high_hz > low_hz else 0
    edges = low_hz * ratio ** np.arange(count + 1)
    at = np.rint(edges / line_hz).astype(int)
    middles = [np.partition(power[a:b], (b - a) // 2)[(b - a) // 2] for a, b in pairwise(at.tolist())]
    return edges[:-1] * np.sqrt(ratio), 10.0 * np.log10(np.array(middles, np.float64) / line_hz + 1e-300)


def transmitted_db(hz: Rows, resonance_hz: float, damping: float) -> Rows:
    """Give what a mass on a spring passes on of the acceleration of its base, dB.

    Notes
    -----
    (1 + (2 z r)^2) / ((1 - r^2)^2 + (2 z r)^2), r = f / f0. Source: closed form, in every text on vibration.
    """
    ratio = hz / resonance_hz
    damped = (2.0 * damping * ratio) ** 2
    return np.asarray(10.0 * np.log10((1.0 + damped) / ((1.0 - ratio**2) ** 2 + damped)))


@lru_cache(maxsize=16)
def _shapes(first: float, count: int) -> Rows:
    """Give what each mounting makes of bands from a centre on, about its mean, dB, shape (resonances, dampings, bands)."""
    centres = first * 2.0 ** (np.arange(count) / STEP)
    shapes = np.array([[transmitted_db(centres, hz, damping) for damping in DAMPING] for hz in centres[3:-3]])
    return np.asarray(shapes - shapes.mean(axis=-1, keepdims=True))


def loose_fit(centres: Rows, change_db: Rows) -> LooseFit | None:
    """Find the mass on a spring that makes most of a change of noise.

    Parameters
    ----------
    centres, change_db : array, shape (bands,)
        Now less then.

    Returns
    -------
    LooseFit or None
        None with too few bands, or where none would do better than one at the edge of what can be seen.
    """
    if centres.size < FEWEST_BANDS:
        return None
    resonances = centres[3:-3]
    shapes = _shapes(float(centres[0]), centres.size)
    rest = (change_db - change_db.mean()) - shapes
    left = np.sqrt(np.mean(rest**2, axis=-1))
    hz, damping = np.unravel_index(int(left.argmin()), left.shape)
    resonance = float(resonances[hz])
    low, high = centres < 0.5 * resonance, centres > 1.5 * resonance
    near = (centres > 0.6 * resonance) & (centres < 1.4 * resonance)
    if low.sum() < 3 or high.sum() < 3 or near.sum() < 2:
        return None
    below = float(np.median(change_db[low]))
    pairs = np.convolve(change_db[near], [0.5, 0.5], "valid")
    return LooseFit(
        resonance,
        below,
        float(pairs.max()) - below,
        float(np.median(change_db[high])) - below,
        int(high.sum()),
        float(left[hz, damping]),
        float(change_db.std()),
    )
