"""Every gear of a train, its speed, and what else turns beside it; of planetary sets as seen from the carrier."""

from dataclasses import dataclass

from edgemon.diagnosis.planetary import planetary_orders
from edgemon.diagnosis.record import Gear, MachineFacts
from edgemon.model.machine import PlanetarySet


@dataclass(frozen=True, slots=True)
class Wheel:
    """One gear: its teeth, its speed, its name for people, and all gears on its shaft."""

    name: str
    teeth: int
    order: float
    on_shaft: tuple[int, ...]
    others: tuple[float, ...]
    """Speeds of the other shafts, in multiples of this one."""
    reach: int = 4
    """Sidebands looked at to either side of the mesh."""
    of_planets: bool = False
    """Part of a planetary set, its speed that against the carrier. Planets that pass make sidebands without damage."""

    @property
    def mesh_order(self) -> float:
        """Tooth mesh in multiples of the record's shaft speed."""
        return self.teeth * self.order


def wheels(gears: tuple[Gear, ...], planetary: tuple[PlanetarySet, ...] = ()) -> tuple[Wheel, ...]:
    """List every gear of a train with what else turns with it; of a planetary set as seen from the carrier."""
    known = [
        (name, teeth, order)
        for number, pair in enumerate(gears, start=1)
        for name, teeth, order in (
            (f"driving gear of pair {number}", pair.teeth, pair.order),
            (f"driven gear of pair {number}", pair.driven_teeth, pair.order * pair.teeth / pair.driven_teeth),
        )
    ]
    among, passing = _planetary(planetary)
    orders = [1.0, *(order for _, _, order in (*known, *among)), *passing]
    planets = {name: gears.planets for gears, names in zip(planetary, _batched(among), strict=True) for name in names}
    return tuple(
        Wheel(
            name,
            teeth,
            order,
            tuple(z for _, z, other in (*known, *among) if _alike(other, order)),
            tuple(sorted({round(other / order, 9) for other in orders if not _alike(other, order)})),
            *((max(4, planets[name]), True) if name in planets else ()),
        )
        for name, teeth, order in (*known, *among)
    )


def _batched(among: list[tuple[str, int, float]]) -> list[list[str]]:
    """List the names of the three gears of each planetary set."""
    return [[name for name, _, _ in among[at : at + 3]] for at in range(0, len(among), 3)]


def _planetary(planetary: tuple[PlanetarySet, ...]) -> tuple[list[tuple[str, int, float]], list[float]]:
    """List the gears of planetary sets by their turns against the carrier, and speeds of members and of planets that pass."""
    found, passing = [], []
    for number, gears in enumerate(planetary, start=1):
        orders = planetary_orders(gears)
        turns = (
            ("sun", gears.sun, orders.sun_turn),
            ("planets", gears.planet, orders.planet_turn),
            ("ring", gears.ring, orders.ring_turn),
        )
        found += [(f"{name} of planetary set {number}", teeth, turn) for name, teeth, turn in turns]
        passing += [abs(order) for order in (*orders.members.values(), orders.planet_pass) if order]
    return found, passing


def _alike(first: float, second: float) -> bool:
    return abs(first - second) < 1e-6 * second


def wheels_of(facts: MachineFacts) -> tuple[Wheel, ...]:
    """List every gear of a machine."""
    return wheels(facts.gears, facts.planetary)
