"""Shaft speed from envelopes, coherence of all bands and removal of tones, where closed forms say what must come out."""

import numpy as np
import pytest

from edgemon.analysis.coherence import BANDS
from edgemon.diagnosis.cyclic import coherence_spectrum, envelope_spectra, without_tones
from edgemon.diagnosis.families import lines_found
from edgemon.diagnosis.frequencies import bearing_orders
from edgemon.diagnosis.turning import Turning, envelope_speed, shaft_orders
from tests.diagnosis.making import BEARING

FS_HZ = 12000.0
N = 60_000


def modulated(rates_hz: list[float], depth: float, seed: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    time = np.arange(N) / FS_HZ
    swell = 1.0 + depth * sum(np.cos(2.0 * np.pi * rate * time) for rate in rates_hz)
    return np.asarray(np.random.default_rng(seed).standard_normal(N) * swell)


def speed_of(rates_hz: list[float], known_hz: float, nominal_hz: float) -> Turning | None:
    orders = bearing_orders(BEARING)
    spectra = envelope_spectra(modulated(rates_hz, 0.3, 1), FS_HZ, 650.0, 210.0)
    return envelope_speed([(lines_found(spectra, known_hz), spectra.line_hz)], known_hz, nominal_hz, [orders])


def test_a_wrong_speed_is_corrected_by_what_the_noise_is_modulated_with() -> None:
    found = speed_of([28.69, 2 * 28.69], known_hz=29.13, nominal_hz=28.7)
    assert found is not None
    assert found.hz == pytest.approx(28.69, abs=0.1)
    assert found.confidence > 0.9


def test_a_right_speed_is_kept_and_noise_says_nothing() -> None:
    assert speed_of([28.69, 2 * 28.69], known_hz=28.69, nominal_hz=28.7) is None
    assert speed_of([], known_hz=28.69, nominal_hz=28.7) is None


def test_lines_of_a_bearing_near_a_multiple_are_not_the_shaft() -> None:
    near = bearing_orders(BEARING)
    assert all(abs(near.outer / k - 1.0) > 0.025 and abs((near.inner + 1.0) / k - 1.0) > 0.025 for k in shaft_orders([near]))


def test_coherence_of_noise_is_one_over_the_lines_averaged() -> None:
    """Mean squared coherence of independent lines is 1/width; the Hann weights 1, 1/2, 1/2 add 1 + 1/4 + 1/4."""
    found = coherence_spectrum(np.random.default_rng(2).standard_normal(N), FS_HZ, 3000)
    assert found is not None
    width = (N // 2 + 1) // BANDS
    assert float(found.power[0, 10:].mean()) == pytest.approx(1.5 / width, rel=0.08)


def test_coherence_shows_a_rhythm_of_the_whole_band() -> None:
    """(1 + m cos) times white noise has a coherence of m / (1 + m^2 / 2) at that rate, under any band."""
    found = coherence_spectrum(modulated([107.4], 0.3, 3), FS_HZ, 3000)
    assert found is not None
    at = round(107.4 / found.line_hz)
    assert float(found.depth[0, at - 1 : at + 2].max()) == pytest.approx(0.3 / (1.0 + 0.045), rel=0.15)
    assert int(found.power[0, 10:].argmax()) + 10 == pytest.approx(at, abs=1)


def test_a_record_too_short_has_no_coherence() -> None:
    assert coherence_spectrum(np.random.default_rng(4).standard_normal(512), FS_HZ, 240) is None


def test_tones_are_brought_down_to_the_noise() -> None:
    time = np.arange(N) / FS_HZ
    noise = np.random.default_rng(5).standard_normal(N)
    left = np.abs(without_tones(np.fft.rfft(noise + 3.0 * np.sin(2.0 * np.pi * 1000.0 * time))))
    at = round(1000.0 * N / FS_HZ)
    assert left[at] == pytest.approx(np.median(left), rel=0.3)
    untouched = np.abs(np.fft.rfft(noise))[at + 50 : at + 500]
    assert np.mean(np.isclose(left[at + 50 : at + 500], untouched)) > 0.99
