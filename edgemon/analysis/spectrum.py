"""One-sided r.m.s. amplitude spectra of a waveform, of one window or averaged over several."""

import math

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from edgemon.analysis.window import window
from edgemon.errors import ParameterError
from edgemon.model.spectrum import Spectrum
from edgemon.units import Quantity


def amplitude_spectrum(
    samples: NDArray[np.floating], fs_hz: float, quantity: Quantity = Quantity.ACCELERATION, name: str = "hann"
) -> Spectrum:
    """Take the spectrum of a whole waveform in one window, its mean removed.

    Parameters
    ----------
    samples : array, shape (n,)
        Waveform in the house's unit of `quantity`; n >= 2.
    fs_hz : float
        Sample rate, above zero.
    quantity : Quantity
        What the samples measure.
    name : str
        Window: `rectangular`, `hann` or `flat-top`.

    Returns
    -------
    Spectrum
        n // 2 + 1 lines; the line of a sine that falls on it is the sine's r.m.s. value.

    Raises
    ------
    ParameterError
        Fewer than 2 samples, sample rate not above zero, unknown window.

    Notes
    -----
    The first line and the one at half the sample rate have no twin at negative frequency, so they are not doubled.
    """
    return averaged_spectrum(samples, fs_hz, samples.shape[-1], quantity, name)


def averaged_spectrum(
    samples: NDArray[np.floating],
    fs_hz: float,
    n_window: int,
    quantity: Quantity = Quantity.ACCELERATION,
    name: str = "hann",
    overlap: float = 0.5,
    peak_hold: bool = False,
) -> Spectrum:
    """Average power over windows of `n_window` samples, or keep the highest of each line.

    Parameters
    ----------
    samples : array, shape (n,)
        Waveform in the house's unit of `quantity`; its mean is removed first.
    fs_hz, quantity, name
        As for `amplitude_spectrum`.
    n_window : int
        2 <= n_window <= n; samples left over at the end are not used.
    overlap : float
        Share of a window that the next one covers again, 0 <= overlap < 1.
    peak_hold : bool
        Keep the highest of each line instead of the mean power: for run-ups and what comes and goes.

    Returns
    -------
    Spectrum
        Root of the mean power of each line.

    Raises
    ------
    ParameterError
        Window longer than the waveform or shorter than 2, overlap or sample rate out of range, unknown window.

    Notes
    -----
    Averaging does not lower a noise floor, it smooths it: relative error of a line's power 1 / sqrt(averages).
    Source: P. D. Welch, IEEE Trans. Audio Electroacoustics 15 (1967) 70-73.
    """
    if not 2 <= n_window <= samples.shape[-1]:
        raise ParameterError(f"window of {n_window} samples for a waveform of {samples.shape[-1]}", "n_window", "2 to all")
    if not (math.isfinite(fs_hz) and fs_hz > 0.0):
        raise ParameterError(f"sample rate {fs_hz} Hz", "fs_hz", "above zero")
    shape, step = window(name, n_window), hop(n_window, overlap)
    wave = np.asarray(samples, np.float64)
    wave = (wave - wave.mean()).astype(np.float32)
    pieces = np.lib.stride_tricks.sliding_window_view(wave, n_window)[::step]
    lines = scipy.fft.rfft(pieces * shape.samples.astype(np.float32), axis=1)
    squares = lines.real**2 + lines.imag**2
    power = squares.max(axis=0).astype(np.float64) if peak_hold else np.mean(squares, axis=0, dtype=np.float64)
    scale = math.sqrt(2.0) / (n_window * shape.coherent_gain)
    amplitude = np.sqrt(power) * scale
    amplitude[0] /= math.sqrt(2.0)
    if n_window % 2 == 0:
        amplitude[-1] /= math.sqrt(2.0)
    return Spectrum(amplitude.astype(np.float32), fs_hz / n_window, quantity, shape.noise_bandwidth_lines)


def hop(n_window: int, overlap: float) -> int:
    """Give the samples from one window's start to the next, 1 or more; ParameterError where overlap is not 0 to below 1."""
    if not 0.0 <= overlap < 1.0:
        raise ParameterError(f"overlap of {overlap:g}", "overlap", "0 to below 1")
    return max(1, n_window - int(overlap * n_window))


def effective_averages(count: int, n_window: int, name: str = "hann", overlap: float = 0.5) -> float:
    """Give the number of independent averages that `count` overlapping ones are worth for noise.

    Parameters
    ----------
    count : int
        Windows averaged, 1 or more.
    n_window, name, overlap
        As for `averaged_spectrum`.

    Returns
    -------
    float
        The relative error of a line's power is one over its square root.

    Raises
    ------
    ParameterError
        No windows, unknown window, overlap out of range.

    Notes
    -----
    Variance (1 + 2 sum (1 - m / K) c_m^2) / K, with c_m the correlation of the window with itself m hops later.
    Source: P. D. Welch, IEEE Trans. Audio Electroacoustics 15 (1967) 70-73; F. J. Harris, Proc. IEEE 66 (1978) 51-83.
    """
    if count < 1:
        raise ParameterError(f"{count} averages", "count", "1 or more")
    shape, step = window(name, n_window).samples, hop(n_window, overlap)
    energy, spread = float(np.dot(shape, shape)), 1.0
    for m in range(1, min(count, -(-n_window // step))):
        shared = float(np.dot(shape[m * step :], shape[: n_window - m * step])) / energy
        spread += 2.0 * (1.0 - m / count) * shared**2
    return count / spread
