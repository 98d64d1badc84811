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
    # the same rig and designation with another pitch: outer race printed as 3.0706, the rest recomputed
    (8, 6.75e-3, 29.05e-3, 0.0, 1.0, (3.0706, 4.92943, 2 * 2.03567, 0.38382), 1e-4),
    # MAFAULDA rig (Federal University of Rio de Janeiro), multipliers as published with the data set
    (8, 7.145e-3, 28.519e-3, 0.0, 1.0, (2.9980, 5.0020, 2 * 1.8710, 0.3750), 1e-3),
]
RECOMPUTED = [
    # Case Western drive end at 1797 and 1730 r/min
    (9, 0.3126 * INCH, 1.537 * INCH, 0.0, 1797.0, (107.364, 162.186, 141.168, 11.929)),
    (9, 0.3126 * INCH, 1.537 * INCH, 0.0, 1730.0, (103.361, 156.139, 135.904, 11.485)),
    # MFPT rig at 25 Hz
    (8, 0.235 * INCH, 1.245 * INCH, 0.0, 1500.0, (81.1245, 118.8755, 127.728, 10.1406)),
    # XJTU-SY rig at its three speeds
    (8, 7.92e-3, 34.55e-3, 0.0, 2100.0, (107.907, 172.093, 144.660, 13.4884)),
    (8, 7.92e-3, 34.55e-3, 0.0, 2250.0, (115.615, 184.385, 154.993, 14.4519)),
    # PRONOSTIA rig (challenge of the PHM society, 2012): geometry as published, contact angle not stated
    (13, 3.5e-3, 25.6e-3, 0.0, 1800.0, (168.340, 221.660, 2 * 107.664, 12.949)),
    # Paderborn rig, geometry a, at 1500 r/min
    (8, 6.75e-3, 28.55e-3, 0.0, 1500.0, (76.357, 123.643, 2 * 49.915, 9.5447)),
    # self-aligning 1205 of a tutorial rig at 10 Hz (48.9 and 71.1 Hz in print, from memory)
    (12, 7.12e-3, 38.5e-3, 0.0, 600.0, (48.904, 71.096, 52.224, 4.075)),
    # 6205 with the pitch some lists give it: the designation alone does not fix the geometry
    (9, 7.938e-3, 38.5e-3, 0.0, 60.0, (3.57218, 5.42782, 4.6439, 0.39691)),
]


@pytest.mark.parametrize(("n", "ball", "pitch", "angle", "rpm", "lines"), RECOMPUTED)
def test_recomputed_lines(n: int, ball: float, pitch: float, angle: float, rpm: float, lines: tuple[float, ...]) -> None:
    found = bearing_orders(Bearing(n, ball, pitch, math.radians(angle)))
    rates = [rpm / 60.0 * order for order in (found.outer, found.inner, found.element, found.cage)]
    assert rates == pytest.approx(lines, rel=1e-4)


@given(st.integers(1, 40), st.floats(0.02, 0.6), st.floats(0.0, 1.4), st.floats(1.0, 200.0))
def test_against_the_speeds_of_rolling_surfaces(n: int, ratio: float, angle: float, shaft_hz: float) -> None:
    """No formula of bearings: a rolling element does not slide, so its centre moves at half the inner contact's speed."""
    pitch = 0.05
    ball = ratio * pitch
    inner_radius, outer_radius = (pitch - ball * math.cos(angle)) / 2.0, (pitch + ball * math.cos(angle)) / 2.0
    inner_speed = 2.0 * math.pi * shaft_hz * inner_radius  # the outer contact stands still
    cage_hz = inner_speed / 2.0 / (math.pi * pitch)
    spin_hz = 2.0 * math.pi * cage_hz * outer_radius / (math.pi * ball)  # rolling on the outer race, seen from the cage
    found = bearing_orders(Bearing(n, ball, pitch, angle))
    assert shaft_hz * found.cage == pytest.approx(cage_hz)
    assert shaft_hz * found.element == pytest.approx(2.0 * spin_hz)
    assert shaft_hz * found.outer == pytest.approx(n * cage_hz)
    assert shaft_hz * found.inner == pytest.approx(n * (shaft_hz - cage_hz))


@given(st.integers(1, 40), st.floats(0.02, 0.6), st.floats(0.0, 1.4), st.floats(1.0, 200.0))
def test_rolling_surfaces_where_the_outer_ring_turns(n: int, ratio: float, angle: float, shaft_hz: float) -> None:
    """Now the inner contact stands still, and an element's centre moves at half the outer contact's speed."""
    pitch = 0.05
    ball = ratio * pitch
    inner_radius, outer_radius = (pitch - ball * math.cos(angle)) / 2.0, (pitch + ball * math.cos(angle)) / 2.0
    cage_hz = 2.0 * math.pi * shaft_hz * outer_radius / 2.0 / (math.pi * pitch)
    spin_hz = 2.0 * math.pi * cage_hz * inner_radius / (math.pi * ball)  # rolling on the inner race, seen from the cage
    found = bearing_orders(Bearing(n, ball, pitch, angle, outer_turns=True))
    assert shaft_hz * found.cage == pytest.approx(cage_hz)
    assert shaft_hz * found.element == pytest.approx(2.0 * spin_hz)
    assert shaft_hz * found.inner == pytest.approx(n * cage_hz)
    assert shaft_hz * found.outer == pytest.approx(n * (shaft_hz - cage_hz))


