"""What a cell delivers at which current: less at a very low drain and at a high one."""

from collections.abc import Sequence
from dataclasses import dataclass

from edgemon.units import from_si


@dataclass(frozen=True, slots=True)
class Delivered:
    """Capacity that a cell delivers when a current is drawn from it all the time."""

    current_a: float
    capacity_ah: float


BOBBIN_D = (
    Delivered(0.2e-3, 17.0),
    Delivered(1e-3, 18.4),
    Delivered(2e-3, 18.8),
    Delivered(4e-3, 19.0),
    Delivered(20e-3, 13.5),
    Delivered(35e-3, 7.0),
)
"""Lithium thionyl chloride, bobbin, D size, 25 °C. Source: Linden's Handbook of Batteries, Fig. 14.17."""

BEST = max(BOBBIN_D, key=lambda one: one.capacity_ah)


def drain_caveat(averages_a: Sequence[float], peak_a: float) -> str:
    """Say what a drain does to the capacity, by the example of the D cell, and where the currents of a plan lie."""
    told = ", ".join(
        f"{one.capacity_ah:g} Ah at {from_si(one.current_a, 'mA'):g} mA" for one in (BOBBIN_D[0], BEST, BOBBIN_D[-1])
    )
    low, high = (f"{from_si(one, 'mA'):.3g}" for one in (min(averages_a), max(averages_a)))
    here = f"averages of {low} to {high} mA" if low != high else f"an average of {low} mA"
    return (
        "capacity falls at a very low drain and at a high one: a bobbin lithium thionyl chloride cell of size D at 25 °C gives "
        f"{told} (Linden's Handbook of Batteries, Fig. 14.17); here {here}, pulses of up to {from_si(peak_a, 'mA'):.3g} mA: "
        "use the maker's curve of your cell"
    )
