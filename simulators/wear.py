"""How damage grows, and other courses over time: closed forms of the time alone."""

import math
from bisect import bisect_right
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

Law = Literal["exponential", "linear", "steady"]


@dataclass(frozen=True, slots=True)
class Wear:
    """Severity of a fault over time, 0 to 1.

    `exponential`: it doubles every `doubling_s` from `initial` on: the damage feeds on itself.
    `linear`: it grows from `initial` by 1 in `full_s`: dirt or deposits gather.
    `steady`: it stays at `initial`.
    """

    law: Law
    initial: float
    from_s: float = 0.0
    doubling_s: float = math.inf
    full_s: float = math.inf
    starts_s: float = 0.0
    """Before this time there is no fault: something breaks or comes off all at once."""
    repaired_s: float = math.inf
    """From this time on the fault is gone."""

    def severity(self, at_s: float) -> float:
        """Give the severity at a time, 0 to 1."""
        if at_s < self.starts_s or at_s >= self.repaired_s:
            return 0.0
        worn_s = max(0.0, at_s - self.from_s)
        if self.law == "exponential":
            return min(1.0, self.initial * math.exp2(worn_s / self.doubling_s))
        if self.law == "linear":
            return min(1.0, self.initial + worn_s / self.full_s)
        return self.initial


@dataclass(frozen=True, slots=True)
class Course:
    """A value over time by knots, straight between them and level outside; `knots` in order of time."""

    knots: tuple[tuple[float, float], ...]

    def at(self, at_s: float) -> float:
        """Give the value at a time."""
        later = bisect_right([knot[0] for knot in self.knots], at_s)
        if later == 0:
            return self.knots[0][1]
        if later == len(self.knots):
            return self.knots[-1][1]
        (start, low), (end, high) = self.knots[later - 1], self.knots[later]
        return low + (high - low) * (at_s - start) / (end - start)


def lagging(course: Course, at_s: float, time_constant_s: float) -> float:
    """Follow a course with the lag of one heat capacity, settled before its first knot.

    Notes
    -----
    Exact response of tau dy/dt + y = u to straight pieces of u: y = u - tau k + (y0 - u0 + tau k) exp(-t / tau), with k the
    slope of the piece. Source: recomputed.
    """
    knots = [*course.knots, (math.inf, course.knots[-1][1])]
    value = knots[0][1]
    for (start, low), (end, high) in pairwise(knots):
        if at_s <= start:
            break
        passed = min(at_s, end) - start
        slope = 0.0 if math.isinf(end) else (high - low) / (end - start)
        behind = time_constant_s * slope
        value = low + slope * passed - behind + (value - low + behind) * math.exp(-passed / time_constant_s)
    return value
