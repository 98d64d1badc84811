"""Gear stages of a command line, one after the other; a gearbox whose figures are published."""

import pytest

from edgemon.cli.stages import in_a_row
from edgemon.errors import SettingsError
from edgemon.model.machine import Member, PlanetarySet

GEAR, SET = "--gear", "--planetary"


def test_stages_in_a_row_each_driven_by_the_one_before() -> None:
    """Carrier of 21/39/99 at 1, then 82/23 and 88/22: 5.714, 20.37 and 81.49 times as fast.

    Source: Gearbox Reliability Collaborative, NREL/TP-5000-51885 (2011), from memory; orders recomputed.
    """
    pairs, sets = in_a_row([(SET, "21/39/99/3,ring,carrier"), (GEAR, "82/23"), (GEAR, "88/22")])
    assert sets == (PlanetarySet(21, 39, 99, 3, Member.RING, Member.CARRIER),)
    assert [pair.order for pair in pairs] == pytest.approx([120 / 21, 120 / 21 * 82 / 23])
    assert pairs[1].order * pairs[1].teeth / pairs[1].driven_teeth == pytest.approx(81.49, abs=5e-3)


def test_a_set_behind_a_pair_and_members_that_are_not_said() -> None:
    _, sets = in_a_row([(GEAR, "20/40"), (SET, "18/27/72/3"), (SET, "20/20/60/4,sun")])
    assert [(one.fixed, one.driving) for one in sets] == [(Member.RING, Member.SUN), (Member.SUN, Member.RING)]
    assert [one.order for one in sets] == pytest.approx([0.5, 0.5 * 0.2])


@pytest.mark.parametrize("word", ["", "18/27/72", "18/27/72/x", "18/27/72/3,hub", "18/27/72/3,ring,sun,carrier", "-18/27/72/3"])
def test_what_is_no_set_is_refused_with_what_would_be(word: str) -> None:
    with pytest.raises(SettingsError, match="SUN/PLANET/RING/PLANETS"):
        in_a_row([(SET, word)])


@pytest.mark.parametrize("word", ["18/27/82/3", "18/27/72/6", "2/27/56/3"])
def test_teeth_that_do_not_fit_are_refused(word: str) -> None:
    with pytest.raises(SettingsError):
        in_a_row([(SET, word)])


@pytest.mark.parametrize("word", ["\u00b2/3", "23/\u00b2", "23", "23/67/3", "0/20", "1/3", "23/99999999999999999999"])
def test_what_is_no_pair_is_refused_with_what_would_be(word: str) -> None:
    with pytest.raises(SettingsError, match="Z1/Z2"):
        in_a_row([(GEAR, word)])


def test_a_raised_figure_is_no_number_of_teeth() -> None:
    with pytest.raises(SettingsError, match="SUN/PLANET/RING/PLANETS"):
        in_a_row([(SET, "\u00b2/27/72/3")])
