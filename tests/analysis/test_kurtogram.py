"""Bands and their kurtosis against closed forms and a second method."""

import math

import numpy as np
import pytest
import scipy.signal

from edgemon.analysis.kurtogram import MIN_LINES, band_tree, kurtogram, squared_envelope
from edgemon.errors import ParameterError
from edgemon.model.level import Band

FS_HZ = 8192.0


def test_the_tree_has_the_bands_of_the_third_binary_kurtogram() -> None:
    """1, 2, 3, 4, 6, 8 bands to a level: J. Antoni, Mech. Syst. Signal Process. 21 (2007) 108-124."""
    widths = [round(band.high_hz - band.low_hz, 6) for band in band_tree(4096.0, 500.0)]
    assert [widths.count(round(4096.0 / k, 6)) for k in (1, 2, 3, 4, 6, 8)] == [1, 2, 3, 4, 6, 8]
    assert min(widths) >= 500.0


def test_kurtosis_of_noise_and_of_a_tone() -> None:
    """0 for stationary Gaussian noise, -1 for a steady tone, far above 0 for impulses; noise scatters by sqrt(4 / frames)."""
    n = 2**16
    noise = np.random.default_rng(2).standard_normal(n)
    tone = np.cos(2.0 * np.pi * 1000.0 * np.arange(n) / FS_HZ)
    pulses = np.zeros(n)
    pulses[::800] = 1.0
    band = Band(500.0, 1500.0)
    for wave, low, high in ((noise, -0.1, 0.1), (tone, -1.0001, -0.999), (pulses, 5.0, 1e9)):
        found = squared_envelope(np.fft.rfft(wave), FS_HZ / n, band)
        assert low < found.kurtosis < high
        assert float(found.samples.mean()) == pytest.approx(1.0)


@pytest.mark.parametrize("lines", [100, 400, 1600])
def test_scatter_of_kurtosis_in_noise(lines: int) -> None:
    """Variance about 4 over the independent values (J. Antoni, 2006, from memory), of which the band has one a line; of an
    envelope in all its samples 8/3 over the lines: 16 + 4 (2/3) + 16 - 32, with the integral of sinc^4 (derived)."""
    n, rng = 8192, np.random.default_rng(lines)
    band = Band(500.0, 500.0 + lines)
    found = [squared_envelope(np.fft.rfft(rng.standard_normal(n)), FS_HZ / n, band).kurtosis for _ in range(200)]
    assert np.std(found) == pytest.approx(math.sqrt(8.0 / 3.0 / lines), rel=0.15)
    assert np.mean(found) == pytest.approx(0.0, abs=4.0 * math.sqrt(4.0 / lines / 200.0) + 2.0 / lines)


@pytest.mark.parametrize("log2_n", [12, 14, 16])
def test_the_tree_is_no_deeper_than_its_author_advises(log2_n: int) -> None:
    """Depth log2(n) - 7 at most, that is bands of 64 lines or more: code published with J. Antoni (2007)."""
    n = 2**log2_n
    lines = np.fft.rfft(np.random.default_rng(1).standard_normal(n))
    narrowest = min(one.band.high_hz - one.band.low_hz for one in kurtogram(lines, 1.0, 1.0))
    assert n / 2.0 / narrowest <= 2 ** (log2_n - 7)


def test_squared_envelope_of_a_modulated_carrier() -> None:
    """(1 + 0.5 cos 40 pi t) cos 2000 pi t: squared envelope mean 1.125, line 1.0 at 20 Hz, 0.125 at 40 Hz."""
    time = np.arange(8192) / FS_HZ
    wave = (1.0 + 0.5 * np.cos(2.0 * np.pi * 20.0 * time)) * np.cos(2.0 * np.pi * 1000.0 * time)
    found = squared_envelope(np.fft.rfft(wave), 1.0, Band(600.0, 1400.0)).samples * 1.125
    lines = 2.0 * np.abs(np.fft.rfft(found)) / found.size
    assert (lines[20], lines[40]) == pytest.approx((1.0, 0.125), abs=1e-9)


def test_a_band_against_filter_and_hilbert_transform() -> None:
    n = 2**15
    wave = np.random.default_rng(3).standard_normal(n)
    found = squared_envelope(np.fft.rfft(wave), FS_HZ / n, Band(1000.0, 2000.0)).samples
    shape = scipy.signal.firwin(2001, [1000.0, 2000.0], pass_zero=False, fs=FS_HZ)
    other = np.abs(scipy.signal.hilbert(scipy.signal.fftconvolve(wave, shape, mode="same"))) ** 2
    at = np.arange(found.size) * n / found.size
    near = np.interp(at, np.arange(n), other / other.mean())
    assert np.corrcoef(found[100:-100], near[100:-100])[0, 1] > 0.98


def test_too_narrow_a_band_is_refused_and_silence_is_level() -> None:
    lines = np.fft.rfft(np.random.default_rng(4).standard_normal(1024))
    with pytest.raises(ParameterError):
        squared_envelope(lines, 1.0, Band(100.0, 100.0 + MIN_LINES - 2))
    assert squared_envelope(np.zeros(513, complex), 1.0, Band(0.0, 512.0)).samples.tolist()[:3] == [1.0, 1.0, 1.0]
    assert len(kurtogram(lines, 1.0, 100.0)) > 3
