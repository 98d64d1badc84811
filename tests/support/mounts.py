"""A sensor on a mounting that gives way: a mass on a spring with a damper, in the time domain; for tests."""

import math

import numpy as np
from numpy.typing import NDArray
from scipy import signal


def through_mounting(
    samples: NDArray[np.floating], fs_hz: float, resonance_hz: float, damping: float, above: int = 8
) -> NDArray[np.float64]:
    """Give what the sensor measures of its base's acceleration, shape (..., n).

    Parameters
    ----------
    above : int
        Times the sample rate at which the equation of motion is solved, so that its bilinear form is exact to the eye.

    Notes
    -----
    x'' + 2 z w x' + w^2 x = 2 z w y' + w^2 y, base y, sensor x. Source: closed form, in every text on vibration.
    """
    w = 2.0 * math.pi * resonance_hz
    b, a = signal.bilinear([2.0 * damping * w, w**2], [1.0, 2.0 * damping * w, w**2], above * fs_hz)
    fine = signal.resample(np.asarray(samples, np.float64), above * samples.shape[-1], axis=-1)
    return np.asarray(signal.resample(signal.lfilter(b, a, fine, axis=-1), samples.shape[-1], axis=-1))
