"""Waveforms for the tests: signals in m/s2 as a converter would give them, and answers by name."""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.measure import Waveform, measure
from edgemon.model.level import Band, Level
from edgemon.model.quality import Verdict

USUAL = Band(10.0, 1000.0)
SLOW = Band(2.0, 1000.0)


def captured(
    signal: NDArray[np.float64],
    fs_hz: float,
    band: Band = USUAL,
    *,
    si_per_count: float | None = None,
    envelope_band: Band | None = None,
    range_si: float | None = None,
    missing: bool = False,
) -> Waveform:
    """Quantise a signal in m/s2; without a scale its peak becomes 30000 counts."""
    si = si_per_count or float(np.abs(signal).max()) / 30000.0
    counts = np.clip(np.round(signal / si), -32768, 32767).astype(np.int16)
    return Waveform(counts, si, fs_hz, band, envelope_band, range_si, missing)


def counted(counts: Sequence[int] | NDArray[Any], fs_hz: float = 2560.0, si: float = 0.01, band: Band = USUAL) -> Waveform:
    return Waveform(np.asarray(counts, np.int16), si, fs_hz, band, None, None, False)


def velocity_sine(f_hz: float, fs_hz: float, n: int, rms_mm_s: float = 1.0, phase: float = 0.3) -> NDArray[np.float64]:
    """Acceleration, m/s2, of a sine of so much velocity: a = 2 pi f v."""
    peak = math.sqrt(2.0) * 1e-3 * rms_mm_s * 2.0 * math.pi * f_hz
    return np.asarray(peak * np.cos(2.0 * np.pi * f_hz * np.arange(n) / fs_hz + phase))


def levels(wave: Waveform) -> dict[str, float]:
    return {name: level.value for name, level in full(wave)[0].items()}


def full(wave: Waveform) -> tuple[dict[str, Level], Verdict]:
    ((found, verdict),) = measure([wave])
    return {level.name: level for level in found}, verdict
