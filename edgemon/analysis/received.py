"""Levels of a spectrum that a sensor sent: what its lines can tell, and for everything else why they cannot."""

import math
from collections.abc import Set
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.bands import INTEGRATIONS, NARROW, NARROW_REMARK
from edgemon.analysis.masks import judged
from edgemon.analysis.prepare import TOP
from edgemon.analysis.quality import MAX_VELOCITY
from edgemon.analysis.weighting import band_gain
from edgemon.model.derived import MaskSpec
from edgemon.model.level import Band, Detector, Level, LevelSpec
from edgemon.model.quality import Flaw, Verdict
from edgemon.model.spectrum import LineForm, Spectrum
from edgemon.units import Quantity

MIN_LINES = 8
"""Lines above 0 Hz; fewer make no level. House choice."""
NO_PEAK = "a spectrum has no phases, so no peak of the waveform"
NO_SHAPE = "a spectrum has no phases, so no shape of the waveform"
NO_ENVELOPE = "an envelope needs the waveform"

UNKNOWABLE = {
    "velocity_peak": NO_PEAK,
    "displacement_pp": NO_PEAK,
    "acceleration_peak": NO_PEAK,
    "crest_factor": NO_SHAPE,
    "kurtosis": NO_SHAPE,
    "envelope_rms": NO_ENVELOPE,
    "envelope_peak": NO_ENVELOPE,
}
"""Levels that no amplitude spectrum holds, and why: an r.m.s. is the same whatever the phases (Parseval), a peak is not."""


@dataclass(frozen=True, slots=True, eq=False)
class Received:
    """One axis of one spectrum, for one point."""

    amplitude: NDArray[np.float64]
    """R.m.s. amplitude of each line, house's unit of the form's quantity, shape (n,)."""
    form: LineForm
    band: Band
    """Band of the point's velocity level."""
    bands: tuple[LevelSpec, ...] = ()
    """Further levels wanted of this point."""
    masks: tuple[MaskSpec, ...] = ()
    """Masks that its lines are held against."""
    rpm: float | None = None
    """Shaft speed at that time, where known."""
    missing: bool = False
    """Parts of the spectrum never came."""
    needed: Set[str] = frozenset()
    """Levels that have a limit: a part of their band must not pass for the whole."""

    @property
    def hz(self) -> NDArray[np.float64]:
        """Frequency of each line."""
        return np.asarray(self.form.first_hz + self.form.line_hz * np.arange(self.amplitude.size))

    @property
    def reach(self) -> Band:
        """From the first line above 0 Hz to the last."""
        lowest = self.form.first_hz or self.form.line_hz
        return Band(lowest, max(lowest, self.form.first_hz + self.form.line_hz * (self.amplitude.size - 1)))


def amplitudes(words: NDArray[np.int16], form: LineForm, si_per_count: float) -> NDArray[np.float64]:
    """Give the r.m.s. amplitude of each line, house's unit, of the 16-bit words that came."""
    numbers = np.ascontiguousarray(words).view("<f4" if form.is_float else "<u2")
    return np.asarray(numbers, np.float64) * si_per_count


def spectrum_of(amplitude: NDArray[np.float64], form: LineForm) -> Spectrum:
    """Give the lines from 0 Hz on, each at the nearest multiple of the distance of lines: half a line off at most."""
    ahead = round(form.first_hz / form.line_hz)
    lines = np.concatenate((np.zeros(ahead), amplitude)).astype(np.float32)
    return Spectrum(lines, form.line_hz, form.quantity, form.noise_bandwidth_lines)


def velocity_spectrum(received: Received) -> Spectrum:
    """Give the lines from 0 Hz on as velocity, with the response of the point's velocity level."""
    form = received.form
    whole = spectrum_of(received.amplitude, form)
    hz: NDArray[np.float64] = form.line_hz * np.arange(1, whole.amplitude.size, dtype=np.float64)
    times = INTEGRATIONS[form.quantity] - INTEGRATIONS[Quantity.VELOCITY]
    lines = np.zeros_like(whole.amplitude)
    lines[1:] = whole.amplitude[1:] * band_gain(hz, received.band) * (2.0 * np.pi * hz) ** times
    return Spectrum(lines, form.line_hz, Quantity.VELOCITY, form.noise_bandwidth_lines)


