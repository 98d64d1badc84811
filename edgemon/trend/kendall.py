"""Mann-Kendall: whether a level rises or falls, whatever the shape of its rise, and how surely."""

import math
from dataclasses import dataclass

import numpy as np

from edgemon.errors import ParameterError
from edgemon.trend.counting import Values, inversions, tie_sizes

EXACT_UP_TO = 40
"""Without ties, the exact distribution of S is used up to so many values (beyond, the normal one differs by < 0.001)."""


@dataclass(frozen=True, slots=True)
class MannKendall:
    """Outcome of the test; a rising level has `s` above 0."""

    n: int
    s: int
    """Pairs that rise less pairs that fall."""
    variance: float
    """Of s, corrected for ties, and for autocorrelation where that was asked for."""
    z: float
    """Standard score with continuity correction."""
    p_rising: float
    """Probability of s as large as this or larger without a trend (one-sided)."""
    p_falling: float
    p: float
    """Two-sided."""
    is_exact: bool


def mann_kendall(t_s: Values, values: Values, inflation: float = 1.0) -> MannKendall:
    """Test for a monotonic trend at times that need not be evenly spaced; pairs at equal times do not count.

    Parameters
    ----------
    t_s, values : array
        Shape (n,), n >= 2, finite, in any order.
    inflation : float
        Factor on the variance for autocorrelated values (see `autocorrelation_inflation`); with any other than 1 the
        normal distribution is used.

    Raises
    ------
    ParameterError
        Fewer than two values, shapes that differ, or numbers that are none.

    Notes
    -----
    Source: H. B. Mann, Econometrica 13 (1945) 245-259; M. G. Kendall, Rank Correlation Methods, variance with ties in
    both rankings; exact distribution by the recursion of the number of inversions.
    """
    t_s, values = checked(t_s, values)
    n = len(values)
    order = np.lexsort((values, t_s))
    falling = inversions(values[order])
    t_ties, ties = tie_sizes(t_s), tie_sizes(values)
    both = np.unique(np.column_stack((t_s, values)), axis=0, return_counts=True)[1].astype(np.float64)
    pairs = n * (n - 1) // 2
    decided = pairs - int(_pairs(t_ties) + _pairs(ties) - _pairs(both))
    s = decided - 2 * falling
    variance = _variance(n, ties, t_ties) * inflation
    z = (s - np.sign(s)) / math.sqrt(variance) if variance > 0.0 else 0.0
    is_exact = n <= EXACT_UP_TO and not ties.size and not t_ties.size and inflation == 1.0
    p_rising, p_falling = (_exact(n, s), _exact(n, -s)) if is_exact else (_upper(s, variance), _upper(-s, variance))
    p = min(1.0, 2.0 * min(p_rising, p_falling))
    return MannKendall(n, s, variance, float(z), p_rising, p_falling, p, is_exact)


def autocorrelation_inflation(values: Values) -> float:
    """Give the factor by which autocorrelation widens the variance of S; 1 where there is none.

    Parameters
    ----------
    values : array
        Shape (n,), in the order of time, the trend removed.

    Notes
    -----
    First-order autocorrelation r of the ranks, and r**k at distance k, in the factor of Hamed and Rao; negative values
    (as differences of noise have) are taken as none, so that the test is never made keener.
    Source: K. H. Hamed, A. R. Rao, J. Hydrology 204 (1998) 182-196, eq. 18 (from memory; checked here by simulation).
    """
    n = len(values)
    if n < 4:
        return 1.0
    ranks = np.argsort(np.argsort(values, kind="stable"), kind="stable") - (n - 1) / 2.0
    r = float(np.sum(ranks[1:] * ranks[:-1]) / np.sum(ranks * ranks))
    r = min(0.99, r + 1.0 / n)  # the estimate is biased low by about 1/n
    if r <= 1.96 / math.sqrt(n):
        return 1.0
    k = np.arange(1, n - 2, dtype=np.float64)
    weights = (n - k) * (n - k - 1.0) * (n - k - 2.0)
    return float(1.0 + 2.0 / (n * (n - 1.0) * (n - 2.0)) * np.sum(weights * r**k))


def checked(t_s: Values, values: Values) -> tuple[Values, Values]:
    """Give both as float64 arrays of one dimension and equal length; ParameterError where they are not."""
    t_s, values = np.asarray(t_s, np.float64), np.asarray(values, np.float64)
    if t_s.ndim != 1 or t_s.shape != values.shape:
        raise ParameterError(f"times {t_s.shape} and values {values.shape} must be two rows of equal length")
    if len(values) < 2:
        raise ParameterError(f"a trend needs two values at least, not {len(values)}")
    if not (np.isfinite(t_s).all() and np.isfinite(values).all()):
        raise ParameterError("a time or value is not a number", hint="leave such values out before")
    return t_s, values


def _pairs(sizes: Values) -> float:
    return float(np.sum(sizes * (sizes - 1.0)) / 2.0)


def _variance(n: int, ties: Values, t_ties: Values) -> float:
    def threefold(sizes: Values) -> float:
        return float(np.sum(sizes * (sizes - 1.0) * (2.0 * sizes + 5.0)))

    def triples(sizes: Values) -> float:
        return float(np.sum(sizes * (sizes - 1.0) * (sizes - 2.0)))

    variance = (n * (n - 1) * (2 * n + 5) - threefold(ties) - threefold(t_ties)) / 18.0
    variance += 2.0 * _pairs(ties) * _pairs(t_ties) / (n * (n - 1))
    if n > 2:
        variance += triples(ties) * triples(t_ties) / (9.0 * n * (n - 1) * (n - 2))
    return variance


def _upper(s: int, variance: float) -> float:
    """P(S >= s) by the normal distribution, with continuity correction (S moves in steps of 2)."""
    return 1.0 if variance <= 0.0 else 0.5 * math.erfc((s - 1.0) / math.sqrt(2.0 * variance))


def _exact(n: int, s: int) -> float:
    """P(S >= s) for n values without ties: at most (pairs - s) / 2 inversions."""
    ways = np.ones(1)
    for size in range(2, n + 1):
        ways = np.convolve(ways, np.full(size, 1.0 / size))
    most = (n * (n - 1) // 2 - s) // 2
    return float(min(1.0, np.sum(ways[: most + 1])))
