"""Trade rules on both sides of their thresholds, in lines drawn by hand: the shapes of spectra and directions, not their size.

Rules: C. Scheffer, P. Girdhar, Practical Machinery Vibration Analysis and Predictive Maintenance (2004), R. B. Randall,
Vibration-based Condition Monitoring (2011), from memory; the thresholds are common practice without a published source.
"""

import math

import numpy as np
import pytest

from edgemon.diagnosis import Channel, MachineFacts, Record, diagnose
from edgemon.model.finding import Diagnosis, Fault
from tests.diagnosis.test_machine import FACTS, FS_HZ, SHAFT_HZ, Lines, wave

SIZE = 6.0
"""mm/s r.m.s. of 1x, far above zone A: what is left to decide is the shape."""
QUIET: Lines = {1.0: (0.3, 0.0)}
AXES = (Channel("h", "horizontal"), Channel("v", "vertical"), Channel("a", "axial"))


def found_in(horizontal: Lines, vertical: Lines, axial: Lines, facts: MachineFacts = FACTS) -> Diagnosis:
    rows = np.array([wave(horizontal, 1), wave(vertical, 2, -90.0), wave(axial, 3)])
    return diagnose(Record(rows, FS_HZ, AXES), facts)


def sure(found: Diagnosis, fault: Fault) -> float:
    return max((one.confidence for one in found.findings if one.fault is fault), default=0.0)


def shaped(**orders: float) -> Lines:
    """1x and others as shares of it: x2=0.5, half=0.3."""
    places = {"half": 0.5, "x1_5": 1.5, "x2_5": 2.5} | {f"x{k}": float(k) for k in range(2, 12)}
    return {1.0: (SIZE, 0.0)} | {places[name]: (SIZE * share, 40.0 * places[name]) for name, share in orders.items()}


@pytest.mark.parametrize(("ratio", "first"), [(1.0, Fault.UNBALANCE), (2.4, Fault.UNBALANCE), (3.6, Fault.RESONANCE),
                                              (8.0, Fault.RESONANCE)])  # fmt: skip
@pytest.mark.parametrize("stronger", [0, 1])
def test_one_direction_more_than_three_times_the_other_is_resonance_before_unbalance(
    ratio: float, first: Fault, stronger: int
) -> None:
    weak: Lines = {1.0: (SIZE / ratio, 0.0)}
    pair = (shaped(), weak) if stronger == 0 else (weak, shaped())
    found = found_in(*pair, QUIET)
    assert found.findings[0].fault is first
    assert (sure(found, Fault.RESONANCE) >= 0.5) is (first is Fault.RESONANCE)
    if ratio <= 2.4:
        assert sure(found, Fault.UNBALANCE) > 0.9


@pytest.mark.parametrize(("double", "misaligned"), [(0.1, False), (0.4, False), (0.6, True), (1.2, True)])
def test_twice_speed_above_half_of_1x_is_misalignment_and_no_unbalance(double: float, misaligned: bool) -> None:
    lines = shaped(x2=double)
    found = found_in(lines, lines, QUIET)
    assert (sure(found, Fault.MISALIGNMENT) >= 0.5) is misaligned
    assert (sure(found, Fault.UNBALANCE) >= 0.5) is not misaligned


@pytest.mark.parametrize(("axial", "is_high"), [(0.1, False), (0.4, False), (0.62, True), (1.0, True)])
def test_axial_above_half_of_radial_is_no_unbalance(axial: float, is_high: bool) -> None:
    """With some 2x misalignment, with hardly any a bent shaft."""
    for double, fault in ((0.35, Fault.MISALIGNMENT), (0.05, Fault.BENT_SHAFT)):
        lines = shaped(x2=double)
        found = found_in(lines, lines, {order: (axial * size, phase) for order, (size, phase) in lines.items()})
        assert (sure(found, fault) >= 0.5) is is_high
        assert (sure(found, Fault.UNBALANCE) >= 0.5) is not is_high


@pytest.mark.parametrize(("count", "share", "is_loose"), [(5, 0.3, False), (7, 0.3, True), (7, 0.13, True), (9, 0.08, False)])
def test_six_harmonics_above_a_tenth_are_looseness(count: int, share: float, is_loose: bool) -> None:
    lines = shaped(**{f"x{k}": share for k in range(2, count + 1)})
    assert (sure(found_in(lines, lines, QUIET), Fault.LOOSENESS) >= 0.5) is is_loose


@pytest.mark.parametrize(("share", "is_loose"), [(0.0, False), (0.07, False), (0.14, True), (0.4, True)])
def test_half_orders_above_a_tenth_are_looseness(share: float, is_loose: bool) -> None:
    lines = shaped(half=share, x1_5=share, x2_5=share) if share else shaped()
    assert (sure(found_in(lines, lines, QUIET), Fault.LOOSENESS) >= 0.5) is is_loose


@pytest.mark.parametrize(
    ("order", "is_whirl"), [(0.36, False), (0.42, True), (0.45, True), (0.48, True), (0.55, False), (0.60, False)]
)
def test_oil_whirls_a_little_below_half_the_speed(order: float, is_whirl: bool) -> None:
    """0.42 to 0.48 of shaft speed, 0.40 to 0.49 at the most; only where bearings are plain."""
    lines: Lines = {1.0: (SIZE, 0.0), order: (0.8 * SIZE, 20.0)}
    for sleeves in (True, False):
        found = found_in(lines, lines, QUIET, MachineFacts(SHAFT_HZ, sleeve_bearings=sleeves))
        assert (sure(found, Fault.OIL_WHIRL) >= 0.5) is (is_whirl and sleeves)


@pytest.mark.parametrize(("share", "is_unbalance"), [(0.6, False), (0.76, False), (0.84, True), (0.95, True)])
def test_1x_makes_four_fifths_of_the_velocity_where_it_is_unbalance(share: float, is_unbalance: bool) -> None:
    """The rest in one line of no order, by Pythagoras."""
    lines: Lines = {1.0: (SIZE, 0.0), 3.37: (SIZE * math.sqrt(1.0 / share**2 - 1.0), 0.0)}
    assert (sure(found_in(lines, lines, QUIET), Fault.UNBALANCE) >= 0.5) is is_unbalance


@pytest.mark.parametrize(("supply", "is_electrical"), [(50.0, False), (50.4, True), (49.3, True)])
def test_twice_the_supply_counts_only_apart_from_multiples_of_speed(supply: float, is_electrical: bool) -> None:
    """Two poles without slip: a line at twice speed is both; 0.8 and 1.4 Hz away it is the supply's (0.2 Hz a line)."""
    lines: Lines = {1.0: (0.2, 0.0), 2.0 * supply / 50.0: (SIZE, 0.0)}
    record = Record(np.array([wave(lines, 1, shaft_hz=50.0)]), FS_HZ, (Channel("h", "horizontal"),))
    found = diagnose(record, MachineFacts(50.0, supply_hz=supply, poles=2))
    assert (sure(found, Fault.ELECTRICAL) >= 0.5) is is_electrical
