"""Pre-whitening against closed forms."""

import numpy as np
import pytest
import scipy.fft

from edgemon.analysis.cepstrum import prewhitened


def test_prewhitened_lines_have_size_one_and_their_phase() -> None:
    """R.m.s. of the waveform made of them is 1/sqrt(n): 0.015625 for 4096 samples (Parseval)."""
    wave = np.random.default_rng(1).standard_normal(4096)
    lines = np.fft.rfft(wave)
    white = prewhitened(lines)
    assert np.abs(white) == pytest.approx(1.0)
    assert np.angle(white * np.conj(lines)) == pytest.approx(0.0, abs=1e-9)
    assert np.sqrt(np.mean(np.fft.irfft(white, 4096) ** 2)) == pytest.approx(0.015625, rel=1e-9)


def test_a_line_that_is_zero_stays_zero() -> None:
    assert prewhitened(np.array([0.0 + 0.0j, 3.0 - 4.0j])) == pytest.approx([0.0, 0.6 - 0.8j])


def test_it_is_what_is_left_when_the_real_cepstrum_is_set_to_zero() -> None:
    """Second method, as the name says: log of the size, its transform, all of it set to zero, and back again."""
    wave = np.random.default_rng(2).standard_normal(1024) + 5.0 * np.sin(2.0 * np.pi * 0.1 * np.arange(1024))
    lines = scipy.fft.fft(wave)
    cepstrum = scipy.fft.ifft(np.log(np.abs(lines))).real
    left = np.exp(scipy.fft.fft(np.zeros_like(cepstrum))) * np.exp(1j * np.angle(lines))
    np.testing.assert_allclose(np.fft.irfft(prewhitened(np.fft.rfft(wave)), 1024), scipy.fft.ifft(left).real, atol=1e-12)


@pytest.mark.parametrize("spacing", [16, 25, 32])
def test_a_family_of_harmonics_is_a_peak_of_the_cepstrum_and_gone_afterwards(spacing: int) -> None:
    """Harmonics n / p lines apart make rahmonics at p, 2 p, ... samples (closed form): there before, and not afterwards."""
    n = 3200
    pulses = np.convolve(np.arange(n) % spacing == 0, np.exp(-np.arange(60) / 8.0))[:n]
    lines = np.fft.rfft(pulses + 1e-3 * np.random.default_rng(3).standard_normal(n))
    before = np.fft.irfft(np.log(np.abs(lines)), n)
    after = np.fft.irfft(np.log(np.abs(prewhitened(lines))), n)
    elsewhere = before[[k for k in range(10, n // 2) if k % spacing]]
    assert min(before[k * spacing] for k in (1, 2, 3, 4)) > 4.0 * elsewhere.std()
    assert int(np.argmax(before[10 : n // 2]) + 10) % spacing == 0
    assert np.abs(after).max() < 1e-9
