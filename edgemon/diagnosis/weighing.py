"""How sure a bearing's family of lines makes one: odds fitted on open recordings and on records without a fault.

The odds are a product: of the size of its rhythm, of how far that towers over every other rhythm of the machine and over the
noise about it, of what the cage and the other race say, and that it is not by chance. Parts of a bearing, and no defect at all,
are answers to one question: the weights are those of one model of the choice between them. Which signs take part, and their
weights, were chosen by leaving one source out at a time; made records without a fault take part in the fit beside the
recordings, and at half weight recordings whose rhythm was taken away. `python -m tests.bench.weights --crops 3` repeats it with
those at full weight, and tries what could be added or left out: it prints 1.61 and 1.27, 3.48, 0.62, 0.55, 1.10, -3.12, by
which one of 581 recordings and crops less is named. The fit multiplies the odds by the chance that a rhythm is there; here the
confidence is, which is more careful where that chance is small.
"""

import math
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import replace

from edgemon.diagnosis.families import Family
from edgemon.model.finding import SUPPORTED

BASE = 2.12
"""Logarithm of the odds at a depth of one without a rival, no higher than the noise about it; like the weights below, of a
model of choice (multinomial logit) with a slight pull to zero."""
WEIGHTS = {"depth": 1.27, "dominance": 3.7, "height": 0.4, "cage sidebands": 0.26, "cage": 1.26, "other race": -3.02}
"""What each sign adds to the logarithm of the odds, see `signs`. Source of the second: Smith and Randall (2015) call a record
diagnosable where the lines of the fault dominate."""
COUNTED = 2
"""Sidebands at cage speed that count, at most."""
FAINT = 0.05
"""Depth from which a rhythm of the cage counts: a sound bearing's load comes round with it too. House choice."""
CLEAR_LINE = 5.0
"""Height of a line above the noise about it that is clear of it: of 10,000 lines of noise, none is (Rayleigh)."""
SAME = 0.005
"""Part of a harmonic within which two lines may be one: half of the least slip that is usual. House choice."""
DEPTHS = tuple(0.02 * number for number in range(1, 101))
"""That are tried, up to that of single pulses."""
TOLD_APART = 0.8
"""Trust in a rhythm on a multiple of shaft speed that the envelope stresses: a coupling or a fan may stress one too, though
what keeps step with the shaft exactly goes with the tones. Of nine open rigs one has such a stress of its own (6x, no line of
its bearing); none has one at a line without that defect."""


def signs(family: Family, beside: Mapping[str, Family], looks: int) -> dict[str, float]:
    """Give what the odds rest on.

    Parameters
    ----------
    family : Family
        What was found of a part.
    beside : mapping of str to Family
        What was found of the same bearing's parts in the same channel.
    looks : int
        As of `odds`.

    Returns
    -------
    dict of str to float
        Logarithm of the depth (pulses that carry a share s of a band's energy modulate it by 2 s); that of the dominance d as
        d / (1 + d); that of the height above the noise; of an element: sidebands at cage speed, and how deep the rhythm of
        the cage is, with which it comes to the load; of a race: how deep the lines of the other one are, for an element
        strikes both. What may be chance counts as much less.
    """
    races = {"outer": "inner", "inner": "outer"}
    cage, other = beside.get("cage"), beside.get(races.get(family.part, ""))
    is_element = family.part == "element"
    return {
        "depth": math.log(max(family.depth, 1e-6)),
        "dominance": math.log(max(_towers(family), 1e-6)),
        "height": math.log(max(family.above, 1e-3)),
        "cage sidebands": float(min(len(family.sidebands), COUNTED)) if is_element else 0.0,
        "cage": _come_round(cage, looks) if is_element and cage is not None else 0.0,
        "other race": 0.0
        if other is None or _is_harmonic(family, other)
        else (1.0 - by_chance(other.chance, looks)) * min(1.0, other.depth / max(family.depth, 1e-6)),
    }


def _is_harmonic(one: Family, other: Family) -> bool:
    """Say whether the line of the one is a harmonic of the other's: then it says nothing of a second rhythm."""
    low, high = sorted((one.order, other.order))
    return round(high / low) > 1 and abs(high / low / round(high / low) - 1.0) <= SAME


def _towers(family: Family) -> float:
    return family.dominance / (1.0 + family.dominance) if math.isfinite(family.dominance) else 1.0


def _come_round(cage: Family, looks: int) -> float:
    return (1.0 - by_chance(cage.chance, looks)) * max(0.0, math.log(max(cage.depth, 1e-6) / FAINT)) * _towers(cage)


def by_chance(chance: float, looks: int) -> float:
    """Give the chance that the best of several looks without cause is as clear as one look's `chance` says."""
    return -math.expm1(looks * math.log1p(-min(chance, 1.0 - 1e-12)))


def odds(family: Family, beside: Mapping[str, Family], looks: int) -> float:
    """Give the odds of a defect of a part against none: not by chance, times what its signs are worth.

    Parameters
    ----------
    family : Family
        What was found of a part.
    beside : mapping of str to Family
        As of `signs`.
    looks : int
        How many families were looked at: more looks, more chances to be fooled.

    Returns
    -------
    float
        0 or more.
    """
    total = BASE + sum(WEIGHTS[name] * value for name, value in signs(family, beside, looks).items())
    found = trusted(math.exp(min(max(total, -60.0), 60.0)), 1.0 - by_chance(family.chance, looks))
    return trusted(found, TOLD_APART) if family.on_the_shafts else found


def named_from(family: Family) -> float:
    """Give the least depth at which a part would be named, its line clear of the noise, behind the rivals that it has."""

    def is_named(depth: float) -> bool:
        towers = depth / max(family.hidden, 1e-9)
        seen = replace(family, depth=depth, dominance=towers, above=CLEAR_LINE, chance=0.0, sidebands=())
        return share(odds(seen, {}, 1), 0.0, 0.0) >= SUPPORTED

    first = bisect_left(DEPTHS, True, key=is_named)
    return DEPTHS[first] if first < len(DEPTHS) else math.inf


def trusted(found: float, trust: float) -> float:
    """Multiply the confidence that odds amount to by a trust below one; gives odds again."""
    sure = trust * found / (1.0 + found)
    return sure / (1.0 - sure)


def share(found: float, others: float, rival: float) -> float:
    """Give the confidence in one of several answers from its odds, those of the others counting `rival` each.

    At 1 one of them at most is true; below, two may be.
    """
    return found / (1.0 + found + rival * others)
