"""What is the same for every capture of one length, rate and band: weights, tapers, line ranges; computed once and kept."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from edgemon.analysis.weighting import band_gain
from edgemon.model.level import Band

MIN_SAMPLES = 16
"""Fewer samples than this make no level. Source: common practice, no source."""
MIN_PERIODS = 1.0
"""Below one period of the band's lower edge a velocity level means nothing. Source: the edge cannot be told from a trend."""
GOOD_PERIODS = 8.0
"""Below eight, velocity reads high by more than 1 %: +1 / (2 k^2) for k periods under a Hann window (derived)."""
TAPER_SHARE = 4
"""A taper takes at most a quarter of the record at each end, so that velocity peaks are sought in half of it or more."""
ENVELOPE_FLOOR = 0.25
"""The envelope is sought wherever the taper is more than this, and the taper divided out: it is slow beside the band."""
OFFSET_REACH = 4.0
"""A taper shows in so many times n over its length lines; beyond, 1e-5 of its line at 0 Hz is left (recomputed)."""
TOP = 4.0
"""Velocity counts up to this many times the band's upper edge, where the third-order low-pass passes 3 %."""
ENVELOPE_LOW, ENVELOPE_HIGH = 10.24, 2.56
"""Usual envelope band: fs / 10.24 to fs / 2.56 (2.5 to 10 kHz at 25.6 kHz).

The upper edge is the usable bandwidth by the analyser convention fs = 2.56 Fmax; the lower one quarter of it, above the
shaft's and most gears' lines, so that the bearing's resonances excited by impacts lie inside wherever the rate allows.
Source: common practice, no source; a band chosen for the machine belongs in the plant file.
"""
FS_RANGE_HZ = (1e-3, 1e9)
"""Outside it the weights leave the range of float32. Source: no accelerometer is sampled so."""
ENVELOPE_RATE = 2.1
"""Envelope samples in the inverse of the bandwidth: with the parabola between samples the peak of a single impact reads
2 % low at worst (recomputed)."""
VELOCITY_RATE = 12.0
"""Velocity samples in a period of the band's upper edge: with the parabola its peak reads 0.2 % low at worst (recomputed),
and so do frequencies above the edge, which a low-pass of third order lets through, 4 % at most in open recordings."""
SHORT = "capture too short for the band"
CUT = "sample rate too low for the band: cut at {:g} Hz"


@dataclass(frozen=True, slots=True, eq=False)
class VelocityPlan:
    """How velocity and displacement come out of the lines of a tapered record."""

    band: Band
    """What is truly covered."""
    remark: str
    n_lines: int
    """Lines 0 to n_lines - 1 count; 2 n_lines - 1 never exceeds the record."""
    power: NDArray[np.float32]
    """Shape (2 (n_lines - 2), 2): weights of squared real and imaginary parts; columns: whole band, lowest octave."""
    m: int
    """Samples of the velocity waveform: at least twelve in a period of the band's upper edge."""
    positive: NDArray[np.complex64]
    """Shape (n_lines,): what makes velocity + j displacement / displacement_scale out of lines at positive frequencies."""
    negative: NDArray[np.complex64]
    """Shape (n_lines - 1,): the same for the conjugate lines, highest frequency first."""
    displacement_scale: float
    """Seconds; with it both parts are of like size in float32."""
    inside: slice
    """Where the taper is 1."""


