"""Demodulation: how the strength of a band of high frequency varies, which is where impacts of a bearing show.

The envelope is the size of the analytic signal of the band-passed acceleration. Its mean is removed before either level is
taken: with the mean its r.m.s. value is only sqrt(2) times the band's own, and says nothing about impacts.
Source: R. B. Randall, J. Antoni, Mech. Syst. Signal Process. 25 (2011) 485-520 (from memory); the mean's part is Parseval's.
"""

import math

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from edgemon.analysis.block import Figures
from edgemon.analysis.spectrum import amplitude_spectrum
from edgemon.errors import ParameterError
from edgemon.model.level import Band
from edgemon.model.spectrum import Spectrum


def envelope_rms(figures: Figures) -> float:
    """R.m.s. of the envelope about its mean, counts."""
    return math.sqrt(max(0.0, figures.envelope_square - figures.envelope_mean**2))


def envelope_peak(figures: Figures) -> float:
    """Highest value of the envelope above its mean, counts: a true peak."""
    return figures.envelope_top - figures.envelope_mean


def envelope(samples: NDArray[np.floating], fs_hz: float, band: Band) -> NDArray[np.float32]:
    """Give the envelope of a band of a waveform, mean kept, at the waveform's own rate.

    Parameters
    ----------
    samples : array, shape (n,)
        Waveform; n >= 2.
    fs_hz : float
        Sample rate.
    band : Band
        Lines inside it count fully, others not at all; it must hold at least one line between 0 Hz and half the rate.

    Returns
    -------
    array, shape (n,)
        Unit of the samples. Its first and last stretch, about the inverse of the bandwidth, suffer from the record's ends.

    Raises
    ------
    ParameterError
        No line of the waveform lies in the band.
    """
    n = samples.shape[-1]
    line_hz = fs_hz / n
    first = max(1, math.ceil(band.low_hz / line_hz - 1e-9))
    last = min((n - 1) // 2, math.floor(band.high_hz / line_hz + 1e-9))
    if last < first:
        raise ParameterError(
            f"no line of the waveform lies in {band}", "band", f"lines every {line_hz:g} Hz to {fs_hz / 2:g} Hz"
        )
    wave = np.asarray(samples, np.float64)
    lines = scipy.fft.rfft((wave - wave.mean()).astype(np.float32))
    padded = np.zeros(n, np.complex64)
    padded[first : last + 1] = 2.0 * lines[first : last + 1]
    return np.asarray(np.abs(scipy.fft.ifft(padded, overwrite_x=True)), np.float32)


def envelope_spectrum(samples: NDArray[np.floating], fs_hz: float, band: Band, name: str = "hann") -> Spectrum:
    """Take the spectrum of the envelope of a band, its mean removed; arguments and errors as for `envelope`."""
    return amplitude_spectrum(envelope(samples, fs_hz, band), fs_hz, name=name)
