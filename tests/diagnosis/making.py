"""Records of the simulators, which know nothing of the diagnosis, and noises of several kinds."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgemon.diagnosis import Channel, MachineFacts, Record
from edgemon.model.machine import Bearing
from simulators.faults import FAULTS, Case
from simulators.machines import KINDS, Machine
from simulators.signals import Excitation, render

FS_HZ = 25600.0
BEARING = Bearing(9, 7.94e-3, 39.04e-3, 0.0)
AXES = (Channel("h", "horizontal"), Channel("v", "vertical"), Channel("a", "axial"))
SLOW = {"vertical-pump", "geared-fan", "gear-motor", "belt-fan", "screen-drive"}


def rpm_of(kind: str) -> float:
    """Nominal speed of a kind of machine."""
    return 1480.0 if kind in SLOW else 2975.0


def facts_of(kind: str, **more: Any) -> MachineFacts:
    """What a plant file would say of the machine."""
    known: dict[str, Any] = {
        "speed_hz": rpm_of(kind) / 60.0,
        "bearings": (("", BEARING),),
        "blades": KINDS[kind].blades or None,
    }
    return MachineFacts(**(known | more))


def simulated(
    fault: str = "", kind: str = "pump", n: int = 16384, seed: int = 1, extra: Excitation | None = None, **case: Any
) -> Record:
    """A machine of a kind, 0.5 % below its nominal speed, with or without a fault at its worst."""
    nominal = rpm_of(kind)
    shaken = Machine(KINDS[kind], nominal, 0.7).excitation(nominal * 0.995)
    if fault:
        size: dict[str, Any] = {"full_mm_s": 4.0, "full_m_s2": 60.0} | case
        shaken = shaken + FAULTS[fault](Case(1.0, nominal * 0.995 / 60.0, nominal / 60.0, **size))
    if extra is not None:
        shaken = shaken + extra
    wave = render(shaken, 0.3, n, FS_HZ, np.random.default_rng(seed)).astype(np.float64)
    return Record(wave, FS_HZ, AXES)


def noise(kind: str, n: int, rng: np.random.Generator, fs_hz: float = 12000.0) -> NDArray[np.float64]:
    """Noise that holds no rhythm of a bearing."""
    white = rng.standard_normal(n)
    time = np.arange(n) / fs_hz
    if kind == "coloured":
        share = np.fft.rfftfreq(n)
        shape = 0.02 + 1.0 / (1.0 + ((share - 0.12) / 0.004) ** 2) + 0.5 / (1.0 + ((share - 0.31) / 0.01) ** 2)
        return np.asarray(np.fft.irfft(np.fft.rfft(white) * shape, n))
    if kind == "tones":
        return np.asarray(
            0.3 * white + sum(np.sin(2.0 * np.pi * (hz * time + rng.random())) for hz in rng.uniform(20.0, 5000.0, 30))
        )
    if kind == "shaft":
        return np.asarray(white * (1.0 + 0.5 * np.cos(2.0 * np.pi * 29.93 * time)))
    if kind == "shocks":
        ring = np.exp(-np.arange(200) / 30.0) * np.sin(0.9 * np.arange(200))
        for at in rng.integers(0, n - 200, 60):
            white[at : at + 200] += 8.0 * rng.standard_normal() * ring
    return np.asarray(white)
