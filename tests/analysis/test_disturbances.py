"""What comes from sensor, cable and supply and not from the machine: symptoms as literature on measurement describes them."""

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from edgemon.model.quality import Flaw
from tests.analysis.signals import captured, full, velocity_sine

FS, N = 2560.0, 4096
T = np.arange(N) / FS
RUNNING = velocity_sine(49.4, FS, N, 0.5)


def flaws(signal: NDArray[np.float64], range_si: float | None = None) -> set[Flaw]:
    return set(full(captured(signal, FS, range_si=range_si))[1].flaws)


def test_glitches_and_steps_of_an_intermittent_cable_are_not_vibration() -> None:
    # K. C. Dahl, application note on accelerometer overload: glitches with steps, and a slope of low frequencies (ski slope)
    steps = np.where(T > 0.5, 15.0, 0.0) + np.where(T > 1.1, -25.0, 0.0)
    glitches = np.isin(np.arange(N), (300, 1281, 2817)) * 80.0
    assert Flaw.LOW_FREQUENCY_RISE in flaws(RUNNING + steps + glitches)
    assert Flaw.LOW_FREQUENCY_RISE in flaws(RUNNING + steps)
    assert flaws(RUNNING) == set()


@pytest.mark.parametrize("decay_s", [0.05, 0.15, 0.5])
def test_a_shock_that_saturates_the_sensor_and_decays_is_not_vibration(decay_s: float) -> None:
    # ibid.: a shock beyond the range (often 40 g) leaves the electronics to recover slowly; the record is to be discarded
    shocked = RUNNING + np.where(T > 0.8, 40.0 * 9.80665 * np.exp(-np.maximum(T - 0.8, 0.0) / decay_s), 0.0)
    assert Flaw.LOW_FREQUENCY_RISE in flaws(shocked)
    held = np.minimum(RUNNING + np.where((T > 0.8) & (T < 0.803), 500.0, 0.0), 392.0)  # seven samples at the range
    assert Flaw.CLIPPED in flaws(held, range_si=392.0)


def test_a_sensor_that_warms_up_drifts_and_is_not_vibration() -> None:
    # ibid.: a temperature transient is a slow ramp of the output, in the lowest lines after integration
    warming = 30.0 * (1.0 - np.exp(-T / 0.3)) + 0.02 * np.random.default_rng(1).normal(size=N)
    assert flaws(RUNNING + warming) == {Flaw.LOW_FREQUENCY_RISE}


def velocity_share(signal: NDArray[np.float64]) -> float:
    """Share of the velocity's mean square below 20 Hz of what lies in 10-1000 Hz, summed line by line under a Hann window."""
    shape = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(N) / N)
    hz = np.fft.rfftfreq(N, 1.0 / FS)[1:]
    edges = 1.0 / ((1.0 + (7.85366 / hz) ** 6) * (1.0 + (hz / 1273.3) ** 6))
    power = np.abs(np.fft.rfft((signal - signal.mean()) * shape)[1:]) ** 2 / hz**2 * edges
    return float(power[hz < 20.0].sum() / power.sum())


@pytest.mark.parametrize(("share", "is_slope"), [(0.3, False), (0.4, False), (0.6, True), (0.8, True)])
@pytest.mark.parametrize("seed", range(4))
def test_a_slope_counts_from_half_of_the_velocity_on(share: float, is_slope: bool, seed: int) -> None:
    """Common practice: half of the band's velocity energy below twice its lower edge; the tone sized to each share."""
    walk = np.cumsum(np.random.default_rng(seed).normal(size=N)) / math.sqrt(FS)
    walk -= np.linspace(walk[0], walk[-1], N)
    low, high = 0.0, 1e3
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if velocity_share(walk + velocity_sine(110.0, FS, N, middle)) > share else (low, middle)
    signal = walk + velocity_sine(110.0, FS, N, low)
    assert velocity_share(signal) == pytest.approx(share, abs=1e-3)
    assert (Flaw.LOW_FREQUENCY_RISE in flaws(signal)) is is_slope
