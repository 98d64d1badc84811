"""What shakes a housing, as values, and the waveform it makes: lines, noise and impacts, rendered to acceleration."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Vector = tuple[float, float, float]
"""One number for each axis: x radial horizontal, y radial vertical, z axial."""

Waveform = NDArray[np.float32]
"""Acceleration, m/s2, shape (3, n): axes x, y, z."""

AXES = ("x", "y", "z")

ANTI_ALIAS = 2.56
"""A sensor passes what lies below fs / 2.56. Source: common practice of spectrum analysers, no source."""

_DEAD_AFTER = 6.9
"""A ring-down is drawn until it is below 1e-3 of its start (ln 1000)."""


@dataclass(frozen=True, slots=True)
class Line:
    """A sine: acceleration peak (m/s2) and phase (rad) on each axis."""

    hz: float
    peak: Vector
    phase: Vector = (0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Noise:
    """Random vibration: flat between two frequencies, or a resonance (`damping` > 0) about the middle of them."""

    low_hz: float
    high_hz: float
    rms: Vector
    """m/s2 over the whole band, whatever part of it a sensor passes."""
    damping: float = 0.0


@dataclass(frozen=True, slots=True)
class Impacts:
    """A train of blows, each ringing a resonance of the housing."""

    rate_hz: float
    peak: Vector
    """Acceleration at the start of a ring-down of full strength, m/s2."""
    resonance_hz: float
    damping: float
    slip: float = 0.0
    """Standard deviation of the time between two blows, as a share of it."""
    load_hz: float = 0.0
    """How often the struck place passes through the load zone, Hz; 0 for a place that stays in it."""
    load_depth: float = 0.0
    """How much of the strength follows the load zone, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Excitation:
    """Everything that shakes a point at one speed; sums and scales like the vibration itself."""

    lines: tuple[Line, ...] = ()
    noises: tuple[Noise, ...] = ()
    impacts: tuple[Impacts, ...] = ()

    def __add__(self, other: "Excitation") -> "Excitation":
        """Give both together."""
        return Excitation(self.lines + other.lines, self.noises + other.noises, self.impacts + other.impacts)

    def scaled(self, gain: float) -> "Excitation":
        """Give the same, `gain` times as strong."""
        return Excitation(
            tuple(replace(line, peak=times(line.peak, gain)) for line in self.lines),
            tuple(replace(noise, rms=times(noise.rms, gain)) for noise in self.noises),
            tuple(replace(train, peak=times(train.peak, gain)) for train in self.impacts),
        )


def times(vector: Vector, factor: float) -> Vector:
    """Multiply each axis by the same factor."""
    return (vector[0] * factor, vector[1] * factor, vector[2] * factor)


def total(parts: Iterable[Excitation]) -> Excitation:
    """Give several excitations as one."""
    whole = Excitation()
    for part in parts:
        whole = whole + part
    return whole


def velocity_rms(shaken: Excitation, axis: str, low_hz: float = 10.0, high_hz: float = 1000.0) -> float:
    """R.m.s. velocity of lines and flat noise between two frequencies, m/s, in closed form.

    Notes
    -----
    A sine of acceleration a has velocity a / (2 pi f); white acceleration noise of density S between f1 and f2 has
    S sqrt((1/f1 - 1/f2) / (4 pi^2)). Impacts and resonances are left out: they ring above 1 kHz.
    Source: recomputed.
    """
    at = AXES.index(axis)
    square = 0.0
    for line in shaken.lines:
        if low_hz <= line.hz <= high_hz:
            square += (line.peak[at] / (2.0 * math.pi * line.hz)) ** 2 / 2.0
    for noise in shaken.noises:
        low, high = max(low_hz, noise.low_hz), min(high_hz, noise.high_hz)
        if noise.damping == 0.0 and low < high:
            density_square = noise.rms[at] ** 2 / (noise.high_hz - noise.low_hz)
            square += density_square * (1.0 / low - 1.0 / high) / (4.0 * math.pi**2)
    return math.sqrt(square)


