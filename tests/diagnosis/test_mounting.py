"""A sensor that has come loose is told from a machine that has changed; open recordings are not accused."""

from collections import defaultdict
from collections.abc import Callable
from itertools import permutations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from edgemon.diagnosis import Record, diagnose
from edgemon.diagnosis.look import Look
from edgemon.diagnosis.mounting import mounting
from edgemon.model.finding import SUPPORTED, Conclusion, Fault, Finding
from tests.diagnosis.making import FS_HZ, facts_of, simulated
from tests.support.diagnosing import Case, cases, folder
from tests.support.mounts import through_mounting

Wave = NDArray[np.float64]


def asked(wave: Wave, kind: str = "pump", baselines: int = 3) -> list[Finding]:
    """Compare a waveform of three channels with healthy records of the same simulated machine."""
    healthy = simulated("", kind)
    look = Look(Record(wave, FS_HZ, healthy.channels), facts_of(kind), None)
    look.before = tuple(Look(simulated("", kind, seed=seed), facts_of(kind), None) for seed in range(20, 20 + baselines))
    return mounting(look)


@pytest.mark.parametrize("kind", ["pump", "geared-fan", "screw-compressor"])
@pytest.mark.parametrize("resonance", [1200.0, 2400.0])
def test_a_loose_sensor_is_told_with_its_resonance(kind: str, resonance: float) -> None:
    wave = through_mounting(simulated("", kind, seed=2).samples, FS_HZ, resonance, 0.05)
    (found,) = asked(wave, kind)
    assert (found.fault, found.detail) == (Fault.SENSOR, "mounting loose")
    assert found.confidence > 0.6
    assert found.evidence[0].frequency_hz == pytest.approx(resonance, rel=0.12)
    assert "ISO 5348" in found.source


