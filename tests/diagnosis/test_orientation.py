"""Sensors turned by known angles: gravity, 9.80665 m/s2 (3rd CGPM, 1901), in three axes, and rotations as matrices."""

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from edgemon.analysis.gravity import gravity_of, is_gravity, turned_deg
from edgemon.diagnosis import Channel, MachineFacts, Record, diagnose
from edgemon.engine.diagnose import diagnose_capture
from edgemon.engine.memory import setting_of
from edgemon.model.finding import Diagnosis, Fault, Finding
from edgemon.model.ids import CaptureId
from edgemon.model.reading import Capture
from tests.support.plants import DRIVE_END, SENSOR, gateway, plant

G = 9.80665
FS, N = 6400.0, 8192
SPEED = 25.0
FACTS = MachineFacts(SPEED)
AXES = (Channel("x", "horizontal"), Channel("y", "vertical"), Channel("z", "axial"))
DOWN = np.array([0.1, -0.99, 0.0995]) / math.sqrt(0.1**2 + 0.99**2 + 0.0995**2)


def shaken(gravity: NDArray[np.float64], seed: int = 1, axes: tuple[Channel, ...] = AXES) -> Record:
    rng = np.random.default_rng(seed)
    wave = 0.5 * rng.normal(size=(3, N)) + np.sin(2.0 * np.pi * SPEED * np.arange(N) / FS + np.arange(3)[:, None])
    return Record(wave + gravity[:, None], FS, axes)


def rotated(degrees: float, about: tuple[float, float, float] = (1.0, 0.0, 0.3)) -> NDArray[np.float64]:
    """Turn about an axis at right angles to gravity, so that gravity turns by just as much."""
    axis = np.cross(DOWN, about)
    turn = Rotation.from_rotvec(math.radians(degrees) * axis / np.linalg.norm(axis))
    return np.asarray(G * turn.apply(DOWN))


def turned(found: Diagnosis) -> Finding | None:
    return next((one for one in found.findings if one.fault is Fault.SENSOR and one.detail == "turned"), None)


@pytest.mark.parametrize("degrees", [0.0, 3.0, 10.0, 45.0, 90.0, 135.0, 180.0])
def test_the_angle_between_two_directions(degrees: float) -> None:
    assert turned_deg(G * DOWN, 1.03 * rotated(degrees)) == pytest.approx(degrees, abs=1e-6)


@pytest.mark.parametrize(("g", "is_one"), [(1.0, True), (0.91, True), (1.09, True), (0.89, False), (1.11, False), (0.0, False)])
def test_gravity_is_one_g_within_a_tenth(g: float, is_one: bool) -> None:
    # common practice: a still triaxial MEMS sensor reads 1 g +- 0.1 g
    assert is_gravity(g * G * DOWN) is is_one
    found = gravity_of(shaken(g * G * DOWN).samples)
    assert (found is not None) is is_one
    if found is not None:
        np.testing.assert_allclose(found, g * G * DOWN, atol=0.05)


# Common practice: a direction that changes by more than 10 degrees means a sensor that was moved, or is loose
@pytest.mark.parametrize(
    ("degrees", "is_told"), [(0.0, False), (5.0, False), (9.0, False), (11.0, True), (30.0, True), (180.0, True)]
)
def test_a_sensor_turned_by_more_than_ten_degrees_is_told(degrees: float, is_told: bool) -> None:
    before = [(shaken(G * DOWN, seed), FACTS) for seed in (2, 3, 4)]
    one = turned(diagnose(shaken(rotated(degrees)), FACTS, before))
    assert (one is not None) is is_told
    if one is not None:
        assert f"turned by {degrees:.0f} degrees" in one.evidence[0].text
        assert one.confidence >= 0.5


def test_axes_that_changed_places_are_named() -> None:
    one = turned(diagnose(shaken(G * DOWN[[1, 0, 2]]), FACTS, [(shaken(G * DOWN, 2), FACTS)]))
    assert one is not None
    assert "from -y to -x" in one.evidence[0].text


