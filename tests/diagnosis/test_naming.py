"""Names of peaks: where a slipping bearing truly is, its multiples, sidebands about what is there; kinematics by hand."""

import pytest

from edgemon.diagnosis.markers import MEASURED, TOLD, expected
from edgemon.diagnosis.naming import names_of
from edgemon.diagnosis.record import Gear, MachineFacts
from edgemon.model.machine import Bearing

# 6205 of an open bearing rig: BPFO 3.585, BPFI 5.415, 2 BSF 4.714, FTF 0.3983 orders (W. A. Smith, R. B. Randall, 2015)
BEARING = Bearing(9, 7.94e-3, 39.04e-3, 0.0)
FACTS = MachineFacts(30.0, (("", BEARING),))
INNER = 5.40 * 30.0
"""BPFI with a slip of 0.3 %."""


def names(*hz: float, resolution: float = 0.1, off: float = MEASURED, facts: MachineFacts = FACTS) -> tuple[str, ...]:
    return names_of(hz, expected(facts, off), resolution, len(hz))


def test_multiples_are_of_the_peak_that_places_a_bearing() -> None:
    assert names(INNER, 2 * INNER, 3 * INNER, 3 * INNER + 1.0) == ("BPFI", "2 x BPFI", "3 x BPFI", "")


def test_sidebands_are_named_about_peaks_only() -> None:
    found = names(INNER, 60.0, INNER - 60.0, INNER + 30.0, 3 * INNER, 3 * INNER - 60.0)
    # three times 2 BSF with a slip of 0.5 % would be as near to the last: 3 x 141.4 = 424.2 Hz
    assert found == ("BPFI", "2x", "BPFI - 2x", "BPFI + 1x", "3 x BPFI", "3 x BPFI - 2x")
    assert names(INNER + 30.0) == ("",)


def test_a_rolling_element_s_sidebands_lie_at_cage_speed() -> None:
    element, cage = 4.70 * 30.0, 0.398 * 30.0
    assert names(element, element - cage, element + cage, resolution=0.2) == ("2 BSF", "2 BSF - FTF", "2 BSF + FTF")


def test_a_gear_s_sidebands_are_named_by_the_shaft() -> None:
    facts = MachineFacts(30.0, gears=(Gear(20, 50),))
    found = names(600.0, 588.0, 630.0, 576.0, facts=facts)
    assert found == ("mesh 20/50", "mesh 20/50 - shaft of 50 teeth", "mesh 20/50 + 1x", "mesh 20/50 - 2 x shaft of 50 teeth")


def test_what_no_peak_places_is_a_name_for_want_of_a_better_one() -> None:
    assert names(2.0 * 3.56 * 30.0) == ("2 x BPFO",)
    assert names(2.0 * 3.56 * 30.0, 40.0, 30.0) == ("2 x BPFO", "", "1x")


def test_half_orders_are_named() -> None:
    """0.5x, 1.5x ...: what looseness and rub make (common practice, no source)."""
    assert names(30.0, 15.0, 45.03, 75.0, 225.0) == ("1x", "0.5x", "1.5x", "2.5x", "")


@pytest.mark.parametrize("hz", [30.2, 29.8])
def test_a_speed_that_was_told_is_placed_by_its_largest_line(hz: float) -> None:
    assert names(hz, 2.0 * hz, 3.0 * hz, 60.0, off=TOLD) == ("1x", "2x", "3x", "")
