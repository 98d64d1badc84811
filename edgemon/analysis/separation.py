"""What repeats itself (shafts, gears) apart from what does not (bearings, flow, friction)."""

from dataclasses import dataclass

import numpy as np
import scipy.interpolate
import scipy.linalg
import scipy.signal
from numpy.typing import NDArray

from edgemon.analysis.orders import synchronous_average
from edgemon.errors import ParameterError


@dataclass(frozen=True, slots=True, eq=False)
class Separated:
    """Two waveforms that add up to the record about its mean, shape (n,), unit of the samples."""

    periodic: NDArray[np.float64]
    rest: NDArray[np.float64]


def by_prediction(samples: NDArray[np.floating], order: int, delay: int = 1) -> Separated:
    """Predict each sample from `order` samples, the newest of them `delay` samples back; what cannot be predicted is the rest.

    Parameters
    ----------
    samples : array, shape (n,)
        Waveform.
    order : int
        Length of the predictor, 1 or more; order + delay <= n / 4. More than twice the number of sines, some hundreds.
    delay : int
        1 or more. With 1 the rest is white but for impacts (linear prediction); a delay longer than the random part
        remembers itself leaves only sines in the predicted part (discrete/random separation).

    Returns
    -------
    Separated
        The first order + delay - 1 samples are not predicted in full.

    Raises
    ------
    ParameterError
        Order or delay out of range, or a record in which nothing moves.

    Notes
    -----
    Least mean square by the record's autocorrelation (Yule-Walker, Levinson's recursion).
    Source: J. Makhoul, Proc. IEEE 63 (1975) 561-580; J. Antoni, R. B. Randall, Mech. Syst. Signal Process. 18 (2004)
    89-101 and 103-117 (from memory).
    """
    n = samples.shape[-1]
    if order < 1 or delay < 1 or 4 * (order + delay) > n:
        raise ParameterError(f"order {order}, delay {delay} for {n} samples", "order, delay", "1 or more, a quarter at most")
    wave = np.asarray(samples, np.float64)
    wave = wave - wave.mean()
    alike = scipy.signal.correlate(wave, wave, method="fft")[n - 1 : n - 1 + order + delay]
    if not alike[0] > 0.0:
        raise ParameterError("a record in which nothing moves", "samples", "some vibration")
    alike[0] *= 1.0 + 1e-9  # keeps pure sines solvable
    weights = scipy.linalg.solve_toeplitz(alike[:order], alike[delay:])
    kernel = np.concatenate((np.zeros(delay), weights))
    periodic = scipy.signal.fftconvolve(wave, kernel)[:n]
    return Separated(periodic, wave - periodic)


def by_averaging(samples: NDArray[np.floating], turns: NDArray[np.floating], per_revolution: int) -> Separated:
    """Take the average revolution of a shaft out of every revolution: what is locked to that shaft alone is the periodic part.

    Parameters
    ----------
    samples, turns, per_revolution
        As for `orders.over_angle`.

    Returns
    -------
    Separated
        With k revolutions a k-th of the rest's power at whole orders stays in the periodic part.

    Raises
    ------
    ParameterError
        As for `orders.synchronous_average`.
    """
    average, _ = synchronous_average(samples, turns, per_revolution)
    average = average - average.mean()
    angle = np.arange(per_revolution + 1) / per_revolution
    curve = scipy.interpolate.CubicSpline(angle, np.append(average, average[0]), bc_type="periodic")
    wave = np.asarray(samples, np.float64)
    periodic = np.asarray(curve((turns - turns[0]) % 1.0))
    return Separated(periodic, wave - wave.mean() - periodic)