def test_an_axis_that_is_off_is_told() -> None:
    one = turned(diagnose(shaken(G * DOWN + np.array([0.0, 4.0, 0.0])), FACTS, [(shaken(G * DOWN, 2), FACTS)]))
    assert one is not None
    assert "make 0.60 g" in one.evidence[0].text  # 0.99 g less 4 m/s2, and what is in the other two (by hand)


def test_without_gravity_in_the_baseline_or_another_set_of_axes_nothing_is_said() -> None:
    now = shaken(rotated(90.0))
    others = tuple(replace(channel, name=f"other {channel.name}") for channel in AXES)
    for before in ([], [shaken(0.0 * DOWN, 2)], [shaken(G * DOWN, 2, others)]):
        assert turned(diagnose(now, FACTS, [(one, FACTS) for one in before])) is None
    blind = replace(now, channels=tuple(replace(channel, calibrated=False) for channel in AXES))
    assert turned(diagnose(blind, FACTS, [(shaken(G * DOWN, 2), FACTS)])) is None
    assert gravity_of(np.zeros((2, 10))) is None
    assert gravity_of(np.zeros((3, 0))) is None


@pytest.mark.parametrize(("degrees", "is_told"), [(4.0, False), (25.0, True)])
def test_stored_captures_are_compared_with_those_of_the_baseline(degrees: float, is_told: bool) -> None:
    """Through raw counts of 0.005 m/s2, as a sensor sends them."""

    def capture(gravity: NDArray[np.float64], name: str, at: float) -> Capture:
        counts = {
            axis: np.round(row / 0.005).astype(np.int16) for axis, row in zip("xyz", shaken(gravity).samples, strict=True)
        }
        return Capture(SENSOR, CaptureId(name), at, at, FS, "m/s2", 0.005, 0.005, counts, rpm=60.0 * SPEED)

    setting = setting_of(plant(), gateway())
    found = diagnose_capture(setting, DRIVE_END, capture(rotated(degrees), "b", 2e9), [capture(G * DOWN, "a", 1e9)])
    assert (turned(found) is not None) is is_told


def test_what_a_diagnosis_costs_goes_with_its_capture_and_a_short_one_in_the_baseline_is_left_out() -> None:
    """Of a longer capture of the baseline the first as many seconds are used, without what began later; one sample is none."""

    def capture(n: int, seed: int) -> Capture:
        later = np.arange(16 * N) > N
        wave = 2000.0 * later * np.sin(2.0 * np.pi * SPEED / FS * np.arange(16 * N))
        wave += 200.0 * np.random.default_rng(seed).normal(size=16 * N)
        counts = {"x": wave[:n].astype(np.int16)}
        return Capture(SENSOR, CaptureId(f"{seed}"), 1e9 + seed, 1e9, FS, "m/s2", 0.005, 0.005, counts, rpm=60.0 * SPEED)

    setting, now = setting_of(plant(), gateway()), capture(N, 1)
    found = [diagnose_capture(setting, DRIVE_END, now, before) for before in ([capture(n, 2)] for n in (N, 16 * N))]
    assert found[0] == found[1]
    without, short = (diagnose_capture(setting, DRIVE_END, now, before) for before in ((), [capture(1, 2)]))
    assert (short.verdict, short.findings) == (without.verdict, without.findings)
    assert set(short.remarks) - set(without.remarks) == {"of 1 records of the baseline 1 left out: too short"}


@pytest.mark.parametrize(
    ("was", "now", "is_off"), [(1.08, 1.12, False), (0.92, 0.88, False), (1.0, 0.8, True), (1.0, 0.0, True)]
)
def test_an_offset_that_drifts_a_little_is_no_axis_that_is_off(was: float, now: float, is_off: bool) -> None:
    """Data sheets of MEMS converters allow some hundredths of g: what crosses 1 g +- 0.1 g by that is no fault."""
    found = turned(diagnose(shaken(now * G * DOWN), FACTS, [(shaken(was * G * DOWN, 2), FACTS)]))
    assert (found is not None) is is_off
    if found is not None:
        assert f"make {now:.2f} g, in the baseline they made {was:.2f} g" in found.evidence[0].text
