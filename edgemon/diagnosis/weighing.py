"""How sure a bearing's family of lines makes one: odds fitted on open recordings and on records without a fault.

The odds are a product: of the size of its rhythm, of how far that towers over every other rhythm of the machine, and for a
rolling element of the sidebands at cage speed that no race has. Which signs take part, and their weights, were chosen by
leaving one source out at a time; made records without a fault take part in the fit beside the recordings. To repeat it:
`python -m tests.bench.weights` prints the weights below, and what each sign is worth that could be added or left out (how many
harmonics are found, sidebands at shaft speed, height, distance from kinematics, turns, and chance add nothing).
"""

import math

from edgemon.diagnosis.families import Family

BASE = 3.13
"""Logarithm of the odds at a depth of one without a rival and without sidebands; like the weights below, of a logistic
regression with a slight pull to zero."""
WEIGHTS = {"depth": 1.08, "dominance": 4.84, "cage sidebands": 1.54}
"""What each sign adds to the logarithm of the odds, see `signs`. Source of the second: Smith and Randall (2015) call a record
diagnosable where the lines of the fault dominate."""
COUNTED = 2
"""Sidebands at cage speed that count, at most."""


def signs(family: Family, depth: float | None = None) -> dict[str, float]:
    """Give what the odds rest on.

    Parameters
    ----------
    family : Family
        What was found of a part.
    depth : float, optional
        Modulation depth to use instead of its own, where two parts share a rhythm.

    Returns
    -------
    dict of str to float
        Logarithm of the depth (pulses that carry a share s of a band's energy modulate it by 2 s), that of the dominance d as
        d / (1 + d), and sidebands at cage speed, 0 for a race.
    """
    towers = family.dominance / (1.0 + family.dominance) if math.isfinite(family.dominance) else 1.0
    return {
        "depth": math.log(max(family.depth if depth is None else depth, 1e-6)),
        "dominance": math.log(max(towers, 1e-6)),
        "cage sidebands": float(min(len(family.sidebands), COUNTED)) if family.part == "element" else 0.0,
    }


def by_chance(chance: float, looks: int) -> float:
    """Give the chance that the best of several looks without cause is as clear as one look's `chance` says."""
    return -math.expm1(looks * math.log1p(-min(chance, 1.0 - 1e-12)))


def confidence(family: Family, looks: int, depth: float | None = None) -> float:
    """Give the confidence in a family: not by chance, times the odds of its signs.

    Parameters
    ----------
    family : Family
        What was found of a part.
    looks : int
        How many families were looked at: more looks, more chances to be fooled.
    depth : float, optional
        As of `signs`.

    Returns
    -------
    float
        0 to 1.
    """
    odds = BASE + sum(WEIGHTS[name] * value for name, value in signs(family, depth).items())
    return (1.0 - by_chance(family.chance, looks)) / (1.0 + math.exp(-min(max(odds, -60.0), 60.0)))
