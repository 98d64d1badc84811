"""Pre-whitening against closed forms."""

import numpy as np
import pytest

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
