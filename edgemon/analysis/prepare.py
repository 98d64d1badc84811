"""What is the same for every capture of one length, rate and band: weights, tapers, line ranges; computed once and kept."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from edgemon.analysis.weighting import band_gain
from edgemon.analysis.window import amplitudes, window
from edgemon.model.level import Band

LANES = 4
"""Rows that the transform works on at once in float32."""
MIN_SAMPLES = 16
"""Fewer samples than this make no level. Source: common practice, no source."""
MIN_PERIODS = 1.0
"""Below one period of the band's lower edge a velocity level means nothing. Source: the edge cannot be told from a trend."""
GOOD_PERIODS = 8.0
"""Below eight, velocity reads high by more than 1 %: +1 / (2 k^2) for k periods under a Hann window (derived)."""
TAPER_SHARE = 4
"""A taper takes at most a quarter of the record at each end, so that velocity peaks are sought in half of it or more."""
ENVELOPE_FLOOR = 0.1
"""Levels of the envelope are sought wherever a Hann window of top 1 is more than this (80 % of the record), and the window is
divided out. That is exact but for the outermost lines of the band, for the window's own spectrum is three lines wide: in open
recordings r.m.s. differs by 1 % and peak by 2.4 % at most in 95 of 100 (0.05: 3 and 12 %; 0.25: 0.5 and 2.3 %; measured)."""
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
"""Envelope samples in the inverse of the bandwidth, or more: with the parabola between samples the peak of a single impact
reads 2 % low at worst (recomputed), that of noise up to 9 % (30 records against sixteen times as many samples)."""
VELOCITY_RATE = 12.0
"""Velocity samples in a period of the band's upper edge: with the parabola its peak reads 0.2 % low at worst (recomputed),
and so do frequencies above the edge, which a low-pass of third order lets through, 4 % at most in open recordings."""
ALIKE = 1.5
"""Velocity and envelope whose lengths differ by no more than this are made of one length: of few captures in one transform."""
SHORT = "capture too short for the band"
CUT = "sample rate too low for the band: cut at {:g} Hz"


@dataclass(frozen=True, slots=True, eq=False)
class VelocityPlan:
    """How velocity and displacement come out of the lines of a tapered record."""

    band: Band
    """What is truly covered."""
    remark: str
    n_lines: int
    """Lines 0 to n_lines - 1 count."""
    power: NDArray[np.float32]
    """Shape (2 (n_lines - 2), 2): weights of squared real and imaginary parts under the Hann window, from line 1;
    columns: whole band, lowest octave."""
    waves: bool
    """Waveforms are wanted, not only the mean square, which needs none."""
    weights: NDArray[np.complex64]
    """Shape (2, n_lines): what makes the lines of velocity and of displacement."""
    m: int
    """Samples of both waveforms: at least twelve in a period of the band's upper edge."""
    inside: slice
    """Where the taper is 1."""


@dataclass(frozen=True, slots=True, eq=False)
class EnvelopePlan:
    """How the envelope comes out of the lines of a record under a Hann window."""

    band: Band
    remark: str
    lines: slice
    weights: NDArray[np.complex64]
    """Shape (2, lines): what makes the lines of the real and of the imaginary part of the analytic signal."""
    m: int
    """Samples of the analytic signal, its lowest line at 0 Hz: 2.1 in the inverse of the bandwidth, or more."""
    inside: slice
    """Where the window is more than a tenth."""
    gain: NDArray[np.float32]
    """What makes the envelope out of the analytic signal inside: scale over window."""


@dataclass(frozen=True, slots=True, eq=False)
class Plan:
    """Everything that depends only on length, rate and bands."""

    n: int
    fs_hz: float
    share: NDArray[np.float32]
    """1 / n, n times: the mean is a product with it."""
    thirds: tuple[int, int, int]
    """Where the thirds of the record begin."""
    window: NDArray[np.float32]
    """Taper of the whole record, shape (n,)."""
    offset: NDArray[np.complex64]
    """First lines of the taper itself, over its line at 0 Hz: what a constant adds to each line, shape (k,)."""
    hann: NDArray[np.float32]
    """Hann window that makes r.m.s. amplitudes of lines, shape (n,)."""
    bandwidth: float
    """Its noise bandwidth, in lines."""
    band: Band
    """Band of the acceleration levels: from the lowest resolved line to half the sample rate."""
    velocity: VelocityPlan | None
    envelope: EnvelopePlan | None
    too_short: bool
    remarks: tuple[str, ...]
    """Sentences that say why levels are left out."""
    remark: str = ""


