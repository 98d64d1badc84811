"""A spectrum against its mask: lines of one width in Hz or orders, and the worst ratio of one to its limit."""

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.bands import INTEGRATIONS
from edgemon.analysis.block import Block
from edgemon.analysis.mask import excess, learn_mask
from edgemon.analysis.prepare import MIN_SAMPLES, plan_for
from edgemon.errors import ParameterError
from edgemon.model.derived import MaskSpec, is_alike
from edgemon.model.level import Band, Detector, Level
from edgemon.model.reading import Counts
from edgemon.model.spectrum import Spectrum
from edgemon.units import Quantity

Powers = NDArray[np.float64]
NO_BASELINE = "no baseline yet: a mask holds once an engineer approved it"


class Lines(NamedTuple):
    """The lines of a mask's grid, and what lies within each."""

    spectrum: Spectrum
    """Amplitudes by line k at k widths; nothing below the band."""
    power: Powers
    """Mean square of each line of the capture, counts squared."""
    line_hz: float
    unit_hz: float
    """Hz in one unit of the grid: 1, or the shaft speed."""


def mask_levels(
    block: Block, i: int, specs: Sequence[MaskSpec], si_per_count: float, rpm: float | None
) -> tuple[tuple[Level, ...], tuple[tuple[str, str], ...]]:
    """Judge one row of a block by its masks.

    Returns
    -------
    (levels, left out)
        Worst ratio of a line to its limit, with the place of it in the level's remark; and names of levels that are left out
        with the reason, as `bands.band_levels` gives them.

    Notes
    -----
    Edges of lines are sharp: a tone on the edge of two gives each half its mean square and reads 0.71 of it (closed form). A
    learnt mask takes the highest of a line and its neighbours, so a tone that wanders over an edge does not exceed it.
    """
    levels: list[Level] = []
    left_out: list[tuple[str, str]] = []
    for spec in specs:
        made = _envelope_power(block, i) if spec.envelope else _power(block, i, spec)
        found = judged(made, block.plan.fs_hz / 2.0, spec, si_per_count, rpm)
        if isinstance(found, Level):
            levels.append(found)
        else:
            left_out.append((spec.name, found))
    return tuple(levels), tuple(left_out)


def lines_of(
    counts: Counts,
    fs_hz: float,
    band: Band,
    envelope_band: Band | None,
    spec: MaskSpec,
    si_per_count: float,
    rpm: float | None,
) -> Spectrum | str:
    """Give a capture's spectrum in the lines of a mask, as `mask_levels` judges it, or say why there is none.

    Parameters
    ----------
    counts, fs_hz, band, envelope_band, si_per_count, rpm : as of `measure.Waveform`
        One axis of a capture, and the bands of its point.
    """
    if counts.size < MIN_SAMPLES:
        return f"{counts.size} samples make no spectrum"
    plan = plan_for(counts.size, fs_hz, band, envelope_band, waves=False, envelopes=spec.envelope)
    block = Block([counts], plan)
    made = _envelope_power(block, 0) if spec.envelope else _power(block, 0, spec)
    return grid_of(made, spec, si_per_count, rpm)


def grid_of(made: tuple[Powers, float] | str, spec: MaskSpec, si: float, rpm: float | None) -> Spectrum | str:
    """Give mean squares of lines in the lines of a mask, or say why there are none; arguments as of `judged`."""
    found = _lines(made, spec, si, rpm)
    return found if isinstance(found, str) else found.spectrum


def learn(spectra: Sequence[Spectrum], floor: float) -> tuple[Spectrum, NDArray[np.float64]]:
    """Learn a mask, and say how far each spectrum reaches over the mask that the others make.

    Returns
    -------
    (mask, ratios)
        Of the shortest of the spectra (captures of a lower sample rate hold fewer lines); ratios shape (n_spectra,).

    Raises
    ------
    ParameterError
        Fewer than two spectra, or spectra that differ in kind.
    """
    if len(spectra) < 2:
        raise ParameterError(f"{len(spectra)} spectra", "spectra", "two or more")
    shortest = min(one.amplitude.size for one in spectra)
    cut = [_cut(one, shortest) for one in spectra]
    ratios = [excess(one, learn_mask([*cut[:k], *cut[k + 1 :]], 1.0, floor))[0] for k, one in enumerate(cut)]
    return learn_mask(cut, 1.0, floor), np.array(ratios)


def _cut(one: Spectrum, size: int) -> Spectrum:
    return Spectrum(one.amplitude[:size], one.line_hz, one.quantity, one.noise_bandwidth_lines)


