"""Waveforms as other quantities and as columns, against closed forms of sines."""

import math

import numpy as np
import pytest

from edgemon.analysis.waveform import as_waveform, columns
from edgemon.errors import ParameterError
from edgemon.model.level import Band
from edgemon.units import Quantity

FS, N = 6400.0, 8192
BAND = Band(10.0, 1000.0)
T = np.arange(N) / FS


@pytest.mark.parametrize(("wanted", "times"), [(Quantity.VELOCITY, 1), (Quantity.DISPLACEMENT, 2)])
@pytest.mark.parametrize("offset", [0.0, 50.0])
def test_an_integrated_cosine_is_one_a_quarter_turn_later(wanted: Quantity, times: int, offset: float) -> None:
    """cos -> sin / w -> -cos / w^2, sample by sample; a constant offset leaves nothing. 0.37 lines off any line."""
    hz = 100.37 * FS / N
    w = 2.0 * math.pi * hz
    wave, first = as_waveform(np.cos(w * T) + offset, FS, Quantity.ACCELERATION, wanted, BAND)
    closed = np.cos(w * T - times * math.pi / 2.0) / w**times
    np.testing.assert_allclose(wave, closed[first : first + wave.size], atol=2e-3 / w**times)
    assert first == pytest.approx(FS / 10.0, abs=5)  # one period of the band's lower edge
    assert first + wave.size <= N


def test_velocity_to_acceleration() -> None:
    wave, first = as_waveform(np.sin(700.0 * T), FS, Quantity.VELOCITY, Quantity.ACCELERATION, BAND)
    np.testing.assert_allclose(wave, 700.0 * np.cos(700.0 * T)[first : first + wave.size], atol=0.7)


def test_a_record_too_short_for_the_band_is_refused() -> None:
    with pytest.raises(ParameterError, match="no full period"):
        as_waveform(np.cos(T[:100]), FS, Quantity.ACCELERATION, Quantity.VELOCITY, BAND)


@pytest.mark.parametrize(
    ("n", "most", "count", "width"), [(10, 4, 4, 3), (10, 10, 10, 1), (7, 100, 7, 1), (1001, 1000, 501, 2)]
)
def test_columns_hold_every_sample_once(n: int, most: int, count: int, width: int) -> None:
    wave = np.random.default_rng(2).standard_normal(n)
    low, high, wide = columns(wave, most)
    assert (low.size, high.size, wide) == (count, count, width)
    for k in range(count):
        part = wave[k * width : (k + 1) * width]
        assert (low[k], high[k]) == (part.min(), part.max())


def test_no_columns_and_no_samples_are_refused() -> None:
    for n, most in ((0, 5), (5, 0)):
        with pytest.raises(ParameterError):
            columns(np.zeros(n), most)
