"""The speeds of the shafts of a train in multiples of the machine's, stage after stage; pure kinematics."""

from collections.abc import Iterable
from dataclasses import replace

from edgemon.diagnosis.planetary import planetary_orders
from edgemon.model.machine import GearPair, PlanetarySet, Train

SAME_SHAFT = 0.002
"""Part by which an order written with a few digits may differ from that of the shaft that is meant. House choice."""


def shaft_orders(train: Train) -> dict[str, float]:
    """Give the speed of every shaft of a train in multiples of the machine's, by name; members that stand are left out."""
    found: dict[str, float] = {}
    for number, pair in enumerate(train.gears, start=1):
        driving, driven = _orders(pair)
        found |= {f"gear pair {number} driving": driving, f"gear pair {number} driven": driven}
    for number, gears in enumerate(train.planetary, start=1):
        turning = {member: abs(order) for member, order in planetary_orders(gears).members.items() if order}
        found |= {f"planetary set {number} {member}": order for member, order in turning.items()}
    return found


def with_exact_orders(train: Train) -> Train:
    """Take every order that was written with a few digits as that of the shaft of another stage that it means.

    A mesh is so many teeth times an order: a part in a thousand off, it is beside its line. Stages may stand in any order; one
    that follows no known shaft (behind a belt) stays as written.
    """
    stages: list[GearPair | PlanetarySet] = [*train.gears, *train.planetary]
    known, waiting = [1.0], list(range(len(stages)))
    while (found := next((at for at in waiting if _meant(stages[at].order, known) is not None), None)) is not None:
        exact = _meant(stages[found].order, known)
        assert exact is not None
        stages[found] = replace(stages[found], order=exact)
        known += _orders(stages[found])
        waiting.remove(found)
    gears = tuple(one for one in stages if isinstance(one, GearPair))
    return replace(train, gears=gears, planetary=tuple(one for one in stages if isinstance(one, PlanetarySet)))


def _orders(stage: GearPair | PlanetarySet) -> list[float]:
    """Give the speeds of the shafts that a stage joins."""
    if isinstance(stage, GearPair):
        return [stage.order, stage.order * stage.teeth / stage.driven_teeth]
    return [abs(order) for order in planetary_orders(stage).members.values() if order]


def _meant(order: float, known: Iterable[float]) -> float | None:
    near = [shaft for shaft in known if abs(order / shaft - 1.0) <= SAME_SHAFT]
    return min(near, key=lambda shaft: abs(shaft - order), default=None)
