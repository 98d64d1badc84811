import numpy as np
import pytest

from simulators.machines import KINDS, Belt, Machine, mesh_lines
from simulators.signals import AXES, render, velocity_rms
from tests.simulators import listening


@pytest.mark.parametrize("kind", KINDS)
def test_a_healthy_machine_shakes_as_strongly_as_it_says(kind: str) -> None:
    machine = Machine(KINDS[kind], 1210.0, 2.0)
    wave = render(machine.excitation(1210.0), 0.0, 32_768, 6400.0, np.random.default_rng(0)).astype(np.float64)
    directions = KINDS[kind].directions
    for axis in range(3):
        heard = listening.velocity_rms(wave[axis], 6400.0)
        lines_only = 1e3 * velocity_rms(machine.excitation(1210.0), AXES[axis])
        assert heard == pytest.approx(lines_only, rel=0.04)
    in_band = [line for line in machine.excitation(1210.0).lines if 10.0 <= line.hz <= 1000.0]
    if len(in_band) == len(machine.excitation(1210.0).lines):
        assert listening.velocity_rms(wave[0], 6400.0) == pytest.approx(2.0 * directions[0], rel=0.04)


@pytest.mark.parametrize("kind", KINDS)
def test_a_standing_machine_feels_only_its_floor(kind: str) -> None:
    still = Machine(KINDS[kind], 1480.0, 2.0).excitation(0.0)
    assert (still.lines, still.impacts) == ((), ())
    wave = render(still, 0.0, 32_768, 6400.0, np.random.default_rng(0)).astype(np.float64)
    # White acceleration noise integrated: S sqrt((1/f1 - 1/f2) / (4 pi^2)), S = 0.06 / sqrt(270): 0.1007 mm/s, recomputed.
    assert listening.velocity_rms(wave[0], 6400.0) == pytest.approx(0.1007, rel=0.1)


def test_forces_grow_with_the_square_of_speed() -> None:
    machine = Machine(KINDS["blower"], 3000.0, 2.0)
    full, half = machine.excitation(3000.0), machine.excitation(1500.0)
    for fast, slow in zip(full.lines, half.lines, strict=True):
        assert slow.hz == pytest.approx(fast.hz / 2.0)
        assert slow.peak[0] == pytest.approx(fast.peak[0] / 4.0)


def test_the_magnetic_pull_keeps_the_mains_frequency() -> None:
    machine = Machine(KINDS["pump"], 1480.0, 2.0)
    for rpm in (1480.0, 900.0):
        assert [line.hz for line in machine.excitation(rpm).lines][-1] == 100.0


def test_gear_mesh_and_its_sidebands() -> None:
    # 23 and 67 teeth at 1480 r/min: mesh 567.3333 Hz, driven gear 508.0597 r/min; recomputed.
    lines = mesh_lines((23, 67), 1480.0 / 60.0, 1.0)
    slow_hz = 508.0597 / 60.0
    fast_hz = 1480.0 / 60.0
    expected = [567.3333, 567.3333 - fast_hz, 567.3333 + fast_hz, 567.3333 - slow_hz, 567.3333 + slow_hz]
    np.testing.assert_allclose([hz for hz, _ in lines], expected, rtol=1e-6)


def test_the_mesh_and_sidebands_are_heard() -> None:
    machine = Machine(KINDS["geared-fan"], 1480.0, 2.4)
    wave = render(machine.excitation(1480.0), 0.0, 65_536, 6400.0, np.random.default_rng(1)).astype(np.float64)
    mesh = listening.amplitude_at(wave[0], 6400.0, 567.33333)
    speed_hz, slow_hz = 1480.0 / 60.0, 1480.0 / 60.0 * 23 / 67
    for side in (-speed_hz, speed_hz, -slow_hz, slow_hz):
        # Shares are of velocity, so acceleration of a sideband is off by its distance from the mesh, at most 4.4 %.
        assert listening.amplitude_at(wave[0], 6400.0, 567.33333 + side) == pytest.approx(0.15 * mesh, rel=0.09)
    assert listening.amplitude_at(wave[0], 6400.0, 567.33333 + 1.5 * speed_hz) < 0.02 * mesh


def test_belt_rate() -> None:
    # Sheaves 160 and 400 mm, belt 2.5 m, 1480 r/min: 4.95953 Hz, 0.20106 orders of the driver; recomputed.
    assert Belt(160.0, 400.0, 2500.0).rate_hz(1480.0 / 60.0) == pytest.approx(4.95953, rel=1e-5)


def test_blade_pass_is_heard() -> None:
    # 7 vanes at 2975 r/min: 347.083 Hz.
    machine = Machine(KINDS["high-pressure-pump"], 2975.0, 1.5)
    wave = render(machine.excitation(2975.0), 0.0, 16_384, 6400.0, np.random.default_rng(1)).astype(np.float64)
    assert listening.strongest(wave[0], 6400.0, 200.0, 1000.0) == pytest.approx(347.083, abs=0.4)


def test_radial_directions_are_a_quarter_turn_apart() -> None:
    line = Machine(KINDS["pump"], 1485.0, 2.0).excitation(1485.0).lines[0]
    assert line.phase[0] - line.phase[1] == pytest.approx(np.pi / 2)