def measure_spectrum(received: Received) -> tuple[tuple[Level, ...], Verdict]:
    """Compute every level that the lines can tell.

    Parameters
    ----------
    received : Received
        One axis.

    Returns
    -------
    (levels, verdict)
        Levels in the house's units with the band they truly cover; the verdict names what is left out, with the reason, and
        is not fit where a level with a limit would be a part of its band only.

    Notes
    -----
    R.m.s. is the root of the lines' sum of squares over the window's noise bandwidth (Parseval); integration divides each
    line by 2 pi f, its skirt included: a sine k lines above 0 Hz reads high by 1 / (2 k^2) under a Hann window, seven times as
    much under a flat top (derived). `velocity_rms` has the same response as that of a waveform. The line at 0 Hz never counts.
    Source: F. J. Harris, Proc. IEEE 66 (1978) 51-83.
    """
    if np.count_nonzero(received.hz > 0.0) < MIN_LINES:
        return (), Verdict((Flaw.TOO_SHORT,), (f"{received.amplitude.size} lines make no level",), tuple(UNKNOWABLE.items()))
    rows = [_velocity(received), _acceleration(received), *(_own(received, spec) for spec in received.bands)]
    rows += [judged(mask_lines(received, spec), received.reach.high_hz, spec, 1.0, received.rpm) for spec in received.masks]
    names = ("velocity_rms", "acceleration_rms", *(spec.name for spec in received.bands))
    names += tuple(spec.name for spec in received.masks)
    levels = tuple(row for row in rows if isinstance(row, Level))
    left_out = tuple((name, row) for name, row in zip(names, rows, strict=True) if isinstance(row, str))
    flaws = [*_flaws(received, levels), *_uncovered(received)]
    named = tuple(dict.fromkeys(flaw for flaw, _ in flaws))
    return levels, Verdict(named, tuple(text for _, text in flaws), (*left_out, *UNKNOWABLE.items()))


def _velocity(received: Received) -> Level | str:
    band = received.band
    inside = (received.hz > 0.0) & (received.hz <= TOP * band.high_hz)
    gain = band_gain(received.hz[inside], band)
    found = _rms(received, inside, Quantity.VELOCITY, gain)
    return _level("velocity_rms", found, Quantity.VELOCITY, received, band)


def _acceleration(received: Received) -> Level:
    found = _rms(received, received.hz > 0.0, Quantity.ACCELERATION)
    return Level("acceleration_rms", found, Quantity.ACCELERATION, Detector.RMS, received.reach)


def _own(received: Received, spec: LevelSpec) -> Level | str:
    """Measure a band of one's own; edges are sharp, the lower one included."""
    if spec.of_envelope:
        return NO_ENVELOPE
    if spec.detector is not Detector.RMS:
        return NO_PEAK
    if spec.in_orders and not (received.rpm is not None and math.isfinite(received.rpm) and received.rpm > 0.0):
        return "speed not known"
    unit_hz = received.rpm / 60.0 if spec.in_orders and received.rpm is not None else 1.0
    band, tiny = Band(spec.low * unit_hz, spec.high * unit_hz), 1e-9 * received.form.line_hz
    inside = (received.hz > 0.0) & (received.hz >= band.low_hz - tiny) & (received.hz < band.high_hz - tiny)
    if spec.in_orders and _gap(received, band):
        return _gap(received, band)
    remark = NARROW_REMARK if np.count_nonzero(inside) < NARROW else ""
    if not inside.any():
        return f"no line of the spectrum lies in {band}"
    return _level(spec.name, _rms(received, inside, spec.quantity), spec.quantity, received, band, remark)


