"""1x against its baseline as vectors: how much it has changed at the least, for no sensor tells where the shaft stands.

A size that has stayed may hide a vector that has moved (ISO 20816-1: the vector counts). Without a phase reference the axes of
one record are each other's: their phases and sizes against each other say how far the motion has changed at least.
"""

import math

import numpy as np

from edgemon.analysis.vectors import Vectors, least_change
from edgemon.analysis.window import window
from edgemon.diagnosis.look import Look

LIKE_SPEED = 0.03
"""Part of the speed by which two records may differ: 1x goes with its square, 6 %. Common practice, no source."""
TURNS = 4.0
"""Turns that a record must hold for 1x: a Hann window makes it, and the mean, two lines wide to either side. Derived."""
SURE = 3.0
"""Times the noise beside the lines that a change must be to be one. House choice."""
SOURCE = "ISO 20816-1: the change of the vector counts"


def vector_remarks(look: Look) -> list[str]:
    """Say how far 1x has moved from the most alike record of the baseline, and what cannot be known of it."""
    found = [one for then in look.before if (one := _change(look, then)) is not None]
    if not found:
        return []
    change, sizes, noise, names = min(found)
    if change <= SURE * noise:
        return []
    border = look.facts.change_m_s
    beyond = "" if border is None or change <= border else f", beyond a quarter of zone boundary B/C ({1e3 * border:.2g} mm/s)"
    what = f"the size of {names[0]} has" if len(names) == 1 else f"the vectors of {', '.join(names)} together have"
    alone = f", their sizes alone by {1e3 * sizes:.2g} mm/s" if len(names) > 1 else ""
    return [
        f"1x against the most alike of {len(found)} records of the baseline: {what} changed by at least {1e3 * change:.2g} "
        f"mm/s r.m.s.{beyond}{alone}; how far in all cannot be known without a phase reference ({SOURCE})"
    ]


def _change(look: Look, then: Look) -> tuple[float, float, float, tuple[str, ...]] | None:
    """Give least change, change of sizes and noise, m/s r.m.s., and the axes compared; None where there is nothing alike."""
    if look.speed is None or then.speed is None or abs(look.speed.hz / then.speed.hz - 1.0) > LIKE_SPEED:
        return None
    if look.record.lines is not None or then.record.lines is not None or look.record.quantity is not then.record.quantity:
        return None
    known = {channel.name for channel in then.record.channels if channel.calibrated}
    names = tuple(channel.name for channel in look.record.channels if channel.calibrated and channel.name in known)
    here, there = _vectors(look, names), _vectors(then, names)
    if not names or here is None or there is None:
        return None
    (now, now_noise), (before, then_noise) = here, there
    sizes = float(np.linalg.norm(np.abs(now) - np.abs(before)))
    return least_change(now, before), sizes, float(np.hypot(now_noise, then_noise)), names


def _vectors(look: Look, names: tuple[str, ...]) -> tuple[Vectors, float] | None:
    """Give 1x of each axis as a vector, m/s r.m.s., and the noise beside them; None where the record is too short for it.

    The phase is taken at one frequency for all axes, so that an error of the speed turns them all alike.
    """
    assert look.speed is not None
    hz = look.speed.hz
    channels = [look.channel_of(name) for name in names]
    lines = [line for channel in channels if (line := look.line(channel, hz)) is not None]
    if len(lines) < len(channels) or hz < TURNS * look.record.line_hz:
        return None
    samples = look.record.samples[channels]
    wheel = _wheel(-2.0 * np.pi * hz / look.record.fs_hz, samples.shape[1]) * window("hann", samples.shape[1]).samples
    turned = (samples - samples.mean(axis=1, keepdims=True)) @ wheel
    sizes = np.array([line.velocity for line in lines])
    noise = np.array([line.velocity / max(line.above, 1.0) for line in lines])
    return np.asarray(sizes * np.exp(1j * np.angle(turned))), float(np.linalg.norm(noise))


def _wheel(step: float, count: int) -> Vectors:
    """Give unit vectors that each turn by `step` radians against the one before: as an outer product, a tenth of their cost."""
    side = math.isqrt(count - 1) + 1
    spokes = np.exp(1j * step * np.arange(side))
    return np.asarray(np.outer(np.exp(1j * step * side * np.arange(side)), spokes).ravel()[:count])
