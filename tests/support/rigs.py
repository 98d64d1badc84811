"""Machines that no recording is of, drawn over the whole range of rigs, for tests and the bench `unseen`.

Nothing here or in `rig_waves` uses the diagnosis, the simulators or a recording. Ranges are common practice, no source.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy.fft

from edgemon.diagnosis.record import Channel, Gear, MachineFacts, Record
from edgemon.model.finding import Fault
from edgemon.model.speed import SpeedOrigin
from tests.support.rig_waves import (
    Rng,
    Run,
    Wave,
    between,
    blows,
    coloured,
    defect,
    drawn_run,
    electric,
    fan,
    meshing,
    neighbour,
    path,
    shaft,
    struck,
    through,
    tones,
    unit,
)

PLACES = ("horizontal", "vertical", "axial")

BEARING_PARTS = {
    "outer": Fault.OUTER_RACE,
    "inner": Fault.INNER_RACE,
    "element": Fault.ROLLING_ELEMENT,
    "cage": Fault.CAGE,
}
ROTOR = {"unbalance": Fault.UNBALANCE, "misalignment": Fault.MISALIGNMENT, "looseness": Fault.LOOSENESS}
OTHER = {"tooth": Fault.GEAR, "clipping": Fault.SENSOR}
SOUND = ("quiet", "tonal", "geared", "electric", "fan", "blows", "neighbour", "dirty")
"""Kinds of machines without a fault, by what they have most of."""
FAULTY = {**BEARING_PARTS, **ROTOR, **OTHER}


@dataclass(frozen=True, slots=True, eq=False)
class Rig:
    """A machine, what was recorded of it, what is told of it, and what is wrong with it."""

    record: Record
    facts: MachineFacts
    kind: str
    faults: frozenset[Fault]
    """Which name it rightly; empty for a sound one."""
    turns: float
    depth: float
    """Energy of a defect's pulses over that of all else in the sensor's band; 0 without."""
    outer_turns: bool


def _teeth(rng: Rng) -> tuple[int, int]:
    return int(rng.integers(17, 45)), int(rng.integers(30, 140))


def _sound(run: Run, kind: str, supply_hz: float, gears: tuple[int, int], blades: int) -> Wave:
    """Everything but the fault: noise and shaft always, one kind of company for sure and others by chance."""
    rng = run.rng
    company: dict[str, Callable[[], Wave]] = {
        "tonal": lambda: shaft(run, 1.0),
        "geared": lambda: meshing(run, *gears),
        "electric": lambda: electric(run, supply_hz),
        "fan": lambda: fan(run, blades),
        "blows": lambda: blows(run),
        "neighbour": lambda: neighbour(run),
    }
    row = coloured(run) + unit(shaft(run, 1.0)) * between(rng, 0.02, 1.0)
    for name, make in company.items():
        if name == kind:
            row = row + unit(make()) * between(rng, 0.3, 5.0)
        elif name in ("geared", "electric", "fan") and rng.random() < 0.15:
            row = row + unit(make()) * between(rng, 0.05, 0.5)
    return row


def _sensed(run: Run, rows: Wave, kind: str) -> Wave:
    """Pass it through a sensor: its resonance, hum, offset, bits."""
    rng = run.rng
    if rng.random() < 0.3:
        hz = np.fft.rfftfreq(run.n, 1.0 / run.fs_hz)
        at = float(rng.uniform(0.3, 0.9)) * run.fs_hz
        gain = 1.0 / np.hypot(1.0 - (hz / at) ** 2, 0.06 * hz / at)
        rows = scipy.fft.irfft(scipy.fft.rfft(rows, axis=1) * gain, run.n, axis=1)
    size = rows.std(axis=1, keepdims=True)
    if kind == "dirty" or rng.random() < 0.2:
        hum = float(rng.choice((50.0, 60.0))) * np.arange(1.0, 8.0, 2.0)
        rows = rows + size * between(rng, 0.02, 1.0) * unit(
            tones(run, hum, np.asarray(rng.exponential(1.0, 4), np.float64), in_turns=False)
        )
    if kind == "dirty" or rng.random() < 0.3:
        rows = rows + size * (between(rng, 0.1, 20.0) + rng.uniform(0.0, 0.3) * np.linspace(-1.0, 1.0, run.n))
    if rng.random() < 0.3:
        bits = int(rng.choice((8, 10, 12, 16)))
        step = 2.0 * np.abs(rows - rows.mean(axis=1, keepdims=True)).max(axis=1, keepdims=True) / 2**bits
        rows = np.round(rows / step) * step
    return np.asarray(rows)


def _tooth(run: Run) -> Wave:
    return through(struck(run, np.arange(0.3, run.turned[-1]), np.ones(int(run.turned[-1] + 0.7))), path(run))


def _rotor(run: Run, kind: str) -> list[Wave]:
    """Give the lines of a rotor fault in three directions, a quarter turn between the radial ones."""
    rng = run.rng
    sizes = {"unbalance": (1.0, 0.08, 0.04), "misalignment": (0.6, 1.0, 0.25)}.get(kind)
    amplitude = np.array(sizes) if sizes else rng.uniform(0.35, 1.0, 9)
    order = np.arange(1.0, amplitude.size + 1.0)
    start = rng.random(amplitude.size)
    axial = 0.15 if kind == "unbalance" else 0.7 if kind == "misalignment" else 0.4
    rows = [
        sum(
            share * a * k * np.cos(2.0 * np.pi * (k * run.turned + p + shift))
            for a, k, p in zip(amplitude, order, start, strict=True)
        )
        for share, shift in ((1.0, 0.0), (float(rng.uniform(0.6, 1.0)), 0.25), (axial, float(rng.random())))
    ]
    return [np.asarray(row) for row in rows]


def _velocity(run: Run, row: Wave) -> float:
    hz = np.fft.rfftfreq(run.n, 1.0 / run.fs_hz)
    inside = (hz > max(min(10.0, 0.35 * run.speed_hz), 4.0 * run.fs_hz / run.n)) & (hz < 1000.0)
    lines = scipy.fft.rfft((row - row.mean()) * np.hanning(run.n))[inside] / (2.0 * np.pi * hz[inside])
    return float(np.sqrt(2.0 * np.sum(np.abs(lines) ** 2) / 0.375)) / run.n


def _told(run: Run, gears: tuple[int, int], blades: int, supply_hz: float, kind: str) -> MachineFacts:
    """Choose what is told: mostly speed and geometry, sometimes only one or none of them, and more or less of the rest."""
    rng = run.rng
    how = rng.random()
    speed: float | None = run.speed_hz
    origin = SpeedOrigin.GIVEN
    if how < 0.08:
        speed, origin = None, SpeedOrigin.UNKNOWN
    elif how < 0.35:
        speed, origin = run.speed_hz * float(rng.uniform(0.985, 1.015)), SpeedOrigin.NOMINAL
    known = tuple(zip(("drive end", "other end"), run.bearings, strict=True))
    return MachineFacts(
        speed_hz=speed,
        bearings=() if rng.random() < 0.08 else known if rng.random() < 0.25 else known[:1],
        gears=(Gear(*gears),) if kind == "tooth" or (kind == "geared" and rng.random() < 0.5) else (),
        blades=blades if kind == "fan" and rng.random() < 0.5 else None,
        supply_hz=supply_hz if rng.random() < 0.4 else None,
        speed_origin=origin,
    )


def rig(kind: str, rng: Rng, loud: tuple[float, float] = (0.03, 3.0)) -> Rig:
    """Make one machine.

    Parameters
    ----------
    kind : str
        One of SOUND, or a key of FAULTY.
    rng : Generator
        All draws come of it.
    loud : (float, float)
        Range of the energy of a defect's pulses over that of all else.
    """
    run = drawn_run(rng, 10.0 if kind in FAULTY else 0.0)
    supply, gears, blades = float(rng.choice((50.0, 60.0, between(rng, 20.0, 120.0)))), _teeth(rng), int(rng.integers(3, 17))
    row = _sound(run, kind if kind in SOUND else str(rng.choice(SOUND[:5])), supply, gears, blades)
    channels, ratio = int(rng.choice((1, 1, 2, 3))), 0.0
    if kind in BEARING_PARTS or kind == "tooth":
        ratio = between(rng, *loud)
        force = _tooth(run) if kind == "tooth" else defect(run, kind, run.bearing)
        if kind == "tooth":
            row = row + unit(meshing(run, *gears))
        row = row + row.std() * np.sqrt(ratio) * unit(force)
    rows = np.stack([row, *(through(row, path(run)) + 0.3 * row.std() * coloured(run) for _ in range(channels - 1))])
    speed_level = between(rng, 1e-4, 1.1e-3)
    if kind in ROTOR:
        channels = int(rng.choice((2, 3)))
        lines = _rotor(run, kind)
        back = np.stack([coloured(run) for _ in range(channels)])
        size = np.array([_velocity(run, one) for one in back]).max()
        scale = _velocity(run, lines[0])
        rows = np.stack(lines[:channels]) / scale + back / max(size, 1e-30) * float(rng.uniform(0.02, 0.25))
        speed_level = between(rng, 2.5e-3, 2e-2)
    rows = _sensed(run, rows, kind)
    if kind == "clipping":
        rows = np.clip(rows, np.quantile(rows, 0.03), np.quantile(rows, 0.97))
    rows = rows * speed_level / max(*(_velocity(run, row) for row in rows), 1e-30)
    trusted, named = bool(rng.random() < 0.6) or kind in ROTOR, rng.random() < 0.6 or kind in ROTOR
    names = tuple(
        Channel(f"channel {i}", direction=PLACES[i] if named else "", calibrated=trusted) for i in range(rows.shape[0])
    )
    facts = _told(run, gears, blades, supply, kind)
    wanted = frozenset({FAULTY[kind]}) if kind in FAULTY else frozenset()
    turns = float(run.turned[-1] - run.turned[0])
    return Rig(Record(rows, run.fs_hz, names), facts, kind, wanted, turns, ratio, run.bearing.outer_turns)