def mask_lines(received: Received, spec: MaskSpec) -> tuple[NDArray[np.float64], float] | str:
    """Give the mean square of each line from 0 Hz on in a mask's quantity, and their distance; or why there are none."""
    if spec.envelope:
        return NO_ENVELOPE
    form = received.form
    unit_hz = received.rpm / 60.0 if spec.in_orders and received.rpm is not None else 1.0
    if not spec.in_orders or received.rpm is not None:
        gap = _gap(received, Band(spec.low * unit_hz, spec.high * unit_hz))
        if gap:
            return gap
    whole = spectrum_of(received.amplitude, form)
    hz = form.line_hz * np.arange(1, whole.amplitude.size)
    power = np.zeros(whole.amplitude.size)
    times = INTEGRATIONS[form.quantity] - INTEGRATIONS[spec.quantity]
    power[1:] = (whole.amplitude[1:].astype(np.float64) * (2.0 * np.pi * hz) ** times) ** 2 / form.noise_bandwidth_lines
    return power, form.line_hz


def _rms(received: Received, inside: NDArray[np.bool_], wanted: Quantity, gain: NDArray[np.float64] | float = 1.0) -> float:
    times = INTEGRATIONS[received.form.quantity] - INTEGRATIONS[wanted]  # integrate where below zero, differentiate above
    lines = received.amplitude[inside] * gain * (2.0 * np.pi * received.hz[inside]) ** times
    return math.sqrt(float(np.dot(lines, lines)) / received.form.noise_bandwidth_lines)


def _level(name: str, value: float, quantity: Quantity, received: Received, band: Band, remark: str = "") -> Level | str:
    if not math.isfinite(value):
        return "its value is not finite"
    reach, gap = received.reach, _gap(received, band)
    if band.low_hz >= reach.high_hz or band.high_hz <= reach.low_hz:
        return gap
    truth = band if not gap else Band(max(band.low_hz, reach.low_hz), min(band.high_hz, reach.high_hz))
    return Level(name, value, quantity, Detector.RMS, truth, "; ".join(filter(None, (remark, gap))))


def _gap(received: Received, band: Band) -> str:
    """Say which part of a band the lines do not cover; empty where they cover it all.

    A line stands for half the distance to its neighbours; beside the one at 0 Hz, which does not count, for a quarter: the
    window spreads what lies there over both. A spectrum of 0 to 1000 Hz in 800 lines ends at 998.75 Hz, with the line at
    1000 Hz left out by convention, so that one whole distance is allowed there.
    """
    line_hz, reach = received.form.line_hz, received.reach
    slack = 1e-6 * line_hz
    low = reach.low_hz - line_hz / (2.0 if received.form.first_hz else 4.0) > band.low_hz + slack
    high = reach.high_hz + line_hz < band.high_hz - slack
    if not low and not high:
        return ""
    return f"the spectrum holds {reach} in steps of {line_hz:.4g} Hz, not all of {band}"


def _uncovered(received: Received) -> list[tuple[Flaw, str]]:
    bands = {"velocity_rms": received.band} | {
        spec.name: Band(spec.low, spec.high)
        for spec in received.bands
        if not spec.in_orders and not spec.of_envelope and spec.detector is Detector.RMS
    }
    hint = "set the band of the point to what its sensor covers, if that is meant"
    return [
        (Flaw.BAND_NOT_COVERED, f"{name}: {gap}: {hint}")
        for name, band in bands.items()
        if name in received.needed and (gap := _gap(received, band))
    ]


def _flaws(received: Received, levels: tuple[Level, ...]) -> list[tuple[Flaw, str]]:
    found = []
    if not received.amplitude[received.hz > 0.0].any():
        found.append((Flaw.FLAT_LINE, "every line above 0 Hz is zero"))
    if received.missing:
        found.append((Flaw.MISSING_SAMPLES, "parts of the spectrum never came"))
    velocity = next((level.value for level in levels if level.name == "velocity_rms"), 0.0)
    if velocity > MAX_VELOCITY:
        found.append((Flaw.IMPLAUSIBLE, f"velocity {1e3 * velocity:.3g} mm/s r.m.s.: no bearing housing moves so"))
    return found
