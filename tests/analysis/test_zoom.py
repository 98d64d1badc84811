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


def test_two_equal_tones_part_at_three_lines_and_not_at_one_and_a_half() -> None:
    """Equal tones under a Hann window need 2 to 3 lines (common practice): zooming does not replace a longer record."""
    line = FS / N
    t = (np.arange(N) - N // 2) / FS  # in phase in the middle, where the window is highest
    for apart, tops in ((3.0, 2), (1.5, 1)):
        tones = np.cos(2.0 * np.pi * 300.0 * t) + np.cos(2.0 * np.pi * (300.0 + apart * line) * t)
        zoom = zoom_spectrum(tones, FS, 300.0 - line, 300.0 + (apart + 1.0) * line, 401).amplitude
        rising = np.diff(zoom) > 0.0
        assert np.count_nonzero(rising[:-1] & ~rising[1:]) == tops


@pytest.mark.parametrize(("duration_s", "is_apart"), [(2.5, True), (0.8, False)])
def test_pole_pass_sidebands_need_their_record(duration_s: float, is_apart: bool) -> None:
    # 50 Hz, 4 poles, 1480 r/min: sidebands 1.3333 Hz from 24.667 Hz; three lines apart from 2.25 s on (recomputed)
    n = round(FS * duration_s)
    t = np.arange(n) / FS
    speed, pole_pass = 1480.0 / 60.0, 4.0 / 3.0
    wave = sum(
        a * np.cos(2.0 * np.pi * f * t + f) for f, a in ((speed, 1.0), (speed + pole_pass, 0.3), (speed - pole_pass, 0.3))
    )
    zoom = zoom_spectrum(np.asarray(wave), FS, speed - 2.0, speed + 2.0, 401).amplitude
    rising = np.diff(zoom) > 0.0
    tops = [round((at + 1) * 0.01 - 2.0, 1) for at in np.flatnonzero(rising[:-1] & ~rising[1:])]
    assert ({-1.3, 0.0, 1.3} <= set(tops)) == is_apart
