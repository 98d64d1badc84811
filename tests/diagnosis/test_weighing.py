"""Odds of a bearing's lines, against products of powers and the chance of several looks in closed form."""

import math
from dataclasses import replace

import pytest

from edgemon.diagnosis.families import Family
from edgemon.diagnosis.weighing import BASE, FAINT, TOLD_APART, WEIGHTS, by_chance, named_from, odds, share, signs, trusted
from edgemon.model.finding import SUPPORTED

OUTER = Family("de", "outer", 3.58, 3.58, 40.0, 0.0, 0.2, 4.0, "whole band", (1, 2), ("line 1 + shaft speed",), 20.0, 0.05)
INNER = replace(OUTER, part="inner", order=5.42, kinematic=5.42, depth=0.1)
CAGE = replace(OUTER, part="cage", order=0.398, kinematic=0.398, depth=0.5, dominance=1.0)


def test_odds_are_a_product_of_powers() -> None:
    """Odds = e^base depth^a (d / (1 + d))^b h^c: at a depth of 0.2, a dominance of 4 and a height of 20."""
    plain = math.e**BASE * 0.2 ** WEIGHTS["depth"] * 20.0 ** WEIGHTS["height"]
    assert odds(OUTER, {}, 8) == pytest.approx(plain * 0.8 ** WEIGHTS["dominance"])
    assert odds(replace(OUTER, dominance=math.inf), {}, 8) == pytest.approx(plain)


def test_more_looks_more_chances_to_be_fooled() -> None:
    """1 - (1 - p)^n, here 1 - 0.9^3; the confidence, odds over one more than they, is no surer than that it is not chance."""
    assert by_chance(0.1, 3) == pytest.approx(0.271)
    doubted, clear = odds(replace(OUTER, chance=0.1), {}, 3), odds(OUTER, {}, 3)
    assert doubted / (1.0 + doubted) == pytest.approx(0.729 * clear / (1.0 + clear))


def test_sidebands_of_the_shaft_count_for_no_race_and_two_of_the_cage_for_an_element() -> None:
    element = replace(OUTER, part="element", sidebands=("a", "b", "c"))
    assert [signs(one, {}, 8)["cage sidebands"] for one in (OUTER, element)] == [0.0, 2.0]
    assert odds(replace(OUTER, order=3.65), {}, 8) == odds(OUTER, {}, 8)  # how far from kinematics says nothing more


def test_lines_of_the_other_race_speak_against_a_race_and_the_cage_for_an_element() -> None:
    """The other race half as deep: half the sign; a cage ten times as deep as is faint, at even dominance: ln(10) / 2."""
    element = replace(OUTER, part="element")
    beside = {"outer": OUTER, "inner": INNER, "element": element, "cage": CAGE}
    assert signs(OUTER, beside, 8)["other race"] == pytest.approx(0.5)
    assert signs(replace(INNER, depth=0.8), beside, 8)["other race"] == pytest.approx(0.25)
    assert signs(element, beside, 8)["cage"] == pytest.approx(math.log(0.5 / FAINT) / 2.0)
    assert signs(OUTER, beside, 8)["cage"] == signs(element, beside, 8)["other race"] == 0.0
    chance = {"inner": replace(INNER, chance=1.0 - 1e-9), "cage": replace(CAGE, chance=1.0 - 1e-9)}
    assert signs(OUTER, chance, 8)["other race"] == pytest.approx(0.0, abs=1e-6)
    assert signs(element, chance, 8)["cage"] == pytest.approx(0.0, abs=1e-6)


def test_a_part_is_weighed_against_the_others_and_against_none() -> None:
    """Of odds 3 and 1: 3 of 5 where one at most is true, 3 of 4.5 where the other counts half, 3 of 4 by itself."""
    assert share(3.0, 1.0, 1.0) == pytest.approx(0.6)
    assert share(3.0, 1.0, 0.5) == pytest.approx(3.0 / 4.5)
    assert share(3.0, 0.0, 1.0) == pytest.approx(0.75)
    assert share(trusted(3.0, 0.8), 0.0, 1.0) == pytest.approx(0.6)
    assert share(odds(replace(OUTER, on_the_shafts=True), {}, 8), 0.0, 1.0) <= TOLD_APART


def test_a_part_is_named_from_the_depth_at_which_it_is_named() -> None:
    depth = named_from(OUTER)
    for times, named in ((1.0, True), (0.8, False)):
        seen = replace(OUTER, depth=times * depth, dominance=times * depth / OUTER.hidden, above=5.0)
        assert (share(odds(seen, {}, 1), 0.0, 1.0) >= SUPPORTED) is named
    assert named_from(replace(OUTER, hidden=0.5)) > 2.0 * depth
    assert named_from(replace(OUTER, hidden=20.0)) == math.inf