@lru_cache(maxsize=64)
def plan_for(n: int, fs_hz: float, band: Band, envelope_band: Band | None, waves: bool = True, envelopes: bool = True) -> Plan:
    """Prepare what `n` samples at `fs_hz` need; the last 64 combinations are kept.

    Parameters
    ----------
    n, fs_hz
        Samples of a capture and their rate.
    band, envelope_band
        Of velocity and displacement, and the one to demodulate, None for the usual one.
    waves, envelopes
        Whether waveforms of velocity and displacement, and envelopes, will be asked for: each takes a transform of its own.

    Notes
    -----
    R.m.s. values, spectra and envelopes come of the record under a Hann window. For waveforms of velocity and displacement it
    gets smooth edges of one period of the band's lower edge instead (at most a quarter of the record): integration would turn
    the jump between last and first sample into a transient larger than the vibration, and reaches too far for a window that
    changes all along. Peaks are sought between the edges only. The constant removed is the one that leaves nothing at 0 Hz
    under the window; the plain mean of a tone that does not fit the record would come back as drift.
    """
    if n < MIN_SAMPLES:
        return _plan(n, fs_hz, _edge(0), band, (None, None), (f"{n} samples make no level",), too_short=True)
    if not FS_RANGE_HZ[0] <= fs_hz <= FS_RANGE_HZ[1]:
        why = f"a sample rate of {fs_hz:g} Hz makes no velocity and no envelope"
        return _plan(n, fs_hz, _edge(0), Band(fs_hz / n, fs_hz / 2.0), (None, None), (why,), too_short=False)
    duration, nyquist = n / fs_hz, fs_hz / 2.0
    remarks: list[str] = []
    periods = duration * band.low_hz
    too_short = 0.0 < periods < MIN_PERIODS
    if too_short:
        remarks.append(f"{duration:g} s hold no full period of the band's lower edge, {band.low_hz:g} Hz")
    n_taper = _taper_length(n, fs_hz, band.low_hz)
    taper = _edge(n_taper)
    m_velocity, m_envelope = _lengths(n, fs_hz, band, envelope_band)
    velocity = None if too_short else _velocity_plan(n, fs_hz, band, taper, m_velocity, waves)
    if velocity is None and not too_short:
        remarks.append(f"sample rate {fs_hz:g} Hz too low for velocity in {band}")
    envelope = _envelope_plan(n, fs_hz, envelope_band, m_envelope) if envelopes else None
    if envelope is None and envelopes:
        remarks.append(f"no lines of this capture in the envelope's band {envelope_band or 'by default'}")
    return _plan(n, fs_hz, taper, Band(fs_hz / n, nyquist), (velocity, envelope), tuple(remarks), too_short)


