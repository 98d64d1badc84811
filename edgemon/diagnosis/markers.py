"""Which frequencies of a machine are worth a mark in a spectrum, how sure each is, and how a peak is named by them."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum

from edgemon.analysis.speed import TOLERANCE
from edgemon.diagnosis.frequencies import bearing_orders, gear_rates, motor_rates
from edgemon.diagnosis.planetary import planetary_orders
from edgemon.diagnosis.record import MachineFacts
from edgemon.errors import ParameterError
from edgemon.model.machine import Member, PlanetarySet

SLIP = 0.02
"""How far a bearing's frequencies may be off their kinematics. Source: R. B. Randall, J. Antoni, Mech. Syst. Signal Process. 25
(2011) 485-520: slip of 1 to 2 %."""
SUPPLY = 0.01
"""How far supply frequency may be off. Source: EN 50160:2010, 50 Hz +- 1 % for 99.5 % of a year (from memory, unverified)."""
MEASURED, TOLD, NOMINAL = 0.002, 0.01, TOLERANCE
"""How far a speed may be off that was found in the record, that the sensor told with it, and that stands in the plant file.
House choices; the last is a motor's slip."""


class Family(StrEnum):
    """What a marked frequency belongs to."""

    SPEED = "running speed"
    BEARING = "bearing"
    GEAR = "gear"
    BLADES = "blades"
    BELT = "belt"
    SUPPLY = "supply"


@dataclass(frozen=True, slots=True)
class Expected:
    """A frequency and its multiples."""

    name: str
    family: Family
    hz: float
    share: float
    """How far it may be off, in parts of itself."""
    multiples: int
    sidebands_hz: tuple[float, ...] = ()


def expected(facts: MachineFacts, off: float) -> tuple[Expected, ...]:
    """List what a machine's facts lead one to expect; nothing that turns where its speed is not known.

    Parameters
    ----------
    facts : MachineFacts
        With the speed that is to be used.
    off : float
        How far that speed may be off, in parts of itself: MEASURED, TOLD or NOMINAL.

    Returns
    -------
    tuple of Expected
        Running speed first. A bearing is named where there are several.
    """
    found: list[Expected] = []
    if facts.speed_hz is not None:
        found += _turning(facts, facts.speed_hz, off)
    if facts.belt_hz is not None:
        found.append(Expected("belt", Family.BELT, facts.belt_hz, SLIP + off, 4))
    if facts.supply_hz is not None:
        found.append(Expected("2 x supply", Family.SUPPLY, 2.0 * facts.supply_hz, SUPPLY, 2, _pole_pass(facts)))
    return tuple(found)


def _turning(facts: MachineFacts, speed: float, sure: float) -> Iterator[Expected]:
    yield Expected("1x", Family.SPEED, speed, sure, 10)
    for name, bearing in facts.bearings:
        suffix = f" {name}" if len(facts.bearings) > 1 else ""
        orders = bearing_orders(bearing)
        cage = orders.cage * speed
        off = SLIP + sure
        loaded = (speed,)  # a race that turns passes the load once a turn
        at_outer, at_inner = (loaded, ()) if orders.outer_turns else ((), loaded)
        yield Expected(f"BPFO{suffix}", Family.BEARING, orders.outer * speed, off, 5, at_outer)
        yield Expected(f"BPFI{suffix}", Family.BEARING, orders.inner * speed, off, 5, at_inner)
        yield Expected(f"2 BSF{suffix}", Family.BEARING, orders.element * speed, off, 4, (cage,))
        yield Expected(f"FTF{suffix}", Family.BEARING, cage, off, 3)
    for gear in facts.gears:
        rates = gear_rates(gear.teeth, gear.driven_teeth, gear.order * speed)
        name = f"mesh {gear.teeth}/{gear.driven_teeth}"
        yield Expected(name, Family.GEAR, rates.mesh_hz, sure, 3, (gear.order * speed, rates.driven_hz))
        yield Expected(f"shaft of {gear.driven_teeth} teeth", Family.GEAR, rates.driven_hz, sure, 3)
    for gears in facts.planetary:
        yield from _planetary(gears, speed, sure)
    if facts.rotor_bars is not None:
        twice = () if facts.supply_hz is None else (2.0 * facts.supply_hz,)
        yield Expected("rotor-bar pass", Family.SUPPLY, facts.rotor_bars * speed, sure, 2, twice)
    if facts.blades is not None:
        yield Expected("blade pass", Family.BLADES, facts.blades * speed, sure, 3, (speed,))


def _planetary(gears: PlanetarySet, speed: float, sure: float) -> Iterator[Expected]:
    """Give mesh with planet pass about it, what a damaged tooth repeats at, and the shafts that are not the machine's."""
    orders = planetary_orders(gears)
    passing = orders.planet_pass * speed
    beside = tuple(dict.fromkeys(hz for hz in (passing, orders.sun_turn * speed, orders.planet_turn * speed) if hz))
    yield Expected(f"mesh {gears}", Family.GEAR, orders.mesh * speed, sure, 3, beside)
    if passing:
        yield Expected(f"planet pass {gears}", Family.GEAR, passing, sure, 3)
    carrier = abs(orders.members[Member.CARRIER]) * speed
    for name, order in (("sun", orders.sun_fault), ("planet", orders.planet_fault), ("ring", orders.ring_fault)):
        if abs(order * speed - passing) > sure * passing:  # of a ring that stands: the planets' pass, fault or none
            yield Expected(f"{name} tooth {gears}", Family.GEAR, order * speed, sure, 3, (carrier,) if carrier else ())
    for member, order in orders.members.items():
        if order and abs(abs(order) - 1.0) > sure:
            yield Expected(f"{member} {gears}", Family.GEAR, abs(order) * speed, sure, 3)


def _pole_pass(facts: MachineFacts) -> tuple[float, ...]:
    if facts.speed_hz is None or facts.poles is None or facts.supply_hz is None:
        return ()
    try:
        return (motor_rates(facts.supply_hz, facts.poles, facts.speed_hz).pole_pass_hz,)
    except ParameterError:
        return ()  # faster than the field: not a motor's slip


def tolerance(one: Expected, resolution_hz: float) -> float:
    """Give how far from its place a line of the first multiple may be, Hz; never less than the spectrum can tell apart."""
    return max(one.share * one.hz, 0.5 * resolution_hz)


def name_of(hz: float, among: Iterable[Expected], resolution_hz: float) -> str:
    """Name a peak by the multiple of an expected frequency that is nearest within its tolerance; empty where none is.

    Notes
    -----
    Nearest in shares of the tolerance, so that a sure frequency goes before one that may be anywhere.
    """
    best, name = 1.0, ""
    for one in among:
        multiple = min(max(1, round(hz / one.hz)), one.multiples)
        off = abs(hz - multiple * one.hz) / max(multiple * one.share * one.hz, 0.5 * resolution_hz)
        if off < best:
            best = off
            name = multiple_of(multiple, one)
    return name


def multiple_of(multiple: int, one: Expected) -> str:
    """Write a multiple of an expected frequency: `3x`, `BPFO`, `2 x BPFO`, `2 x (2 BSF)`."""
    if one.family is Family.SPEED:
        return f"{multiple}x"
    return (
        one.name if multiple == 1 else f"{multiple} x {one.name}" if not one.name[0].isdigit() else f"{multiple} x ({one.name})"
    )
