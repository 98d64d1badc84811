"""Waves of machines that no recording is of, from the physics in the literature.

A defect of a bearing is a row of impulses whose distances vary by a percent or two, passed through the load zone and through
resonances; shafts, gears, blades, belts, supply and inverter are tones and noise that they modulate. Source: R. B.
Randall, J. Antoni, Mech. Syst. Signal Process. 25 (2011) 485-520; distances whose errors add up: D. Ho, R. B. Randall, Mech.
Syst. Signal Process. 14 (2000) 763-788; load zone: the Stribeck distribution, T. A. Harris, Rolling Bearing Analysis; all from
memory. Ranges are common practice, no source.
"""

from dataclasses import dataclass, replace

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from edgemon.model.machine import Bearing

Rng = np.random.Generator
Wave = NDArray[np.float64]
RATES = (5000.0, 6400.0, 8000.0, 10240.0, 12800.0, 20000.0, 25600.0, 40000.0, 48000.0, 51200.0, 64000.0, 97656.0, 200000.0)
MOST_SAMPLES = 200_000
APART = 0.045
"""How far, relative, rhythms of another origin keep from the bearings' own lines: slip of 2 % of either and a little."""


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """One machine while it is recorded."""

    rng: Rng
    fs_hz: float
    n: int
    speed_hz: float
    turned: Wave
    """Revolutions of the shaft at each sample."""
    bearings: tuple[Bearing, Bearing]
    """At the drive end and at the other one."""

    @property
    def bearing(self) -> Bearing:
        """The one that may be damaged."""
        return self.bearings[0]

    @property
    def lines(self) -> Wave:
        """First three lines of all parts of both bearings, orders."""
        return np.array([k * order for one in self.bearings for order in orders_of(one).values() for k in (1, 2, 3)])

    @property
    def time(self) -> Wave:
        """Seconds."""
        return np.arange(self.n) / self.fs_hz


def between(rng: Rng, low: float, high: float) -> float:
    """Draw evenly in the logarithm."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def some_bearing(rng: Rng) -> Bearing:
    """Draw a deep-groove, angular-contact, tapered or roller bearing; one in twelve turns with its outer ring."""
    count = int(rng.integers(7, 24))
    pitch = between(rng, 0.015, 0.5)
    fill = float(rng.uniform(0.55, 0.92))
    angle = float(rng.choice((0.0, 0.0, 0.0, 12.0, 15.0, 25.0, 40.0)))
    return Bearing(
        count, fill * pitch * np.sin(np.pi / count), pitch, float(np.radians(angle)), outer_turns=bool(rng.random() < 1 / 12)
    )


def orders_of(one: Bearing) -> dict[str, float]:
    """Give the rhythms of a bearing's parts in turns of the shaft, by kinematics written out a second time."""
    ratio = one.ball_diameter_m / one.pitch_diameter_m * np.cos(one.contact_angle_rad)
    cage = 0.5 * (1.0 + ratio) if one.outer_turns else 0.5 * (1.0 - ratio)
    spin = 0.5 * (1.0 / ratio - ratio) * np.cos(one.contact_angle_rad)
    half = 0.5 * one.rolling_elements
    return {"outer": half * (1.0 - ratio), "inner": half * (1.0 + ratio), "element": 2.0 * spin, "cage": cage}


def drawn_run(rng: Rng, turns: float) -> Run:
    """Draw rate, length, at least as many turns, speed and how it wanders: up to a percent, evenly and to and fro."""
    fs_hz = float(rng.choice(RATES))
    speed = between(rng, 1.0, 500.0)
    n = int(np.clip(between(rng, 2e3, MOST_SAMPLES), 0.3 * fs_hz, 60.0 * fs_hz))
    if rng.random() < 0.4:
        n = int(2 ** round(np.log2(n)))
    while speed > fs_hz / 100.0:
        speed /= 2.0
    while turns and speed * n / fs_hz < turns:
        speed, n = 1.5 * speed, n if speed < fs_hz / 200.0 else 2 * n
    time = np.arange(n) / fs_hz
    drift = between(rng, 1e-4, 1e-2) * rng.choice((-1.0, 1.0))
    hunting = drift * 0.3 * np.sin(2.0 * np.pi * (between(rng, 0.05, 2.0) * time + rng.random()))
    rate = speed * (1.0 + drift * (time / time[-1] - 0.5) + hunting)
    return Run(rng, fs_hz, n, speed, np.cumsum(rate) / fs_hz, (some_bearing(rng), some_bearing(rng)))


def through(wave: Wave, response: Wave) -> Wave:
    """Pass a force through a path."""
    length = scipy.fft.next_fast_len(wave.size + response.size, real=True)
    return np.asarray(scipy.fft.irfft(scipy.fft.rfft(wave, length) * scipy.fft.rfft(response, length), length)[: wave.size])


