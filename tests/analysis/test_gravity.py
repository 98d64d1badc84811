"""An axis coupled down to 0 Hz carries gravity, 9.80665 m/s2 and either sign: nothing that is measured may change by it."""

import numpy as np
import pytest

from edgemon.analysis.measure import Waveform, measure
from edgemon.analysis.spectrum import averaged_spectrum
from edgemon.model.level import Detector, LevelSpec
from edgemon.model.quality import Flaw
from edgemon.units import STANDARD_GRAVITY, Quantity
from tests.analysis.signals import USUAL, velocity_sine

FS, N, SI = 6400.0, 8192, 9.80665 / 4096  # 8 g in 16 bits
OWN = (
    LevelSpec("low", Quantity.VELOCITY, Detector.RMS, 2.0, 100.0),
    LevelSpec("first", Quantity.VELOCITY, Detector.PEAK, 0.5, 1.5, in_orders=True),
    LevelSpec("moved", Quantity.DISPLACEMENT, Detector.PEAK_TO_PEAK, 10.0, 200.0),
    LevelSpec("high", Quantity.ACCELERATION, Detector.RMS, 1000.0, 2500.0),
)


def shaken(gravity: float) -> Waveform:
    """A machine of 0.8 mm/s at 24.7 Hz with noise, an axis inclined to the vertical or upright."""
    noise = 0.3 * np.random.default_rng(4).normal(size=N)
    counts = np.round((velocity_sine(24.7, FS, N, 0.8) + noise) / SI) + round(gravity / SI)
    return Waveform(counts.astype(np.int16), SI, FS, USUAL, None, 2.0 * STANDARD_GRAVITY, False, OWN, 24.7 * 60.0)


@pytest.mark.parametrize("share", [-1.0, -0.5, 0.7, 1.0])
def test_no_level_changes_with_the_axis_s_share_of_gravity(share: float) -> None:
    """A constant has no line but that at 0 Hz. Its float32 rounding is all that may differ."""
    (level, first), (inclined, second) = measure([shaken(0.0), shaken(share * STANDARD_GRAVITY)])
    then, now = ({one.name: one.value for one in found} for found in (level, inclined))
    assert set(now) == set(then) >= {"velocity_rms", "envelope_peak", "kurtosis", "low", "first", "moved", "high"}
    assert now == pytest.approx(then, rel=2e-4)
    assert first == second
    assert second.is_fit


def test_what_gravity_leaves_of_the_range_still_clips() -> None:
    """A sensor of 2 g that stands upright has 1 g left: a swing of 1.2 g is cut off at the top, and that is said."""
    t = np.arange(N) / FS
    swing = 1.2 * STANDARD_GRAVITY * np.sin(2.0 * np.pi * 24.7 * t) + STANDARD_GRAVITY
    reach = 2.0 * STANDARD_GRAVITY
    counts = np.round(np.clip(swing, -reach, reach) / SI).astype(np.int16)
    ((_, verdict),) = measure([Waveform(counts, SI, FS, USUAL, None, reach, False)])
    assert Flaw.CLIPPED in verdict.flaws


def test_no_line_of_a_spectrum_changes() -> None:
    wave = velocity_sine(24.7, FS, N, 0.8)
    for size in (N, 2048):
        still, moved = (averaged_spectrum(one, FS, size).amplitude for one in (wave, wave + STANDARD_GRAVITY))
        assert moved == pytest.approx(still, abs=2e-6 * float(still.max()) + 1e-6)
