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
        assert told == pytest.approx(ends, abs=0.8)


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


def steady(n: int, fs_hz: float, hz: float, rng: np.random.Generator, most: int = 5) -> Diagnosis:
    """A shaft of steady speed, told within a tenth of a per cent, in noise."""
    time = np.arange(n) / fs_hz
    wave = 0.5 * rng.normal(size=n)
    for order in range(1, most + 1):
        wave += rng.exponential(0.5) * np.sin(2.0 * np.pi * order * hz * time + rng.uniform(0.0, 6.28))
    told = MachineFacts(hz * (1.0 + 0.001 * rng.uniform(-1.0, 1.0)), speed_origin=SpeedOrigin.MEASURED)
    return diagnose(Record(wave[None], fs_hz, (Channel("h", "horizontal"),)), told)


def test_few_turns_in_noise_do_not_bring_the_sample_rate_into_doubt() -> None:
    """2048 samples at 6.4 kHz: 3 to 19 turns, of which the speed is known within some per cent only."""
    rng = np.random.default_rng(5)
    said = [steady(2048, 6400.0, rng.uniform(10.0, 60.0), rng) for _ in range(60)]
    assert [one.remarks for one in said if about(one, "sample rate") or about(one, "within the record")] == []


def test_one_line_beside_the_shaft_is_a_neighbours() -> None:
    """A rate that is off moves all lines by one ratio; one of 25.4 Hz alone beside a shaft of 25 Hz does not."""
    wave = np.sin(2.0 * np.pi * 25.4 * T) + 0.05 * np.random.default_rng(1).normal(size=N)
    facts = MachineFacts(25.0, speed_origin=SpeedOrigin.MEASURED)
    assert about(diagnose(Record(wave[None], FS, (Channel("h", "horizontal"),)), facts), "sample rate") == []