def _plan(
    n: int,
    fs_hz: float,
    taper: NDArray[np.float32],
    band: Band,
    parts: tuple[VelocityPlan | None, EnvelopePlan | None],
    remarks: tuple[str, ...],
    too_short: bool,
) -> Plan:
    """Add what only the record's length and its edges decide."""
    whole, hann = _tapered(np.ones(n), taper), window("hann", max(1, n))
    reach = math.ceil(OFFSET_REACH * n / taper.size) if taper.size else 0
    lines = scipy.fft.rfft(whole) if reach else np.ones(1)
    return Plan(
        n=n,
        fs_hz=fs_hz,
        share=np.full(n, 1.0 / max(1, n), np.float32),
        thirds=(0, n // 3, 2 * n // 3),
        window=whole.astype(np.float32),
        offset=np.asarray(lines / lines[0], np.complex64)[:reach],
        hann=amplitudes("hann", max(1, n)),
        bandwidth=hann.noise_bandwidth_lines,
        band=band,
        velocity=parts[0],
        envelope=parts[1],
        too_short=too_short,
        remarks=remarks,
    )


def _edge(n_taper: int) -> NDArray[np.float32]:
    """Give the integral of a Hann window: no jump in value, slope or curvature at either end."""
    u = (np.arange(n_taper) + 0.5) / max(1, n_taper)
    return (u - np.sin(2.0 * np.pi * u) / (2.0 * np.pi)).astype(np.float32)


def _tapered(window: NDArray[np.float64], taper: NDArray[np.float32]) -> NDArray[np.float64]:
    window[: taper.size] *= taper
    window[window.size - taper.size :] *= taper[::-1]
    return window


def _taper_length(n: int, fs_hz: float, low_hz: float) -> int:
    longest = n // TAPER_SHARE
    return min(longest, math.ceil(fs_hz / low_hz)) if low_hz * n > fs_hz else longest


def _lengths(n: int, fs_hz: float, band: Band, envelope_band: Band | None) -> tuple[int, int]:
    """Give the lengths of the velocity's and the envelope's waveforms: one and the same where they are alike."""
    count = min(band.high_hz, fs_hz / 2.0) * n / fs_hz
    first, last = _envelope_lines(n, fs_hz, envelope_band or _usual_envelope_band(fs_hz))
    m_velocity = _quick_length(max(2 * _velocity_lines(n, fs_hz, band), math.ceil(VELOCITY_RATE * count), 4))
    m_envelope = _quick_length(max(math.ceil(ENVELOPE_RATE * (last - first + 1)), 4))
    longer = max(m_velocity, m_envelope)
    return (longer, longer) if longer <= ALIKE * min(m_velocity, m_envelope) else (m_velocity, m_envelope)


def _velocity_lines(n: int, fs_hz: float, band: Band) -> int:
    """Give how many lines count; that at half the rate has no phase and is left out."""
    return min((n + 1) // 2, math.ceil(TOP * min(band.high_hz, fs_hz / 2.0) * n / fs_hz))


def _velocity_plan(n: int, fs_hz: float, band: Band, taper: NDArray[np.float32], m: int, waves: bool) -> VelocityPlan | None:
    line_hz, nyquist = fs_hz / n, fs_hz / 2.0
    high, n_lines = min(band.high_hz, nyquist), _velocity_lines(n, fs_hz, band)
    if nyquist <= band.low_hz or n_lines < 3:
        return None
    f: NDArray[np.float64] = line_hz * np.arange(1, n_lines, dtype=np.float64)
    gain, omega = band_gain(f, band), 2.0 * np.pi * f
    weight = (gain / omega)[:-1] ** 2 / window("hann", n).noise_bandwidth_lines
    lowest = np.where(f[:-1] < 2.0 * max(band.low_hz, line_hz), weight, 0.0)
    power = np.repeat(np.column_stack((weight, lowest)), 2, axis=0).astype(np.float32)
    weights = np.zeros((2, n_lines), np.complex64)
    weights[:, 1:] = m / n * gain / (1j * omega), -m / n * gain / omega**2
    cut = [CUT.format(high)] if high < band.high_hz else []
    short = [SHORT] if band.low_hz * n < GOOD_PERIODS * fs_hz else []
    truth, edge = Band(max(band.low_hz, line_hz), high), math.ceil(taper.size * m / n)
    return VelocityPlan(truth, "; ".join(short + cut), n_lines, power, waves, weights, m, slice(edge, m - edge))


def _usual_envelope_band(fs_hz: float) -> Band:
    return Band(fs_hz / ENVELOPE_LOW, fs_hz / ENVELOPE_HIGH)


def _envelope_lines(n: int, fs_hz: float, band: Band) -> tuple[int, int]:
    """Give the first and the last line of the band; the last may come before the first."""
    line_hz = fs_hz / n
    first = max(1, math.ceil(band.low_hz / line_hz - 1e-9))
    return first, min((n - 1) // 2, math.floor(min(band.high_hz, fs_hz / 2.0) / line_hz + 1e-9))


def _envelope_plan(n: int, fs_hz: float, wanted: Band | None, m: int) -> EnvelopePlan | None:
    line_hz, nyquist = fs_hz / n, fs_hz / 2.0
    band = wanted or _usual_envelope_band(fs_hz)
    first, last = _envelope_lines(n, fs_hz, band)
    if last - first < 3:
        return None
    cut = CUT.format(nyquist) if band.high_hz > nyquist else ""
    truth = Band(max(band.low_hz, line_hz), min(band.high_hz, nyquist))
    weight = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(m) / m)
    edge = int(np.argmax(weight > ENVELOPE_FLOOR))
    inside = slice(edge, m - edge)
    gain = (m * math.sqrt(0.5) / weight[inside]).astype(np.float32)
    weights = np.tile(np.array([[0.5], [-0.5j]], np.complex64), last - first + 1)
    weights[:, 0] *= 2.0  # in a real waveform the line at 0 Hz is the only one without a twin
    return EnvelopePlan(truth, cut, slice(first, last + 1), weights, m, inside, gain)


def _quick_length(least: int) -> int:
    """Give a length of few and small factors; many twos are quicker than the nearest such length (measured)."""
    twos = 32 if least >= 1024 else 1
    return twos * int(scipy.fft.next_fast_len(-(-least // twos), real=True))
