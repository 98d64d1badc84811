"""Phase of running speed between two channels that share a clock."""

import math

import numpy as np

from edgemon.diagnosis.look import Look

STEADY = 0.98
"""Coherence of 1x between two channels: a force that turns with the rotor keeps its phase. House choice."""
BLOCKS = 8
MOUNTED = "true if both sensors face the same way, 180 degrees off if one faces the other"
"""What a phase between two places rests on. Source: common practice for readings across a coupling."""


def steady_phase(look: Look, first: int, second: int, beside: Look | None = None) -> tuple[float, float]:
    """Give coherence and phase between two channels at 1x, from blocks of the record.

    Parameters
    ----------
    look : Look
        Has the first channel.
    first, second : int
        Numbers of the channels.
    beside : Look, optional
        Has the second channel, of the same clock; the same look without it.

    Returns
    -------
    tuple of float
        Coherence 0 to 1, and phase of the first against the second, rad, -pi to pi; (0, 0) without a waveform or a speed.
    """
    n = look.record.samples.shape[1] // BLOCKS
    if look.speed is None or n < 2:
        return 0.0, 0.0
    rows = (look.record.samples[first], (beside or look).record.samples[second])
    time = np.arange(n * BLOCKS) / look.record.fs_hz
    wheel = np.exp(-2j * np.pi * look.speed.hz * time).reshape(BLOCKS, n) * np.hanning(n)
    vectors = [((row[: n * BLOCKS] - row.mean()).reshape(BLOCKS, n) * wheel).sum(axis=1) for row in rows]
    cross = complex(np.vdot(vectors[1], vectors[0]))
    power = float(np.vdot(vectors[0], vectors[0]).real * np.vdot(vectors[1], vectors[1]).real)
    return abs(cross) / math.sqrt(max(power, 1e-300)), math.atan2(cross.imag, cross.real)
