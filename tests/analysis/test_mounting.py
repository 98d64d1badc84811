"""Noise behind a mass on a spring: closed forms, the equation of motion solved in time, and what is no mounting."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from edgemon.analysis.mounting import FEWEST_BANDS, Rows, first_hz, last_hz, loose_fit, noise_bands, transmitted_db
from tests.support.mounts import through_mounting

FS, N = 25600.0, 32768


@given(st.floats(10.0, 5000.0), st.floats(0.01, 0.5))
def test_what_passes_a_mass_on_a_spring(resonance: float, damping: float) -> None:
    """All at rest below, the same at the root of two whatever the damping, half of 1 / (2 z) about at the resonance itself."""
    at = resonance * np.array([1e-6, math.sqrt(2.0), 1.0])
    found = transmitted_db(at, resonance, damping)
    assert found[:2] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert found[2] == pytest.approx(10.0 * math.log10(1.0 + 1.0 / (2.0 * damping) ** 2), abs=1e-9)


def test_against_the_response_of_a_general_purpose_library() -> None:
    hz, resonance, damping = np.geomspace(10.0, 20000.0, 60), 1700.0, 0.07
    w = 2.0 * math.pi * resonance
    _, response = signal.freqs([2.0 * damping * w, w**2], [1.0, 2.0 * damping * w, w**2], 2.0 * math.pi * hz)
    assert transmitted_db(hz, resonance, damping) == pytest.approx(20.0 * np.log10(np.abs(response)), abs=1e-9)


def bands_of(wave: Rows) -> tuple[Rows, Rows]:
    power = np.abs(np.fft.rfft(wave * np.hanning(wave.size))) ** 2
    line = FS / wave.size
    return noise_bands(power, line, first_hz(line), last_hz(FS))


@pytest.mark.parametrize("resonance", [900.0, 2000.0, 3000.0])
@pytest.mark.parametrize("damping", [0.03, 0.1])
def test_a_loose_mounting_is_measured(resonance: float, damping: float) -> None:
    """White noise and lines; the equation of motion solved in the time domain."""
    random = np.random.default_rng(1)
    lines = sum(20.0 * np.sin(2.0 * np.pi * hz * np.arange(N) / FS) for hz in (50.0, 333.0, 4100.0))
    then, now = (random.normal(size=N) + lines for _ in range(2))
    centres, before = bands_of(then)
    _, after = bands_of(through_mounting(now, FS, resonance, damping))
    found = loose_fit(centres, after - before)
    assert found is not None
    assert found.resonance_hz == pytest.approx(resonance, rel=0.12)  # bands are 12 % wide
    assert abs(found.below_db) < 1.5
    assert found.fall_db < -7.0
    assert found.rise_db > 6.0
    assert found.left_db < 0.35 * found.whole_db


def test_lines_do_not_move_the_noise() -> None:
    """The median line of a band, against a band without lines: strong sines at every 100 Hz."""
    random = np.random.default_rng(2)
    noise = random.normal(size=N)
    lines = sum(50.0 * np.sin(2.0 * np.pi * 100.0 * k * np.arange(N) / FS) for k in range(1, 60))
    _, alone = bands_of(noise)
    _, both = bands_of(noise + lines)
    assert np.abs(both - alone)[6:].max() < 2.0


def test_levels_are_of_the_median_line() -> None:
    """White noise of variance s^2 under a Hann window: mean power s^2 N 3/8, its median ln 2 of that (exponential), a hertz."""
    _, levels = bands_of(3.0 * np.random.default_rng(3).normal(size=N))
    assert levels.mean() == pytest.approx(10.0 * math.log10(9.0 * N * 0.375 * math.log(2.0) * N / FS), abs=0.5)


def test_too_few_bands_tell_nothing() -> None:
    centres = np.geomspace(100.0, 400.0, FEWEST_BANDS - 1)
    assert loose_fit(centres, np.zeros(centres.size)) is None
    assert noise_bands(np.ones(100), 10.0, 500.0, 400.0)[0].size == 0
