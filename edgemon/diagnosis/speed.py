"""Shaft speed from the record itself: from one line that stands out, up a ladder of its harmonics."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.diagnosis.record import Record

TOLERANCE = 0.02
"""How far a nominal speed may be off: slip of an induction motor between no load and full load, common practice."""
FIRST = 8.0
"""Times its surroundings (18 dB) that the first line must reach. House choice: in white noise of 4000 lines none does."""
NEXT = 5.0
"""Times its surroundings (14 dB) for a harmonic at a place already predicted."""
HIGHEST = 12


@dataclass(frozen=True, slots=True)
class ShaftSpeed:
    """Shaft speed and where it comes from."""

    hz: float
    basis: str
    measured: bool
    """Found in the record, not only given."""


def shaft_speed(record: Record, nominal_hz: float, supply_hz: float | None = None) -> ShaftSpeed:
    """Refine a nominal speed by the record's own lines, or give it back unchanged where none stands out.

    Parameters
    ----------
    record : Record
        The record.
    nominal_hz : float
        Speed as given, above zero.
    supply_hz : float, optional
        Supply frequency of the motor: lines at multiples of twice it are the field's and never taken for the shaft's.

    Notes
    -----
    The strongest of the first three orders within TOLERANCE is the foot of the ladder; each higher order is looked for
    only within a line of where the speed found so far puts it, so that neighbours (twice supply frequency, ball pass
    near a whole order) are not taken for harmonics. A Hann window places a line between two by the ratio of both.
    Source: kinematics; M. Gasior, J. L. Gonzalez, AIP Conf. Proc. 732 (2004) 276-285 (interpolation, from memory).
    """
    line_hz = record.line_hz
    size = _sizes(record.samples)
    if supply_hz is not None:
        field = np.arange(2.0 * supply_hz, line_hz * (size.shape[1] - 3), 2.0 * supply_hz)
        for at in np.rint(field / line_hz).astype(int):
            size[:, at - 2 : at + 3] = size[:, [at - 3]]
    foot: tuple[float, float, int] | None = None
    for row in size:
        for order in (1, 2, 3):
            found = _line(row, line_hz, order, nominal_hz * (1 - TOLERANCE), nominal_hz * (1 + TOLERANCE), nominal_hz)
            if found is not None and found[1] >= FIRST * order and (foot is None or found[1] / order > foot[1]):
                foot = (found[0], found[1] / order, order)
    if foot is None:
        return ShaftSpeed(nominal_hz, "given", measured=False)
    speed, _, start = foot
    within = line_hz / start
    weight = total = 0.0
    used: list[int] = []
    for order in range(1, HIGHEST + 1):
        for row in size:
            reach = max(within, line_hz / order)
            found = _line(row, line_hz, order, speed - reach, speed + reach, nominal_hz)
            if found is None or found[1] < NEXT:
                continue
            trust = order**2 * min(found[1], 30.0)
            weight, total = weight + trust, total + trust * found[0]
            used.append(order)
        if weight:
            speed, within = total / weight, 0.5 * line_hz / order
    orders = ", ".join(f"{order}x" for order in sorted(set(used)))
    return ShaftSpeed(speed, f"measured from {orders}", measured=True)


def _sizes(samples: NDArray[np.float64]) -> NDArray[np.float64]:
    shape = np.hanning(samples.shape[1] + 1)[:-1]
    return np.asarray(np.abs(np.fft.rfft((samples - samples.mean(axis=1, keepdims=True)) * shape, axis=1)))


def _line(
    row: NDArray[np.float64], line_hz: float, order: int, low_hz: float, high_hz: float, around_hz: float
) -> tuple[float, float] | None:
    """Find the strongest line of an order: speed it means, and times its surroundings."""
    first = max(2, int(low_hz * order / line_hz))
    last = min(row.size - 3, int(high_hz * order / line_hz) + 1)
    if last < first:
        return None
    at = first + int(row[first : last + 1].argmax())
    left, middle, right = row[at - 1 : at + 2].tolist()
    if not middle > 0.0 or middle < max(left, right):
        return None
    side = max(left, right) / middle
    shift = (2.0 * side - 1.0) / (1.0 + side) * (1.0 if right > left else -1.0)
    reach = max(10, int(0.3 * around_hz / line_hz))
    surroundings = float(np.median(row[max(1, at - reach) : at + reach + 1]))
    return (at + shift) * line_hz / order, middle / max(surroundings, np.finfo(float).tiny)
