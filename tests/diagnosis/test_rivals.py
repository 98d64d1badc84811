"""Lines of a part of a bearing against those of other rhythms, by closed-form kinematics."""

import numpy as np
import pytest
from numpy.typing import NDArray

from edgemon.diagnosis.frequencies import bearing_orders
from edgemon.diagnosis.rivals import Part, far_sides, own_lines, rival_lines
from edgemon.model.machine import Bearing

ORDERS: NDArray[np.float64] = np.linspace(0.0, 11.995, 2400)
KINEMATIC = bearing_orders(Bearing(9, 7.94e-3, 39.04e-3, 0.0))  # 3.5848, 5.4152, 4.7135, 0.3983
NONE = np.zeros(ORDERS.size, np.bool_)


def part(name: str) -> Part:
    return Part(name, float(getattr(KINEMATIC, name)), KINEMATIC)


def marked(mask: NDArray[np.bool_], order: float) -> bool:
    return bool(mask[round(order / 0.005)])


@pytest.mark.parametrize(
    ("name", "own", "foreign"),
    [
        ("outer", (3.585, 7.170, 2.585, 3.63), (4.714, 0.4, 3.0)),
        ("inner", (5.415, 6.415, 2.415, 9.83), (4.714, 3.585)),
        ("element", (4.714, 5.112, 4.315, 2.357, 0.797, 3.585, 5.415), (6.74, 2.2)),
        ("cage", (0.398, 1.195, 3.585), (2.2, 4.714)),
    ],
)
def test_own_lines_are_harmonics_sidebands_and_what_an_element_strikes(
    name: str, own: tuple[float, ...], foreign: tuple[float, ...]
) -> None:
    found = own_lines(ORDERS, part(name))
    assert [marked(found, order) for order in own] == [True] * len(own)
    assert [marked(found, order) for order in foreign] == [False] * len(foreign)


def test_the_skirt_of_a_line_is_its_own_where_elements_slip() -> None:
    """2 % of 4.7135 is 0.094 to either side."""
    found = own_lines(ORDERS, part("element"))
    assert marked(found, 4.7135 * 1.018)
    assert marked(found, 4.7135 * 0.982)


def test_lines_of_a_slower_rhythm_are_rivals_below_the_span_too_and_the_shafts_are_not() -> None:
    """Of 3.5848: a half, a third and two thirds, which no outer race makes; an element makes half of its own."""
    synchronous = np.abs(ORDERS - np.rint(ORDERS)) < 0.012
    found = rival_lines(ORDERS, part("outer"), synchronous)
    assert [marked(found, order) for order in (1.7924, 1.1949, 2.3899, 0.7170)] == [True] * 4
    assert [marked(found, order) for order in (3.5848, 1.3, 2.0, 11.99)] == [False] * 4
    assert not marked(rival_lines(ORDERS, part("element"), NONE), 2.3567)


def test_a_race_that_passes_the_load_may_have_larger_lines_beside_its_own() -> None:
    assert sorted(abs(order - 5.4152) for order in far_sides(part("inner"))) == pytest.approx(
        [2, 2, 3, 3, 4, 4, 5, 5], abs=1e-3
    )
    assert min(abs(order - 3.5848) for order in far_sides(part("outer"))) == pytest.approx(1.0, abs=1e-3)
    assert far_sides(part("element")) == []


def test_with_a_turning_outer_ring_its_race_passes_the_load() -> None:
    turning = bearing_orders(Bearing(9, 7.94e-3, 39.04e-3, 0.0, outer_turns=True))
    assert [Part(name, 1.0, turning).passes_load for name in ("outer", "inner")] == [True, False]
    assert [part(name).passes_load for name in ("outer", "inner")] == [False, True]
