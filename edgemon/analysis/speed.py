"""Shaft speed out of a waveform: lines that stand at whole multiples of one speed near the nominal one, or nothing."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.lines import Line, find_lines
from edgemon.analysis.spectrum import amplitude_spectrum
from edgemon.errors import ParameterError

ORDERS = 12
"""Multiples of running speed looked for."""
MATCH_LINES = 0.5
"""A line belongs to a multiple if it lies no further away, in lines of the spectrum."""
CREDIBLE = 0.95
"""Least confidence. House choice: one estimate by chance in twenty at worst."""
SUPPLIES_HZ = (50.0, 60.0)
"""Lines at multiples of the supply's frequency support no speed: the motor's field makes them at any speed."""
MOST_LINES = 200


@dataclass(frozen=True, slots=True)
class SpeedEstimate:
    """A speed, how sure it is, and what it rests on."""

    rpm: float
    confidence: float
    """One less the number of speeds in the range expected to be supported as well by chance."""
    method: str
    """For people: `lines at 1x, 2x, 5x`."""


def estimate_speed(samples: NDArray[np.floating], fs_hz: float, nominal_rpm: float, tolerance: float) -> SpeedEstimate | None:
    """Estimate the shaft speed within a tolerance of the nominal one, or refuse.

    Parameters
    ----------
    samples : array, shape (n,)
        Waveform, n >= 2, at a speed that changes by less than a line of its spectrum.
    fs_hz : float
        Sample rate, above zero.
    nominal_rpm : float
        Nominal speed, above zero.
    tolerance : float
        Share of the nominal speed to either side, above zero and below 0.5.

    Returns
    -------
    SpeedEstimate or None
        None where fewer than two lines away from the supply's multiples agree, where their orders have a common divisor
        (a speed twice as high would do as well), or where as many could agree by chance.

    Raises
    ------
    ParameterError
        Speed or tolerance out of range.

    Notes
    -----
    A line at random among n_k in the range of order k, W_k wide, matches a given speed with probability
    2 MATCH_LINES n_k / W_k at most; the number of matches by chance is taken as Poisson's. Every chance agreement has a
    lowest order, whose lines are the speeds that are tried. Source: derived here.
    """
    if not (nominal_rpm > 0.0 and 0.0 < tolerance < 0.5):
        raise ParameterError(f"{nominal_rpm:g} r/min within {tolerance:g}", "nominal_rpm, tolerance", "above zero; below 0.5")
    spectrum = amplitude_spectrum(samples, fs_hz)
    nominal, reach = nominal_rpm / 60.0, MATCH_LINES * spectrum.line_hz
    lines = [line for line in find_lines(spectrum, most=MOST_LINES) if not _of_supply(line.hz, spectrum.line_hz)]
    near = {
        order: [line for line in lines if abs(line.hz - order * nominal) <= order * tolerance * nominal]
        for order in range(1, ORDERS + 1)
        if order * nominal * (1.0 + tolerance) < fs_hz / 2.0
    }
    best = max((_supported(near, line.hz / order, reach) for order in near for line in near[order]), key=_weight, default={})
    if len(best) < 2 or math.gcd(*best) > 1:
        return None
    speed = sum(order * line.hz for order, line in best.items()) / sum(order**2 for order in best)
    if abs(speed - nominal) > tolerance * nominal:
        return None
    confidence = 1.0 - min(1.0, _by_chance(near, len(best), reach, 2.0 * tolerance * nominal))
    if confidence < CREDIBLE:
        return None
    return SpeedEstimate(60.0 * speed, confidence, "lines at " + ", ".join(f"{order}x" for order in sorted(best)))


def _of_supply(hz: float, line_hz: float) -> bool:
    return any(abs(hz - supply * max(1, round(hz / supply))) <= max(line_hz, 0.002 * hz) for supply in SUPPLIES_HZ)


def _supported(near: dict[int, list[Line]], speed: float, reach: float) -> dict[int, Line]:
    found = {order: _closest(lines, order * speed, reach) for order, lines in near.items()}
    return {order: line for order, line in found.items() if line is not None}


def _closest(lines: Sequence[Line], hz: float, reach: float) -> Line | None:
    line = min(lines, key=lambda one: abs(one.hz - hz), default=None)
    return line if line is not None and abs(line.hz - hz) <= reach else None


def _weight(support: dict[int, Line]) -> tuple[int, float]:
    return len(support), sum(math.log(line.above) for line in support.values())


def _by_chance(near: dict[int, list[Line]], count: int, reach: float, width_hz: float) -> float:
    """Give the number of speeds that `count` orders would be expected to agree on if their lines stood at random."""
    chance = {order: min(1.0, 2.0 * reach * len(lines) / (order * width_hz)) for order, lines in near.items()}
    return sum(
        len(lines) * _poisson_tail(count - 1, sum(chance[higher] for higher in near if higher > order))
        for order, lines in near.items()
    )


def _poisson_tail(count: int, mean: float) -> float:
    """Give the probability of `count` or more."""
    return max(0.0, 1.0 - math.exp(-mean) * sum(mean**k / math.factorial(k) for k in range(count)))
