"""The entrance: captures to levels and verdicts, in blocks of one length, rate and band."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache, partial
from math import isfinite
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.bands import band_levels
from edgemon.analysis.block import Block, Figures
from edgemon.analysis.masks import mask_levels
from edgemon.analysis.prepare import LANES, MIN_SAMPLES, Plan, plan_for
from edgemon.analysis.quality import short_verdict, verdict
from edgemon.analysis.registry import ENVELOPE_BAND, VELOCITY_BAND, WHOLE_BAND
from edgemon.model.derived import MaskSpec
from edgemon.model.level import COMPUTED, LEVEL_KINDS, Band, Detector, Level, LevelSpec
from edgemon.model.quality import Verdict
from edgemon.model.reading import Counts
from edgemon.model.spectrum import Spectrum
from edgemon.units import Quantity

BLOCK_SAMPLES = 262144
"""Samples in one block at most: a megabyte; smaller ones are slower, larger ones no quicker (measured)."""
ALLOCATOR_BYTES = 16 * 2**20
"""Freeing one array of this size lets the C library keep memory between blocks instead of asking the system for fresh
pages each time, which costs nearly as much as the computing (glibc's dynamic thresholds, mallopt(3); measured)."""


WAVES = frozenset({"velocity_peak", "displacement_pp"})
"""Those that need a waveform of velocity or displacement."""
ENVELOPES = frozenset(ENVELOPE_BAND)
"""Those that need an envelope."""


@dataclass(frozen=True, slots=True, eq=False)
class Waveform:
    """One axis of one capture, for one point."""

    counts: Counts
    si_per_count: float
    """m/s2 per count."""
    fs_hz: float
    band: Band
    """Band of the point's velocity and displacement levels."""
    envelope_band: Band | None
    """Band to demodulate, None for the usual one."""
    range_si: float | None
    """Sensor's range, one-sided, m/s2; None where it is not known."""
    missing: bool
    """Parts of the capture never came."""
    bands: tuple[LevelSpec, ...] = ()
    """Further levels wanted of this point."""
    rpm: float | None = None
    """Shaft speed at that time, where known; bands in orders need it."""
    masks: tuple[MaskSpec, ...] = ()
    """Masks that the spectrum is judged by."""
    levels: frozenset[str] = COMPUTED
    """Names of the usual levels that are wanted; those that need no waveform or envelope of their own cost about half."""


Measured = tuple[tuple[Level, ...], Verdict]
MeasuredWithSpectra = tuple[tuple[Level, ...], Verdict, Spectrum | None, Spectrum | None]


def measure(waveforms: Sequence[Waveform]) -> list[Measured]:
    """Compute all levels of all waveforms, and whether each is fit to change a state.

    Parameters
    ----------
    waveforms : sequence of Waveform
        Of any lengths, rates and bands, in any order; those that agree are computed together.

    Returns
    -------
    list of (levels, verdict)
        In the order of the waveforms. Levels are in the house's units; what cannot be computed is left out, and the
        verdict says why. Levels of the waveform's own bands come last. `velocity_*` and `displacement_pp` are of the
        point's band, `envelope_*` of the demodulated band about the envelope's mean, in the middle four fifths of the record,
        the others of everything from the lowest resolved line to half the sample rate. Peaks are those of the waveform, never
        derived from an r.m.s. value.
    """
    return [(levels, verdict) for levels, verdict, _, _ in _measured(waveforms, spectra=False)]


def measure_with_spectra(waveforms: Sequence[Waveform]) -> list[MeasuredWithSpectra]:
    """Compute what `measure` does and both spectra, sharing what they have in common.

    Parameters
    ----------
    waveforms : sequence of Waveform
        As for `measure`.

    Returns
    -------
    list of (levels, verdict, spectrum, envelope spectrum)
        Spectra of acceleration, r.m.s. amplitude, m/s2, Hann window: of the whole record, and of the demodulated band's
        envelope about its mean, at the same distance of lines. None where there is none.
    """
    return _measured(waveforms, spectra=True)


_Group = tuple[int, float, float, float, Band | None, frozenset[str], bool]


def _measured(waveforms: Sequence[Waveform], spectra: bool) -> list[MeasuredWithSpectra]:
    _keep_memory()
    groups: dict[_Group, list[int]] = {}
    for i, wave in enumerate(waveforms):
        more, band = bool(wave.bands or wave.masks) and _envelope_judged(wave), wave.band
        # the edges, for a band's own hash takes as long as all else here (measured)
        key = (wave.counts.size, wave.fs_hz, band.low_hz, band.high_hz, wave.envelope_band, wave.levels, more)
        groups.setdefault(key, []).append(i)
    results: list[MeasuredWithSpectra | None] = [None] * len(waveforms)
    with np.errstate(all="ignore"):  # what is not finite is left out below
        for (n, fs_hz, low_hz, high_hz, envelope_band, levels, more), members in groups.items():
            envelopes = spectra or more or not ENVELOPES.isdisjoint(levels)
            plan = plan_for(n, fs_hz, Band(low_hz, high_hz), envelope_band, not WAVES.isdisjoint(levels), envelopes)
            for rows in _blocks(members, n):
                block = [waveforms[i] for i in rows]
                for i, result in zip(rows, _measure_block(plan, levels, block, spectra), strict=True):
                    results[i] = result
    return [result for result in results if result is not None]


def _envelope_judged(wave: Waveform) -> bool:
    """Say whether a band of its own or a mask lies in the spectrum of the envelope."""
    return any(spec.of_envelope for spec in wave.bands) or any(spec.envelope for spec in wave.masks)


@cache
def _keep_memory() -> None:
    np.empty(ALLOCATOR_BYTES, np.uint8)


def _blocks(members: list[int], n: int) -> Iterator[list[int]]:
    size = max(LANES, BLOCK_SAMPLES // max(1, n) // LANES * LANES)
    for start in range(0, len(members), size):
        yield members[start : start + size]


def _measure_block(plan: Plan, names: frozenset[str], waves: list[Waveform], spectra: bool) -> list[MeasuredWithSpectra]:
    if plan.n < MIN_SAMPLES:
        return [((), short_verdict(plan, wave.missing), None, None) for wave in waves]
    block = Block([wave.counts for wave in waves], plan)
    heads = _heads(plan, names)
    of_wave, of_envelope = _spectra(block, waves) if spectra else ([None] * len(waves), [None] * len(waves))
    results = []
    for i, (wave, figures) in enumerate(zip(waves, block.figures(not ENVELOPES.isdisjoint(names)), strict=True)):
        levels, judged = _levels(heads, figures, wave.si_per_count), verdict(block, i, figures, wave)
        if wave.bands:
            more, left_out = band_levels(block, i, wave.bands, wave.si_per_count, wave.rpm)
            levels, judged = levels + more, Verdict(judged.flaws, judged.remarks, left_out)
        if wave.masks:
            more, left_out = mask_levels(block, i, wave.masks, wave.si_per_count, wave.rpm)
            levels, judged = levels + more, Verdict(judged.flaws, judged.remarks, judged.left_out + left_out)
        results.append((levels, judged, of_wave[i], of_envelope[i]))
    return results


def _spectra(block: Block, waves: list[Waveform]) -> tuple[Sequence[Spectrum | None], Sequence[Spectrum | None]]:
    plan, bandwidth = block.plan, block.plan.bandwidth
    si = np.array([wave.si_per_count for wave in waves], np.float32)[:, None]

    def scaled(rows: NDArray[np.float32], line_hz: float) -> list[Spectrum | None]:
        rows *= si
        return [Spectrum(row, line_hz, Quantity.ACCELERATION, bandwidth) for row in rows]

    of_wave = scaled(block.spectrum(), plan.fs_hz / plan.n)
    if plan.envelope is None:
        return of_wave, [None] * len(waves)
    return of_wave, scaled(block.envelope_spectrum(), plan.fs_hz / plan.n)


class _Head(NamedTuple):
    """What is the same of a level for every capture of a plan."""

    function: Callable[[Figures], float]
    scaled: bool
    """In counts until multiplied by their size."""
    name: str
    quantity: Quantity
    detector: Detector
    band: Band
    remark: str


@lru_cache(maxsize=64)
def _heads(plan: Plan, names: frozenset[str]) -> tuple[_Head, ...]:
    families = ((VELOCITY_BAND, plan.velocity), (WHOLE_BAND, plan), (ENVELOPE_BAND, plan.envelope))
    kinds = [
        (function, LEVEL_KINDS[name], part)
        for functions, part in families
        if part is not None
        for name, function in functions.items()
        if name in names
    ]
    return tuple(
        _Head(function, kind.quantity is not Quantity.RATIO, kind.name, kind.quantity, kind.detector, part.band, part.remark)
        for function, kind, part in kinds
    )


def _levels(heads: tuple[_Head, ...], figures: Figures, si: float) -> tuple[Level, ...]:
    """Make the levels that are finite."""
    levels = []
    for function, scaled, name, quantity, detector, band, remark in heads:
        value = function(figures) * si if scaled else function(figures)
        if isfinite(value):
            levels.append(_made((name, value, quantity, detector, band, remark, None)))
    return tuple(levels)


_made: Callable[[tuple[object, ...]], Level] = partial(tuple.__new__, Level)
