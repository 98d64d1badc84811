"""A line through a level that a few wild values cannot turn: Theil and Sen's slope, with its confidence interval."""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from edgemon.errors import ParameterError
from edgemon.trend.counting import Values, inversions, tie_sizes
from edgemon.trend.kendall import MannKendall, autocorrelation_inflation, checked, mann_kendall

ALL_PAIRS_UP_TO = 1000
"""Up to so many values every pair's slope is formed (500,000 numbers); beyond, slopes are counted, never formed."""

MAD_TO_SIGMA = 1.4826
"""Median absolute deviation to standard deviation of a normal distribution. Source: 1 / 0.6745, its upper quartile."""


@dataclass(frozen=True, slots=True)
class Line:
    """value = intercept + slope * t, with an interval of the slope; per second, in the unit of the values."""

    slope: float
    slope_low: float
    slope_high: float
    intercept: float
    """Median of the values less slope times median of the times."""
    confidence: float

    def at(self, t_s: float) -> float:
        """Give the value of the line at a time."""
        return self.intercept + self.slope * t_s


@dataclass(frozen=True, slots=True)
class Trend:
    """Line and test of one level over one span."""

    n: int
    first: float
    last: float
    line: Line
    test: MannKendall
    inflation: float
    """Factor on the variance that autocorrelation asked for; it widens the interval of the slope too."""
    spread: float
    """Robust standard deviation of the values about the line."""


def trend(t_s: Values, values: Values, confidence: float = 0.90, is_independent: bool = False) -> Trend:
    """Give slope, interval and significance of a level over time.

    Parameters
    ----------
    t_s, values : array
        Shape (n,), n >= 2, finite; times need not be evenly spaced.
    confidence : float
        Of the interval of the slope, between 0 and 1.
    is_independent : bool
        Neighbouring values are known to be independent; otherwise their autocorrelation is estimated and counted in.

    Raises
    ------
    ParameterError
        Fewer than two values or times, numbers that are none, or a confidence that is none.
    """
    t_s, values = checked(t_s, values)
    order = np.argsort(t_s, kind="stable")
    t_s, values = t_s[order], values[order]
    line = theil_sen(t_s, values, confidence)
    residuals = values - (line.intercept + line.slope * t_s)
    inflation = 1.0 if is_independent else autocorrelation_inflation(residuals)
    if inflation > 1.0:
        line = theil_sen(t_s, values, confidence, inflation)
    test = mann_kendall(t_s, values, inflation)
    return Trend(len(values), float(t_s[0]), float(t_s[-1]), line, test, inflation, robust_spread(residuals))


def theil_sen(t_s: Values, values: Values, confidence: float = 0.90, inflation: float = 1.0) -> Line:
    """Give the median of the slopes of all pairs at different times, and the ranks about it that bound the slope.

    Notes
    -----
    Source: H. Theil, Proc. KNAW 53 (1950); P. K. Sen, J. Am. Stat. Assoc. 63 (1968) 1379-1389, for slope and interval.
    Beyond `ALL_PAIRS_UP_TO` values, a slope of given rank is found by bisection on the number of pairs below a slope, which
    is a count of inversions of values - slope * t: n log n a step; 5,000 values take about 0.3 s of processor time.
    """
    t_s, values = checked(t_s, values)
    if not 0.0 < confidence < 1.0:
        raise ParameterError(f"confidence must lie between 0 and 1, not at {confidence!r}")
    slopes = _Slopes(t_s, values)
    if not slopes.count:
        raise ParameterError("all values have the same time")
    n = len(values)
    ties = tie_sizes(values)
    variance = (n * (n - 1) * (2 * n + 5) - float(np.sum(ties * (ties - 1.0) * (2.0 * ties + 5.0)))) / 18.0 * inflation
    half = NormalDist().inv_cdf(0.5 + confidence / 2.0) * math.sqrt(max(variance, 0.0))
    low = slopes.of_rank(round((slopes.count - half) / 2.0) - 1)
    high = slopes.of_rank(round((slopes.count + half) / 2.0))
    middle = slopes.count // 2
    slope = slopes.of_rank(middle)
    if slopes.count % 2 == 0:
        slope = (slope + slopes.of_rank(middle - 1)) / 2.0
    return Line(slope, low, high, float(np.median(values) - slope * np.median(t_s)), confidence)