@pytest.mark.parametrize(("now", "then"), [(1, 2), (2, 1)])
def test_a_record_of_another_length_has_the_same_noise_a_hertz(now: int, then: int) -> None:
    """White noise makes lines as large as the root of their distance: twice the length is 3 dB less a line (closed form)."""
    wave = simulated("", seed=2).samples
    loose = through_mounting(wave, FS_HZ, 1500.0, 0.05)
    healthy = simulated("", seed=20)
    n = wave.shape[1]
    for one, is_loose in ((loose, True), (wave, False)):
        look = Look(Record(one[:, : n // now], FS_HZ, healthy.channels), facts_of("pump"), None)
        short = Record(healthy.samples[:, : n // then], FS_HZ, healthy.channels)
        look.before = (Look(short, facts_of("pump"), None),)
        assert any(found.confidence > 0.8 for found in mounting(look)) is is_loose


def test_the_diagnosis_says_so_and_only_with_a_baseline() -> None:
    now, facts = simulated("", "pump", seed=2), facts_of("pump")
    loose = Record(through_mounting(now.samples, FS_HZ, 1500.0, 0.05), FS_HZ, now.channels)
    before = [(simulated("", "pump", seed=seed), facts) for seed in (20, 21)]
    found = diagnose(loose, facts, before)
    assert found.verdict is Conclusion.FAULT
    assert found.findings[0].detail == "mounting loose"
    for answer in (diagnose(loose, facts), diagnose(now, facts, before)):
        assert all(one.detail != "mounting loose" for one in answer.findings)


def quieter(wave: Wave) -> Wave:
    return 0.3 * wave


def without_highs(wave: Wave) -> Wave:
    """Less noise above 1.5 kHz and no rise: a bearing greased, a valve opened."""
    return np.asarray(signal.sosfilt(signal.butter(2, 1500.0, fs=FS_HZ, output="sos"), wave))


def ringing(wave: Wave) -> Wave:
    """One more resonance of the housing, nothing less above it."""
    return np.asarray(wave + 3.0 * signal.sosfilt(signal.butter(2, [1400.0, 1600.0], "band", fs=FS_HZ, output="sos"), wave))


def tilted(wave: Wave) -> Wave:
    return np.asarray(signal.lfilter([1.0], [1.0, -0.6], wave))


@pytest.mark.parametrize("change", [quieter, without_highs, ringing, tilted])
@pytest.mark.parametrize("kind", ["pump", "geared-fan"])
def test_a_machine_that_sounds_otherwise_has_no_loose_sensor(change: Callable[[Wave], Wave], kind: str) -> None:
    assert all(one.confidence < 0.1 for one in asked(change(simulated("", kind, seed=2).samples), kind))


@pytest.mark.parametrize("fault", ["unbalance", "looseness", "bearing-outer-race", "bearing-inner-race", "cavitation", "gear"])
def test_faults_of_the_machine_are_not_the_sensor_s(fault: str) -> None:
    assert all(one.confidence < 0.1 for one in asked(simulated(fault, "pump", seed=3).samples))
    now = Look(simulated("", "pump", seed=3), facts_of("pump"), None)  # and none that was repaired
    now.before = tuple(Look(simulated(fault, "pump", seed=seed), facts_of("pump"), None) for seed in (20, 21))
    assert all(one.confidence < 0.1 for one in mounting(now))


def test_one_record_of_the_baseline_that_is_odd_does_not_decide() -> None:
    """Two of three must agree; those at another speed are not asked."""
    facts = facts_of("pump")
    now = simulated("", "pump", seed=2)
    stiff, odd = simulated("", "pump", seed=20), through_mounting(now.samples, FS_HZ, 1500.0, 0.05)
    look = Look(Record(odd, FS_HZ, now.channels), facts, None)
    loose = Look(Record(through_mounting(stiff.samples, FS_HZ, 1500.0, 0.05), FS_HZ, now.channels), facts, None)
    look.before = (Look(stiff, facts, None), loose, loose)
    assert all(one.confidence < 0.1 for one in mounting(look))
    assert facts.speed_hz is not None
    slower = facts_of("pump", speed_hz=0.8 * facts.speed_hz)
    look.before = (Look(stiff, slower, None),)
    assert mounting(look) == []


def half(case: Case, first: bool, resonance: float = 0.0) -> Look:
    """The first or the last part of an open recording, behind a loose mounting where a resonance is given."""
    record = case.record
    n = min(16384, record.samples.shape[1] // 2)
    wave = record.samples[:, :n] if first else record.samples[:, -n:]
    wave = through_mounting(wave, record.fs_hz, resonance, 0.05) if resonance else wave
    return Look(Record(wave, record.fs_hz, record.channels, record.quantity), case.facts, None)


@pytest.mark.recordings
@pytest.mark.slow
@pytest.mark.skipif(folder() is None, reason="EDGEMON_RECORDINGS names no folder of open recordings")
def test_open_recordings_behind_a_loose_mounting_are_named_and_as_they_are_not() -> None:
    where = folder()
    assert where is not None
    known = [case for case in cases(where) if case.record.samples.shape[1] >= 8192]
    named = []
    for case in known:
        for resonance in (0.0, 0.1 * case.record.fs_hz):
            look = half(case, first=False, resonance=resonance)
            look.before = (half(case, first=True),)
            found = mounting(look)
            if resonance:
                named.append(bool(found) and found[0].confidence >= SUPPORTED)
            else:
                assert all(one.confidence < 0.1 for one in found), case.id
    assert len(named) > 50
    assert sum(named) >= 0.9 * len(named)


@pytest.mark.recordings
@pytest.mark.slow
@pytest.mark.skipif(folder() is None, reason="EDGEMON_RECORDINGS names no folder of open recordings")
def test_no_open_recording_is_accused_against_any_other_of_its_rig() -> None:
    """Healthy and faulty, light and heavy, in both directions: far more different than a baseline and what is compared."""
    where = folder()
    assert where is not None
    rigs = defaultdict(list)
    for case in cases(where):
        rigs[case.source, case.record.fs_hz, len(case.record.channels)].append(Look(case.record, case.facts, None))
    pairs, highest = 0, 0.0
    for looks in rigs.values():
        for now, then in permutations(looks, 2):
            now.before = (then,)
            highest = max([highest, *(one.confidence for one in mounting(now))])
            pairs += 1
    assert pairs > 300
    assert highest < 0.1
