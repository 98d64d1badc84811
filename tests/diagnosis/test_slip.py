"""Bearings slip by 1 to 2 %: R. B. Randall, J. Antoni, Mech. Syst. Signal Process. 25 (2011) 485-520 (from memory)."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from edgemon.diagnosis import Channel, Record, diagnose
from edgemon.diagnosis.frequencies import bearing_orders
from edgemon.model.finding import Diagnosis, Fault, Finding
from edgemon.model.machine import Bearing
from tests.diagnosis.making import BEARING, FS_HZ, facts_of

SHAFT_HZ = 2975.0 / 60.0
ORDERS = bearing_orders(BEARING)
N = 65536


def blows(rate_hz: float, load_hz: float = 0.0, depth: float = 0.0) -> NDArray[np.float64]:
    """Blows that ring at 4200 Hz, their strength modulated, in noise and with the shaft's own line."""
    t = np.arange(N) / FS_HZ
    struck = np.zeros(N)
    at = np.arange(0.01, N / FS_HZ - 0.01, 1.0 / rate_hz)
    struck[np.rint(at * FS_HZ).astype(int)] = 1.0 + depth * np.cos(2.0 * np.pi * load_hz * at)
    ring = np.exp(-np.arange(300) / 30.0) * np.sin(2.0 * np.pi * 4200.0 * np.arange(300) / FS_HZ)
    noise = np.random.default_rng(5).normal(size=N)
    return np.asarray(30.0 * np.convolve(struck, ring)[:N] + noise + np.cos(2.0 * np.pi * SHAFT_HZ * t))


def found_in(wave: NDArray[np.float64], bearing: Bearing = BEARING) -> Diagnosis:
    record = Record(wave[None, :], FS_HZ, (Channel("h", "horizontal"),))
    return diagnose(record, facts_of("pump", bearings=(("", bearing),)))


def of(result: Diagnosis, fault: Fault) -> Finding | None:
    return next((one for one in result.findings if one.fault is fault and one.confidence >= 0.5), None)


@pytest.mark.parametrize("slip", [-0.018, -0.01, 0.0, 0.01, 0.018])
def test_lines_up_to_two_per_cent_from_kinematics_are_the_bearings_own(slip: float) -> None:
    rate = ORDERS.outer * SHAFT_HZ * (1.0 + slip)
    found = of(found_in(blows(rate)), Fault.OUTER_RACE)
    assert found is not None
    assert found.evidence[0].frequency_hz == pytest.approx(rate, rel=2e-3)  # what was measured, not what was calculated


@pytest.mark.parametrize("slip", [-0.05, -0.035, 0.035, 0.05])
def test_lines_farther_away_are_not(slip: float) -> None:
    found = found_in(blows(ORDERS.outer * SHAFT_HZ * (1.0 + slip)))
    assert of(found, Fault.OUTER_RACE) is None


@pytest.mark.parametrize(
    ("fault", "order", "side", "words"),
    [
        (Fault.INNER_RACE, ORDERS.inner, 1.0, "shaft speed"),
        (Fault.ROLLING_ELEMENT, ORDERS.element, ORDERS.cage, "cage speed"),
    ],
)
def test_inner_race_has_sidebands_of_the_shaft_and_an_element_of_the_cage(
    fault: Fault, order: float, side: float, words: str
) -> None:
    found = of(found_in(blows(order * SHAFT_HZ * 0.99, side * SHAFT_HZ, 0.9)), fault)
    assert found is not None
    assert {f"line 1 - {words}", f"line 1 + {words}"} <= set(found.evidence[0].sidebands)


def test_where_the_outer_ring_turns_it_is_the_outer_race_that_has_sidebands_of_the_shaft() -> None:
    """The race that turns passes the load once a turn: kinematics, and the same words as for an inner race that turns."""
    wave = blows(ORDERS.outer * SHAFT_HZ * 0.99, SHAFT_HZ, 0.9)
    for outer_turns in (False, True):
        found = of(found_in(wave, replace(BEARING, outer_turns=outer_turns)), Fault.OUTER_RACE)
        assert found is not None
        sides = {"line 1 - shaft speed", "line 1 + shaft speed"} & set(found.evidence[0].sidebands)
        assert len(sides) == (2 if outer_turns else 0)
