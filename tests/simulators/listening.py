"""Second opinions on a waveform, by direct summation and by SciPy: nothing here comes from the simulators."""

import numpy as np
from numpy.typing import NDArray
from scipy.signal import hilbert

Array = NDArray[np.float64]


def amplitude_at(wave: Array, fs_hz: float, hz: float) -> float:
    """Peak amplitude of the line at a frequency, by direct summation over a Hann window (Harris 1978)."""
    n = wave.size
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(n) / n)
    turning = np.exp(-2j * np.pi * hz * np.arange(n) / fs_hz)
    return float(2.0 * abs(np.sum((wave - wave.mean()) * window * turning)) / window.sum())


def velocity_rms(wave: Array, fs_hz: float, low_hz: float = 10.0, high_hz: float = 1000.0) -> float:
    """R.m.s. velocity in a band, mm/s, of acceleration in m/s2: power spectrum divided by (2 pi f) squared."""
    n = wave.size
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(n) / n)
    lines = np.fft.rfft((wave - wave.mean()) * window)
    hz = np.fft.rfftfreq(n, 1.0 / fs_hz)
    band = (hz >= low_hz) & (hz <= high_hz)
    power = 2.0 * np.abs(lines[band] / (2.0 * np.pi * hz[band])) ** 2 / (n * np.sum(window**2))
    return float(1e3 * np.sqrt(power.sum()))


def band_pass(wave: Array, fs_hz: float, low_hz: float, high_hz: float) -> Array:
    """What lies between two frequencies, by an ideal filter."""
    lines = np.fft.rfft(wave)
    hz = np.fft.rfftfreq(wave.size, 1.0 / fs_hz)
    lines[(hz < low_hz) | (hz > high_hz)] = 0.0
    return np.asarray(np.fft.irfft(lines, wave.size))


def envelope(wave: Array, fs_hz: float, low_hz: float, high_hz: float) -> Array:
    """Envelope of a band, by SciPy's analytic signal."""
    return np.asarray(np.abs(hilbert(band_pass(wave, fs_hz, low_hz, high_hz))))


def strongest(wave: Array, fs_hz: float, low_hz: float, high_hz: float) -> float:
    """Frequency of the strongest line between two frequencies, Hz."""
    n = wave.size
    lines = np.abs(np.fft.rfft((wave - wave.mean()) * np.hanning(n)))
    hz = np.fft.rfftfreq(n, 1.0 / fs_hz)
    lines[(hz < low_hz) | (hz > high_hz)] = 0.0
    return float(hz[np.argmax(lines)])
