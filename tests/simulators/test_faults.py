import numpy as np
import pytest

from simulators.faults import (
    FAULTS,
    Case,
    Geometry,
    bearing_inner,
    bearing_outer,
    cavitation,
    gear_tooth,
    looseness,
    misalignment,
    unbalance,
)
from simulators.signals import Excitation, render, velocity_rms
from tests.simulators import listening

FS_HZ = 12_000.0
SPEED_HZ = 1797.0 / 60.0
CWRU_DRIVE_END = Geometry(9, 0.3126, 1.537)


def case(
    severity: float = 1.0, speed_hz: float = SPEED_HZ, full_m_s2: float = 40.0, bearing: Geometry = CWRU_DRIVE_END
) -> Case:
    return Case(severity, speed_hz, SPEED_HZ, full_mm_s=4.0, full_m_s2=full_m_s2, bearing=bearing)


def heard(shaken: Excitation, n: int = 65_536, seed: int = 0) -> listening.Array:
    return render(shaken, 0.0, n, FS_HZ, np.random.default_rng(seed)).astype(np.float64)


@pytest.mark.parametrize(
    ("bearing", "outer", "inner", "element", "cage", "rel"),
    [
        # 6205 and 6203 as the CWRU Bearing Data Center publishes them; "rolling element" there is both races.
        (Geometry(9, 0.3126, 1.537), 3.5848, 5.4152, 4.7135, 0.39828, 1e-4),
        (Geometry(8, 0.2656, 1.122), 3.0530, 4.9469, 3.9874, 0.3817, 2e-4),
        # MFPT rig (E. Bechhoefer, 2013): 81.1245 and 118.875 Hz at 25 Hz.
        (Geometry(8, 0.235, 1.245), 81.1245 / 25, 118.875 / 25, 2 * 63.864 / 25, 10.1406 / 25, 1e-4),
        # IMS rig (Qiu and others, 2006): 236.4, 296.9, 2 x 139.9 Hz at 2000 r/min.
        (Geometry(16, 0.331, 2.815, 15.17), 236.4 * 0.03, 296.9 * 0.03, 279.8 * 0.03, 14.775 * 0.03, 3e-4),
    ],
)
def test_multipliers_agree_with_published_ones(
    bearing: Geometry, outer: float, inner: float, element: float, cage: float, rel: float
) -> None:
    orders = bearing.orders()
    assert orders["outer"] == pytest.approx(outer, rel=rel)
    assert orders["inner"] == pytest.approx(inner, rel=rel)
    assert orders["element"] == pytest.approx(element, rel=rel)
    assert orders["cage"] == pytest.approx(cage, rel=rel)


def test_multipliers_of_both_races_add_up_to_the_number_of_elements() -> None:
    orders = Geometry().orders()
    assert orders["outer"] + orders["inner"] == pytest.approx(9.0)
    assert orders["outer"] == pytest.approx(9.0 * orders["cage"])


@pytest.mark.parametrize(
    ("kind", "rate_hz"),
    # 6205 at 1797 r/min: 107.364, 162.186, 141.168 and 11.929 Hz (CWRU multipliers, recomputed).
    [
        ("bearing-outer-race", 107.364),
        ("bearing-inner-race", 162.186),
        ("bearing-rolling-element", 141.168),
        ("bearing-cage", 11.929),
    ],
)
def test_the_envelope_repeats_at_the_published_rate(kind: str, rate_hz: float) -> None:
    shaken = FAULTS[kind](case())
    square = listening.envelope(heard(shaken)[0], FS_HZ, 1200.0, 2800.0) ** 2
    found = listening.strongest(square, FS_HZ, rate_hz * 0.9, rate_hz * 1.1)
    assert found == pytest.approx(rate_hz, rel=0.01)
    beside = [listening.amplitude_at(square, FS_HZ, rate_hz * off) for off in (0.947, 0.963, 1.037, 1.053)]
    assert listening.amplitude_at(square, FS_HZ, found) > 4.0 * max(beside)


def test_an_inner_race_is_modulated_at_shaft_speed_and_an_outer_race_is_not() -> None:
    def sideband(shaken: Excitation, rate_hz: float) -> float:
        square = listening.envelope(heard(shaken)[0], FS_HZ, 1200.0, 2800.0) ** 2
        peak = listening.strongest(square, FS_HZ, rate_hz * 0.97, rate_hz * 1.03)
        sides = [listening.strongest(square, FS_HZ, peak + side - 1.5, peak + side + 1.5) for side in (-SPEED_HZ, SPEED_HZ)]
        return min(listening.amplitude_at(square, FS_HZ, hz) for hz in sides) / listening.amplitude_at(square, FS_HZ, peak)

    assert sideband(bearing_inner(case()), 162.186) > 0.3
    assert sideband(bearing_outer(case()), 107.364) < 0.15


