"""Shaft angle followed through run-ups whose angle is a closed form."""

import numpy as np
import pytest

from edgemon.analysis.tracking import tracked_turns
from edgemon.errors import ParameterError

FS, N = 5120.0, 32768
T = np.arange(N) / FS
NOISE = np.random.default_rng(11).normal(size=N)


def angle(low_hz: float, high_hz: float) -> np.ndarray:
    """Integral of a speed that rises evenly."""
    return np.asarray(low_hz * T + 0.5 * (high_hz - low_hz) * T**2 / (N / FS))


@pytest.mark.parametrize(("order", "low", "high"), [(1, 24.0, 25.5), (2, 24.0, 25.0), (1, 26.0, 24.0), (3, 24.8, 24.9)])
def test_the_angle_of_a_run_up_is_found(order: int, low: float, high: float) -> None:
    turns = angle(low, high)
    found = tracked_turns(np.cos(2.0 * np.pi * order * turns + 0.4) + 0.3 * NOISE, FS, 0.5 * (low + high))
    assert found is not None
    assert found.order == order
    inner = slice(N // 20, -N // 20)
    moved = found.turns - turns
    assert np.ptp(moved[inner]) < 0.02  # a constant is the phase of the line
    assert (found.low_hz, found.high_hz) == pytest.approx((min(low, high), max(low, high)), rel=5e-3)


def test_a_fast_order_becomes_one_line() -> None:
    """Independent of the code above: the 40th order summed directly at its angle, as found and as it would be unknown."""
    turns = angle(24.0, 25.5)
    wave = np.cos(2.0 * np.pi * turns) + np.cos(2.0 * np.pi * 40.0 * turns) + 0.1 * NOISE
    found = tracked_turns(wave, FS, 24.75)
    assert found is not None
    inner = slice(N // 20, -N // 20)
    sharp = abs(np.mean(wave[inner] * np.exp(-2j * np.pi * 40.0 * found.turns[inner]))) * 2.0
    blurred = abs(np.mean(wave[inner] * np.exp(-2j * np.pi * 40.0 * 24.75 * T[inner]))) * 2.0
    assert sharp > 0.9
    assert blurred < 0.3


@pytest.mark.parametrize("wave", [NOISE, np.cos(2.0 * np.pi * 36.0 * T) + 0.1 * NOISE, np.zeros(N)])
def test_where_no_line_is_clear_nothing_is_followed(wave: np.ndarray) -> None:
    assert tracked_turns(wave, FS, 24.75) is None


def test_a_speed_that_jumps_is_no_smooth_curve() -> None:
    jumps = np.cumsum(np.where((T * 2.0).astype(int) % 2, 23.0, 26.5)) / FS
    assert tracked_turns(np.cos(2.0 * np.pi * jumps), FS, 24.75) is None


@pytest.mark.parametrize(("n", "speed"), [(20, 25.0), (N, 0.0)])
def test_what_cannot_be_is_refused(n: int, speed: float) -> None:
    with pytest.raises(ParameterError):
        tracked_turns(NOISE[:n], FS, speed)