def path(run: Run, order: float = 1.0) -> Wave:
    """Draw a transfer path: two to six resonances, well above a rhythm as far as the rate allows, damping one to six percent.

    What rings longer than from blow to blow has no rhythm left that an envelope would show: such are damped more.
    """
    rng = run.rng
    top = min(0.42 * run.fs_hz, 30e3)
    low = min(max(600.0, 4.0 * order * run.speed_hz), 0.5 * top)
    hz = np.array([between(rng, low, top) for _ in range(int(rng.integers(2, 7)))])
    damping = np.maximum([between(rng, 0.01, 0.06) for _ in hz], np.minimum(0.15 * order * run.speed_hz / hz, 0.2))
    time = np.arange(int(min(run.n, run.fs_hz * 6.0 / float((2.0 * np.pi * hz * damping).min())))) / run.fs_hz
    rings = [
        rng.uniform(0.2, 1.0) * np.exp(-2.0 * np.pi * f * z * time) * np.sin(2.0 * np.pi * f * time)
        for f, z in zip(hz, damping, strict=True)
    ]
    found = np.sum(rings, axis=0)
    return np.asarray(found / np.sqrt((found**2).sum()))


def coloured(run: Run) -> Wave:
    """Noise of a slope and some broad resonances, r.m.s. 1."""
    rng = run.rng
    hz = np.fft.rfftfreq(run.n, 1.0 / run.fs_hz) + 1.0
    size = hz ** float(rng.uniform(-0.7, 0.5))
    for _ in range(int(rng.integers(0, 6))):
        at = between(rng, 100.0, 0.45 * run.fs_hz)
        size *= 1.0 + rng.uniform(0.5, 6.0) / np.hypot(1.0 - (hz / at) ** 2, between(rng, 0.01, 0.2) * hz / at) / 10.0
    row = scipy.fft.irfft(scipy.fft.rfft(rng.standard_normal(run.n)) * size, run.n)
    return np.asarray(row / row.std())


def struck(run: Run, at_turns: Wave, sizes: Wave) -> Wave:
    """Impulses at angles of the shaft, each shared between two samples."""
    place = np.interp(at_turns, run.turned, np.arange(run.n), left=-1.0, right=-1.0)
    kept = (place >= 0.0) & (place < run.n - 1)
    first, rest = place[kept].astype(np.int64), place[kept] % 1.0
    row = np.zeros(run.n)
    np.add.at(row, first, sizes[kept] * (1.0 - rest))
    np.add.at(row, first + 1, sizes[kept] * rest)
    return row


def row_of_blows(run: Run, order: float, jitter: float) -> Wave:
    """Angles of blows whose distances vary, the errors adding up."""
    count = int(order * (run.turned[-1] - run.turned[0]) * 1.1) + 4
    steps = np.maximum(1.0 + jitter * run.rng.standard_normal(count), 0.2) / order
    return np.asarray(run.turned[0] + np.cumsum(steps) - run.rng.random() / order)


def load_zone(angle_turns: Wave, spread: float, power: float) -> Wave:
    """Share of the load at an angle from the middle of the zone, turns."""
    inside = 1.0 - (1.0 - np.cos(2.0 * np.pi * angle_turns)) / (2.0 * spread)
    return np.asarray(np.maximum(inside, 0.0) ** power)


def defect(run: Run, part: str, bearing: Bearing) -> Wave:
    """Force of a damaged part: impulses, as strong as the load where they fall, of a size that varies from blow to blow."""
    rng, orders = run.rng, orders_of(bearing)
    order = orders[part] * (1.0 + float(np.clip(rng.normal(0.0, 0.007), -0.018, 0.018)))
    at = row_of_blows(run, order, float(rng.uniform(0.002, 0.02)))
    sizes = np.maximum(1.0 + rng.uniform(0.05, 0.4) * rng.standard_normal(at.size), 0.0)
    zone = (float(rng.uniform(0.35, 1.2)), float(rng.choice((1.1, 1.5))))
    passing = "outer" if bearing.outer_turns else "inner"
    if part == passing:
        sizes *= load_zone(at + rng.random(), *zone)
    if part == "element":
        sizes *= load_zone(orders["cage"] * at + rng.random(), *zone)
        sizes[::2] *= rng.uniform(0.3, 1.0)
    row = struck(run, at, sizes)
    if part in ("outer", "inner") and rng.random() < 0.3:  # a long spall: rough while an element is in it
        width = max(5, int(0.15 * run.fs_hz / (order * run.speed_hz)))
        row = through(row, np.hanning(width)) * rng.standard_normal(run.n)
    if part == "cage":
        row += 0.3 * row.std() * rng.standard_normal(run.n)
    return through(row, path(run, order))


