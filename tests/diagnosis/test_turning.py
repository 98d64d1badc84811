"""Faults of shaft speed rest on the speed that the record itself tells, with its confidence, where lines alone mislead."""

import numpy as np
import pytest

from edgemon.diagnosis import Channel, MachineFacts, Record, diagnose
from edgemon.model.finding import Conclusion, Diagnosis, Fault
from edgemon.model.speed import SpeedOrigin
from tests.diagnosis.making import BEARING

SHAFT_HZ = 28.69
HUM_HZ = 29.13
FS_HZ = 12000.0
N = 120_000


def found_with(tones: dict[float, float], depth: float = 0.3) -> Diagnosis:
    """All bands swell with the shaft; a steady line 1.5 % off it, the largest of all near 1x, is another machine's."""
    time = np.arange(N) / FS_HZ
    swell = 1.0 + depth * sum(np.cos(2.0 * np.pi * k * SHAFT_HZ * time) for k in (1, 2))
    wave = np.random.default_rng(1).standard_normal(N) * swell + 3.0 * np.cos(2.0 * np.pi * HUM_HZ * time)
    wave = wave + sum(size * np.cos(2.0 * np.pi * hz * time) for hz, size in tones.items())
    facts = MachineFacts(speed_hz=28.7, bearings=(("", BEARING),), speed_origin=SpeedOrigin.NOMINAL)
    return diagnose(Record(wave[None, :], FS_HZ, (Channel("h", "horizontal"),)), facts)


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
