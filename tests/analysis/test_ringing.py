"""The band that rings with impacts: bursts in a known band are found there; noise, tones and a record's ends are no impacts."""

import numpy as np
import pytest
import scipy.signal

from edgemon.analysis.ringing import ringing_band

FS, N = 12800.0, 16384
T = np.arange(N) / FS


@pytest.mark.parametrize("centre", [1500.0, 3000.0, 5000.0])
def test_bursts_are_found_in_their_band(centre: float) -> None:
    since = (T * 37.0 % 1.0) / 37.0
    wave = np.exp(-since * 600.0) * np.sin(2.0 * np.pi * centre * since) + 0.05 * np.random.default_rng(1).standard_normal(N)
    found = ringing_band(wave, FS, 400.0)
    assert found is not None
    band, kurtosis = found
    assert band.low_hz < centre < band.high_hz
    assert kurtosis > 1.0


def ring(hz: float, size: float, at: float) -> np.ndarray:
    since = np.maximum(T - at, 0.0)
    return np.where(at <= T, size * np.exp(-since * 600.0) * np.sin(2.0 * np.pi * hz * since), 0.0)


@pytest.mark.parametrize("size", [5.0, 20.0, 50.0])
@pytest.mark.parametrize("centre", [1500.0, 3000.0])
def test_one_large_shock_does_not_draw_the_band_to_itself(size: float, centre: float) -> None:
    """What kurtosis alone falls for: J. Antoni, Mech. Syst. Signal Process. 21 (2007) 108-124 (from memory).

    Bursts that come again decide, not one that is 5 to 50 times as large in another band; with noise alone none rings.
    """
    since = (T * 37.0 % 1.0) / 37.0
    noise = np.random.default_rng(1).standard_normal(N)
    bursts = np.exp(-since * 600.0) * np.sin(2.0 * np.pi * centre * since) + 0.05 * noise
    alone, both = ringing_band(bursts, FS, 400.0), ringing_band(bursts + ring(5000.0, size, 0.7), FS, 400.0)
    assert alone is not None
    assert both is not None
    assert both[0] == alone[0]
    assert both[1] == pytest.approx(alone[1], rel=0.1)
    assert ringing_band(noise + ring(5000.0, size, 0.7), FS, 400.0) is None


@pytest.mark.parametrize("rate", [8.0, 20.0, 100.0])
def test_the_kurtosis_told_is_the_median_over_eight_parts(rate: float) -> None:
    """Second method: the band by a long filter, its envelope by SciPy's Hilbert transform, the record cut in eight."""
    since = (T * rate % 1.0) / rate
    wave = np.exp(-since * 600.0) * np.sin(2.0 * np.pi * 3000.0 * since) + 0.2 * np.random.default_rng(1).standard_normal(N)
    found = ringing_band(wave, FS, 400.0)
    assert found is not None
    band, kurtosis = found
    shape = scipy.signal.firwin(2001, [band.low_hz, band.high_hz], pass_zero=False, fs=FS)
    square = np.abs(scipy.signal.hilbert(scipy.signal.fftconvolve(wave, shape, mode="same"))) ** 2
    parts = np.array_split(square[N // 32 : -N // 32], 8)
    direct = np.median([np.mean(part**2) / np.mean(part) ** 2 - 2.0 for part in parts])
    assert kurtosis == pytest.approx(direct, rel=0.15)


def test_noise_rings_in_one_of_many_at_most() -> None:
    """Five standard deviations of some thirty half-overlapped bands: none of forty records is expected to."""
    random = np.random.default_rng(4)
    assert sum(ringing_band(random.standard_normal(N), FS, 400.0) is not None for _ in range(40)) <= 1


def test_tones_that_do_not_fit_the_record_do_not_ring() -> None:
    tone = np.sin(2.0 * np.pi * 50.33 * T) + 0.01 * np.random.default_rng(4).standard_normal(N)
    assert ringing_band(tone, FS, 400.0) is None


@pytest.mark.parametrize("wave", [np.zeros(N), np.ones(N), np.zeros(20), np.zeros(1)])
def test_where_nothing_moves_nothing_rings(wave: np.ndarray) -> None:
    assert ringing_band(wave, FS, 400.0) is None


def test_a_shaft_that_knocks_at_low_frequency_is_no_band_that_rings() -> None:
    """Pulses of many harmonics of 25 Hz, none above 400 Hz: impulsive, but the beats of the shaft's own lines."""
    knocks = sum(np.cos(2.0 * np.pi * 25.0 * k * T) for k in range(1, 16))
    found = ringing_band(knocks + 0.5 * np.random.default_rng(1).standard_normal(N), FS, 800.0)
    assert found is None or found[0].low_hz > 0.0
