"""Odds of a bearing's lines, against the logistic function and the chance of several looks in closed form."""

from dataclasses import replace

import pytest

from edgemon.diagnosis.families import Family
from edgemon.diagnosis.weighing import BASE, WEIGHTS, by_chance, confidence, signs

OUTER = Family("de", "outer", 3.58, 3.58, 40.0, 1e-6, 0.2, 4.0, "whole band", (1, 2), ("line 1 + shaft speed",), 20.0)


def test_odds_are_a_product_of_powers() -> None:
    """Odds = e^base depth^a (d / (1 + d))^b: at a depth of 0.2 and a dominance of 4."""
    odds = 2.718281828459045**BASE * 0.2 ** WEIGHTS["depth"] * 0.8 ** WEIGHTS["dominance"]
    assert confidence(replace(OUTER, chance=0.0), 8) == pytest.approx(odds / (1.0 + odds))
    assert confidence(replace(OUTER, chance=0.0, dominance=float("inf")), 8, 1e-9) == pytest.approx(
        1.0 / (1.0 + 1.0 / (2.718281828459045**BASE * 1e-6 ** WEIGHTS["depth"]))
    )


def test_more_looks_more_chances_to_be_fooled() -> None:
    """1 - (1 - p)^n, here 1 - 0.9^3."""
    assert by_chance(0.1, 3) == pytest.approx(0.271)
    assert confidence(replace(OUTER, chance=0.1), 3) == pytest.approx(0.729 * confidence(replace(OUTER, chance=0.0), 3))


def test_sidebands_of_the_shaft_count_for_no_race_and_two_of_the_cage_for_an_element() -> None:
    element = replace(OUTER, part="element", sidebands=("a", "b", "c"))
    assert [signs(one)["cage sidebands"] for one in (OUTER, element)] == [0.0, 2.0]
    assert confidence(replace(OUTER, order=3.65), 8) == confidence(OUTER, 8)  # how far from kinematics says nothing more
