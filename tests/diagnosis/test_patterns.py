"""Every pattern finds its fault in a signal of the simulators, and accuses no healthy machine of them."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from edgemon.diagnosis import Channel, Gear, MachineFacts, Record, diagnose
from edgemon.diagnosis.look import UNCALIBRATED
from edgemon.diagnosis.record import MIN_SAMPLES
from edgemon.diagnosis.registry import PATTERNS
from edgemon.errors import ParameterError
from edgemon.model.finding import SUPPORTED, Conclusion, Fault
from edgemon.model.speed import SpeedOrigin
from edgemon.units import STANDARD_GRAVITY, Quantity
from simulators.machines import KINDS
from simulators.signals import Excitation, Line
from tests.diagnosis.making import FS_HZ, facts_of, simulated

SHAFT_HZ = 2975.0 * 0.995 / 60.0


def line(hz: float, mm_s: float, directions: tuple[float, float, float] = (1.0, 0.8, 0.2), turn: float = -np.pi / 2) -> Line:
    """A sine of a velocity, mm/s r.m.s. in the first direction."""
    peak = np.sqrt(2.0) * mm_s * 1e-3 * 2.0 * np.pi * hz
    return Line(hz, (directions[0] * peak, directions[1] * peak, directions[2] * peak), (0.3, 0.3 + turn, 0.9))


@pytest.mark.parametrize("kind", sorted(KINDS))
@pytest.mark.parametrize("seed", [1, 2])
def test_healthy_machines_are_not_accused(kind: str, seed: int) -> None:
    teeth = KINDS[kind].teeth
    gears = () if teeth is None else (Gear(*teeth),)
    found = diagnose(simulated(kind=kind, seed=seed), facts_of(kind, gears=gears, supply_hz=50.0, poles=2))
    assert found.verdict is not Conclusion.FAULT


@pytest.mark.parametrize(
    "fault",
    ["unbalance", "misalignment", "bearing-outer-race", "bearing-inner-race", "bearing-rolling-element"],
)
@pytest.mark.parametrize("kind", ["pump", "belt-fan"])
@pytest.mark.parametrize("seed", [1, 2])
def test_simulated_faults_are_named(fault: str, kind: str, seed: int) -> None:
    found = diagnose(simulated(fault, kind, n=32768, seed=seed), facts_of(kind))
    assert found.verdict is Conclusion.FAULT
    assert found.findings[0].fault == fault


@pytest.mark.parametrize(
    ("fault", "case"),
    [("bearing-cage", {}), ("looseness", {"full_m_s2": 1.0}), ("blade-pass", {}), ("cavitation", {"full_mm_s": 0.5})],
)
def test_other_simulated_faults_are_named(fault: str, case: dict[str, Any]) -> None:
    found = diagnose(simulated(fault, n=65536, **case), facts_of("pump"))
    assert (found.verdict, found.findings[0].fault) == (Conclusion.FAULT, fault)


ADDED: dict[Fault, tuple[Excitation, dict[str, Any]]] = {
    Fault.BENT_SHAFT: (Excitation((line(SHAFT_HZ, 3.0, (1.0, 0.9, 1.4)),)), {}),
    Fault.RESONANCE: (Excitation((line(SHAFT_HZ, 5.0, (1.0, 0.1, 0.1)),)), {}),
    Fault.OIL_WHIRL: (Excitation((line(0.43 * SHAFT_HZ, 4.0),)), {"sleeve_bearings": True, "bearings": ()}),
    Fault.ELECTRICAL: (Excitation((line(100.0, 5.0),)), {"supply_hz": 50.0}),
    Fault.BELT: (Excitation(tuple(line(k * 7.9, 3.0 / k) for k in (1, 2, 3, 4))), {"belt_hz": 7.9}),
    Fault.RUB: (Excitation(tuple(line(k * SHAFT_HZ / 3.0, 2.0) for k in (1, 2, 4))), {}),
}


@pytest.mark.parametrize("fault", sorted(ADDED))
def test_faults_made_of_lines_are_found(fault: Fault) -> None:
    """Lines drawn by hand where the textbooks put them; the fault is among what the record supports."""
    extra, more = ADDED[fault]
    found = diagnose(simulated(n=65536, extra=extra), facts_of("pump", **more))
    assert fault in [one.fault for one in found.findings if one.confidence >= 0.5]


@pytest.mark.parametrize("kind", sorted(KINDS))
@pytest.mark.parametrize(
    ("fault", "more"),
    [(Fault.OIL_WHIRL, {"sleeve_bearings": True, "bearings": ()}), (Fault.BELT, {"belt_hz": 7.9})],
)
def test_healthy_machines_with_sleeve_bearings_or_belts_are_not_accused(kind: str, fault: Fault, more: dict[str, Any]) -> None:
    """These patterns look only where the facts allow them: here they do, and nothing is wrong."""
    found = diagnose(simulated(kind=kind, n=32768), facts_of(kind, **more))
    assert found.verdict is not Conclusion.FAULT
    assert all(one.confidence < 0.5 for one in found.findings if one.fault is fault)


@pytest.mark.parametrize(("times", "named"), [(1.0, True), (1.7, False)])
def test_rotor_bars_are_named_by_sidebands_at_pole_pass_only(times: float, named: bool) -> None:
    """Pole-pass frequency is poles x slip frequency: 2 x (50 Hz - shaft speed), 1.33 Hz."""
    away = times * 2.0 * (50.0 - SHAFT_HZ)
    sides = Excitation(tuple(line(SHAFT_HZ + k * away, 2.0) for k in (-1, 0, 1)))
    found = diagnose(simulated(n=131072, extra=sides), facts_of("pump", supply_hz=50.0, poles=2))
    bars = [one for one in found.findings if one.detail == "rotor bar" and one.confidence >= 0.5]
    assert bool(bars) is named
    at = [note.frequency_hz for one in bars for note in one.evidence]
    assert all(hz is not None and abs(abs(hz - SHAFT_HZ) - away) < 0.3 for hz in at)


@pytest.mark.parametrize(("apart_hz", "named"), [(100.0, True), (83.0, False)])
def test_rotor_bars_are_named_by_sidebands_of_their_pass_at_twice_the_supply(apart_hz: float, named: bool) -> None:
    """28 bars: lines at 28 x speed and 2 x 50 Hz to either side; above 1 kHz it stays a hint. Lines are no cavitation."""
    hz = 28 * SHAFT_HZ
    sides = Excitation(tuple(line(hz + k * apart_hz, 6.0) for k in (-1, 0, 1)))
    found = diagnose(simulated(extra=sides), facts_of("pump", supply_hz=50.0, rotor_bars=28))
    bars = [one for one in found.findings if one.detail == "rotor-bar pass" and one.confidence > 0.4]
    assert bool(bars) is named
    assert found.verdict is not Conclusion.FAULT
    at = [note.frequency_hz for one in bars for note in one.evidence]
    assert at == ([pytest.approx(hz + k * apart_hz, abs=1.5) for k in (-1, 0, 1)] if named else [])


def test_rotor_bar_pass_stays_a_hint_however_strongly_the_machine_shakes() -> None:
    sides = Excitation((line(SHAFT_HZ, 20.0), *(line(28 * SHAFT_HZ + k * 100.0, 6.0) for k in (-1, 0, 1))))
    found = diagnose(simulated(extra=sides), facts_of("pump", supply_hz=50.0, rotor_bars=28))
    (bars,) = [one for one in found.findings if one.detail == "rotor-bar pass"]
    assert bars.confidence <= UNCALIBRATED < SUPPORTED


@pytest.mark.parametrize(("vanes", "rpm", "hz"), [(6, 2970.0, 297.0), (12, 740.0, 148.0)])
def test_blade_pass_is_named_at_blades_times_speed(vanes: int, rpm: float, hz: float) -> None:
    """Kinematics, recomputed: 6 vanes at 2970 r/min, 12 blades at 740 r/min."""
    t = np.arange(65536) / FS_HZ
    waves = [size * hz * np.sqrt(2.0) * np.cos(2.0 * np.pi * f * t) for f, size in ((hz, 0.03), (rpm / 60.0, 0.002))]
    wave = np.sum(waves, axis=0) + 0.05 * np.random.default_rng(3).standard_normal(t.size)
    found = diagnose(Record(wave[None, :], FS_HZ, (Channel("h", "horizontal"),)), MachineFacts(rpm / 60.0, blades=vanes))
    named = next(one for one in found.findings if one.fault is Fault.BLADE_PASS)
    assert named.evidence[0].frequency_hz == pytest.approx(hz, rel=2e-3)
    assert named.evidence[0].order == pytest.approx(vanes, rel=2e-3)


def test_twice_supply_near_twice_speed_is_not_called_electrical_where_lines_cannot_part_them() -> None:
    record = simulated(n=8192, extra=Excitation((line(100.0, 5.0),)))  # lines 3.1 Hz apart, 2x at 98.7 Hz
    found = diagnose(record, facts_of("pump", supply_hz=50.0))
    assert Fault.ELECTRICAL not in [one.fault for one in found.findings]


def test_poor_lubrication_is_a_hint_only() -> None:
    rng = np.random.default_rng(6)
    record = Record(25.0 * rng.standard_normal((1, 32768)), FS_HZ, (Channel("a"),))
    share = np.fft.rfftfreq(32768, 1.0 / FS_HZ)
    high = np.fft.irfft(np.fft.rfft(record.samples[0]) * (share > 2500.0), 32768)
    found = diagnose(Record(high[None, :], FS_HZ, record.channels), facts_of("pump", blades=None))
    hint = next(one for one in found.findings if one.fault is Fault.LUBRICATION)
    assert 0.1 < hint.confidence < 0.5


def test_flat_and_clipped_channels_are_the_sensor() -> None:
    clean = simulated()
    flat = replace(clean, samples=np.zeros_like(clean.samples))
    clipped = replace(clean, samples=np.clip(clean.samples, -0.4, 0.4))
    for record in (flat, clipped):
        found = diagnose(record, facts_of("pump"))
        assert found.findings[0].fault is Fault.SENSOR


def test_sizes_that_mean_nothing_support_no_fault_of_level() -> None:
    record = simulated("misalignment", n=32768)
    blind = replace(record, channels=tuple(replace(channel, calibrated=False) for channel in record.channels))
    found = diagnose(blind, facts_of("pump"))
    assert found.verdict is Conclusion.CANNOT_TELL
    assert found.findings[0].evidence[0].amplitude is None


def test_size_does_not_change_what_a_bearing_is_accused_of() -> None:
    record = simulated("bearing-outer-race")
    found = [diagnose(replace(record, samples=size * record.samples), facts_of("pump")) for size in (1.0, 1e-3, -7.0)]
    sure = [next(one.confidence for one in each.findings if one.fault is Fault.OUTER_RACE) for each in found]
    assert sure == pytest.approx([sure[0]] * 3, rel=1e-3)


def test_speed_is_refined_from_the_record() -> None:
    found = diagnose(simulated(n=65536), facts_of("pump"))
    assert found.speed_hz == pytest.approx(SHAFT_HZ, rel=5e-4)
    assert "measured" in found.speed_basis
    assert found.speed_origin is SpeedOrigin.ESTIMATED


def test_what_is_not_known_is_said() -> None:
    blind = diagnose(simulated(), MachineFacts())
    assert blind.verdict is Conclusion.CANNOT_TELL
    assert any("speed" in remark for remark in blind.remarks)
    short = diagnose(Record(np.ones((1, MIN_SAMPLES - 1)), FS_HZ, (Channel("a"),)), MachineFacts(50.0))
    assert short.verdict is Conclusion.CANNOT_TELL
    with pytest.raises(ParameterError):
        diagnose(simulated(), MachineFacts(-1.0))


def test_velocity_records_are_read_as_velocity() -> None:
    record = simulated("unbalance", n=32768)
    lines = np.fft.rfft(record.samples, axis=1)
    hz = np.fft.rfftfreq(32768, 1.0 / FS_HZ)
    lines[:, 1:] /= 2j * np.pi * hz[1:]
    lines[:, hz < 5.0] = 0.0
    velocity = Record(np.fft.irfft(lines, 32768, axis=1), FS_HZ, record.channels, Quantity.VELOCITY)
    found = diagnose(velocity, facts_of("pump"))
    assert found.findings[0].fault is Fault.UNBALANCE


def test_every_finding_says_what_the_contract_asks() -> None:
    for one in diagnose(simulated("bearing-inner-race"), facts_of("pump")).findings:
        assert 0.0 <= one.confidence <= 1.0
        assert one.evidence
        assert one.rule
        assert one.source
        assert one.actions
        assert "qualified" in one.caution
    assert set(PATTERNS) >= {"bearing-defects", "unbalance", "sensor"}


@pytest.mark.parametrize("wrong", [np.ones((2, 100)), np.ones(100), np.full((1, 100), np.nan)])
def test_records_that_are_none_are_refused(wrong: NDArray[np.float64]) -> None:
    with pytest.raises(ParameterError):
        Record(wrong, FS_HZ, (Channel("a"),))


@pytest.mark.parametrize("fault", ["", "unbalance", "bearing-outer-race"])
def test_gravity_in_an_axis_changes_no_finding(fault: str) -> None:
    """Axes coupled down to 0 Hz carry 9.80665 m/s2 by their inclination: a constant is no vibration."""
    still = simulated(fault)
    inclined = Record(still.samples + STANDARD_GRAVITY * np.array([[0.0], [-1.0], [0.5]]), still.fs_hz, still.channels)
    one, other = diagnose(still, facts_of("pump")), diagnose(inclined, facts_of("pump"))
    assert other.verdict is one.verdict
    assert [finding.fault for finding in other.findings] == [finding.fault for finding in one.findings]
    assert [finding.confidence for finding in other.findings] == pytest.approx(
        [finding.confidence for finding in one.findings], abs=0.01
    )
