"""Records in which no fault of the known families is: whatever is named in them is a false accusation.

Phases at random and shuffled blocks keep what a recording has of level, bands and lines, and take its rhythm. Source of both:
J. Theiler et al., Physica D 58 (1992) 77-94 (surrogates; from memory). The others are machines that never had a fault.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from edgemon.diagnosis.frequencies import bearing_orders
from edgemon.diagnosis.record import Channel, MachineFacts, Record
from edgemon.model.machine import Bearing
from tests.support.diagnosing import Case

Rng = np.random.Generator
Wave = NDArray[np.float64]
APART = 0.05
"""How far, relative, lines of another origin keep from those of the machine's own bearing."""


def some_bearing(rng: Rng) -> Bearing:
    """Draw a ball or roller bearing: 7 to 18 elements, as large as fit."""
    count = int(rng.integers(7, 19))
    ratio = float(rng.uniform(0.5, 0.85)) * np.sin(np.pi / count)
    return Bearing(count, ratio * 0.05, 0.05, float(np.radians(rng.choice((0.0, 0.0, 15.0, 25.0)))))


def lines_of(bearing: Bearing) -> NDArray[np.float64]:
    """List first and second lines of all parts, in orders."""
    orders = bearing_orders(bearing)
    return np.array([k * order for order in (orders.outer, orders.inner, orders.element, orders.cage) for k in (1, 2)])


def foreign_bearing(own: Bearing, rng: Rng) -> Bearing:
    """Draw a bearing none of whose lines is near one of another."""
    known = lines_of(own)[:, None]
    for _ in range(500):
        other = some_bearing(rng)
        mine = lines_of(other)[None, :]
        if float(np.abs(mine / known - 1.0).min()) > APART:
            return other
    raise AssertionError("no such bearing")


def phases_at_random(samples: Wave, rng: Rng) -> Wave:
    """Keep the size of every line, give each a phase at random; the same turn for all channels."""
    lines = np.fft.rfft(samples, axis=1)
    turn = np.exp(2j * np.pi * rng.random(lines.shape[1]))
    turn[0] = 1.0
    return np.asarray(np.fft.irfft(lines * turn, samples.shape[1], axis=1))


