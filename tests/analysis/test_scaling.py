"""Set-up and reading of spectra: the usual table of lines and times, closed forms, Welch's averages."""

import math

import numpy as np
import pytest
import scipy.signal

from edgemon.analysis.band import band_rms
from edgemon.analysis.spectrum import averaged_spectrum, effective_averages
from edgemon.errors import ParameterError

FS = 2560.0


# F. J. Harris, Proc. IEEE 66 (1978): var = (1 + 2 c^2) / K - 2 c^2 / K^2 at 50 %, c = 1/6 for Hann; 75 % likewise (recomputed)
@pytest.mark.parametrize(
    ("count", "overlap", "worth"),
    [(10, 0.5, 9.52), (30, 0.5, 28.47), (100, 0.5, 94.79), (10, 0.75, 5.47), (30, 0.75, 15.86), (100, 0.75, 52.22),
     (7, 0.0, 7.0), (1, 0.0, 1.0), (1, 0.75, 1.0)],
)  # fmt: skip
def test_effective_averages(count: int, overlap: float, worth: float) -> None:
    assert effective_averages(count, 1024, "hann", overlap) == pytest.approx(worth, abs=0.01)


def test_scatter_of_averages_is_that_of_effective_averages() -> None:
    noise = np.random.default_rng(2).normal(size=1024 * 8)
    for overlap in (0.0, 0.5, 0.75):
        count = 1 + (noise.size - 1024) // round(1024 * (1.0 - overlap))
        power = averaged_spectrum(noise, FS, 1024, overlap=overlap).amplitude[5:-5].astype(np.float64) ** 2
        assert power.std() / power.mean() == pytest.approx(effective_averages(count, 1024, "hann", overlap) ** -0.5, rel=0.15)


@pytest.mark.parametrize("overlap", [0.0, 0.5, 0.75])
def test_overlap_against_welch(overlap: float) -> None:
    noise = np.random.default_rng(3).normal(size=8192)
    ours = averaged_spectrum(noise, FS, 1024, overlap=overlap).amplitude.astype(np.float64)
    _, power = scipy.signal.welch(
        noise - noise.mean(), FS, "hann", 1024, round(1024 * overlap), detrend=False, scaling="spectrum"
    )
    np.testing.assert_allclose(ours, np.sqrt(power), rtol=1e-4, atol=1e-6)


def test_peak_hold_keeps_what_comes_and_goes() -> None:
    t = np.arange(16384) / FS
    burst = np.where((t > 2.0) & (t < 3.0), math.sqrt(2.0) * np.sin(2.0 * np.pi * 500.0 * t), 0.0)
    held = averaged_spectrum(burst, FS, 1024, peak_hold=True)
    mean = averaged_spectrum(burst, FS, 1024)
    assert held.amplitude[200] == pytest.approx(1.0, rel=0.01)
    assert mean.amplitude[200] < 0.5


def test_overall_of_time_and_of_spectrum_agree() -> None:
    rng = np.random.default_rng(8)
    signal = rng.normal(size=32768) + np.sin(2.0 * np.pi * 77.7 * np.arange(32768) / FS)
    for name in ("rectangular", "hann", "flat-top"):
        overall = band_rms(averaged_spectrum(signal, FS, 2048, name=name, overlap=0.75), 0.0, FS / 2.0)
        assert overall == pytest.approx(signal.std(), rel=0.01)


def test_overlap_out_of_range_is_refused() -> None:
    with pytest.raises(ParameterError, match="overlap"):
        averaged_spectrum(np.ones(64), FS, 16, overlap=1.0)
    with pytest.raises(ParameterError, match="averages"):
        effective_averages(0, 16)
