"""The band that rings with impacts: bursts in a known band are found there; noise, tones and a record's ends are no impacts."""

import numpy as np
import pytest

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
