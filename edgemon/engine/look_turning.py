"""A waveform made ready before its spectrum is taken: read over shaft angle, or parted from what repeats itself; pure."""

import math
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.orders import over_angle, revolutions
from edgemon.analysis.separation import by_averaging, by_prediction
from edgemon.analysis.tracking import tracked_turns
from edgemon.engine.look import Material
from edgemon.errors import ParameterError
from edgemon.model.look import SEPARATIONS

PREDICTOR: Final = 400
"""Samples a value is predicted from. House choice: some hundreds, more than twice the number of sines."""
DELAY_S: Final = 0.01
"""How far back the newest of them is: by then the ringing of a structure has died away. Common practice, no source."""
STEADY: Final = 0.002
"""Change of speed, in parts of it, below which a record counts as of one speed: what an angle polynomial scatters by."""


def at_even_angles(material: Material) -> Material:
    """Read a waveform at even steps of shaft angle, as if the shaft had turned at its mean speed throughout.

    The angle is followed through the record by the phase of the shaft's own clearest line; where none is clear, or the speed
    does not change, it is that of the one speed known.

    Raises
    ------
    ParameterError
        Running speed not known, or above a quarter of the sample rate.
    """
    speed = material.facts.speed_hz
    if speed is None:
        raise ParameterError("shaft angle needs a running speed, and none is known", "rpm", "give it, r/min")
    n, fs_hz = int(material.samples.size), material.fs_hz
    tracked = tracked_turns(material.samples, fs_hz, speed)
    if tracked is None or tracked.high_hz - tracked.low_hz < STEADY * speed:
        turns, how = revolutions(n, fs_hz, 60.0 * speed), "even shaft angle at one speed"
    else:
        turns = tracked.turns
        how = (
            f"even shaft angle by the phase of {tracked.order}x: {60 * tracked.low_hz:.0f} to {60 * tracked.high_hz:.0f} r/min"
        )
    mean = float(turns[-1]) * fs_hz / (n - 1)
    per = max(4, math.ceil(fs_hz / mean))
    wave = over_angle(material.samples, turns, per)
    source = replace(material.source, rpm=60.0 * mean, speed_basis=f"{material.source.speed_basis}; {how}")
    facts = replace(material.facts, speed_hz=mean)
    return replace(material, samples=wave, fs_hz=per * mean, source=source, facts=facts)


def without_repeating(material: Material, way: str) -> NDArray[np.float64]:
    """Take what repeats itself (shafts, gears) out of a waveform, so that what does not (bearings) is left.

    Parameters
    ----------
    way : str
        One of `SEPARATIONS`: `synchronous` takes out the average turn of the shaft, `prediction` what earlier samples foretell.

    Raises
    ------
    ParameterError
        Unknown way, speed not known, or a record too short.
    """
    if way == "prediction":
        delay = max(1, round(DELAY_S * material.fs_hz))
        return by_prediction(material.samples, PREDICTOR, delay).rest
    if way != "synchronous":
        raise ParameterError(f"unknown separation {way[:40]!r}", "separation", f"one of {', '.join(SEPARATIONS)}")
    speed = material.facts.speed_hz
    if speed is None:
        raise ParameterError("synchronous averaging needs a running speed, and none is known", "rpm", "give it, r/min")
    per = 2 * math.ceil(0.5 * material.fs_hz / speed)
    return by_averaging(material.samples, revolutions(material.samples.size, material.fs_hz, 60.0 * speed), per).rest
