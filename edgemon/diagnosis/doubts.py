"""What a reader must know of the record itself before trusting its lines: a speed that drifts, a clock or tacho that is off."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.tracking import Tracked, tracked_turns
from edgemon.diagnosis.look import Look
from edgemon.model.speed import SpeedOrigin

DRIFT = 0.01
"""Part of the speed by which it may change within a record that counts as steady. Common practice, no source."""
OFF = 0.005
"""Part by which a line may lie off the speed told with the record before its sample rate, or the tacho, is doubted. Common
practice, no source."""
FEWEST = 3
"""Multiples of the shaft that must lie off by one ratio: one or two may be a neighbour's. House choice."""
WITHIN = 0.5
"""Of a spectral line, what the first multiple must be off at the least: less is the noise's in a record of few turns. House
choice."""
SURE = 4.0
"""Standard deviations that a drift must be, from the scatter of the phase that was followed: noise makes as much once in 16,000
records, and 3 once in 370 (normal distribution), of a gateway's thousands. House choice."""
LEAST = 64
"""Samples in which a speed can be followed."""


def doubts(looks: Sequence[Look]) -> list[str]:
    """Say what is doubtful in the records that are asked about, each thing once."""
    found = [text for look in looks for text in (_off(look), _drift(look)) if text]
    return list(dict.fromkeys(found))


def _off(look: Look) -> str:
    """Compare the shaft's lines with the speed that the sensor told: one clock of both is wrong where they do not agree."""
    told, speed = look.facts.speed_hz, look.speed
    if told is None or speed is None or not speed.measured or look.facts.speed_origin is not SpeedOrigin.MEASURED:
        return ""
    off = speed.hz / told - 1.0
    if abs(off) <= OFF or speed.orders < FEWEST or abs(off) * told <= WITHIN * look.record.line_hz:
        return ""
    where = "above" if off > 0.0 else "below"
    return (
        f"the shaft's lines lie {100.0 * abs(off):.1f} % {where} the speed of {60.0 * told:.0f} r/min told with the record: "
        "its sample rate or the speed is not right"
    )


def _drift(look: Look) -> str:
    """Follow the shaft through the strongest radial channel, where a line is clear enough for it."""
    if look.speed is None or look.record.lines is not None or look.record.samples.shape[1] < LEAST or not look.radial:
        return ""
    rows = look.record.samples[list(look.radial)]
    strongest = rows[int(np.argmax(rows.std(axis=1)))]
    followed = tracked_turns(strongest, look.record.fs_hz, look.speed.hz)
    if followed is None:
        return ""
    first, last = _ends(followed.turns, look.record.fs_hz)
    if abs(last - first) <= max(DRIFT, SURE * _spread(followed)) * look.speed.hz:
        return ""
    words = f"from {60.0 * first:.0f} to {60.0 * last:.0f} r/min"
    return f"the speed drifts {words} within the record: lines of high orders are smeared"


def _spread(followed: Tracked) -> float:
    """Give the standard deviation of the change of speed that `_ends` tells, as a part of the speed, at the most.

    Three phases that scatter are taken two fifths of the record apart: (late - early) is a + c - 2 b of them, root of six.
    """
    return 2.5 * math.sqrt(6.0) * followed.scatter / (0.4 * float(followed.turns[-1]))


def _ends(turns: NDArray[np.float64], fs_hz: float) -> tuple[float, float]:
    """Give the speeds at both ends of a record, Hz, as if it changed evenly: from its mean in either half of the middle.

    The angle is a smooth curve through a phase that is known least at the ends, so a tenth at either end is left out: the means
    then lie two fifths of the whole change apart.
    """
    n = turns.size
    cuts = [n // 10, n // 2, n - n // 10 - 1]
    early, late = ((turns[b] - turns[a]) * fs_hz / (b - a) for a, b in pairwise(cuts))
    middle, whole = 0.5 * (early + late), 2.5 * (late - early)
    return float(middle - 0.5 * whole), float(middle + 0.5 * whole)