def shuffled(samples: Wave, block: int, rng: Rng) -> Wave:
    """Cut into blocks of 0.6 to 1.4 times a length and put them together in another order."""
    edges = np.cumsum(rng.integers(max(8, int(0.6 * block)), int(1.4 * block) + 9, samples.shape[1] // max(4, block // 2)))
    pieces = np.split(samples, edges[edges < samples.shape[1]], axis=1)
    return np.concatenate([pieces[i] for i in rng.permutation(len(pieces))], axis=1)


def made_facts(rng: Rng) -> MachineFacts:
    """Draw a machine: speed and one bearing."""
    return MachineFacts(speed_hz=float(rng.uniform(12.0, 50.0)), bearings=(("", some_bearing(rng)),), supply_hz=50.0)


def noise_of(n: int, fs_hz: float, rng: Rng) -> Wave:
    """Noise through a few resonances, r.m.s. 1."""
    hz = np.fft.rfftfreq(n, 1.0 / fs_hz)
    gain = 0.05 + sum(
        rng.uniform(0.2, 1.0) / np.abs(1.0 - (hz / at) ** 2 + 0.04j * hz / at) * 0.1
        for at in rng.uniform(0.04, 0.45, 4) * fs_hz
    )
    row = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * gain, n)
    return np.asarray(row / row.std())


def tones(n: int, fs_hz: float, hz: NDArray[np.float64], sizes: NDArray[np.float64], rng: Rng) -> Wave:
    """Add up steady tones below half the rate."""
    time = np.arange(n) / fs_hz
    kept = [(f, a) for f, a in zip(hz, sizes, strict=True) if 0.0 < f < 0.45 * fs_hz]
    return np.asarray(sum((a * np.cos(2.0 * np.pi * (f * time + rng.random())) for f, a in kept), np.zeros(n)))


def electrical(n: int, fs_hz: float, facts: MachineFacts, rng: Rng) -> Wave:
    """Supply lines and an inverter's carrier with its sidebands in noise, and some 1x."""
    assert facts.speed_hz is not None
    field = 100.0 * np.arange(1, 13)
    carrier = float(rng.uniform(2000.0, 6000.0)) + 100.0 * np.arange(-3, 4)
    hz = np.concatenate((field, carrier, [facts.speed_hz]))
    return noise_of(n, fs_hz, rng) + tones(n, fs_hz, hz, rng.uniform(0.1, 1.5, hz.size), rng)


def meshing(n: int, fs_hz: float, facts: MachineFacts, rng: Rng) -> Wave:
    """Gears that nobody told of: mesh, its multiples and sidebands of both shafts, amplitude of the noise in its rhythm."""
    assert facts.speed_hz is not None
    teeth, driven = int(rng.integers(15, 40)), int(rng.integers(30, 110))
    mesh, slow = teeth * facts.speed_hz, teeth / driven * facts.speed_hz
    places = [(k * mesh + i * facts.speed_hz + j * slow) for k in (1, 2, 3) for i in range(-2, 3) for j in range(-2, 3)]
    hz = np.array([*places, facts.speed_hz, slow])
    time = np.arange(n) / fs_hz
    load = 1.0 + rng.uniform(0.0, 0.4) * np.cos(2.0 * np.pi * slow * time) + 0.2 * np.cos(2.0 * np.pi * facts.speed_hz * time)
    return noise_of(n, fs_hz, rng) * load + tones(n, fs_hz, hz, rng.exponential(0.3, hz.size), rng)


def struck(n: int, fs_hz: float, at: NDArray[np.float64], sizes: NDArray[np.float64], rng: Rng) -> Wave:
    """Noise with blows at given times that ring in two resonances."""
    row = np.zeros(n)
    places = (at * fs_hz).astype(int)
    inside = places < n
    np.add.at(row, places[inside], sizes[inside])
    time = np.arange(int(0.02 * fs_hz)) / fs_hz
    ring = sum(
        np.exp(-time * rng.uniform(300.0, 1200.0)) * np.sin(2.0 * np.pi * f * time) for f in rng.uniform(0.05, 0.4, 2) * fs_hz
    )
    length = n + time.size
    return noise_of(n, fs_hz, rng) + np.fft.irfft(np.fft.rfft(row, length) * np.fft.rfft(ring, length), length)[:n]


def impacts(n: int, fs_hz: float, facts: MachineFacts, rng: Rng) -> Wave:
    """Blows of a process at random times, of random size."""
    count = int(rng.uniform(2.0, 60.0) * n / fs_hz) + 3
    return struck(n, fs_hz, rng.uniform(0.0, n / fs_hz, count), rng.exponential(rng.uniform(3.0, 20.0), count), rng)


def process(n: int, fs_hz: float, facts: MachineFacts, rng: Rng) -> Wave:
    """Blows of a process in a rhythm that is no part's of the machine."""
    assert facts.speed_hz is not None
    known = lines_of(facts.bearings[0][1])
    orders = rng.uniform(0.2, 9.0, 200)
    order = next(o for o in orders if float(np.abs(np.outer((o, 2 * o, 3 * o), 1.0 / known) - 1.0).min()) > APART)
    times = np.arange(0.0, n / fs_hz, 1.0 / (order * facts.speed_hz))
    times = times + rng.normal(0.0, 0.005, times.size) / (order * facts.speed_hz)
    return struck(n, fs_hz, times[times >= 0.0], rng.uniform(3.0, 15.0) * rng.uniform(0.7, 1.3, int((times >= 0.0).sum())), rng)


MADE: dict[str, Callable[[int, float, MachineFacts, Rng], Wave]] = {
    "noise, supply and inverter lines": electrical,
    "gears that nobody told of": meshing,
    "blows at random": impacts,
    "blows of a process in its own rhythm": process,
}


def made(name: str, rng: Rng) -> tuple[Record, MachineFacts]:
    """Make one record of a machine without a fault of the families: velocity up to 1 mm/s, half of them of unknown scale."""
    facts, fs_hz = made_facts(rng), float(rng.choice((6400.0, 12800.0, 25600.0)))
    n = int(rng.choice((4096, 16384, 65536)))
    row = MADE[name](n, fs_hz, facts, rng)
    hz = np.fft.rfftfreq(n, 1.0 / fs_hz)
    inside = (hz > 10.0) & (hz < 1000.0)
    size = np.sqrt(2.0 * np.sum(np.abs(np.fft.rfft(row)[inside] / (2.0 * np.pi * hz[inside])) ** 2)) / n
    row *= float(rng.uniform(1e-4, 1e-3)) / size
    return Record(row[None, :], fs_hz, (Channel("a", calibrated=bool(rng.random() < 0.5)),)), facts


def taken(case: Case, rng: Rng) -> Iterator[tuple[str, Record, MachineFacts]]:
    """Take the rhythm from a recording; of one with a defect of a bearing also the bearing it belongs to."""
    record, facts = case.record, case.facts
    if facts.speed_hz is None or not facts.bearings:
        return
    n = record.samples.shape[1]
    length = int(rng.choice([m for m in (8192, 16384, 65536) if m <= n]))
    start = int(rng.integers(0, n - length + 1))
    samples = record.samples[:, start : start + length]
    block = int(rng.uniform(0.15, 0.4) * record.fs_hz / facts.speed_hz)
    if case.condition not in ("outer_race", "inner_race", "rolling_element"):  # their tones, a rhythm apart, would stay
        yield "phases at random", replace(record, samples=phases_at_random(samples, rng)), facts
    yield "shuffled blocks", replace(record, samples=shuffled(samples, block, rng)), facts
    if case.condition in ("outer_race", "inner_race", "rolling_element"):
        other = replace(facts, bearings=(("", foreign_bearing(facts.bearings[0][1], rng)),))
        yield "defects of a bearing that is not this one", replace(record, samples=samples), other