def judged(made: tuple[Powers, float] | str, highest_hz: float, spec: MaskSpec, si: float, rpm: float | None) -> Level | str:
    """Judge the lines of any spectrum by a mask.

    Parameters
    ----------
    made : (array of shape (n,), float) or str
        Mean square of each line from 0 Hz on, of the mask's quantity, and their distance in Hz; or why there are none.
    highest_hz : float
        Where the spectrum ends.
    spec : MaskSpec
        The mask.
    si : float
        House's unit in one unit of the root of the mean squares.
    rpm : float or None
        Shaft speed, where known.
    """
    if spec.is_learnt and not spec.learnt:
        return NO_BASELINE
    if not is_alike(spec.rpm, spec.rpm_tolerance, rpm):
        return f"learnt at {spec.rpm:.4g} r/min, taken at {rpm:.4g}"
    found = _lines(made, spec, si, rpm)
    if isinstance(found, str):
        return found
    limit = _limit(spec, found.spectrum)
    size = min(found.spectrum.amplitude.size, limit.amplitude.size)
    if size < 2:
        return "no line of the capture lies in its band"
    ratio, at = excess(_cut(found.spectrum, size), _cut(limit, size))
    if not math.isfinite(ratio):
        return "its value is not finite"
    hz = _centre(found, round(at / spec.width), spec.width)
    speed = f" ({hz * 60.0 / rpm:.2f} x speed)" if rpm is not None and rpm > 0.0 else ""
    text = f"worst at {hz:.4g} Hz{speed}, {ratio:.3g} times the mask"
    band = Band(spec.low * found.unit_hz, min(spec.high * found.unit_hz, highest_hz))
    return Level(spec.name, ratio, Quantity.RATIO, Detector.VALUE, band, text)


def _limit(spec: MaskSpec, spectrum: Spectrum) -> Spectrum:
    """Give the limit of every line; outside a written mask's first and last frequency its end values hold."""
    if spec.is_learnt:
        values = np.array(spec.learnt, np.float32)
    else:
        at = spec.width * np.arange(spectrum.amplitude.size)
        values = np.interp(at, *np.transpose(np.array(spec.given, np.float64))).astype(np.float32)
    return Spectrum(values, spectrum.line_hz, spectrum.quantity, spectrum.noise_bandwidth_lines)


def _lines(made: tuple[Powers, float] | str, spec: MaskSpec, si: float, rpm: float | None) -> Lines | str:
    if spec.in_orders and not (rpm is not None and math.isfinite(rpm) and rpm > 0.0):
        return "its lines are in orders and the speed is not known"
    unit_hz = rpm / 60.0 if spec.in_orders and rpm is not None else 1.0
    if isinstance(made, str):
        return made
    power, line_hz = made
    width = spec.width * unit_hz
    if width < line_hz * (1.0 - 1e-9):
        return f"lines of {width:.3g} Hz are narrower than the resolution of the capture, {line_hz:.3g} Hz"
    lowest = max(1, round(spec.low / spec.width))
    highest = min(round(spec.high / spec.width), math.floor((power.size - 1) * line_hz / width - 0.5))
    if highest < lowest:
        return f"no line of the capture lies in {spec.span}"
    edges = np.ceil((np.arange(lowest, highest + 2) - 0.5) * (width / line_hz) - 1e-9).astype(np.intp)
    sums = np.add.reduceat(power[: edges[-1]], edges[:-1]) * si**2
    amplitude = np.zeros(highest + 1, np.float32)
    amplitude[lowest:] = np.sqrt(sums if spec.detector is Detector.RMS else 2.0 * sums)
    return Lines(Spectrum(amplitude, spec.width, spec.quantity, 1.0), power, line_hz, unit_hz)


def _power(block: Block, i: int, spec: MaskSpec) -> tuple[Powers, float]:
    """Give the mean square of every line in counts squared, integrated where velocity is wanted."""
    plan = block.plan
    line_hz = plan.fs_hz / plan.n
    power = np.zeros(plan.n // 2)
    power[1:] = np.abs(block.hann[i, 1 : plan.n // 2]).astype(np.float64) ** 2 / plan.bandwidth
    omega = 2.0 * np.pi * line_hz * np.arange(1, power.size)
    power[1:] /= omega ** (2 * INTEGRATIONS[spec.quantity])
    return power, line_hz


def _envelope_power(block: Block, i: int) -> tuple[Powers, float] | str:
    plan = block.plan
    if plan.envelope is None:
        return "the capture has no envelope"
    amplitude = block.envelope_spectrum(slice(i, i + 1))[0].astype(np.float64)
    return amplitude**2 / plan.bandwidth, plan.fs_hz / plan.n


def _centre(found: Lines, k: int, width: float) -> float:
    """Give the centre of the mean square within a line of the grid: nearer to a tone than the grid is."""
    step = width * found.unit_hz / found.line_hz
    first, end = (math.ceil((k + side) * step - 1e-9) for side in (-0.5, 0.5))
    part = found.power[first:end]
    at = np.arange(first, first + part.size)
    total = float(part.sum())
    return found.line_hz * (float((at * part).sum()) / total if total > 0.0 else k * step)
