"""Stages of a bearing's defect: 2 shows in the envelope, 3 in the velocity spectrum too (common practice, no source)."""

import numpy as np
import pytest

from edgemon.diagnosis import Channel, MachineFacts, Record, diagnose
from edgemon.diagnosis.frequencies import bearing_orders
from edgemon.model.finding import Fault
from tests.diagnosis.making import BEARING

FS_HZ, N = 6400.0, 8192
TONE_M_S = 2e-3


def stage(slip: float, tones: bool) -> str:
    """A load that beats at BPFO shakes a band of noise, and the housing itself where the defect is that far gone."""
    time, speed_hz = np.arange(N) / FS_HZ, 49.55
    rate = bearing_orders(BEARING).outer * speed_hz * (1.0 + slip)
    blows = 1.0 + 1.2 * sum(np.cos(2.0 * np.pi * k * rate * time) for k in (1, 2, 3))
    wave = np.random.default_rng(7).standard_normal(N) * np.maximum(blows, 0.0)
    wave += 0.5 * np.sin(2.0 * np.pi * speed_hz * time)
    if tones:
        omega = 2.0 * np.pi * rate
        wave += sum(k * omega * TONE_M_S / k * np.sqrt(2.0) * np.cos(k * omega * time + k) for k in (1, 2, 3))
    facts = MachineFacts(speed_hz=speed_hz, bearings=(("", BEARING),))
    found = diagnose(Record(wave[None, :], FS_HZ, (Channel("h", "horizontal"),)), facts)
    assert found.findings[0].fault is Fault.OUTER_RACE
    return found.findings[0].detail


@pytest.mark.parametrize("slip", [*np.linspace(-0.015, 0.015, 7).tolist(), 0.013])
def test_lines_in_the_velocity_spectrum_are_seen_wherever_they_fall_between_lines(slip: float) -> None:
    assert stage(slip, tones=True) == "stage 3 of 4"
    assert stage(slip, tones=False) == "stage 2 of 4"
