"""Which way a sensor with three axes lies: a converter coupled down to 0 Hz carries gravity in the means of its axes."""

import math

import numpy as np
from numpy.typing import NDArray

from edgemon.units import STANDARD_GRAVITY

TOLERANCE_G = 0.1
"""By how much the length of the means may differ from gravity: offsets of MEMS sensors. Common practice, no source."""

Vector = NDArray[np.float64]


def gravity_of(samples: NDArray[np.floating]) -> Vector | None:
    """Give gravity as the axes of a sensor carry it.

    Parameters
    ----------
    samples : array, shape (3, n)
        Acceleration of three axes at right angles, m/s2.

    Returns
    -------
    array, shape (3,), or None
        Means of the axes; None where they are not as long as gravity, within a tenth: then 0 Hz is not coupled, or an axis is
        off.
    """
    if samples.ndim != 2 or samples.shape[0] != 3 or samples.shape[1] == 0:
        return None
    means = np.asarray(samples.mean(axis=1), np.float64)
    return means if is_gravity(means) else None


def is_gravity(means: Vector) -> bool:
    """Say whether a vector is as long as gravity, within a tenth of it."""
    return abs(float(np.linalg.norm(means)) / STANDARD_GRAVITY - 1.0) <= TOLERANCE_G


def turned_deg(then: Vector, now: Vector) -> float:
    """Give the angle between two directions, degrees, 0 to 180."""
    apart = float(np.linalg.norm(np.cross(then, now)))
    return math.degrees(math.atan2(apart, float(np.dot(then, now))))
