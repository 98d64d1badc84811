"""Sines and noise, mixed and taken apart again; and the autoregressive process whose predictor is known."""

import numpy as np
import pytest
import scipy.signal

from edgemon.analysis.orders import revolutions
from edgemon.analysis.separation import by_averaging, by_prediction
from edgemon.errors import ParameterError

FS, N = 5120.0, 16384
T = np.arange(N) / FS
SINES = np.cos(2.0 * np.pi * 24.7 * T) + 0.7 * np.cos(2.0 * np.pi * 311.0 * T + 1.0)
NOISE = np.random.default_rng(5).normal(size=N) * 0.5


def test_a_long_delay_parts_sines_from_coloured_noise() -> None:
    coloured = scipy.signal.lfilter([1.0], [1.0, -1.2, 0.7], NOISE) * 0.5
    parts = by_prediction(SINES + coloured, 400, 100)
    inside = slice(600, None)
    assert np.corrcoef(parts.periodic[inside], SINES[inside])[0, 1] > 0.99
    assert np.corrcoef(parts.rest[inside], coloured[inside])[0, 1] > 0.95


def test_prediction_of_a_known_process_leaves_its_driving_noise() -> None:
    process = scipy.signal.lfilter([1.0], [1.0, -1.2, 0.7], NOISE)
    parts = by_prediction(process, 2)
    assert parts.rest[10:].std() == pytest.approx(NOISE.std(), rel=0.02)
    assert np.corrcoef(parts.rest[10:], NOISE[10:])[0, 1] > 0.999


def test_parts_add_up() -> None:
    signal = SINES + NOISE + 3.0
    for parts in (by_prediction(signal, 64), by_averaging(signal, revolutions(N, FS, 1482.0), 256)):
        np.testing.assert_allclose(parts.periodic + parts.rest, signal - signal.mean(), atol=1e-9)


def test_averaging_takes_out_one_shaft_and_leaves_another() -> None:
    turns = revolutions(N, FS, 1482.0)  # 24.7 Hz
    shaft = np.cos(2.0 * np.pi * turns) + 0.5 * np.cos(2.0 * np.pi * 20.0 * turns + 1.0)
    other = 0.8 * np.cos(2.0 * np.pi * 88.33 * T)
    parts = by_averaging(shaft + other, turns, 256)
    inside = slice(300, -300)
    assert np.std((parts.periodic - shaft)[inside]) < 0.02
    assert np.std((parts.rest - other)[inside]) < 0.02


def test_impacts_stand_out_of_the_rest() -> None:
    impacts = np.zeros(N)
    impacts[100::512] = 3.0
    mixed = 5.0 * SINES + scipy.signal.lfilter([1.0], [1.0, -1.2, 0.9], impacts) + 0.1 * NOISE
    rest = by_prediction(mixed, 200).rest[300:]
    kurtosis = np.mean(rest**4) / np.mean(rest**2) ** 2
    before = np.mean(mixed**4) / np.mean(mixed**2) ** 2
    assert before < 3.0 < 20.0 < kurtosis


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ParameterError, match="order 0"):
        by_prediction(SINES, 0)
    with pytest.raises(ParameterError, match="order 100"):
        by_prediction(SINES[:300], 100)
    with pytest.raises(ParameterError, match="nothing moves"):
        by_prediction(np.ones(100), 5)
