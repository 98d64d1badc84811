import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from simulators.wear import Course, Wear, lagging

LOAD = Course(((0.0, 1.0), (50.0, 1.0), (53.0, 0.0), (110.0, 0.0), (113.0, 1.0)))


def test_exponential_wear_doubles_in_its_doubling_time() -> None:
    wear = Wear("exponential", 0.1, from_s=20.0, doubling_s=30.0)
    assert wear.severity(0.0) == 0.1
    assert wear.severity(20.0) == 0.1
    assert wear.severity(50.0) == pytest.approx(0.2)
    assert wear.severity(80.0) == pytest.approx(0.4)
    assert wear.severity(1000.0) == 1.0


def test_linear_wear_grows_by_one_in_its_full_time() -> None:
    wear = Wear("linear", 0.2, from_s=60.0, full_s=100.0)
    assert wear.severity(60.0) == 0.2
    assert wear.severity(85.0) == pytest.approx(0.45)
    assert wear.severity(500.0) == 1.0


def test_a_fault_is_nothing_before_it_starts_and_after_its_repair() -> None:
    wear = Wear("steady", 0.7, starts_s=60.0, repaired_s=200.0)
    assert [wear.severity(at) for at in (0.0, 59.9, 60.0, 199.9, 200.0)] == [0.0, 0.0, 0.7, 0.7, 0.0]


@given(st.sampled_from(("exponential", "linear", "steady")), st.floats(0.0, 1.0), st.floats(0.0, 400.0), st.floats(0.0, 100.0))
def test_damage_never_heals_by_itself_and_stays_within_0_and_1(law: str, initial: float, at_s: float, later_s: float) -> None:
    wear = Wear(law, initial, from_s=10.0, doubling_s=40.0, full_s=120.0)  # type: ignore[arg-type]
    assert 0.0 <= wear.severity(at_s) <= wear.severity(at_s + later_s) <= 1.0


def test_a_course_is_straight_between_its_knots_and_level_outside() -> None:
    assert [LOAD.at(at) for at in (-5.0, 25.0, 51.5, 53.0, 80.0, 111.0, 500.0)] == pytest.approx([1, 1, 0.5, 0, 0, 1 / 3, 1])


@pytest.mark.parametrize("at_s", [0.0, 51.0, 53.0, 70.0, 111.0, 113.0, 180.0, 400.0])
def test_a_heat_capacity_follows_its_load_as_the_differential_equation_says(at_s: float) -> None:
    # Second method: tau dy/dt = u - y, integrated numerically by SciPy.
    if at_s == 0.0:
        assert lagging(LOAD, at_s, 40.0) == 1.0
        return
    solved = solve_ivp(lambda t, y: (LOAD.at(t) - y) / 40.0, (0.0, at_s), [1.0], max_step=0.25, rtol=1e-8, atol=1e-10)
    assert lagging(LOAD, at_s, 40.0) == pytest.approx(float(solved.y[0, -1]), abs=1e-5)


def test_a_lag_settles() -> None:
    assert lagging(LOAD, 1e6, 40.0) == pytest.approx(1.0)
    assert lagging(Course(((0.0, 0.3),)), 12.0, 40.0) == 0.3
    times = np.linspace(53.0, 110.0, 50)
    values = [lagging(LOAD, float(at), 40.0) for at in times]
    assert all(later < earlier for earlier, later in pairwise(values))
    assert math.isfinite(values[-1])
