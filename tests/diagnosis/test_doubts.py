"""Records whose speed drifts, or whose lines do not lie where the speed told says, on both sides of the borders."""

import numpy as np
import pytest

from edgemon.diagnosis import Channel, MachineFacts, Record, diagnose
from edgemon.model.finding import Diagnosis
from edgemon.model.speed import SpeedOrigin

FS, N = 5120.0, 32768
T = np.arange(N) / FS


def answer(low_hz: float, high_hz: float, told_hz: float, origin: SpeedOrigin = SpeedOrigin.MEASURED) -> Diagnosis:
    """A shaft whose speed rises evenly: its angle is the integral; three orders in noise."""
    angle = low_hz * T + 0.5 * (high_hz - low_hz) * T**2 / (N / FS)
    wave = sum(np.cos(2.0 * np.pi * k * angle + k) / k for k in (1, 2, 3)) + 0.05 * np.random.default_rng(1).normal(size=N)
    record = Record(np.array([wave]), FS, (Channel("h", "horizontal"),))
    return diagnose(record, MachineFacts(told_hz, speed_origin=origin))


def about(found: Diagnosis, word: str) -> list[str]:
    return [remark for remark in found.remarks if word in remark]


@pytest.mark.parametrize(("share", "is_told"), [(0.0, False), (0.005, False), (0.015, True), (0.03, True), (-0.02, True)])
def test_a_speed_that_changes_by_more_than_a_hundredth_is_told(share: float, is_told: bool) -> None:
    # common practice: a record whose speed drifts by more than 1 % is not steady
    found = answer(25.0 * (1.0 - share / 2.0), 25.0 * (1.0 + share / 2.0), 25.0)
    said = about(found, "within the record")
    assert bool(said) is is_told
    if is_told:
        ends = [1500.0 * (1.0 + side * share / 2.0) for side in (-1, 1)]
        told = [float(word) for word in said[0].split() if word.isdigit()]
        assert told == pytest.approx(ends, rel=3e-3)


@pytest.mark.parametrize(
    ("off", "is_told"), [(0.0, False), (0.003, False), (-0.003, False), (0.008, True), (-0.008, True), (0.015, True)]
)
def test_lines_more_than_half_a_per_cent_off_the_speed_told_are_doubted(off: float, is_told: bool) -> None:
    """Common practice: all lines shifted by one ratio of more than 0.5 % mean a wrong sample rate, or a wrong tacho."""
    found = answer(25.0 * (1.0 + off), 25.0 * (1.0 + off), 25.0)
    said = about(found, "sample rate")
    assert bool(said) is is_told
    if is_told:
        assert f"{100.0 * abs(off):.1f} % {'above' if off > 0.0 else 'below'} the speed of 1500 r/min" in said[0]


@pytest.mark.parametrize("origin", [SpeedOrigin.NOMINAL, SpeedOrigin.GIVEN, SpeedOrigin.FIXED])
def test_a_speed_that_nobody_measured_may_be_off(origin: SpeedOrigin) -> None:
    assert about(answer(25.2, 25.2, 25.0, origin), "sample rate") == []
