"""Does a sensor lie as it lay? Gravity in its axes against that in its baseline: moved, turned over, loose, or an axis off."""

import math
from dataclasses import replace

import numpy as np

from edgemon.analysis.gravity import Vector, gravity_of, turned_deg
from edgemon.diagnosis.look import Look
from edgemon.model.finding import Evidence, Fault, Finding
from edgemon.units import STANDARD_GRAVITY, Quantity

MOST_DEG = 10.0
"""Change of direction from which a sensor was moved or is loose. Common practice, no source."""
SURE = 0.7
"""Confidence then. House choice: offsets that drift with temperature turn a vector by some degrees, not by ten."""
MOVED_G = 2.0 * math.sin(math.radians(MOST_DEG / 2.0))
"""By how much the means must have changed for an axis to be off: as much as by that turn, so that no drift of an offset from
just within to just beyond what counts as gravity is one. Derived."""
RULE = "gravity in the three axes points more than 10 degrees away from where it did in the baseline, or is no longer 1 g"
SOURCE = "common practice, no source"


def orientation(look: Look) -> list[Finding]:
    """Compare the direction of gravity with the baseline's; only where both carry it, in three axes of the same names."""
    record, before = look.record, [one.record for one in look.before]
    names = [channel.name for channel in record.channels]
    if record.lines is not None or record.quantity is not Quantity.ACCELERATION or len(names) != 3:
        return []
    if not all(look.trusts(channel) for channel in range(3)):
        return []
    alike = [one.samples for one in before if one.lines is None and [channel.name for channel in one.channels] == names]
    known = [vector for samples in alike if (vector := gravity_of(samples)) is not None]
    if not known:
        return []
    then, means = np.median(known, axis=0), np.asarray(record.samples.mean(axis=1))
    now = gravity_of(record.samples)
    if now is None:
        was, size, moved = (float(np.linalg.norm(one)) / STANDARD_GRAVITY for one in (then, means, means - then))
        if moved <= MOVED_G:
            return []
        text = f"the means of the axes make {size:.2f} g, in the baseline they made {was:.2f} g: an axis is off"
        return [_finding(look, text)]
    turned = turned_deg(then, now)
    if turned <= MOST_DEG:
        return []
    words = f"gravity has turned by {turned:.0f} degrees since the baseline, from {_along(then, names)} to {_along(now, names)}"
    return [_finding(look, f"{words}: the sensor was moved or turned, or is loose")]


def _along(vector: Vector, names: list[str]) -> str:
    """Say along which axis most of a vector lies."""
    axis = int(np.abs(vector).argmax())
    return f"{'+' if vector[axis] > 0.0 else '-'}{names[axis]}"


def _finding(look: Look, text: str) -> Finding:
    return replace(look.finding(Fault.SENSOR, SURE, 0, (Evidence(text),), "turned"), rule=RULE, source=SOURCE)
