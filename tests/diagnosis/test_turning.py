"""Faults of shaft speed rest on the speed that the record itself tells, with its confidence, where lines alone mislead."""

from dataclasses import replace

import numpy as np
import pytest

from edgemon.diagnosis import Channel, Gear, MachineFacts, Record, diagnose
from edgemon.diagnosis.looking import looks_at
from edgemon.diagnosis.registry import NEED_SPEED, PATTERNS
from edgemon.diagnosis.turning import _sure
from edgemon.model.finding import Conclusion, Diagnosis, Fault
from edgemon.model.speed import SpeedOrigin
from tests.diagnosis.making import BEARING

SHAFT_HZ = 28.69
HUM_HZ = 29.13
FS_HZ = 12000.0
N = 120_000


FACTS = MachineFacts(speed_hz=28.7, bearings=(("", BEARING),), speed_origin=SpeedOrigin.NOMINAL)


def beside_a_hum(tones: dict[float, float], depth: float = 0.3, n: int = N, seed: int = 1) -> Record:
    """All bands swell with the shaft; a steady line 1.5 % off it, the largest of all near 1x, is another machine's."""
    time = np.arange(n) / FS_HZ
    swell = 1.0 + depth * sum(np.cos(2.0 * np.pi * k * SHAFT_HZ * time) for k in (1, 2))
    wave = np.random.default_rng(seed).standard_normal(n) * swell + 3.0 * np.cos(2.0 * np.pi * HUM_HZ * time)
    wave = wave + sum(size * np.cos(2.0 * np.pi * hz * time) for hz, size in tones.items())
    return Record(wave[None, :], FS_HZ, (Channel("h", "horizontal"),))


def found_with(tones: dict[float, float], depth: float = 0.3, n: int = N) -> Diagnosis:
    return diagnose(beside_a_hum(tones, depth, n), FACTS)


def test_a_hum_near_the_speed_is_not_its_unbalance() -> None:
    found = found_with({})
    assert found.speed_hz == pytest.approx(SHAFT_HZ, abs=0.1)
    assert found.speed_origin is SpeedOrigin.ESTIMATED
    assert found.speed_confidence is not None
    assert found.speed_confidence > 0.9
    assert Fault.UNBALANCE not in [finding.fault for finding in found.findings]
    misled = found_with({}, depth=0.0)  # the same hum where no band swells: nothing says that it is not 1x
    assert misled.speed_hz == pytest.approx(HUM_HZ, abs=0.1)


def test_misalignment_is_found_at_the_multiples_of_the_speed_that_the_envelopes_tell() -> None:
    found = found_with({SHAFT_HZ: 2.5, 2.0 * SHAFT_HZ: 5.5})
    best = found.findings[0]
    assert (found.verdict, best.fault) == (Conclusion.FAULT, Fault.MISALIGNMENT)
    assert best.evidence[0].frequency_hz == pytest.approx(2.0 * SHAFT_HZ, abs=0.3)
    assert found.speed_confidence is not None
    assert best.confidence <= found.speed_confidence
    assert any("rests on a shaft speed" in note.text for note in best.evidence)


def test_a_baseline_is_read_at_the_speed_that_its_own_envelopes_tell() -> None:
    """The same machine twice, beside the same hum: the sidebands of its gear are looked for at the same place in both."""
    sides = {(23 + k) * SHAFT_HZ: 1.0 for k in (-2, -1, 1, 2)}
    facts = replace(FACTS, gears=(Gear(23, 67),))
    then, now = (beside_a_hum(sides, seed=seed) for seed in (1, 2))
    (look,) = looks_at(then, facts)
    assert look.speed is not None
    assert look.speed.hz == pytest.approx(SHAFT_HZ, abs=0.1)
    assert look.speed_confidence is not None
    found = diagnose(now, facts, [(then, facts)])
    assert (found.verdict, found.findings) == (Conclusion.NO_FAULT_FOUND, ())


@pytest.mark.parametrize("seconds", [1.0, 2.0, 2.7])
def test_a_record_too_short_to_say_how_sure_its_envelopes_are_keeps_the_speed_of_its_lines(seconds: float) -> None:
    found = found_with({}, depth=1.0, n=int(seconds * FS_HZ))
    assert (found.speed_basis, found.speed_confidence) == ("measured from 1x", None)
    assert found.findings[0].fault is Fault.UNBALANCE


def test_a_best_speed_is_held_against_eight_others_or_more() -> None:
    """Steady sums with one peak: 25 parts of the reach leave enough beside it, 8 parts do not."""
    short, long = np.ones(32), np.ones(200)
    short[16], long[100] = 20.0, 20.0
    assert _sure(short, 16) is None
    sure = _sure(long, 100)
    assert sure is not None
    assert sure > 0.99


def test_every_fault_of_the_shafts_multiples_is_no_surer_than_its_speed() -> None:
    """A bearing's rhythm and belts have frequencies of their own; noise, a sensor and its mounting have none."""
    own = {"sensor", "mounting", "orientation", "bearing-defects", "belt", "cavitation", "lubrication"}
    assert set(PATTERNS) - NEED_SPEED == own


@pytest.mark.parametrize("speed_hz", [None, 28.7])
def test_few_turns_are_a_remark_only_where_turns_are_known(speed_hz: float | None) -> None:
    record = beside_a_hum({}, n=8192)  # 20 turns
    remarks = diagnose(record, replace(FACTS, speed_hz=speed_hz)).remarks
    assert any("few turns" in remark for remark in remarks) is (speed_hz is not None)
    assert any("not known" in remark for remark in remarks) is (speed_hz is None)
