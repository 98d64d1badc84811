"""How surprising a family of lines is, judged by the same spectrum where no line of the machine is expected.

Every line of an envelope spectrum is compared with the lines around it; the comparison needs no model of the noise. A
family (a base frequency and its harmonics) adds up the surprise of its lines, and is then compared with the same sum at
bases that belong to no part of the machine: what it must beat is the best of as many looks as were taken for itself.
"""

import math

import numpy as np
from numpy.typing import NDArray

Map = NDArray[np.float64]
"""Surprise of each line of each spectrum, nats, shape (spectra, lines): minus the logarithm of a tail probability."""

TOP = 0.1
"""Share of a neighbourhood that its tail is fitted to. Source: peaks over threshold, J. Pickands, Ann. Stat. 3 (1975)."""
LEAST_TAIL = 0.25
"""Least tail index: a Pareto tail of that index falls slower than any noise of finite kurtosis spectrum (house choice,
conservative: white noise alone would give about 0.3 at the tenth of its lines that is highest)."""


def surprise(power: NDArray[np.float64], block: int, averages: int = 1) -> Map:
    """Give the surprise of every line against its neighbourhood.

    Parameters
    ----------
    power : array, shape (spectra, lines)
        Power spectra.
    block : int
        Lines in a neighbourhood, 16 or more; the figures of neighbouring blocks are interpolated.
    averages : int
        Spectra that each is the mean of: its noise scatters by as much less as the root of that.

    Returns
    -------
    array, shape (spectra, lines)
        Below the highest tenth of a neighbourhood, that of an exponential distribution of the same median; above it, that
        of a Pareto tail fitted to it.
    """
    spectra, lines = power.shape
    count = max(1, lines // block)
    used = power[:, : count * block].reshape(spectra, count, -1)
    floor = np.finfo(np.float64).tiny
    ranked = np.sort(used, axis=2)
    size = ranked.shape[2]
    start = min(size - 2, math.ceil((1.0 - TOP) * size))
    median = ranked[:, :, size // 2] + floor
    edge = ranked[:, :, start] + floor
    excess = np.log((ranked[:, :, start:] + floor) / edge[:, :, None])
    tail = np.maximum(np.median(excess, axis=2) / math.log(2.0), LEAST_TAIL / math.sqrt(averages))
    centres = (np.arange(count) + 0.5) * size
    at = np.arange(lines)
    log_median, log_edge, index = _spread(centres, at, np.array((np.log(median), np.log(edge), tail)))
    log_power = np.log(power + floor)
    below = math.log(2.0) * np.exp(np.minimum(log_power - log_median, 3.0))
    above = -math.log(TOP) + (log_power - log_edge) / index
    return np.asarray(np.where(log_power < log_edge, np.minimum(below, -math.log(TOP)), above))


def _spread(centres: NDArray[np.float64], at: NDArray[np.int64], rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Interpolate rows given at equal steps, the last axis; level beyond the first and the last."""
    if centres.size == 1:
        return np.repeat(rows, at.size, axis=-1)
    place = np.clip((at - centres[0]) / (centres[1] - centres[0]), 0.0, centres.size - 1.0)
    left = np.minimum(place.astype(np.int64), centres.size - 2)
    share = place - left
    return np.asarray(rows[..., left] * (1.0 - share) + rows[..., left + 1] * share)


def widened(found: Map, reach: int = 1) -> Map:
    """Give each line the most of itself and its neighbours."""
    out = found.copy()
    for step in range(1, reach + 1):
        np.maximum(out[:, step:], found[:, :-step], out=out[:, step:])
        np.maximum(out[:, :-step], found[:, step:], out=out[:, :-step])
    return out


def comb(found: Map, line_hz: float, bases_hz: NDArray[np.float64], harmonics: int) -> NDArray[np.float64]:
    """Add up the surprise of the harmonics of many bases; a harmonic beyond the spectrum adds nothing.

    Returns
    -------
    array, shape (spectra, *bases_hz.shape)
    """
    total = np.zeros((found.shape[0], *bases_hz.shape))
    for number in range(1, harmonics + 1):
        at = np.rint(number * bases_hz / line_hz).astype(np.int64)
        inside = at < found.shape[1]
        total += found[:, np.where(inside, at, 0)] * inside
    return total


def gumbel_tail(score: float, others: NDArray[np.float64]) -> float:
    """Probability that the best of a look without cause reaches `score`, from the best of other such looks.

    Parameters
    ----------
    score : float
        What was found.
    others : array, shape (k,)
        Best scores where nothing is expected, k >= 8.

    Returns
    -------
    float
        Tail of a Gumbel distribution fitted by median and quartiles, which a few lines of other origin do not disturb.

    Notes
    -----
    Source: E. J. Gumbel, Statistics of Extremes (1958).
    """
    low, middle, high = np.interp(np.array((0.25, 0.5, 0.75)) * (others.size - 1), np.arange(others.size), np.sort(others))
    scale = max(float(high - low) / (math.log(math.log(4.0)) - math.log(math.log(4.0 / 3.0))), 1.0)
    place = float(middle) + scale * math.log(math.log(2.0))
    return -math.expm1(-math.exp(-(score - place) / scale))
