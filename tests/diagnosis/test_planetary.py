"""Planetary gear sets against published gearboxes, against rolling without sliding, and against identities."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgemon.diagnosis.markers import MEASURED, expected
from edgemon.diagnosis.planetary import fits_evenly, have_room, misfit, planetary_orders
from edgemon.diagnosis.record import MachineFacts
from edgemon.diagnosis.shafts import with_exact_orders
from edgemon.errors import ParameterError
from edgemon.model.machine import GearPair, Member, PlanetarySet, Train

SUN, RING, CARRIER = Member.SUN, Member.RING, Member.CARRIER
EXAMPLE = PlanetarySet(18, 27, 72, 3)


def test_a_set_with_the_ring_standing() -> None:
    """Kinematics, recomputed: sun 1500 r/min gives carrier 300 r/min, mesh 360, sun 60, planet 26.6667, ring 15 Hz."""
    found = planetary_orders(EXAMPLE)
    assert 1500.0 * found.members[CARRIER] == pytest.approx(300.0)
    rates = [25.0 * order for order in (found.mesh, found.sun_fault, found.planet_fault, found.ring_fault, found.planet_pass)]
    assert rates == pytest.approx([360.0, 60.0, 26.66667, 15.0, 15.0], rel=1e-6)
    assert found.members[RING] == 0.0
    assert 25.0 * found.planet_turn == pytest.approx(360.0 / 27.0)


def test_a_wind_turbine_gearbox() -> None:
    """Ring 99, planets 39, sun 21, then pairs 82/23 and 88/22: ratio 5.71 x 3.57 x 4.0 = 81.49, 22.1 r/min to 1800.

    Source: Gearbox Reliability Collaborative, NREL/TP-5000-51885 (2011), from memory; mesh of the first stage recomputed.
    """
    gears = PlanetarySet(21, 39, 99, 3, fixed=RING, driving=CARRIER)
    assert (misfit(gears), fits_evenly(gears), have_room(gears)) == (0, True, True)
    first = planetary_orders(gears)
    assert first.members[SUN] == pytest.approx(5.714, abs=1e-3)
    middle = 5.71 * 82 / 23  # as an engineer writes it
    train = with_exact_orders(Train(gears=(GearPair(88, 22, middle), GearPair(82, 23, 5.71)), planetary=(gears,)))
    fastest = train.gears[0].order * 88 / 22
    assert fastest == pytest.approx(81.491, abs=1e-3)
    assert fastest == pytest.approx((1 + 99 / 21) * 82 / 23 * 88 / 22, rel=1e-12)
    assert 22.1 * fastest == pytest.approx(1800.0, rel=1e-3)
    assert 22.1 / 60.0 * first.mesh == pytest.approx(36.465, abs=1e-3)  # ring teeth times carrier


@pytest.mark.parametrize(
    ("planets", "even"),
    [(3, True), (4, False)],
)
def test_a_helicopter_s_planetary_stage(planets: int, even: bool) -> None:
    """Sun 27, planets 35, ring 99 (two teeth more than 27 + 2 x 35): behind a bevel pair 19/71 it gives 17.44 to 1.

    Source: OH-58A (three planets) and OH-58C (four, not quite at equal distances) main rotor transmissions in NASA technical
    memoranda of D. G. Lewicki and J. J. Coy, 1980s, from memory; 6180 r/min in, 354 out.
    """
    gears = PlanetarySet(27, 35, 99, planets, order=19 / 71)
    assert (misfit(gears), fits_evenly(gears), have_room(gears)) == (2, even, True)
    found = planetary_orders(gears)
    assert 1.0 / found.members[CARRIER] == pytest.approx(17.44, abs=5e-3)
    assert 6180.0 * found.members[CARRIER] == pytest.approx(354.0, abs=0.6)


TEETH = st.tuples(st.integers(8, 60), st.integers(8, 60), st.integers(1, 6))
MEMBERS = st.permutations([SUN, RING, CARRIER])


@given(TEETH, MEMBERS)
def test_against_rolling_without_sliding(teeth: tuple[int, int, int], members: list[Member]) -> None:
    """No formula of gears: pitch circles roll on each other, so both sides of a contact move alike at each of two contacts."""
    sun, planet, planets = teeth
    ring = sun + 2 * planet
    gears = PlanetarySet(sun, planet, ring, planets, members[0], members[1])
    found = planetary_orders(gears)
    turn = found.members
    assert turn[members[0]] == 0.0
    assert turn[members[1]] == 1.0
    axis = (sun + planet) * turn[CARRIER]  # speed of the planet's axis, radii in teeth
    own = (axis - sun * turn[SUN]) / planet  # speed of the planet about its axis, so that it does not slide on the sun
    assert axis + planet * own == pytest.approx(ring * turn[RING], abs=1e-9)
    assert found.mesh == pytest.approx(ring * abs(turn[RING] - turn[CARRIER]), abs=1e-9)
    assert found.planet_turn == pytest.approx(abs(own - turn[CARRIER]), abs=1e-9)
    assert found.mesh == pytest.approx(planet * found.planet_turn, abs=1e-9)


@given(TEETH, MEMBERS)
def test_identities(teeth: tuple[int, int, int], members: list[Member]) -> None:
    sun, planet, planets = teeth
    gears = PlanetarySet(sun, planet, sun + 2 * planet, planets, members[0], members[1])
    found = planetary_orders(gears)
    assert found.sun_fault * sun == pytest.approx(planets * found.mesh)
    assert found.ring_fault * gears.ring == pytest.approx(planets * found.mesh)
    assert found.planet_fault * planet == pytest.approx(2.0 * found.mesh)
    if gears.fixed is RING:
        assert found.ring_fault == pytest.approx(found.planet_pass)
    if gears.fixed is CARRIER:  # a star: an idler between two gears
        assert found.planet_pass == 0.0
        assert abs(found.members[gears.driven]) == pytest.approx({SUN: sun / gears.ring, RING: gears.ring / sun}[gears.driving])


def test_neighbours_need_room() -> None:
    """Six planets as large as the sun touch it and each other: a seventh, or one of them with tips, has no room (geometry)."""
    assert not have_room(PlanetarySet(20, 20, 60, 6))
    assert have_room(PlanetarySet(20, 20, 60, 5))
    assert have_room(PlanetarySet(20, 20, 60, 1))


def test_orders_that_mean_no_known_shaft_stay_as_written() -> None:
    train = Train(gears=(GearPair(20, 50, 0.7),))
    assert with_exact_orders(train) == train


def test_frequencies_worth_a_mark() -> None:
    at = {one.name: one for one in expected(MachineFacts(25.0, planetary=(EXAMPLE,)), MEASURED)}
    assert {name: one.hz for name, one in at.items() if name != "1x"} == pytest.approx(
        {
            "mesh 18/27/72": 360.0,
            "planet pass 18/27/72": 15.0,
            "sun tooth 18/27/72": 60.0,
            "planet tooth 18/27/72": 80.0 / 3.0,
            "carrier 18/27/72": 5.0,
        }
    )
    assert at["mesh 18/27/72"].sidebands_hz == pytest.approx((15.0, 20.0, 40.0 / 3.0))
    star = {one.name: one for one in expected(MachineFacts(25.0, planetary=(replace(EXAMPLE, fixed=CARRIER),)), MEASURED)}
    assert star["ring tooth 18/27/72"].sidebands_hz == ()
    assert "planet pass 18/27/72" not in star


@pytest.mark.parametrize(
    "wrong",
    [
        replace(EXAMPLE, sun=2),
        replace(EXAMPLE, planets=0),
        replace(EXAMPLE, fixed=SUN),
        replace(EXAMPLE, order=0.0),
        replace(EXAMPLE, order=math.nan),
    ],
)
def test_impossible_sets_are_refused(wrong: PlanetarySet) -> None:
    with pytest.raises(ParameterError):
        planetary_orders(wrong)
