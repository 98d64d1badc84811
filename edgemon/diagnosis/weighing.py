"""How sure a bearing's family of lines makes one: odds fitted on open recordings and on records without a fault.

The odds are a product: of the size of its rhythm, of how far that towers over every other rhythm of the machine, and for a
rolling element of the sidebands at cage speed that no race has. Which signs take part, and their weights, were chosen by
leaving one source out at a time (`python -m tests.bench.weights`). How many harmonics are found, sidebands at shaft speed,
agreement between halves of the record, the share of ways that show the family and its surprise in the logarithmic envelope
add nothing to these and to the chance of so much without cause (measured).
"""

import math

from edgemon.diagnosis.families import Family

BASE = 3.25
"""Logarithm of the odds at a depth of one without a rival and without sidebands; like the weights below, of a logistic
regression with a slight pull to zero."""
DEPTH = 1.1
"""Power of the modulation depth in the odds. Pulses that carry a share s of a band's energy modulate it by 2 s."""
DOMINANCE = 5.0
"""Power of the dominance d, as d / (1 + d). Source of the idea: Smith and Randall (2015) call a record diagnosable where the
lines of the fault dominate."""
SIDEBAND = 1.5
"""Logarithm of the odds that a sideband at cage speed adds to a rolling element, two of them at most."""
COUNTED = 2
DISTANCE = 20.0
"""Logarithm of the odds that the distance from kinematics takes, for each whole: chance finds lines anywhere within 2 %, a
bearing has most of them within 1 % (Randall and Antoni, 2011). The fit gives 15 to 25."""


def confidence(family: Family, looks: int, depth: float | None = None) -> float:
    """Give the confidence in a family: not by chance, times the odds of its signs.

    Parameters
    ----------
    family : Family
        What was found of a part.
    looks : int
        How many families were looked at: more looks, more chances to be fooled.
    depth : float, optional
        Modulation depth to use instead of its own, where two parts share a rhythm.

    Returns
    -------
    float
        0 to 1.
    """
    by_chance = -math.expm1(looks * math.log1p(-min(family.chance, 1.0 - 1e-12)))
    size = family.depth if depth is None else depth
    towers = family.dominance / (1.0 + family.dominance) if math.isfinite(family.dominance) else 1.0
    odds = BASE + DEPTH * math.log(max(size, 1e-6)) + DOMINANCE * math.log(max(towers, 1e-6))
    odds -= DISTANCE * abs(family.order / family.kinematic - 1.0)
    if family.part == "element":
        odds += SIDEBAND * min(len(family.sidebands), COUNTED)
    return (1.0 - by_chance) / (1.0 + math.exp(-min(max(odds, -60.0), 60.0)))
