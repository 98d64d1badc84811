"""Stored captures to look at: a store in memory with captures of known sines, and the real thing that looks at them."""

import numpy as np

from edgemon.daemon.looking import Looking
from edgemon.engine.memory import setting_of
from edgemon.model.ids import CaptureId
from edgemon.model.reading import Capture, Counts
from edgemon.store.memory import MemoryStore
from edgemon.store.port import Commit
from tests.support.plants import SENSOR, gateway, plant
from tests.support.rig import Inline

FS_HZ, SAMPLES, SCALE = 6400.0, 16384, 0.005
BEGIN = 1_700_000_000.0


def counts(hz: float, rms: float = 20.0, phase: float = 0.3) -> Counts:
    """Give a sine of so much acceleration, m/s2 r.m.s., and a little noise as a converter would."""
    wave = np.sqrt(2.0) * rms * np.cos(2.0 * np.pi * hz * np.arange(SAMPLES) / FS_HZ + phase)
    noise = np.random.default_rng(5).standard_normal(SAMPLES)
    return np.asarray(np.rint((wave + 0.005 * noise) / SCALE), np.int16)


def capture(t: float, hz: float, name: str = "", sim: bool = False, **axes: Counts) -> Capture:
    """Give a capture of the pump's sensor."""
    held = axes or {"x": counts(hz), "z": counts(2.0 * hz)}
    return Capture(SENSOR, CaptureId(name or f"c-{t:.0f}"), t, t + 1.0, FS_HZ, "m/s2", SCALE, SCALE, held, rpm=2980.0, sim=sim)


async def stored(*captures: Capture) -> MemoryStore:
    """Give a store that holds captures."""
    store = MemoryStore()
    await store.commit(Commit(BEGIN, captures=captures))
    return store


def looking(store: MemoryStore) -> Looking:
    """Give what looks at a store, in the caller's own thread."""
    setting = setting_of(plant(), gateway())
    return Looking(lambda: setting, store, Inline())