def robust_spread(values: Values) -> float:
    """Give a standard deviation from the median absolute deviation, which half the values may spoil without effect."""
    return float(MAD_TO_SIGMA * np.median(np.abs(values - np.median(values))))


class _Slopes:
    """The slopes of all pairs, by rank."""

    def __init__(self, t_s: Values, values: Values) -> None:
        order = np.lexsort((values, t_s))
        self._t, self._y = t_s[order] - t_s.min(), values[order] - np.median(values)
        n, ties = len(values), tie_sizes(t_s)
        self.count = n * (n - 1) // 2 - int(np.sum(ties * (ties - 1.0)) / 2.0)
        self._sorted = np.sort(self._all()) if n <= ALL_PAIRS_UP_TO else None
        self._bounds = (0.0, 0.0) if self._sorted is not None else self._steepest()
        self._sample = self._sorted if self._sorted is not None else np.sort(self._some())

    def of_rank(self, rank: int) -> float:
        """Give the slope of a rank from 0; ranks outside are those of the ends."""
        rank = min(max(rank, 0), self.count - 1)
        if self._sorted is not None:
            return float(self._sorted[rank])
        low, high = self._bracket(rank)
        while high - low > 1e-10 * max(abs(low), abs(high)):
            middle = low + (high - low) / 2.0
            if self._is_above(middle, rank):
                low = middle
            else:
                high = middle
        return low + (high - low) / 2.0

    def _is_above(self, slope: float, rank: int) -> bool:
        """Say whether the slope of a rank is above `slope`: no more slopes than its rank are below that."""
        return inversions(self._y - slope * self._t) <= rank

    def _bracket(self, rank: int) -> tuple[float, float]:
        """Bound the slope of a rank by ranks of a sample nearby, where those prove to be bounds; else by the steepest."""
        low, high = self._bounds
        at = rank / self.count * (len(self._sample) - 1)
        near = self._sample[int(max(at - 200.0, 0.0))], self._sample[int(min(at + 200.0, len(self._sample) - 1.0))]
        low = float(near[0]) if near[0] > low and self._is_above(float(near[0]), rank) else low
        high = float(near[1]) if near[1] < high and not self._is_above(float(near[1]), rank) else high
        return low, high

    def _all(self) -> Values:
        i, j = np.triu_indices(len(self._t), 1)
        run = self._t[j] - self._t[i]
        different = run > 0.0
        slopes: Values = (self._y[j] - self._y[i])[different] / run[different]
        return slopes

    def _some(self) -> Values:
        """Give the slopes of pairs at about 30 distances, evenly spread over all of them."""
        n = len(self._t)
        far = np.linspace(1, n - 1, 30).astype(np.int64)
        run = np.concatenate([self._t[step:] - self._t[:-step] for step in far])
        rise = np.concatenate([self._y[step:] - self._y[:-step] for step in far])
        slopes: Values = rise[run > 0.0] / run[run > 0.0]
        return slopes

    def _steepest(self) -> tuple[float, float]:
        """Bound all slopes: none is steeper than the steepest between neighbours in time."""
        at, first = np.unique(self._t, return_index=True)
        last = np.append(first[1:], len(self._t)) - 1
        run = np.diff(at)
        up = float(np.max((self._y[last[1:]] - self._y[first[:-1]]) / run))
        down = float(np.min((self._y[first[1:]] - self._y[last[:-1]]) / run))
        margin = 1e-9 * max(abs(up), abs(down)) + 1e-300
        return down - margin, up + margin