def test_a_bearing_defect_is_impulsive() -> None:
    # Kurtosis of Gaussian noise is 3; blows lift it.
    wave = listening.band_pass(heard(bearing_outer(case()))[0], FS_HZ, 1200.0, 2800.0)
    assert np.mean(wave**4) / np.mean(wave**2) ** 2 > 5.0


def test_unbalance_is_one_line_at_running_speed() -> None:
    wave = heard(unbalance(case()))
    peak = 2**0.5 * 4e-3 * 2 * np.pi * SPEED_HZ
    assert listening.amplitude_at(wave[0], FS_HZ, SPEED_HZ) == pytest.approx(peak, rel=1e-3)
    assert listening.amplitude_at(wave[0], FS_HZ, 2 * SPEED_HZ) < 1e-3 * peak
    assert listening.amplitude_at(wave[2], FS_HZ, SPEED_HZ) == pytest.approx(0.1 * peak, rel=1e-2)
    assert listening.velocity_rms(wave[0], FS_HZ) == pytest.approx(4.0, rel=1e-3)


@pytest.mark.parametrize("ratio", [0.5, 0.8, 1.2])
def test_unbalance_grows_with_the_square_of_speed(ratio: float) -> None:
    # F = m e omega^2.
    wave = heard(unbalance(case(speed_hz=SPEED_HZ * ratio)))
    nominal = listening.amplitude_at(heard(unbalance(case()))[0], FS_HZ, SPEED_HZ)
    assert listening.amplitude_at(wave[0], FS_HZ, SPEED_HZ * ratio) == pytest.approx(nominal * ratio**2, rel=2e-3)


def test_misalignment_is_twice_running_speed_and_axial() -> None:
    wave = heard(misalignment(case()))
    one, two = (listening.amplitude_at(wave[0], FS_HZ, k * SPEED_HZ) / k for k in (1, 2))
    assert two / one > 0.5
    axial = listening.amplitude_at(wave[2], FS_HZ, 2 * SPEED_HZ) / 2
    assert axial / two > 0.5


def test_looseness_has_many_harmonics_and_half_orders() -> None:
    wave = heard(looseness(case(full_m_s2=0.0)))
    velocity = {k: listening.amplitude_at(wave[0], FS_HZ, k * SPEED_HZ) / k for k in (0.5, 1, 1.5, 2, 3, 4, 5, 6, 7)}
    largest = max(velocity.values())
    assert sum(velocity[k] > 0.1 * largest for k in (1, 2, 3, 4, 5, 6, 7)) >= 6
    assert velocity[0.5] > 0.1 * largest


def test_a_broken_tooth_strikes_once_a_revolution() -> None:
    square = listening.envelope(heard(gear_tooth(case()), n=131_072)[0], FS_HZ, 1500.0, 2400.0) ** 2
    assert listening.strongest(square, FS_HZ, 10.0, 45.0) == pytest.approx(SPEED_HZ, rel=0.01)


def test_cavitation_is_random_and_broad() -> None:
    wave = listening.band_pass(heard(cavitation(case()))[0], FS_HZ, 800.0, 4500.0)
    assert np.mean(wave**4) / np.mean(wave**2) ** 2 == pytest.approx(3.0, abs=0.15)
    low, high = (listening.band_pass(wave, FS_HZ, start, start + 1500.0).std() for start in (1000.0, 3000.0))
    assert low == pytest.approx(high, rel=0.05)


@pytest.mark.parametrize("kind", FAULTS)
def test_every_fault_grows_with_its_severity_and_is_nothing_without(kind: str) -> None:
    waves = [heard(FAULTS[kind](case(severity)), n=16_384) for severity in (0.0, 0.25, 0.5, 1.0)]
    sizes = [float(wave[0].std()) for wave in waves]
    assert sizes[0] == 0.0
    assert sizes[1] < sizes[2] < sizes[3]
    assert sizes[3] == pytest.approx(4.0 * sizes[1], rel=1e-3)


@pytest.mark.parametrize("kind", ["bearing-outer-race", "misalignment", "looseness", "unbalance"])
def test_severity_one_adds_the_velocity_it_says(kind: str) -> None:
    shaken = FAULTS[kind](case(full_m_s2=0.0))
    directions = 0.9 if kind == "looseness" else 1.0
    assert 1e3 * velocity_rms(shaken, "x") == pytest.approx(4.0 * directions, rel=0.03)
