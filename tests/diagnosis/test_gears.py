"""Gears of the simulators, alone and against their baseline; a mesh that places the speed; other blows that are no gear's."""

from dataclasses import replace

import numpy as np
import pytest

from edgemon.analysis.speed import refine_speed
from edgemon.diagnosis import Channel, Gear, MachineFacts, Record, diagnose
from edgemon.diagnosis.wheels import wheels
from edgemon.model.finding import Conclusion, Fault
from simulators.machines import KINDS
from tests.diagnosis.making import facts_of, simulated

GEARED = [kind for kind in sorted(KINDS) if KINDS[kind].teeth]


def geared(kind: str) -> MachineFacts:
    teeth = KINDS[kind].teeth
    assert teeth is not None
    return facts_of(kind, gears=(Gear(*teeth),))


def test_a_blow_at_one_tooth_is_named_from_one_record() -> None:
    found = diagnose(simulated("gear", "geared-fan", n=32768), geared("geared-fan"))
    assert found.verdict is Conclusion.FAULT
    best = found.findings[0]
    assert best.fault is Fault.GEAR
    assert best.detail == "driving gear of pair 1, one tooth differs"
    assert any("FM4" in note.text for note in best.evidence)
    assert "NASA TM-105950" in best.source


@pytest.mark.parametrize("kind", GEARED)
def test_a_gear_is_judged_against_its_baseline(kind: str) -> None:
    then = simulated("", kind, n=32768, seed=1)
    well = diagnose(simulated("", kind, n=32768, seed=2), geared(kind), [(then, geared(kind))])
    # on the screen a false hint of an inner race is left, 0.19: what is hinted at is not ruled out
    assert well.verdict is (Conclusion.CANNOT_TELL if kind == "screen-drive" else Conclusion.NO_FAULT_FOUND)
    assert all(one.fault is not Fault.GEAR for one in well.findings)
    bad = diagnose(simulated("gear", kind, n=32768, seed=2), geared(kind), [(then, geared(kind))])
    assert bad.verdict is Conclusion.FAULT
    assert bad.findings[0].fault is Fault.GEAR
    assert any("NA4" in note.text for note in bad.findings[0].evidence)


@pytest.mark.parametrize("kind", GEARED)
@pytest.mark.parametrize("fault", ["", "unbalance", "misalignment", "bearing-outer-race", "bearing-inner-race", "bearing-cage"])
@pytest.mark.parametrize("seed", [1, 2])
def test_other_faults_are_not_the_gears(kind: str, fault: str, seed: int) -> None:
    found = diagnose(simulated(fault, kind, n=32768, seed=seed), geared(kind))
    assert not (found.verdict is Conclusion.FAULT and found.findings[0].fault is Fault.GEAR)


def test_without_a_baseline_that_is_said() -> None:
    found = diagnose(simulated("", "geared-fan", n=32768), geared("geared-fan"))
    assert found.verdict is Conclusion.CANNOT_TELL
    assert any("no baseline" in remark for remark in found.remarks)


def test_a_baseline_at_another_speed_is_not_compared() -> None:
    then = simulated("", "geared-fan", n=32768)
    slower = Record(then.samples, 0.8 * then.fs_hz, then.channels)
    facts = geared("geared-fan")
    assert facts.speed_hz is not None
    before = (slower, replace(facts, speed_hz=0.8 * facts.speed_hz))
    found = diagnose(simulated("", "geared-fan", n=32768, seed=2), facts, [before])
    assert any("another speed" in remark for remark in found.remarks)


def test_wheels_of_a_train_of_two_pairs() -> None:
    """Two stages, 32/80 and 48/64: shafts at 1, 0.4 and 0.3; the middle one carries two gears. By hand."""
    found = wheels((Gear(32, 80), Gear(48, 64, 0.4)))
    assert [wheel.order for wheel in found] == pytest.approx([1.0, 0.4, 0.4, 0.3])
    assert [wheel.mesh_order for wheel in found] == pytest.approx([32.0, 32.0, 19.2, 19.2])
    assert found[1].on_shaft == found[2].on_shaft == (80, 48)
    assert found[1].others == pytest.approx((0.75, 2.5))


def test_the_mesh_places_a_speed_that_no_low_order_shows() -> None:
    """Only the mesh and its double stand out, 0.7 % below nominal; kinematics: mesh = teeth times speed."""
    n, fs, true = 32768, 12800.0, 24.5
    time = np.arange(n) / fs
    wave = sum(np.sin(2.0 * np.pi * 23 * k * true * time) / k for k in (1, 2)) + 0.05 * np.random.default_rng(1).normal(size=n)
    assert not refine_speed(wave, fs, true / 0.993).measured
    found = refine_speed(wave, fs, true / 0.993, None, (23.0,))
    assert found.measured
    assert found.hz == pytest.approx(true, rel=2e-4)
    answer = diagnose(Record(wave[None], fs, (Channel("a"),)), MachineFacts(true / 0.993, gears=(Gear(23, 67),)))
    assert "23x" in answer.speed_basis
