"""The shaft's angle over time, read from the phase of one of its own lines: for speeds that change during a record."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.errors import ParameterError

ORDERS = (1, 2, 3, 4)
"""Multiples of shaft speed among which the clearest is followed."""
HALF_WIDTH = 0.2
"""Of shaft speed, to either side: the band in which the line may wander. House choice: neighbours are a whole order away."""
CLEAR = 30.0
"""Power in that band over that of as much beside it, from which its phase is the shaft's. House choice (15 dB)."""
DEGREE = 5
"""Of the polynomial through the phase: speed changes slowly, noise on the phase does not. House choice."""
UNSURE = 0.03
"""Turns (11 degrees of the first order) that the phase may scatter about it, r.m.s. House choice."""


@dataclass(frozen=True, slots=True, eq=False)
class Tracked:
    """Shaft angle at each sample."""

    turns: NDArray[np.float64]
    """Revolutions from the first sample, rising, shape (n,)."""
    order: int
    """The multiple of shaft speed that was followed."""
    scatter: float
    """R.m.s. of the phase about the smooth curve, turns."""
    low_hz: float
    high_hz: float
    """Lowest and highest speed."""


def tracked_turns(samples: NDArray[np.floating], fs_hz: float, speed_hz: float) -> Tracked | None:
    """Follow the clearest of the first multiples of shaft speed through a record.

    Parameters
    ----------
    samples : array, shape (n,)
        Waveform, n >= 64.
    fs_hz : float
        Sample rate.
    speed_hz : float
        Mean speed, above zero; the line may wander by a fifth of it over its multiple.

    Returns
    -------
    Tracked or None
        None where no line is clear enough, or its phase no smooth curve.

    Raises
    ------
    ParameterError
        Speed or rate not above zero, or too few samples.

    Notes
    -----
    Source: F. Bonnardot, M. El Badaoui, R. B. Randall, J. Daniere, F. Guillet, Mech. Syst. Signal Process. 19 (2005) 766-785
    (angular resampling by the phase of a shaft's own line, from memory).
    """
    n = samples.shape[-1]
    if n < 64 or not (speed_hz > 0.0 and fs_hz > 0.0):
        raise ParameterError(f"{n} samples, speed {speed_hz:g} Hz", "samples, speed_hz", "64 or more, above zero")
    wave = np.asarray(samples, np.float64)
    lines = np.fft.rfft((wave - wave.mean()) * np.hanning(n))
    order, clear = max(((k, _clearness(lines, fs_hz / n, k, speed_hz)) for k in ORDERS), key=lambda one: one[1])
    edge = round(fs_hz / (HALF_WIDTH * speed_hz))
    if clear < CLEAR or n < 8 * edge:
        return None
    phase = _phase(wave, fs_hz, order * speed_hz, HALF_WIDTH * speed_hz) / (2.0 * np.pi * order)
    time = np.linspace(-1.0, 1.0, n)
    inner = slice(edge, -edge)
    curve = np.polynomial.Chebyshev.fit(time[inner], phase[inner], DEGREE, domain=[-1.0, 1.0])
    turns = curve(time)
    speeds = np.diff(turns) * fs_hz
    scatter = float(np.std(phase[inner] - turns[inner]))
    wander = HALF_WIDTH * speed_hz / order
    if scatter > UNSURE or np.abs(speeds - speed_hz).max() > 1.5 * wander or speeds.min() <= 0.0:
        return None
    return Tracked(turns - turns[0], order, scatter, float(speeds.min()), float(speeds.max()))


def _clearness(lines: NDArray[np.complex128], line_hz: float, order: int, speed_hz: float) -> float:
    """Power about a multiple over the power beside it."""
    offsets = np.abs(np.arange(lines.size) * line_hz - order * speed_hz) / speed_hz
    inside, beside = offsets < HALF_WIDTH, (offsets > HALF_WIDTH) & (offsets < 0.5)
    if not inside.any() or not beside.any() or (order + 0.5) * speed_hz > line_hz * lines.size:
        return 0.0
    power = np.abs(lines) ** 2
    return float(power[inside].sum()) / max(float(power[beside].mean()) * int(inside.sum()), 1e-300)


def _phase(wave: NDArray[np.float64], fs_hz: float, centre_hz: float, half_hz: float) -> NDArray[np.float64]:
    """Phase of the analytic signal of a band, unwrapped, radians."""
    lines = np.fft.fft(wave - wave.mean())
    hz = np.fft.fftfreq(wave.size, 1.0 / fs_hz)
    lines[np.abs(hz - centre_hz) > half_hz] = 0.0
    return np.asarray(np.unwrap(np.angle(np.fft.ifft(lines))))
