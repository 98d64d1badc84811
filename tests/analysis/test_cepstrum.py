"""The cepstrum and pre-whitening against closed forms."""

import numpy as np
import pytest

from edgemon.analysis.cepstrum import prewhitened, real_cepstrum
from edgemon.errors import ParameterError


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


def test_an_echo_shows_at_its_delay() -> None:
    """An echo of strength a after d samples adds a to the cepstrum at d (and -a^2/2 at 2d): B. P. Bogert et al., 1963."""
    wave = np.zeros(4096)
    wave[[0, 100]] = 1.0, 0.4
    found = real_cepstrum(wave)
    assert found[100] == pytest.approx(0.4 / 2.0, rel=1e-6)  # the real cepstrum has half of it on either side
    assert found[200] == pytest.approx(-(0.4**2) / 4.0, rel=1e-6)
    with pytest.raises(ParameterError):
        real_cepstrum(wave[:1])


@pytest.mark.parametrize("spacing_hz", [32.0, 50.0, 64.0])
def test_harmonics_show_at_multiples_of_the_inverse_of_their_distance(spacing_hz: float) -> None:
    """Lines `d` Hz apart make peaks at multiples of 1/d: R. B. Randall, Mech. Syst. Signal Process. 97 (2017) 3-19."""
    fs_hz, n = 6400.0, 6400
    t = np.arange(n) / fs_hz
    wave = np.sum([np.cos(2.0 * np.pi * k * spacing_hz * t + k * k) for k in range(1, int(3200 / spacing_hz))], axis=0)
    wave += 0.01 * np.random.default_rng(1).normal(size=n)
    found = real_cepstrum(wave)
    period = round(fs_hz / spacing_hz)
    for k in (1, 2, 3):
        around = found[round((k - 0.5) * period) : round((k + 0.5) * period)]
        assert int(around.argmax()) + round((k - 0.5) * period) == k * period
