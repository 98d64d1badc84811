"""Kinematics against what owners of open data sets publish with their geometry, and against identities."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.diagnosis.frequencies import bearing_orders, belt_rate, gear_rates, motor_rates
from edgemon.errors import ParameterError
from edgemon.model.machine import Bearing

INCH = 25.4e-3
PUBLISHED = [
    # Case Western Reserve University, Bearing Data Center; its "rolling element" is twice the ball spin frequency
    (9, 0.3126 * INCH, 1.537 * INCH, 0.0, 1.0, (3.5848, 5.4152, 4.7135, 0.39828), 1e-4),
    (8, 0.2656 * INCH, 1.122 * INCH, 0.0, 1.0, (3.0530, 4.9469, 3.9874, 0.3817), 2e-4),
    # MFPT fault data set (E. Bechhoefer, 2013): 25 Hz; twice the spin frequency recomputed
    (8, 0.235 * INCH, 1.245 * INCH, 0.0, 25.0, (81.125, 118.875, 127.728, 10.1406), 1e-4),
    # IMS run-to-failure rig (H. Qiu et al., J. Sound Vib. 289 (2006) 1066-1090): 2000 r/min, spin frequency 139.9 Hz
    (16, 0.331 * INCH, 2.815 * INCH, 15.17, 2000.0 / 60.0, (236.4, 296.9, 279.8, 14.775), 3e-4),
    # XJTU-SY rig, UER204 at 2400 r/min; the last two recomputed
    (8, 7.92e-3, 34.55e-3, 0.0, 40.0, (123.32, 196.68, 165.326, 15.415), 1e-4),
    # Paderborn rig, 6203, geometry a
    (8, 6.75e-3, 28.55e-3, 0.0, 1.0, (3.054, 4.946, 2 * 1.997, 0.382), 6e-4),
]


@pytest.mark.parametrize(("n", "ball", "pitch", "angle", "speed", "published", "tolerance"), PUBLISHED)
def test_published_lines(
    n: int, ball: float, pitch: float, angle: float, speed: float, published: tuple[float, ...], tolerance: float
) -> None:
    found = bearing_orders(Bearing(n, ball, pitch, math.radians(angle)))
    lines = (found.outer, found.inner, found.element, found.cage)
    assert [speed * order for order in lines] == pytest.approx(published, rel=tolerance)


@given(st.integers(3, 40), st.floats(0.02, 0.6), st.floats(0.0, 1.4))
def test_identities(n: int, ratio: float, angle: float) -> None:
    found = bearing_orders(Bearing(n, ratio * 0.05, 0.05, angle))
    assert found.outer + found.inner == pytest.approx(n)
    assert found.outer == pytest.approx(n * found.cage)
    assert found.inner == pytest.approx(n * (1.0 - found.cage))


@pytest.mark.parametrize(
    "wrong",
    [Bearing(0, 0.008, 0.04, 0.0), Bearing(9, 0.04, 0.04, 0.0), Bearing(9, 0.0, 0.04, 0.0), Bearing(9, 0.008, 0.04, 1.6)],
)
def test_impossible_bearings_are_refused(wrong: Bearing) -> None:
    with pytest.raises(ParameterError):
        bearing_orders(wrong)


def test_gears() -> None:
    """Recomputed: 23 on 67 teeth at 1480 r/min is a hunting pair; 20 on 60 is none."""
    found = gear_rates(23, 67, 1480.0 / 60.0)
    assert found.mesh_hz == pytest.approx(567.3333, rel=1e-6)
    assert 60.0 * found.driven_hz == pytest.approx(508.0597, rel=1e-6)
    assert found.hunting_hz == pytest.approx(0.368159, rel=1e-5)
    plain = gear_rates(20, 60, 25.0)
    assert (plain.mesh_hz, plain.hunting_hz, plain.assembly_hz) == pytest.approx((500.0, 8.33333, 25.0), rel=1e-5)
    with pytest.raises(ParameterError):
        gear_rates(0, 60, 25.0)


def test_belt() -> None:
    """Recomputed: sheave 160 mm, belt 2.5 m, 1480 r/min."""
    assert belt_rate(0.160, 2.5, 1480.0 / 60.0) == pytest.approx(4.95953, rel=1e-5)
    with pytest.raises(ParameterError):
        belt_rate(0.5, 1.0, 20.0)


@pytest.mark.parametrize(
    ("supply", "poles", "rpm", "slip", "pole_pass"),
    [(50.0, 4, 1480.0, 0.0133333, 1.33333), (60.0, 4, 1770.0, 0.0166667, 2.0), (60.0, 2, 3570.0, 0.0083333, 1.0)],
)
def test_motors(supply: float, poles: int, rpm: float, slip: float, pole_pass: float) -> None:
    """Poles times slip frequency equals twice slip times supply frequency; recomputed."""
    found = motor_rates(supply, poles, rpm / 60.0)
    assert found.slip == pytest.approx(slip, rel=1e-4)
    assert found.pole_pass_hz == pytest.approx(pole_pass, rel=1e-4)
    assert poles * (found.synchronous_hz - rpm / 60.0) == pytest.approx(found.pole_pass_hz, rel=1e-9)
    with pytest.raises(ParameterError):
        motor_rates(supply, 3, rpm / 60.0)