def render(shaken: Excitation, at_s: float, n: int, fs_hz: float, rng: np.random.Generator) -> Waveform:
    """Draw the waveform that an ideal sensor behind an anti-alias filter sees.

    Parameters
    ----------
    shaken : Excitation
        What shakes the point.
    at_s : float
        Time of the first sample, s; lines keep their phase over time.
    n : int
        Number of samples.
    fs_hz : float
        Sample rate, Hz; nothing above fs / 2.56 is drawn.
    rng : numpy.random.Generator
        Source of everything random in it.

    Returns
    -------
    numpy.ndarray
        Acceleration, m/s2, float32, shape (3, n).
    """
    wave = _noise(shaken.noises, n, fs_hz, rng)
    wave += _lines(shaken.lines, at_s, n, fs_hz)
    for train in shaken.impacts:
        wave += _impacts(train, n, fs_hz, rng)
    return wave


def _lines(lines: tuple[Line, ...], at_s: float, n: int, fs_hz: float) -> Waveform:
    """Sum the sines below the filter's edge."""
    seen = [line for line in lines if 0.0 < line.hz < fs_hz / ANTI_ALIAS]
    if not seen:
        return np.zeros((3, n), np.float32)
    hz = np.array([line.hz for line in seen])
    turns = np.outer(hz, np.arange(n) / fs_hz) + (hz * at_s)[:, None]
    angle = (2.0 * np.pi * (turns - np.floor(turns))).astype(np.float32)
    peak = np.array([line.peak for line in seen]).T
    phase = np.array([line.phase for line in seen]).T
    in_phase = (peak * np.cos(phase)).astype(np.float32)
    quadrature = (peak * np.sin(phase)).astype(np.float32)
    wave: Waveform = in_phase @ np.cos(angle) - quadrature @ np.sin(angle)
    return wave


def _noise(noises: tuple[Noise, ...], n: int, fs_hz: float, rng: np.random.Generator) -> Waveform:
    """Shape white noise in the frequency domain; expected r.m.s. is exact for what lies below the filter's edge."""
    hz = np.fft.rfftfreq(n, 1.0 / fs_hz)
    density_square = np.zeros((3, hz.size))
    for noise in noises:
        rms_square = np.square(noise.rms)[:, None]
        if noise.damping > 0.0:
            centre = (noise.low_hz + noise.high_hz) / 2.0
            half_width = noise.damping * centre
            shape = 1.0 / (1.0 + ((hz - centre) / half_width) ** 2)
            density_square += rms_square * shape / (np.pi * half_width)
        else:
            inside = (hz >= noise.low_hz) & (hz < noise.high_hz)
            density_square += rms_square * inside / (noise.high_hz - noise.low_hz)
    density_square[:, (hz >= fs_hz / ANTI_ALIAS) | (hz == 0.0)] = 0.0
    amplitude = (np.sqrt(density_square * fs_hz * n) / 2.0).astype(np.float32)
    draw = rng.standard_normal((2, 3, hz.size), dtype=np.float32)
    return np.fft.irfft(amplitude * (draw[0] + 1j * draw[1]), n, axis=1).astype(np.float32)


def blow_times(train: Impacts, duration_s: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Give the times of the blows from just before 0 to `duration_s`, s, with their slip."""
    period = 1.0 / train.rate_hz
    count = math.ceil(duration_s / period * (1.0 + 4.0 * train.slip)) + 3
    gaps = period * (1.0 + train.slip * np.clip(rng.standard_normal(count), -3.0, 3.0))
    return np.cumsum(gaps) - period * (1.0 + rng.random())


def _impacts(train: Impacts, n: int, fs_hz: float, rng: np.random.Generator) -> Waveform:
    """Let each blow ring the resonance from its own instant, between samples too."""
    wave = np.zeros((3, n), np.float32)
    if train.rate_hz <= 0.0 or train.resonance_hz >= fs_hz / ANTI_ALIAS:
        return wave
    blows = blow_times(train, n / fs_hz, rng)
    turning = 2.0 * np.pi * (train.load_hz * blows + rng.random())
    strength = 1.0 - train.load_depth * (1.0 - np.cos(turning)) / 2.0
    decay = train.damping * 2.0 * np.pi * train.resonance_hz
    length = math.ceil(_DEAD_AFTER / decay * fs_hz)
    first = np.ceil(blows * fs_hz)
    since = ((first - blows * fs_hz)[:, None] + np.arange(length)) / fs_hz
    ring = strength[:, None] * np.exp(-decay * since) * np.sin(2.0 * np.pi * train.resonance_hz * since)
    place = first.astype(np.int64)[:, None] + np.arange(length)
    inside = (place >= 0) & (place < n)
    shape = np.bincount(place[inside], ring[inside], minlength=n)
    wave += np.outer(train.peak, shape).astype(np.float32)
    return wave
