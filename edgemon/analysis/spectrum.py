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
) -> Spectrum:
    """Average power over windows of `n_window` samples that overlap by half.

    Parameters
    ----------
    samples : array, shape (n,)
        Waveform in the house's unit of `quantity`; its mean is removed first.
    fs_hz, quantity, name
        As for `amplitude_spectrum`.
    n_window : int
        2 <= n_window <= n; samples left over at the end are not used.

    Returns
    -------
    Spectrum
        Root of the mean power of each line.

    Raises
    ------
    ParameterError
        Window longer than the waveform or shorter than 2, sample rate not above zero, unknown window.

    Notes
    -----
    Averaging does not lower a noise floor, it smooths it: relative error of a line's power 1 / sqrt(averages).
    Source: P. D. Welch, IEEE Trans. Audio Electroacoustics 15 (1967) 70-73.
    """
    if not 2 <= n_window <= samples.shape[-1]:
        raise ParameterError(f"window of {n_window} samples for a waveform of {samples.shape[-1]}", "n_window", "2 to all")
    if not (math.isfinite(fs_hz) and fs_hz > 0.0):
        raise ParameterError(f"sample rate {fs_hz} Hz", "fs_hz", "above zero")
    shape = window(name, n_window)
    wave = np.asarray(samples, np.float64)
    wave = (wave - wave.mean()).astype(np.float32)
    pieces = np.lib.stride_tricks.sliding_window_view(wave, n_window)[:: max(1, n_window // 2)]
    lines = scipy.fft.rfft(pieces * shape.samples.astype(np.float32), axis=1)
    power = np.mean(lines.real**2 + lines.imag**2, axis=0, dtype=np.float64)
    scale = math.sqrt(2.0) / (n_window * shape.coherent_gain)
    amplitude = np.sqrt(power) * scale
    amplitude[0] /= math.sqrt(2.0)
    if n_window % 2 == 0:
        amplitude[-1] /= math.sqrt(2.0)
    return Spectrum(amplitude.astype(np.float32), fs_hz / n_window, quantity, shape.noise_bandwidth_lines)