def test_only_the_cage_goes_otherwise_where_the_outer_ring_turns() -> None:
    # M. P. Norton, D. G. Karczub, eqs 8.5 to 8.14: FTF = fr / 2 (1 + d / D cos), the races as before; the drive-end bearing of
    # Case Western Reserve University's rig turned over (recomputed: 0.60169)
    usual, turned = (bearing_orders(Bearing(9, 0.3126 * INCH, 1.537 * INCH, 0.0, outer_turns=outer)) for outer in (False, True))
    assert (turned.outer, turned.inner, turned.element) == (usual.outer, usual.inner, usual.element)
    assert (usual.cage, turned.cage) == pytest.approx((0.39831, 0.60169), abs=1e-5)


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


def test_contact_angles_up_to_a_right_one() -> None:
    """Thrust bearings have contact angles near 90 degrees: there both races have half of the elements as order."""
    found = bearing_orders(Bearing(12, 0.01, 0.06, math.radians(89.999)))
    assert (found.outer, found.inner, found.cage) == pytest.approx((6.0, 6.0, 0.5), rel=1e-4)
    for degrees in (90.0, -1.0):
        with pytest.raises(ParameterError, match="contact angle"):
            bearing_orders(Bearing(12, 0.01, 0.06, math.radians(degrees)))


def test_gears() -> None:
    """Recomputed: 23 on 67 teeth at 1480 r/min is a hunting pair; 20 on 60 is none."""
    found = gear_rates(23, 67, 1480.0 / 60.0)
    assert found.mesh_hz == pytest.approx(567.3333, rel=1e-6)
    assert 60.0 * found.driven_hz == pytest.approx(508.0597, rel=1e-6)
    assert found.hunting_hz == pytest.approx(0.368159, rel=1e-5)
    plain = gear_rates(20, 60, 25.0)
    assert (plain.mesh_hz, plain.hunting_hz, plain.assembly_hz) == pytest.approx((500.0, 8.33333, 25.0), rel=1e-5)
    third = gear_rates(24, 36, 30.0)  # 1800 r/min
    assert (third.mesh_hz, third.hunting_hz, third.assembly_hz) == pytest.approx((720.0, 10.0, 60.0))
    worm = gear_rates(1, 40, 25.0)  # one start: each turn moves the wheel by a tooth
    assert (worm.mesh_hz, worm.driven_hz, worm.hunting_hz) == pytest.approx((25.0, 0.625, 0.625))
    for teeth in ((0, 60), (20, 0)):
        with pytest.raises(ParameterError):
            gear_rates(*teeth, 25.0)


@pytest.mark.parametrize(("teeth", "driven"), [(23, 67), (20, 60), (24, 36), (7, 7), (18, 27)])
def test_hunting_tooth_against_turning_the_gears(teeth: int, driven: int) -> None:
    """Counted tooth by tooth: how many meshes until the same two meet again, and how many partners a tooth has."""
    meshes = next(k for k in range(1, teeth * driven + 1) if k % teeth == 0 and k % driven == 0)
    partners = {k % driven for k in range(0, teeth * driven, teeth)}
    found = gear_rates(teeth, driven, 25.0)
    assert found.mesh_hz / found.hunting_hz == pytest.approx(meshes)
    assert found.mesh_hz / found.assembly_hz == pytest.approx(driven / len(partners))
    assert found.mesh_hz == pytest.approx(driven * found.driven_hz)  # the same from either gear


def test_belt() -> None:
    """Recomputed: sheaves 160 and 400 mm, belt 2.5 m, 1480 and 592 r/min; 0.20106 orders of the driver."""
    assert belt_rate(0.160, 2.5, 1480.0 / 60.0) == pytest.approx(4.95953, rel=1e-5)
    assert belt_rate(0.400, 2.5, 592.0 / 60.0) == pytest.approx(4.95953, rel=1e-5)
    assert belt_rate(160.0, 2500.0, 1.0) == pytest.approx(0.20106, rel=1e-4)
    with pytest.raises(ParameterError):
        belt_rate(0.5, 1.0, 20.0)


@pytest.mark.parametrize(
    ("supply", "poles", "rpm", "synchronous_rpm", "slip", "pole_pass"),
    [
        (50.0, 4, 1480.0, 1500.0, 0.0133333, 1.33333),
        (60.0, 4, 1770.0, 1800.0, 0.0166667, 2.0),
        (50.0, 2, 2960.0, 3000.0, 0.0133333, 1.33333),
        (60.0, 2, 3570.0, 3600.0, 0.0083333, 1.0),
        (50.0, 6, 1000.0, 1000.0, 0.0, 0.0),
    ],
)
def test_motors(supply: float, poles: int, rpm: float, synchronous_rpm: float, slip: float, pole_pass: float) -> None:
    """Poles times slip frequency equals twice slip times supply frequency; recomputed."""
    found = motor_rates(supply, poles, rpm / 60.0)
    assert 60.0 * found.synchronous_hz == pytest.approx(synchronous_rpm)
    assert found.slip == pytest.approx(slip, rel=1e-4)
    assert found.pole_pass_hz == pytest.approx(pole_pass, rel=1e-4)
    assert found.twice_supply_hz == 2.0 * supply
    assert poles * (found.synchronous_hz - rpm / 60.0) == pytest.approx(found.pole_pass_hz, rel=1e-9)
    with pytest.raises(ParameterError):
        motor_rates(supply, 3, rpm / 60.0)
    with pytest.raises(ParameterError, match="at most the synchronous"):
        motor_rates(supply, poles, synchronous_rpm / 60.0 + 0.1)
