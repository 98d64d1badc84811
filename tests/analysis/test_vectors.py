"""Least change of vectors whose common angle is not known: the standard's example, closed forms, and every angle tried."""

import cmath
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.analysis.vectors import least_change
from edgemon.errors import ParameterError

PARTS = st.floats(-10.0, 10.0)
AXES = st.lists(st.tuples(PARTS, PARTS, PARTS, PARTS), min_size=1, max_size=4)


def degrees(size: float, angle: float) -> complex:
    return cmath.rect(size, math.radians(angle))


def test_the_example_of_the_standard_beside_an_axis_that_gives_the_phase() -> None:
    """3 mm/s at 40 degrees becomes 2.5 at 180: the vector changes by 5.2 mm/s, its size by 0.5 only.

    Source: ISO 20816-1:2016 Annex D, at second hand; 5.171 recomputed. An axis that has not changed and is strong stands for
    the phase reference.
    """
    then, now = degrees(3.0, 40.0), degrees(2.5, 180.0)
    assert abs(now - then) == pytest.approx(5.171, abs=5e-4)
    assert math.degrees(cmath.phase(now - then)) % 360.0 == pytest.approx(201.9, abs=0.05)
    still = degrees(1e4, 10.0)
    assert least_change(np.array([now, still]), np.array([then, still])) == pytest.approx(5.171, abs=1e-3)
    turned = np.array([now, still]) * degrees(1.0, 77.0)
    assert least_change(turned, np.array([then, still])) == pytest.approx(5.171, abs=1e-3)
    assert least_change(np.array([now]), np.array([then])) == pytest.approx(0.5)  # alone: its size, no more


def test_two_axes_that_turn_against_each_other() -> None:
    """(a, b) to (a, -b): twice the smaller one, by hand: 2 (a^2 + b^2) - 2 |a^2 - b^2| = 4 min(a, b)^2."""
    found = least_change(np.array([3.0 + 0j, -2.0]), np.array([3.0 + 0j, 2.0]))
    assert found == pytest.approx(4.0)


@given(AXES)
def test_against_every_angle_tried(axes: list[tuple[float, float, float, float]]) -> None:
    table = np.array(axes)
    now, then = table[:, 0] + 1j * table[:, 1], table[:, 2] + 1j * table[:, 3]
    angles = np.exp(1j * np.linspace(0.0, 2.0 * np.pi, 2001))
    tried = np.linalg.norm(angles[:, None] * now - then, axis=1).min()
    found = least_change(now, then)
    assert found <= tried + 1e-6
    assert found == pytest.approx(tried, abs=2e-3 * (np.linalg.norm(now) + 1.0))
    assert found >= abs(np.linalg.norm(now) - np.linalg.norm(then)) - 1e-6
    assert found <= np.linalg.norm(now - then) + 1e-6


def test_what_cannot_be_compared_is_refused() -> None:
    for now, then in ((np.zeros(2, complex), np.zeros(3, complex)), (np.zeros(0, complex), np.zeros(0, complex))):
        with pytest.raises(ParameterError, match="axes"):
            least_change(now, then)