@dataclass(frozen=True, slots=True, eq=False)
class EnvelopePlan:
    """How the envelope comes out of the lines of a tapered record."""

    band: Band
    remark: str
    lines: slice
    m: int
    """Samples of the envelope: 2.1 in the inverse of the bandwidth, or more."""
    inside: slice
    """Where the taper is more than a quarter."""
    gain: NDArray[np.float32]
    """What makes the envelope out of the analytic signal inside: scale over taper."""
    centre: slice
    """The part of what is inside that is transformed again for the envelope's spectrum: a quick length."""
    line_hz: float
    """Distance of lines in that spectrum."""


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Everything that depends only on length, rate and bands."""

    n: int
    fs_hz: float
    share: NDArray[np.float32]
    """1 / n, n times: the mean is a product with it."""
    window: NDArray[np.float32]
    """Taper of the whole record, shape (n,)."""
    offset: NDArray[np.complex64]
    """First lines of the taper itself, over its line at 0 Hz: what a constant adds to each line, shape (k,)."""
    band: Band
    """Band of the acceleration levels: from the lowest resolved line to half the sample rate."""
    velocity: VelocityPlan | None
    envelope: EnvelopePlan | None
    too_short: bool
    remarks: tuple[str, ...]
    """Sentences that say why levels are left out."""
    remark: str = ""


@lru_cache(maxsize=64)
def plan_for(n: int, fs_hz: float, band: Band, envelope_band: Band | None) -> Plan:
    """Prepare what `n` samples at `fs_hz` need; the last 64 combinations are kept.

    Notes
    -----
    The record gets smooth edges of one period of the band's lower edge (at most a quarter of the record) before its
    one Fourier transform: integration would turn the jump between last and first sample into a transient larger than
    the vibration. The constant removed is the one that leaves nothing at 0 Hz under that taper; the plain mean of a
    tone that does not fit the record would come back as drift. Peaks are then sought between the edges only.
    `velocity_rms` sees the Hann window times the taper, of which the noise bandwidth is known exactly.
    """
    if n < MIN_SAMPLES:
        return Plan(n, fs_hz, *_untapered(n), band, None, None, True, (f"{n} samples make no level",))
    if not FS_RANGE_HZ[0] <= fs_hz <= FS_RANGE_HZ[1]:
        why = f"a sample rate of {fs_hz:g} Hz makes no velocity and no envelope"
        return Plan(n, fs_hz, *_untapered(n), Band(fs_hz / n, fs_hz / 2.0), None, None, False, (why,))
    duration, nyquist = n / fs_hz, fs_hz / 2.0
    remarks: list[str] = []
    periods = duration * band.low_hz
    too_short = 0.0 < periods < MIN_PERIODS
    if too_short:
        remarks.append(f"{duration:g} s hold no full period of the band's lower edge, {band.low_hz:g} Hz")
    n_taper = _taper_length(n, fs_hz, band.low_hz)
    taper = _edge(n_taper)
    velocity = None if too_short else _velocity_plan(n, fs_hz, band, taper)
    if velocity is None and not too_short:
        remarks.append(f"sample rate {fs_hz:g} Hz too low for velocity in {band}")
    envelope = _envelope_plan(n, fs_hz, envelope_band, taper)
    if envelope is None:
        remarks.append(f"no lines of this capture in the envelope's band {envelope_band or 'by default'}")
    share, window = np.full(n, 1.0 / n, np.float32), _tapered(np.ones(n), taper).astype(np.float32)
    offset, whole = _offset(n, taper), Band(fs_hz / n, nyquist)
    return Plan(n, fs_hz, share, window, offset, whole, velocity, envelope, too_short, tuple(remarks))


def _untapered(n: int) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.complex64]]:
    return np.full(n, 1.0 / max(1, n), np.float32), np.ones(n, np.float32), np.zeros(0, np.complex64)


def _edge(n_taper: int) -> NDArray[np.float32]:
    """Give the integral of a Hann window: no jump in value, slope or curvature at either end."""
    u = (np.arange(n_taper) + 0.5) / max(1, n_taper)
    return (u - np.sin(2.0 * np.pi * u) / (2.0 * np.pi)).astype(np.float32)


def _tapered(window: NDArray[np.float64], taper: NDArray[np.float32]) -> NDArray[np.float64]:
    window[: taper.size] *= taper
    window[window.size - taper.size :] *= taper[::-1]
    return window


def _offset(n: int, taper: NDArray[np.float32]) -> NDArray[np.complex64]:
    lines = scipy.fft.rfft(_tapered(np.ones(n), taper))[: math.ceil(OFFSET_REACH * n / max(1, taper.size))]
    return np.asarray(lines / lines[0], np.complex64)


def _taper_length(n: int, fs_hz: float, low_hz: float) -> int:
    longest = n // TAPER_SHARE
    return min(longest, math.ceil(fs_hz / low_hz)) if low_hz * n > fs_hz else longest


def _velocity_plan(n: int, fs_hz: float, band: Band, taper: NDArray[np.float32]) -> VelocityPlan | None:
    line_hz, nyquist = fs_hz / n, fs_hz / 2.0
    if nyquist <= band.low_hz:
        return None
    high = min(band.high_hz, nyquist)
    n_lines = min((n + 1) // 2, math.ceil(TOP * high / line_hz) + 1)  # the line at half the rate has no phase: left out
    if n_lines < 3:
        return None
    f: NDArray[np.float64] = line_hz * np.arange(1, n_lines, dtype=np.float64)
    gain, omega = band_gain(f, band), 2.0 * np.pi * f
    window = _tapered(1.0 - np.cos(2.0 * np.pi * np.arange(n) / n), taper)  # twice a Hann window
    weight = (2.0 / (n * float(np.dot(window, window)))) * (gain / omega)[:-1] ** 2
    lowest = np.where(f[:-1] < 2.0 * max(band.low_hz, line_hz), weight, 0.0)
    m = _quick_length(max(2 * n_lines, math.ceil(VELOCITY_RATE * high / line_hz)))
    scale = m / n
    slow = 1.0 / omega[0] if band.low_hz <= line_hz else 1.0 / (2.0 * np.pi * band.low_hz)
    velocity, displacement = scale * gain / (1j * omega), -scale * gain / omega**2 / slow
    positive, negative = np.zeros(n_lines, np.complex64), np.empty(n_lines - 1, np.complex64)
    positive[1:], negative[:] = velocity + 1j * displacement, (velocity.conj() + 1j * displacement)[::-1]
    cut = [CUT.format(high)] if high < band.high_hz else []
    short = [SHORT] if band.low_hz * n < GOOD_PERIODS * fs_hz else []
    power = np.repeat(np.column_stack((weight, lowest)), 2, axis=0).astype(np.float32)
    truth = Band(max(band.low_hz, line_hz), high)
    inside = _inside(taper.size, n, m)
    return VelocityPlan(truth, "; ".join(short + cut), n_lines, power, m, positive, negative, slow, inside)


def _envelope_plan(n: int, fs_hz: float, wanted: Band | None, taper: NDArray[np.float32]) -> EnvelopePlan | None:
    line_hz, nyquist = fs_hz / n, fs_hz / 2.0
    band = wanted or Band(fs_hz / ENVELOPE_LOW, fs_hz / ENVELOPE_HIGH)
    first = max(1, math.ceil(band.low_hz / line_hz - 1e-9))
    last = min((n - 1) // 2, math.floor(min(band.high_hz, nyquist) / line_hz + 1e-9))
    if last - first < 3:
        return None
    m = _quick_length(math.ceil(ENVELOPE_RATE * (last - first + 1)))
    cut = CUT.format(nyquist) if band.high_hz > nyquist else ""
    truth = Band(max(band.low_hz, line_hz), min(band.high_hz, nyquist))
    weight = np.interp(np.arange(m) * (n / m), np.arange(n), _tapered(np.ones(n), taper))
    edge = int(np.argmax(weight > ENVELOPE_FLOOR))
    inside = slice(edge, m - edge)
    gain = (2.0 * m / n / weight[inside]).astype(np.float32)
    centre = _centre(gain.size)
    line = fs_hz * m / n / (centre.stop - centre.start)
    return EnvelopePlan(truth, cut, slice(first, last + 1), m, inside, gain, centre, line)


def _centre(most: int) -> slice:
    count = most
    while count > 2 and _quick_length(count) != count:
        count -= 1
    start = (most - count) // 2
    return slice(start, start + count)


def _quick_length(least: int) -> int:
    """Give a length of few and small factors; many twos are quicker than the nearest such length (measured)."""
    twos = 32 if least >= 1024 else 1
    return twos * int(scipy.fft.next_fast_len(-(-least // twos), real=True))


def _inside(n_taper: int, n: int, m: int) -> slice:
    edge = math.ceil(n_taper * m / n)
    return slice(edge, m - edge)
