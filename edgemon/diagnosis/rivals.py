"""Whose line is it: what of an envelope spectrum belongs to one part of a bearing, and what is a rhythm of something else."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.diagnosis.frequencies import BearingOrders

Lines = NDArray[np.bool_]

REACH = 3.5
"""Lines about the middle of a line that are its own: half the main lobe of a Hann window, and where the middle may be."""
SKIRT = 0.02
"""Part of its frequency that a line may be wide: elements slip 1 to 2 % from one turn to the next, and each keeps its own
speed for a while. Source: Randall and Antoni (2011)."""
FINE = 0.01
"""Distance of lines, in orders, below which more sidebands of a family are its own: coarser, they would hide too much."""
LOWEST = 1.5
"""Orders below which a rhythm is no rival: load and speed that wander have most of their envelope there."""
HIGHEST = 12.0
"""Orders up to which rivals are looked for, or 2.2 times the part's own where that is more."""
FRACTIONS = ((1, 2), (1, 3), (2, 3), (1, 4), (3, 4), (1, 5), (2, 5), (3, 5), (4, 5))
"""Of a line, where the other lines of a slower rhythm stand whose harmonic it may be."""
SLOWEST = 0.15
"""Orders below which no slower rhythm is looked for."""


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a bearing, and where its rhythm was found."""

    name: str
    order: float
    kinematic: BearingOrders

    @property
    def passes_load(self) -> bool:
        """Say whether it is the race that passes the load once a turn, which swells and fades its pulses at shaft speed."""
        return self.name == ("outer" if self.kinematic.outer_turns else "inner")

    @property
    def side(self) -> float:
        """Distance of its sidebands, orders: elements come to the load once a turn of the cage, races once a turn of theirs."""
        return self.kinematic.cage if self.name == "element" else 1.0


class Marks:
    """Lines of one spectrum that are marked by order."""

    def __init__(self, orders: NDArray[np.float64]) -> None:
        self.orders = orders
        self.resolution = float(orders[1])
        self.marked = np.zeros(orders.size, np.bool_)

    def about(self, order: float, wide: float) -> None:
        """Mark what is no further from an order."""
        first = max(0, math.ceil((order - wide) / self.resolution))
        self.marked[first : max(first, math.floor((order + wide) / self.resolution) + 1)] = True

    def family(self, order: float, side: float, steps: tuple[int, int], skirt: float) -> None:
        """Mark six harmonics, the first three with their skirts, and sidebands: as many of the first as of the others."""
        reach = REACH * self.resolution
        for number in range(1, 7):
            middle = number * order
            self.about(middle, max(reach, skirt * middle) if number <= 3 else reach)
            for step in range(1, steps[number > 1] + 1):
                self.about(middle - step * side, reach)
                self.about(middle + step * side, reach)


def own_lines(orders: NDArray[np.float64], part: Part) -> Lines:
    """Mark the lines that a defect of a part makes.

    Those of an element: also odd multiples of half its rhythm, where it strikes one race harder; of the cage, with which it
    comes to the load; and of the races, which it strikes.
    """
    found = Marks(orders)
    fine, reach = found.resolution < FINE, REACH * found.resolution
    if part.name == "cage":
        for number in range(1, 13):
            found.about(number * part.order, reach)
    elif part.name == "element":
        steps = (6, 6) if fine else (2, 2)
        found.family(part.order, part.side, steps, SKIRT)
        for number in (1, 3, 5):
            found.about(0.5 * number * part.order, max(reach, 0.5 * SKIRT * number * part.order))
        for number in range(1, 13 if fine else 7):
            found.about(number * part.kinematic.cage, reach)
        for race in (part.kinematic.outer, part.kinematic.inner):
            found.family(race, part.side, steps, 0.5 * SKIRT)
    elif part.passes_load:
        found.family(part.order, part.side, (9, 9) if fine else (5, 2), SKIRT)
    else:
        found.family(part.order, part.side, (6, 6) if fine else (2, 2), SKIRT)
    return found.marked


def rival_lines(orders: NDArray[np.float64], part: Part, synchronous: Lines) -> Lines:
    """Mark the lines that would be something else's: all but its own and the shaft's, and those of a slower rhythm."""
    slower = Marks(orders)
    for over, under in FRACTIONS if part.name != "cage" else ():
        order = part.order * over / under
        if not (part.name == "element" and under % 2 == 0) and order >= max(SLOWEST, 4.0 * slower.resolution):
            slower.about(order, 1.5 * slower.resolution)
    span = (orders > LOWEST) & (orders < max(2.2 * part.order, HIGHEST))
    return ((span & ~own_lines(orders, part)) | slower.marked) & ~synchronous


def far_sides(part: Part) -> list[float]:
    """List orders at whole turns of the shaft from a race's line: a line there that exceeds it is no sideband of it.

    Next to the line of a race that passes the load one may: the pulses nearly cease once a turn.
    """
    if part.name not in ("outer", "inner"):
        return []
    places = [part.order + sign * step for step in range(2 if part.passes_load else 1, 6) for sign in (-1, 1)]
    return [place for place in places if place > 0.3]
