"""Levels of one's own bands, in Hz or in orders of running speed, from the lines that the other levels have already."""

import math
from collections.abc import Sequence

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from edgemon.analysis.block import Block
from edgemon.analysis.inverse import crests, troughs
from edgemon.analysis.prepare import CUT, GOOD_PERIODS, SHORT, VELOCITY_RATE
from edgemon.errors import ParameterError
from edgemon.model.level import Band, Detector, Level, LevelSpec
from edgemon.units import Quantity

INTEGRATIONS = {Quantity.ACCELERATION: 0, Quantity.VELOCITY: 1, Quantity.DISPLACEMENT: 2}
DETECTORS = (Detector.RMS, Detector.PEAK, Detector.PEAK_TO_PEAK)
NARROW = 4
"""Lines: so many a sine fills under a Hann window, and a narrower band holds only a part of it."""
NARROW_REMARK = "band narrower than the resolution of the capture"


def band_levels(
    block: Block, i: int, specs: Sequence[LevelSpec], si_per_count: float, rpm: float | None
) -> tuple[tuple[Level, ...], tuple[tuple[str, str], ...]]:
    """Measure one row of a block in bands of one's own.

    Parameters
    ----------
    block : Block
        Where the row stands.
    i : int
        Number of the row.
    specs : sequence of LevelSpec
        The levels wanted.
    si_per_count : float
        m/s2 per count.
    rpm : float or None
        Shaft speed, None where it is not known.

    Returns
    -------
    (levels, left out)
        Levels in the house's units, with the band they truly cover in Hz; and names of levels that are left out with the
        reason: no speed for a band in orders, no line of the capture in the band.

    Raises
    ------
    ParameterError
        A quantity or a detector that a band cannot have, or edges out of order.

    Notes
    -----
    Edges are sharp: a line counts fully or not at all. R.m.s. is the root of the lines' sum of squares under a Hann window over
    its noise bandwidth; peaks are those of the band's waveform where the taper is 1; in a band
    not much wider than the inverse of the taper's length they read a few per cent high (3 % for 20 Hz and 0.1 s, measured).
    """
    levels: list[Level] = []
    left_out: list[tuple[str, str]] = []
    for spec in specs:
        found = _measured(block, i, spec, si_per_count, rpm)
        if isinstance(found, Level):
            levels.append(found)
        else:
            left_out.append((spec.name, found))
    return tuple(levels), tuple(left_out)


def _measured(block: Block, i: int, spec: LevelSpec, si: float, rpm: float | None) -> Level | str:
    if spec.quantity not in INTEGRATIONS or spec.detector not in DETECTORS or not 0.0 <= spec.low < spec.high:
        raise ParameterError(
            f"{spec.name}: {spec.detector} {spec.quantity} from {spec.low:g} to {spec.high:g}",
            "bands",
            "r.m.s., peak or peak-to-peak of acceleration, velocity or displacement; 0 <= low < high",
        )
    if spec.in_orders and not (rpm is not None and math.isfinite(rpm) and rpm > 0.0):
        return "speed not known"
    plan, unit_hz = block.plan, rpm / 60.0 if spec.in_orders and rpm is not None else 1.0
    if spec.of_envelope:
        return _of_envelope(block, i, spec, si, Band(spec.low * unit_hz, spec.high * unit_hz))
    line_hz, nyquist = plan.fs_hz / plan.n, plan.fs_hz / 2.0
    low, high = spec.low * unit_hz, spec.high * unit_hz
    first = max(1, math.ceil(low / line_hz - 1e-9))
    end = min(plan.n // 2, math.ceil(min(high, nyquist) / line_hz - 1e-9))
    if end <= first:
        return f"no line of the capture lies in {Band(low, high)}"
    value = si * _value(block, i, spec, first, end)
    if not math.isfinite(value):
        return "its value is not finite"
    cut = [CUT.format(nyquist)] if high > nyquist else []
    narrow = [NARROW_REMARK] if end - first < NARROW else []
    truth = Band(max(low, line_hz), min(high, nyquist))
    return Level(spec.name, value, spec.quantity, spec.detector, truth, "; ".join(_short(low, line_hz) + narrow + cut))


def _of_envelope(block: Block, i: int, spec: LevelSpec, si: float, band: Band) -> Level | str:
    """Measure a band of the spectrum of the envelope about its mean, under a Hann window."""
    plan = block.plan.envelope
    if plan is None or spec.detector is not Detector.RMS:
        return "the capture has no envelope" if spec.detector is Detector.RMS else "an envelope's band has an r.m.s. only"
    lines = block.envelope_spectrum(slice(i, i + 1))[0].astype(np.float64)
    line_hz = block.plan.fs_hz / block.plan.n
    first = max(1, math.ceil(band.low_hz / line_hz - 1e-9))
    end = min(lines.size, math.ceil(band.high_hz / line_hz - 1e-9))
    if end <= first:
        return f"no line of the envelope lies in {band}"
    value = si * math.sqrt(float(np.sum(lines[first:end] ** 2)) / block.plan.bandwidth)
    highest = line_hz * (lines.size - 1)
    cut = [f"the envelope reaches to {highest:.4g} Hz only"] if band.high_hz > highest else []
    narrow = [NARROW_REMARK] if end - first < NARROW else []
    truth = Band(max(band.low_hz, line_hz), min(band.high_hz, highest))
    short = _short(band.low_hz, line_hz)
    return Level(spec.name, value, spec.quantity, spec.detector, truth, "; ".join(short + narrow + cut))


def _short(low_hz: float, line_hz: float) -> list[str]:
    """Say so where the capture holds too few periods of a band's lower edge, as of the usual levels."""
    return [SHORT] if 0.0 < low_hz < GOOD_PERIODS * line_hz * (1.0 - 1e-9) else []


def _value(block: Block, i: int, spec: LevelSpec, first: int, end: int) -> float:
    """Give the level in counts, times seconds for every integration."""
    plan = block.plan
    times = INTEGRATIONS[spec.quantity]
    omega = 2.0 * np.pi * plan.fs_hz / plan.n * np.arange(first, end, dtype=np.float64)
    if spec.detector is Detector.RMS:
        power = np.abs(block.hann[i, first:end]).astype(np.float64) ** 2 / omega ** (2 * times)
        return math.sqrt(float(power.sum()) / plan.bandwidth)
    m = int(scipy.fft.next_fast_len(min(max(2 * end, math.ceil(VELOCITY_RATE * end)), 4 * plan.n), real=True))
    lines = np.zeros((1, end), np.complex128)
    lines[0, first:] = block.lines[i, first:end] * (m / plan.n) / (1j * omega) ** times
    edge = math.ceil(np.count_nonzero(plan.window[: plan.n // 2] < 1.0) * m / plan.n)
    wave: NDArray[np.float32] = scipy.fft.irfft(lines, m, axis=1)[:, edge : m - edge].astype(np.float32)
    top, bottom = crests(wave)[0], troughs(wave)[0]
    return top - bottom if spec.detector is Detector.PEAK_TO_PEAK else max(top, -bottom)
