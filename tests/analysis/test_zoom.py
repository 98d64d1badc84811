"""Zoomed spectra against direct sums and against the plain spectrum."""

import math

import numpy as np
import pytest

from edgemon.analysis.spectrum import amplitude_spectrum
from edgemon.analysis.zoom import zoom_spectrum
from edgemon.errors import ParameterError

FS, N = 2560.0, 2048
SIGNAL = np.random.default_rng(1).normal(size=N) + 3.0 * np.cos(2.0 * np.pi * 101.37 * np.arange(N) / FS) + 5.0


def test_against_direct_sums() -> None:
    zoom = zoom_spectrum(SIGNAL, FS, 95.0, 108.0, 27)
    shape = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(N) / N)
    for k, amplitude in enumerate(zoom.amplitude):
        turn = np.exp(-2j * np.pi * (95.0 + 0.5 * k) / FS * np.arange(N))
        direct = math.sqrt(2.0) * abs(np.sum((SIGNAL - SIGNAL.mean()) * shape * turn)) / shape.sum()
        assert amplitude == pytest.approx(direct, rel=1e-5)
    assert (zoom.first_hz, zoom.step_hz) == (95.0, 0.5)
    assert zoom.resolution_hz == pytest.approx(1.5 * FS / N)


def test_top_of_a_tone_between_lines() -> None:
    zoom = zoom_spectrum(SIGNAL, FS, 99.0, 104.0, 501)
    at = int(zoom.amplitude.argmax())
    assert zoom.first_hz + at * zoom.step_hz == pytest.approx(101.37, abs=0.05)
    assert zoom.amplitude[at] == pytest.approx(3.0 / math.sqrt(2.0), rel=0.05)


def test_on_the_lines_it_is_the_plain_spectrum() -> None:
    plain = amplitude_spectrum(SIGNAL, FS)
    zoom = zoom_spectrum(SIGNAL, FS, 50 * plain.line_hz, 90 * plain.line_hz, 41)
    np.testing.assert_allclose(zoom.amplitude, plain.amplitude[50:91], rtol=1e-3, atol=1e-6)


@pytest.mark.parametrize(("low", "high", "lines"), [(0.0, 10.0, 5), (10.0, 10.0, 5), (10.0, 1280.0, 5), (10.0, 20.0, 1)])
def test_what_cannot_be_is_refused(low: float, high: float, lines: int) -> None:
    with pytest.raises(ParameterError):
        zoom_spectrum(SIGNAL, FS, low, high, lines)
