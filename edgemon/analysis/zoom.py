"""A stretch of a spectrum on a grid of lines as dense as wanted."""

import math
from dataclasses import dataclass

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from edgemon.analysis.window import window
from edgemon.errors import ParameterError
from edgemon.units import Quantity


@dataclass(frozen=True, slots=True, eq=False)
class Zoom:
    """R.m.s. amplitudes from first_hz in steps of step_hz, house's unit of the quantity."""

    amplitude: NDArray[np.float32]
    first_hz: float
    step_hz: float
    resolution_hz: float
    """Noise bandwidth of the window: closer sines are one, however small the steps."""
    quantity: Quantity


def zoom_spectrum(
    samples: NDArray[np.floating],
    fs_hz: float,
    low_hz: float,
    high_hz: float,
    lines: int,
    quantity: Quantity = Quantity.ACCELERATION,
    name: str = "hann",
) -> Zoom:
    """Take `lines` lines evenly between two frequencies, both included, of a whole waveform, its mean removed.

    Parameters
    ----------
    samples : array, shape (n,)
        Waveform; n >= 2.
    fs_hz : float
        Sample rate, above zero.
    low_hz, high_hz : float
        0 < low_hz < high_hz < half the sample rate.
    lines : int
        2 or more.
    quantity, name
        What the samples measure; window.

    Returns
    -------
    Zoom
        Only a longer record tells apart what lies closer than its resolution: zooming shows a peak's shape and top.

    Raises
    ------
    ParameterError
        Band, lines, samples or sample rate out of range, unknown window.

    Notes
    -----
    Chirp z-transform. Source: L. R. Rabiner, R. W. Schafer, C. M. Rader, Bell Syst. Tech. J. 48 (1969) 1249-1292.
    """
    n = samples.shape[-1]
    if n < 2 or lines < 2:
        raise ParameterError(f"{n} samples, {lines} lines", "samples, lines", "2 or more of both")
    if not (math.isfinite(fs_hz) and 0.0 < low_hz < high_hz < fs_hz / 2.0):
        raise ParameterError(f"band {low_hz:g}-{high_hz:g} Hz at {fs_hz:g} Hz", "low_hz, high_hz", "0 < low < high < rate / 2")
    shape = window(name, n)
    wave = np.asarray(samples, np.float64)
    found = scipy.signal.zoom_fft((wave - wave.mean()) * shape.samples, [low_hz, high_hz], m=lines, fs=fs_hz, endpoint=True)
    amplitude = np.abs(found) * (math.sqrt(2.0) / (n * shape.coherent_gain))
    step = (high_hz - low_hz) / (lines - 1)
    return Zoom(amplitude.astype(np.float32), low_hz, step, shape.noise_bandwidth_lines * fs_hz / n, quantity)
