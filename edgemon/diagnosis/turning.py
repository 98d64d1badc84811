"""Shaft speed by what the envelopes say: load and rotating damage modulate every band at whole multiples of it.

Lines of a spectrum may belong to anything that hums; a rhythm that all bands of all channels share is the shaft's. It places
the speed where no line of the plain spectrum stands out, and where lines of another origin were taken for the shaft's.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.diagnosis.evidence import Map, comb, gumbel_tail
from edgemon.diagnosis.frequencies import BearingOrders

REACH = 0.02
"""How far a nominal speed may be off, as for lines of the plain spectrum."""
MOST = 12.0
"""Surprise that one line may add, nats: one strong line at one multiple must not decide."""
HIGHEST = 8
KEEP = 0.025
"""Distance of a multiple from every line of a bearing for it to be the shaft's: slip, and the reach above, at its edge."""
FEWEST = 3
"""Multiples that must be left to decide by."""
FEWEST_OTHERS = 8
"""Parts of the reach that a best speed must be held against: a tail fitted to fewer says anything."""
ABOVE_NEXT = 1.25
"""Times the sum at the speed known so far from which the envelopes are believed instead. House choice."""
ABOVE_REST = 1.6
"""Times the median over all speeds in reach. House choice: noise of 35 dependent rows stays below 1.5 (measured)."""

APART_FROM_IT = 1.3
"""Times their median that the other multiples must add up to where one and its own multiples are clear: half of what all must.
House choice."""
LOOKS = 24
"""Parts of the reach whose best speeds tell what agreement comes by chance."""


@dataclass(frozen=True, slots=True)
class Turning:
    """A shaft speed that envelopes agree on."""

    hz: float
    confidence: float
    """One less the chance that the best of all speeds in reach would agree as well without cause."""


def shaft_orders(bearings: Sequence[BearingOrders]) -> NDArray[np.int64]:
    """List the multiples of shaft speed that no line of a bearing comes near."""
    lines = [k * order for b in bearings for order in (b.outer, b.inner, b.element) for k in (1, 2)]
    lines += [k * b.inner + side for b in bearings for k in (1, 2) for side in (-1.0, 1.0)]
    lines += [k * b.element + side * b.cage for b in bearings for k in (1, 2) for side in (-1.0, 1.0)]
    return np.array([k for k in range(1, HIGHEST + 1) if all(abs(line / k - 1.0) > KEEP for line in lines)], np.int64)


def envelope_speed(
    maps: Sequence[tuple[Map, float]], known_hz: float, nominal_hz: float, bearings: Sequence[BearingOrders]
) -> Turning | None:
    """Give the shaft speed that the envelopes agree on, where they agree better than on the one known so far.

    Parameters
    ----------
    maps : sequence of (array of shape (ways, lines), float)
        Surprise of the lines of each channel, and distance of lines, Hz.
    known_hz : float
        Speed so far: given, or read from lines of the plain spectrum.
    nominal_hz : float
        Speed as given; nothing is looked for further than REACH from it.
    bearings : sequence of BearingOrders
        Whose lines must not be taken for the shaft's.

    Returns
    -------
    Turning or None
        None where they say nothing, nothing else, or the record is too short to tell how sure that is.
    """
    orders = shaft_orders(bearings)
    if orders.size < FEWEST or not maps:
        return None
    step = min(line_hz for _, line_hz in maps) / (2.0 * float(orders[-1]))
    speeds: NDArray[np.float64] = nominal_hz * (1.0 - REACH) + step * np.arange(1.0 + int(2.0 * REACH * nominal_hz / step))
    around: NDArray[np.float64] = known_hz + step * np.arange(-2.0, 3.0)
    each = np.zeros((orders.size, speeds.size))
    known = np.zeros(around.size)
    for found, line_hz in maps:
        capped = np.minimum(found, MOST)
        each += _sums(capped, line_hz, speeds, orders)
        known += _sums(capped, line_hz, around, orders).sum(axis=0)
    sums = each.sum(axis=0)
    best = int(sums.argmax())
    if sums[best] < max(ABOVE_NEXT * float(known.max()), ABOVE_REST * float(np.median(sums))):
        return None
    if _is_one_rhythm(each, orders, best):
        return None
    flat = np.flatnonzero(sums >= 0.999 * sums[best])
    hz = float(speeds[flat].mean()) if np.ptp(flat) <= 4 else float(speeds[best])
    sure = _sure(sums, best)
    return None if sure is None else Turning(hz, sure)


def _sure(sums: NDArray[np.float64], best: int) -> float | None:
    """Compare the best speed with the best of each part of the reach that it is not in; None where those are too few."""
    parts = np.array_split(np.arange(sums.size), min(LOOKS, max(8, sums.size // 4)))
    apart = 2 * parts[0].size
    others = [float(sums[part].max()) for part in parts if part.size and min(abs(part[0] - best), abs(part[-1] - best)) > apart]
    if len(others) < FEWEST_OTHERS:
        return None
    return (1.0 - gumbel_tail(float(sums[best]), np.array(others))) ** len(parts)


def _is_one_rhythm(each: NDArray[np.float64], orders: NDArray[np.int64], best: int) -> bool:
    """Say whether only one multiple of a speed and multiples of that speak for it: then it is a rhythm of something else."""
    top = int(orders[int(each[:, best].argmax())])
    rest = each[orders % top != 0].sum(axis=0)
    return top > 1 and bool(rest[best] < APART_FROM_IT * float(np.median(rest)))


def _sums(found: Map, line_hz: float, speeds: NDArray[np.float64], orders: NDArray[np.int64]) -> NDArray[np.float64]:
    """Add up the surprise of all rows at each multiple of each speed, shape (orders, speeds)."""
    return np.array([comb(found, line_hz, float(order) * speeds, 1).sum(axis=0) for order in orders])
