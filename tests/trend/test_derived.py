"""Levels that follow from others: each by hand."""

from collections.abc import Mapping

import numpy as np
import pytest
from scipy.stats import linregress

from edgemon.model.baseline import Baseline
from edgemon.model.derived import DerivedSpec, Rule
from edgemon.model.level import LEVEL_KINDS, Detector, Level
from edgemon.model.machine import point_key
from edgemon.trend.derived import STEPS, History, derived_levels
from edgemon.units import Quantity

KEY = point_key("hp-pump-1", "pump-de-h")
VELOCITY, TEMPERATURE = LEVEL_KINDS["velocity_rms"], LEVEL_KINDS["temperature"]
BASE = Baseline(KEY, "velocity_rms", Quantity.VELOCITY, 20, 0.0, 1.0, 2e-3, 2e-3, 0.1e-3, 2975.0, None, 1.0)


def velocity(value: float) -> tuple[Level, ...]:
    return (Level("velocity_rms", value, Quantity.VELOCITY, Detector.RMS),)


def one(spec: DerivedSpec, value: float, rpm: float | None = 2975.0, stands: bool = False) -> Level | None:
    levels, _ = derived_levels((spec,), velocity(value), 10.0, rpm, stands, {}, lambda key: None)
    return levels[0] if levels else None


@pytest.mark.parametrize(("value", "side"), [(2.7e-3, "above"), (1.3e-3, "below")])
def test_a_change_counts_in_both_directions(value: float, side: str) -> None:
    # ISO 10816-3:2009 5.3: 25 % of B/C (2.8 mm/s, Table A.2) is 0.7 mm/s, up or down
    level = one(DerivedSpec("c", Rule.CHANGE, VELOCITY, baseline=BASE, rpm_tolerance=0.03), value)
    assert level is not None
    assert level.value == pytest.approx(0.25 * 2.8e-3)
    assert level.remark == f"0.7 mm/s {side} the baseline of 2 mm/s"


def test_the_spread_is_the_measure_of_a_control_chart() -> None:
    # NIST/SEMATECH e-Handbook 6.3.2.2 (from memory): limits at 3 standard deviations; 0.3 / 0.1 = 3
    spec = DerivedSpec("s", Rule.SPREAD, VELOCITY, baseline=BASE)
    level = one(spec, 2.3e-3)
    assert level is not None
    assert level.value == pytest.approx(3.0)
    assert level.quantity is Quantity.RATIO


def test_without_a_baseline_at_another_speed_or_standing_there_is_none() -> None:
    spec = DerivedSpec("c", Rule.CHANGE, VELOCITY, baseline=BASE, rpm_tolerance=0.03)
    assert one(DerivedSpec("c", Rule.CHANGE, VELOCITY), 2e-3) is None
    assert one(spec, 2e-3, rpm=1500.0) is None
    assert one(spec, 2e-3, stands=True) is None
    assert one(spec, 2e-3, rpm=None) is not None


def test_a_rate_is_the_slope_of_the_straight_line() -> None:
    rng = np.random.default_rng(3)
    t = np.arange(0.0, 3600.0, 200.0)
    x = 60.0 + 10.0 * t / 3600.0 + rng.normal(0.0, 0.3, t.size)
    spec = DerivedSpec("r", Rule.RATE, TEMPERATURE, over_s=3600.0)
    recent: Mapping[str, History] = {}
    levels: tuple[Level, ...] = ()
    for at, value in zip(t, x, strict=True):
        said = (Level("temperature", float(value), Quantity.TEMPERATURE, Detector.VALUE),)
        levels, recent = derived_levels((spec,), said, float(at), None, False, recent, lambda key: None)
    assert levels[0].value == pytest.approx(linregress(t, x).slope * 3600.0)  # a second method


def test_a_rate_waits_for_values_stays_bounded_and_begins_anew_after_a_standstill() -> None:
    spec = DerivedSpec("r", Rule.RATE, VELOCITY, over_s=100.0)
    recent: Mapping[str, History] = {}
    found = []
    for at in range(1000):
        levels, recent = derived_levels((spec,), velocity(at * 1e-5), float(at), None, False, recent, lambda key: None)
        found.append(levels[0].value if levels else None)
    assert found[:50] == [None] * 50
    assert found[-1] == pytest.approx(100 * 1e-5)  # a ramp of 1e-5 a second
    assert len(recent["r"]) <= STEPS + 1
    levels, recent = derived_levels((spec,), velocity(0.0), 1000.0, 0.0, True, recent, lambda key: None)
    assert (levels, dict(recent)) == ((), {})


def test_a_rise_is_the_difference_of_two_temperatures() -> None:
    # by hand: 78 here, 31 there
    spec = DerivedSpec("rise", Rule.RISE, TEMPERATURE, reference=KEY)
    said = (Level("temperature", 78.0, Quantity.TEMPERATURE, Detector.VALUE),)
    (level,), _ = derived_levels((spec,), said, 1.0, None, False, {}, {KEY: 31.0}.get)
    assert level.value == 47.0
    assert derived_levels((spec,), said, 1.0, None, False, {}, lambda key: None)[0] == ()
