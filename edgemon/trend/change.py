"""Changes of a level: CUSUM and EWMA control charts, and where a change lies."""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgemon.errors import ParameterError
from edgemon.trend.counting import Values
from edgemon.trend.robust import robust_spread


@dataclass(frozen=True, slots=True)
class Reference:
    """What a chart measures against: centre and standard deviation of single values while nothing had changed."""

    target: float
    sigma: float


@dataclass(frozen=True, slots=True, eq=False)
class Cusum:
    """Tabular CUSUM, each array of shape (n,), in the unit of the values."""

    high: Values
    low: Values
    decision: float
    """Interval H; a sum above it signals."""
    signals: NDArray[np.bool_]
    started: NDArray[np.int64]
    """For each value: index of the first value of the run of the sum that signals (of the larger sum elsewhere)."""


@dataclass(frozen=True, slots=True, eq=False)
class Ewma:
    """EWMA chart; `averages` starts with the value after the first observation, all of shape (n,)."""

    averages: Values
    upper: Values
    lower: Values
    signals: NDArray[np.bool_]


class ChangePoint(NamedTuple):
    """Where one step divides a series best."""

    at: int
    """Index of the first value after the change."""
    p: float
    """Probability of a step as clear as this without any change."""
    before: float
    after: float
    """Medians before and after."""


def reference_of(values: Values, least_shift: float = 0.0) -> Reference:
    """Learn centre and spread robustly from a stretch without change, shape (n,), n >= 8.

    Parameters
    ----------
    values : array
        Shape (n,), n >= 8.
    least_shift : float
        Smallest shift that matters, in the unit of the values; `sigma` is never less. Levels of a healthy machine wander by
        a few per cent for hours, which a chart of their short-term scatter alone takes for changes: with 25 % of B/C (a
        significant change by ISO 10816-3:2009 5.3), or of the baseline where there is no B/C, it does not.

    Raises
    ------
    ParameterError
        Fewer than eight values, or values that do not vary at all.
    """
    values = np.asarray(values, np.float64)
    if values.size < 8:
        raise ParameterError(f"a reference needs eight values at least, not {values.size}")
    sigma = max(least_shift, robust_spread(values) or float(np.std(values)))
    if not sigma > 0.0:
        raise ParameterError("the values of the reference do not vary")
    return Reference(float(np.median(values)), sigma)


def cusum(values: Values, reference: Reference, slack: float = 0.5, decision: float = 5.0, headstart: float = 0.0) -> Cusum:
    """Add up what lies beyond target +/- slack, to either side.

    Parameters
    ----------
    values : array
        Shape (n,), in the order of time.
    slack, decision, headstart : float
        k, h and the start of both sums, in standard deviations of the reference. k = 0.5 with h = 4 or 5 finds a shift of
        one standard deviation in about 8 or 10 values and errs once in about 170 or 470.

    Notes
    -----
    Source: D. C. Montgomery, G. C. Runger, Applied Statistics and Probability for Engineers, section on CUSUM charts, with
    the recommended h = 4 or 5 and k = 1/2. The start of a change is the first value after the sum was last zero, ibid.
    """
    values = np.asarray(values, np.float64)
    k, h = slack * reference.sigma, decision * reference.sigma
    high, low = np.empty(len(values)), np.empty(len(values))
    started = np.empty(len(values), np.int64)
    up = down = headstart * reference.sigma
    up_from = down_from = 0
    for i, value in enumerate(values.tolist()):
        up = max(0.0, up + value - (reference.target + k))
        down = max(0.0, down + (reference.target - k) - value)
        up_from, down_from = (up_from if up > 0.0 else i + 1), (down_from if down > 0.0 else i + 1)
        high[i], low[i], started[i] = up, down, up_from if up >= down else down_from
    return Cusum(high, low, h, (high > h) | (low > h), started)


def in_control_run_length(slack: float = 0.5, decision: float = 5.0) -> float:
    """Give how many values a two-sided CUSUM takes on average, while nothing changes, until it signals for nothing.

    Parameters
    ----------
    slack, decision : float
        k and h, in standard deviations; both above 0.

    Notes
    -----
    For independent, normally distributed values whose centre and spread are known.
    Source: D. Siegmund, Sequential Analysis (1985): (exp(2 k b) - 2 k b - 1) / (2 k^2) to one side, b = h + 1.166, half of
    it for both; within 3 % of the published tables at k = 1/2, h = 4 and 5.
    """
    reach = 2.0 * slack * (decision + 1.166)
    return (math.exp(reach) - reach - 1.0) / (4.0 * slack**2)


def ewma(values: Values, reference: Reference, weight: float = 0.2, width: float = 3.0, is_settled: bool = False) -> Ewma:
    """Average with weights that fall off with age, against limits of `width` standard deviations of that average.

    Parameters
    ----------
    values : array
        Shape (n,), in the order of time.
    weight : float
        Of the newest value, above 0 and up to 1.
    width : float
        L, in standard deviations of the average.
    is_settled : bool
        Use the limits of long after the start from the first value on.

    Raises
    ------
    ParameterError
        A weight outside its range.

    Notes
    -----
    Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.4, doi:10.18434/M32189.
    """
    if not 0.0 < weight <= 1.0:
        raise ParameterError(f"the weight of the newest value must lie above 0 and up to 1, not at {weight!r}")
    averages = np.empty(len(values))
    average = reference.target
    for i, value in enumerate(np.asarray(values, np.float64).tolist()):
        average += weight * (value - average)
        averages[i] = average
    share = weight / (2.0 - weight)
    grown = 1.0 - (1.0 - weight) ** (2.0 * np.arange(1, len(averages) + 1))
    half = width * reference.sigma * np.sqrt(share * (np.ones_like(grown) if is_settled else grown))
    upper, lower = reference.target + half, reference.target - half
    return Ewma(averages, upper, lower, (averages > upper) | (averages < lower))


def change_point(values: Values) -> ChangePoint:
    """Find the step that divides a series best, by ranks, so that wild values and the shape of the noise do not matter.

    Parameters
    ----------
    values : array
        Shape (n,), n >= 2, finite, in the order of time.

    Raises
    ------
    ParameterError
        Fewer than two values.

    Notes
    -----
    A slow trend is a change too: its middle is found. The probability holds for independent values.
    Source: A. N. Pettitt, Applied Statistics 28 (1979) 126-135, with its approximation of p.
    """
    values = np.asarray(values, np.float64)
    n = len(values)
    if n < 2:
        raise ParameterError(f"a change needs two values at least, not {n}")
    distinct, place, counts = np.unique(values, return_inverse=True, return_counts=True)
    ranks = (np.cumsum(counts) - (counts - 1) / 2.0)[place]
    score = 2.0 * np.cumsum(ranks)[:-1] - np.arange(1, n) * (n + 1.0)
    at = int(np.argmax(np.abs(score))) + 1
    strength = float(abs(score[at - 1]))
    p = min(1.0, 2.0 * math.exp(-6.0 * strength**2 / (n**3 + n**2))) if distinct.size > 1 else 1.0
    return ChangePoint(at, p, float(np.median(values[:at])), float(np.median(values[at:])))
