"""Planetary gear sets: speed of every member, and how often teeth, planets and damaged teeth meet; pure kinematics."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from edgemon.errors import ParameterError
from edgemon.model.machine import Member, PlanetarySet


@dataclass(frozen=True, slots=True)
class PlanetaryOrders:
    """What turns, and what repeats, in multiples of the machine's speed."""

    members: Mapping[Member, float]
    """Speed of each member; below zero: it turns against the driving one."""
    mesh: float
    """Tooth mesh, the same at sun and ring."""
    planet_pass: float
    """How often a planet passes a place of the housing."""
    sun_fault: float
    """How often a damaged tooth of the sun is in mesh, with any planet."""
    planet_fault: float
    """... of a planet: with the sun and with the ring, once each a turn against the carrier."""
    ring_fault: float
    """... of the ring, with any planet."""
    sun_turn: float
    """Turns of the sun against the carrier; likewise the next two."""
    planet_turn: float
    ring_turn: float


def planetary_orders(gears: PlanetarySet) -> PlanetaryOrders:
    """Give the speeds of all members and the rates of mesh and damage.

    Raises
    ------
    ParameterError
        Fewer than three teeth, no planet, an order that is not above zero, or one member both fixed and driving.

    Notes
    -----
    Against the carrier all axes stand: z_sun (n_sun - n_carrier) = -z_ring (n_ring - n_carrier) (R. Willis, Principles of
    Mechanism (1841)), and the mesh is the teeth of any member times its speed against the carrier. Each tooth of sun and ring
    meets every planet once a turn against the carrier, a planet's meets sun and ring.
    Source: kinematics; P. D. McFadden, J. D. Smith, Proc. Inst. Mech. Eng. C 199 (1985) 65-70 (planet pass, from memory).
    """
    if min(gears.sun, gears.planet, gears.ring) < 3 or gears.planets < 1:
        raise ParameterError(f"{gears.planets} planets in a set of {gears} teeth", "teeth", "3 or more each, 1 planet or more")
    if gears.fixed is gears.driving or not gears.order > 0.0:
        raise ParameterError(f"{gears.driving} driving, {gears.fixed} fixed, order {gears.order:g}", "fixed", "two members")
    share = {Member.SUN: gears.sun, Member.RING: gears.ring, Member.CARRIER: -(gears.sun + gears.ring)}
    members = dict.fromkeys(Member, 0.0)  # the sum of share times speed is zero, and one speed is
    members[gears.driving] = gears.order
    members[gears.driven] = -gears.order * share[gears.driving] / share[gears.driven]
    carrier = members[Member.CARRIER]
    sun, ring = abs(members[Member.SUN] - carrier), abs(members[Member.RING] - carrier)
    mesh = gears.sun * sun
    planet = mesh / gears.planet
    return PlanetaryOrders(
        members=members,
        mesh=mesh,
        planet_pass=gears.planets * abs(carrier),
        sun_fault=gears.planets * sun,
        planet_fault=2.0 * planet,
        ring_fault=gears.planets * ring,
        sun_turn=sun,
        planet_turn=planet,
        ring_turn=ring,
    )


SHIFTED = 2
"""Teeth by which a ring may differ from sun and two planets where profiles are shifted: sets of helicopters and test rigs do by
two. Common practice, no source."""


def misfit(gears: PlanetarySet) -> int:
    """Give by how many teeth the ring differs from sun and two planets: 0 without profile shift."""
    return gears.ring - gears.sun - 2 * gears.planet


def fits_evenly(gears: PlanetarySet) -> bool:
    """Say whether planets at equal distances find their teeth. Source: gear handbooks: (sun + ring) / planets is whole."""
    return (gears.sun + gears.ring) % gears.planets == 0


def have_room(gears: PlanetarySet) -> bool:
    """Say whether neighbouring planets clear each other. Source: gear handbooks, tips one module above the pitch circle."""
    return gears.planets < 2 or (gears.sun + gears.planet) * math.sin(math.pi / gears.planets) > gears.planet + 2
