"""Demodulation: closed forms of an amplitude-modulated tone, the Rayleigh law for noise, and scipy.signal.hilbert."""

import math

import numpy as np
import pytest
import scipy.signal

from edgemon.analysis.envelope import envelope, envelope_spectrum
from edgemon.errors import ParameterError
from edgemon.model.level import Band
from tests.analysis.signals import captured, full, levels

FS = 8192.0
T = np.arange(8192) / FS
MODULATED = (1.0 + 0.5 * np.cos(2.0 * np.pi * 20.0 * T)) * np.cos(2.0 * np.pi * 1000.0 * T)
BAND = Band(500.0, 1500.0)


def test_envelope_of_a_modulated_tone() -> None:
    # mean 1, 0.5 at 20 Hz (peak), nothing else
    wave = envelope(MODULATED, FS, BAND)
    assert wave.mean() == pytest.approx(1.0, abs=1e-5)
    np.testing.assert_allclose(wave, 1.0 + 0.5 * np.cos(2.0 * np.pi * 20.0 * T), atol=1e-4)
    spectrum = envelope_spectrum(MODULATED, FS, BAND)
    assert spectrum.amplitude[20] == pytest.approx(0.5 / math.sqrt(2.0), rel=1e-4)
    assert spectrum.amplitude[40] < 1e-4
    squared = wave.astype(np.float64) ** 2  # mean 1.125, 1.0 at 20 Hz, 0.125 at 40 Hz
    lines = np.abs(np.fft.rfft(squared)) / squared.size
    assert (lines[0], 2.0 * lines[20], 2.0 * lines[40]) == pytest.approx((1.125, 1.0, 0.125), abs=1e-4)


def test_levels_of_a_modulated_tone() -> None:
    found, _ = full(captured(MODULATED, FS, envelope_band=BAND))
    assert found["envelope_rms"].value == pytest.approx(0.5 / math.sqrt(2.0), rel=0.02)  # 19.x periods between the edges
    assert found["envelope_peak"].value == pytest.approx(0.5, rel=0.02)
    assert found["envelope_rms"].band == BAND


def test_steady_tone_has_no_envelope_about_its_mean() -> None:
    found = levels(captured(np.cos(2.0 * np.pi * 1000.5 * T), FS, envelope_band=BAND))
    assert found["envelope_rms"] < 2e-3
    assert found["envelope_peak"] < 5e-3


@pytest.mark.parametrize("band", [Band(990.0, 1010.0), Band(980.0, 1020.0)])
def test_a_steady_tone_in_a_narrow_band_has_hardly_any(band: Band) -> None:
    # where the record's edge is as slow as the band, dividing it out again must stop before it makes impacts of nothing
    assert levels(captured(np.cos(2.0 * np.pi * 1000.5 * T), FS, envelope_band=band))["envelope_peak"] < 0.06


def test_noise_follows_rayleigh() -> None:
    n = 1 << 17
    found = levels(captured(np.random.default_rng(9).normal(size=n), FS, envelope_band=Band(1000.0, 3000.0)))
    sigma = math.sqrt(2000.0 / 4096.0)  # share of the band
    assert found["envelope_rms"] == pytest.approx(sigma * math.sqrt(2.0 - math.pi / 2.0), rel=0.02)


def test_a_jump_between_the_ends_is_not_an_impact() -> None:
    slow = np.cos(2.0 * np.pi * 24.5 * np.arange(16384) / 25600.0)  # ends where it did not begin
    assert levels(captured(slow, 25600.0))["envelope_peak"] < 1e-4


@pytest.mark.parametrize("seed", range(4))
def test_impacts_against_hilbert(seed: int) -> None:
    """Float64: band cut by numpy.fft, then scipy.signal.hilbert; compared away from the record's ends."""
    rng = np.random.default_rng(seed)
    fs_hz, n = 25600.0, 16384
    ring = np.exp(-np.arange(300) / 40.0) * np.sin(2.0 * np.pi * 4200.0 * np.arange(300) / fs_hz)
    signal = rng.normal(size=n) * 0.1
    for at in range(700, n - 400, 287):
        signal[at : at + 300] += ring * rng.uniform(0.8, 1.2)
    wave = captured(signal, fs_hz)
    found = levels(wave)
    assert levels(wave).keys() >= {"envelope_rms", "envelope_peak"}
    lines = np.fft.rfft(wave.counts * wave.si_per_count)
    f = np.fft.rfftfreq(n, 1.0 / fs_hz)
    lines[(f < 2500.0) | (f > 10000.0)] = 0.0
    direct = np.abs(scipy.signal.hilbert(np.fft.irfft(lines, n)))[1000:-1000]
    assert found["envelope_rms"] == pytest.approx(direct.std(), rel=0.03)  # not exactly the same stretch
    assert found["envelope_peak"] == pytest.approx(direct.max() - direct.mean(), rel=0.06)


def test_usual_band_follows_the_rate_and_a_band_beyond_it_is_cut() -> None:
    noise = np.random.default_rng(3).normal(size=4096)
    assert full(captured(noise, 25600.0))[0]["envelope_rms"].band == Band(2500.0, 10000.0)
    found, _ = full(captured(noise, 2560.0, envelope_band=Band(1000.0, 5000.0)))
    assert found["envelope_rms"].band == Band(1000.0, 1280.0)
    assert found["envelope_rms"].remark == "sample rate too low for the band: cut at 1280 Hz"
    found, verdict = full(captured(noise, 2560.0, envelope_band=Band(2000.0, 5000.0)))
    assert "envelope_rms" not in found
    assert "no lines of this capture in the envelope's band 2000-5000 Hz" in verdict.remarks


def test_band_without_lines_is_refused() -> None:
    with pytest.raises(ParameterError, match="no line"):
        envelope(MODULATED, FS, Band(5000.0, 6000.0))
