"""Angle, order spectra and averages of revolutions: run-ups of known orders, closed forms, random noise."""

import math

import numpy as np
import pytest

from edgemon.analysis.orders import over_angle, revolutions, synchronous_average
from edgemon.analysis.spectrum import amplitude_spectrum, averaged_spectrum
from edgemon.errors import ParameterError

FS, N = 5120.0, 16384
RUN_UP = 1200.0 + 300.0 * np.arange(N) / N  # r/min
TURNS = revolutions(N, FS, RUN_UP)
ORDERS = {1.0: 2.0, 3.0: 1.0, 23.0: 0.5}
SIGNAL = np.sum([math.sqrt(2.0) * a * np.cos(2.0 * np.pi * o * TURNS + o) for o, a in ORDERS.items()], axis=0)


def order_lines(samples: np.ndarray, per_revolution: int, window_revolutions: int) -> np.ndarray:
    """Lines 1 / window_revolutions of an order apart: whole revolutions in a window."""
    wave = over_angle(samples, TURNS, per_revolution)
    return averaged_spectrum(wave, float(per_revolution), window_revolutions * per_revolution).amplitude


def test_angle_of_a_steady_speed_and_of_a_run_up() -> None:
    assert revolutions(N, FS, 1500.0)[-1] == pytest.approx(25.0 * (N - 1) / FS)
    assert TURNS[-1] == pytest.approx(1350.0 / 60.0 * N / FS, rel=1e-3)  # mean speed times duration


def test_angle_is_the_integral_of_the_speed_at_every_sample() -> None:
    t = np.arange(N) / FS
    np.testing.assert_allclose(TURNS, (1200.0 * t + 150.0 * t**2 * FS / N) / 60.0, rtol=1e-12, atol=1e-12)


def test_a_fast_tone_keeps_its_size_over_angle() -> None:
    """At 0.4 of the sample rate, where a cubic curve through the samples themselves would lose several per cent."""
    turns = revolutions(N, FS, 1500.0)  # 2048 Hz is order 81.92
    wave = over_angle(np.cos(2.0 * np.pi * 2048.0 * np.arange(N) / FS + 0.4), turns, 256)
    angle = np.arange(wave.size) / 256.0
    np.testing.assert_allclose(wave[256:-256], np.cos(2.0 * np.pi * 81.92 * angle + 0.4)[256:-256], atol=2e-3)


@pytest.mark.parametrize("order", [1.0, 3.5846, 16.0])
def test_speed_change_smears_an_order_by_its_number_times_the_change(order: float) -> None:
    # k (f_end - f_start): the half-power width in a plain spectrum of a run-up by 5 Hz (kinematics); one line over angle
    plain = amplitude_spectrum(np.cos(2.0 * np.pi * order * TURNS), FS)
    power = plain.amplitude.astype(np.float64) ** 2
    inside = (order * 20.0 - 1.0 <= np.arange(power.size) * plain.line_hz) & (
        np.arange(power.size) * plain.line_hz <= order * 25.0 + 1.0
    )
    assert power[inside].sum() > 0.99 * power.sum()
    smeared = np.flatnonzero(power > 0.05 * power.max()).size * plain.line_hz
    assert 0.5 * order * 5.0 < smeared < order * 5.0 + 3.0
    found = order_lines(np.cos(2.0 * np.pi * order * TURNS), 128, 32)
    assert np.flatnonzero(found > 0.22 * found.max()).size <= 4


def test_waveform_over_angle_is_the_sum_of_its_orders() -> None:
    wave = over_angle(SIGNAL, TURNS, 128)
    angle = np.arange(wave.size) / 128.0
    expected = np.sum([math.sqrt(2.0) * a * np.cos(2.0 * np.pi * o * angle + o) for o, a in ORDERS.items()], axis=0)
    np.testing.assert_allclose(wave[128:-128], expected[128:-128], atol=0.02)


def test_orders_stand_where_a_plain_spectrum_smears_them() -> None:
    found = order_lines(SIGNAL, 128, 32)
    for order, amplitude in ORDERS.items():
        assert found[round(32.0 * order)] == pytest.approx(amplitude, rel=5e-3)
    plain = amplitude_spectrum(SIGNAL, FS)  # the 23rd order runs from 460 to 575 Hz
    line = plain.line_hz
    assert plain.amplitude[round(455.0 / line) : round(580.0 / line)].max() < 0.25 * ORDERS[23.0]


def test_what_is_beyond_the_highest_order_does_not_come_back() -> None:
    high = np.cos(2.0 * np.pi * 70.0 * TURNS)  # beyond the 16 orders that 32 samples hold; would alias to order 6
    assert order_lines(high, 32, 16).max() < 0.01


@pytest.mark.parametrize("count", [16, 64])
def test_averaging_lowers_noise_by_the_root_of_the_revolutions(count: int) -> None:
    n = 128 * count + 1
    noise = np.random.default_rng(count).normal(size=n)
    turns = revolutions(n, 128.0 * 25.0, 1500.0)
    average, counted = synchronous_average(noise, turns, 128)
    assert counted == count
    assert average.std() == pytest.approx(count**-0.5, rel=0.2)
    tone = 3.0 * np.cos(2.0 * np.pi * 5.0 * turns)
    kept, _ = synchronous_average(tone, turns, 128)
    np.testing.assert_allclose(kept, 3.0 * np.cos(2.0 * np.pi * 5.0 * np.arange(128) / 128.0), atol=0.01)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ParameterError, match="speed profile"):
        revolutions(100, FS, np.zeros(100))
    with pytest.raises(ParameterError, match="speed profile"):
        revolutions(100, FS, np.full(99, 1500.0))
    with pytest.raises(ParameterError, match="does not rise"):
        over_angle(np.ones(100), np.zeros(100), 16)
    with pytest.raises(ParameterError, match="15 samples"):
        over_angle(np.ones(15), np.arange(15.0), 16)
    with pytest.raises(ParameterError, match="whole revolution"):
        synchronous_average(np.ones(100), revolutions(100, FS, 60.0), 64)
