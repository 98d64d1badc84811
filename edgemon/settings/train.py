"""`train` of a machine: what turns with its shaft and what drives it, as written and as the diagnosis wants it."""

from typing import Literal

from pydantic import Field

from edgemon.diagnosis.shafts import with_exact_orders
from edgemon.model.machine import Belt, GearPair, Member, PlanetarySet, Train
from edgemon.settings.form import Shape
from edgemon.units import to_si


class GearTable(Shape):
    """`train.gear`: a pair of gears."""

    teeth: int | None = None
    driven_teeth: int | None = None
    order: float = 1.0


class PlanetaryTable(Shape):
    """`train.planetary`: a planetary gear set; sun, planet and ring are numbers of teeth."""

    sun: int | None = None
    planet: int | None = None
    ring: int | None = None
    planets: int | None = None
    fixed: Literal["sun", "ring", "carrier"] = "ring"
    input: Literal["sun", "ring", "carrier", ""] = ""
    order: float = 1.0
    even: bool = True


class BeltTable(Shape):
    """`train.belt`: a belt and the sheave on the machine's shaft."""

    sheave_mm: float | None = None
    length_mm: float | None = None


class TrainTable(Shape):
    """`train`: what turns with the shaft, and what drives it; for the diagnosis."""

    blades: int | None = None
    supply_hz: float | None = None
    poles: int | None = None
    rotor_bars: int | None = None
    sleeve_bearings: bool = False
    belt: BeltTable | None = None
    gear: list[GearTable] = Field(default_factory=list)
    planetary: list[PlanetaryTable] = Field(default_factory=list)


def train_of(table: TrainTable) -> Train:
    """Make the train of a table in which nothing is wrong.

    An order written with a few digits is that of the shaft it means: 0.343 behind a pair of 23 and 67 teeth is 23/67.
    """
    belt = table.belt
    written = Train(
        blades=table.blades,
        supply_hz=table.supply_hz,
        poles=table.poles,
        rotor_bars=table.rotor_bars,
        sleeve_bearings=table.sleeve_bearings,
        belt=None
        if belt is None or belt.sheave_mm is None or belt.length_mm is None
        else Belt(to_si(belt.sheave_mm, "mm"), to_si(belt.length_mm, "mm")),
        gears=tuple(pair for gear in table.gear if (pair := pair_of(gear)) is not None),
        planetary=tuple(gears for one in table.planetary if (gears := set_of(one)) is not None),
    )
    return with_exact_orders(written)


def pair_of(table: GearTable) -> GearPair | None:
    """Make a pair of gears; None where teeth are missing."""
    if table.teeth is None or table.driven_teeth is None:
        return None
    return GearPair(table.teeth, table.driven_teeth, table.order)


def set_of(table: PlanetaryTable) -> PlanetarySet | None:
    """Make a planetary set; None where teeth or the number of planets are missing.

    Without a word about it the sun drives, or the ring where the sun stands: gears are mostly there to slow down.
    """
    if table.sun is None or table.planet is None or table.ring is None or table.planets is None:
        return None
    fixed = Member(table.fixed)
    usual = Member.RING if fixed is Member.SUN else Member.SUN
    driving = Member(table.input) if table.input else usual
    return PlanetarySet(table.sun, table.planet, table.ring, table.planets, fixed, driving, table.order, table.even)
