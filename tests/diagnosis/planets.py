"""Vibration of a planetary set whose ring stands, as a sensor on the ring hears it; for tests."""

import numpy as np
from numpy.typing import NDArray

from edgemon.model.machine import PlanetarySet

HARMONICS = ((1, 1.0), (2, 0.4), (3, 0.2))
"""Of the mesh, and their sizes."""


def planetary(
    gears: PlanetarySet, sun_hz: float, fs_hz: float, n: int, seed: int, fault: str = "", size: float = 1.0
) -> NDArray[np.float64]:
    """Give n samples, m/s2: each planet's mesh is heard while it passes, and a damaged tooth whenever it meets one.

    Notes
    -----
    The window of a planet is a smooth bump once a turn of the carrier; planets differ by a few per cent, as those of a real
    set do, the same in every record of it. A damaged tooth adds bumps at the mesh as long as its contact.
    Source: P. D. McFadden, J. D. Smith, Proc. Inst. Mech. Eng. C 199 (1985) 65-70; Z. Feng, M. J. Zuo, J. Sound Vib. 331 (2012)
    4919-4939 (both from memory).
    """
    random, own = np.random.default_rng(seed), np.random.default_rng(42)
    time, start = np.arange(n) / fs_hz, random.uniform()
    carrier = sun_hz * gears.sun / (gears.sun + gears.ring)
    mesh, count = gears.ring * carrier, gears.planets
    heard = np.zeros(n)
    rate, teeth, step = {
        "sun": (sun_hz - carrier, gears.sun, 1.0),
        "planet": (2.0 * mesh / gears.planet, 0.5 * gears.planet, 0.0),
        "ring": (carrier, gears.ring, -1.0),
    }.get(fault, (0.0, 1.0, 0.0))
    for number in range(count):
        at = number / count
        window = np.exp(2.0 * (np.cos(2.0 * np.pi * (carrier * time + start - at)) - 1.0))
        whole = (1.0 + 0.05 * own.normal()) * window
        phase = (rate * time + 0.3 + step * at) % 1.0
        bump = size * window * np.exp(-0.5 * (np.minimum(phase, 1.0 - phase) * teeth / 1.5) ** 2)
        damaged = fault in ("sun", "ring") or (fault == "planet" and number == 0)
        for k, part in HARMONICS:
            heard += part * whole * np.cos(2.0 * np.pi * k * (mesh * time + gears.ring * (start - at)) + 0.7 * k)
            heard += part * bump * np.cos(2.0 * np.pi * k * mesh * time + k) if damaged else 0.0
    unbalance = 0.3 * np.sin(2.0 * np.pi * sun_hz * time + random.uniform(0.0, 6.0))
    return np.asarray(5.0 * heard + unbalance + random.normal(size=n))