def tones(run: Run, orders: Wave, sizes: Wave, in_turns: bool = True) -> Wave:
    """Add up tones at multiples of shaft speed, or at frequencies."""
    row = np.zeros(run.n)
    clock = run.turned if in_turns else run.time
    for order, size in zip(orders, sizes, strict=True):
        if 0.0 < order * (run.speed_hz if in_turns else 1.0) < 0.45 * run.fs_hz:
            row += size * np.cos(2.0 * np.pi * (order * clock + run.rng.random()))
    return row


def shaft(run: Run, size: float) -> Wave:
    """Harmonics of shaft speed, falling in velocity; acceleration rises with the order."""
    order = np.arange(1.0, 11.0)
    return tones(run, order, size * order * run.rng.exponential(1.0, 10) * order**-1.3)


def meshing(run: Run, teeth: int, driven: int) -> Wave:
    """Mesh with sidebands of both shafts, and noise that comes and goes with them."""
    rng, slow = run.rng, teeth / driven
    places = [(k * teeth + i + j * slow) for k in (1, 2, 3, 4) for i in range(-3, 4) for j in range(-1, 2)]
    sizes = [
        rng.exponential(1.0) * 0.4 ** (abs(i) + abs(j)) / k for k in (1, 2, 3, 4) for i in range(-3, 4) for j in range(-1, 2)
    ]
    return tones(run, np.array(places), np.array(sizes))


def electric(run: Run, supply_hz: float) -> Wave:
    """Field and slots at multiples of twice the supply, an inverter's carrier with its sidebands, hum in the cable."""
    rng = run.rng
    field = 2.0 * supply_hz * np.arange(1, 21)
    carrier = between(rng, 1000.0, 16000.0)
    around = np.concatenate([k * carrier + supply_hz * np.arange(-6, 7, 2) for k in (1, 2)])
    hum = supply_hz * np.arange(1, 12, 2)
    hz = np.concatenate((field, around, hum))
    sizes = np.concatenate((rng.exponential(1.0, 20), rng.exponential(1.0, around.size), rng.exponential(0.4, hum.size)))
    return tones(run, hz, sizes, in_turns=False)


def fan(run: Run, blades: int) -> Wave:
    """Blade pass, and noise of flow that blades and a loose or uneven wheel modulate."""
    rng = run.rng
    swell = (
        1.0
        + rng.uniform(0.0, 0.5) * np.cos(2.0 * np.pi * run.turned)
        + rng.uniform(0.0, 0.4) * np.cos(2.0 * np.pi * (blades * run.turned + rng.random()))
    )
    return coloured(run) * swell + tones(run, blades * np.arange(1.0, 5.0), rng.exponential(1.0, 4))


def blows(run: Run) -> Wave:
    """Blows of a process: at random, or in a rhythm that is not the machine's."""
    rng = run.rng
    if rng.random() < 0.5:
        at = rng.uniform(0.0, run.turned[-1], int(between(rng, 3.0, 300.0)))
        sizes = rng.exponential(1.0, at.size)
    else:
        at = row_of_blows(run, _away(run), float(rng.uniform(0.0, 0.03)))
        sizes = rng.uniform(0.6, 1.4, at.size)
    return through(struck(run, at, sizes), path(run))


def _away(run: Run) -> float:
    """Draw a rhythm away from the lines of the bearing, those of its double and triple too."""
    for _ in range(10_000):
        order = between(run.rng, 0.15, 15.0)
        if np.abs(np.outer(order * np.arange(1, 7), 1.0 / run.lines) - 1.0).min() > APART:
            return order
    return 20.0


def neighbour(run: Run) -> Wave:
    """Another machine: its shaft and a bearing of its own, damaged, none of whose lines is near one of this bearing's."""
    rng = run.rng
    part = str(rng.choice(("outer", "inner", "element")))
    for _ in range(20_000):
        other, ratio = some_bearing(rng), between(rng, 0.3, 3.0)
        mine = ratio * orders_of(other)[part] * np.array((0.5, 1.0, 1.5, 2.0, 3.0))
        if np.abs(np.outer(mine, 1.0 / run.lines) - 1.0).min() > APART:
            break
    beside = replace(run, turned=ratio * run.turned, speed_hz=ratio * run.speed_hz)
    return unit(defect(beside, part, other)) * between(rng, 0.2, 1.0) + unit(shaft(beside, 1.0))


def unit(row: Wave) -> Wave:
    """Bring to an r.m.s. of 1."""
    return np.asarray(row / max(float(row.std()), 1e-30))
