"""Envelope spectra of one channel, cut from several bands and made in several ways: where impacts show their rhythm.

Which ways are worth their time was measured on open recordings (`python -m tests.bench.diagnosis --compare`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.cepstrum import prewhitened
from edgemon.analysis.coherence import enhanced_envelope
from edgemon.analysis.kurtogram import SquaredEnvelope, kurtogram, squared_envelope
from edgemon.model.level import Band

WAYS = ("whole band", "whole band, logarithmic", "whole band, pre-whitened", "whole band, tones removed")
"""The first rows of every set, before the single bands."""
HEARD = 0.8
"""Share of a band's width up to which rhythms are looked for: the envelope of a band holds none beyond its width, and the
spectrum of the squared envelope of noise falls in a straight line to nothing there (autocorrelation of the band)."""
COHERENCE = "coherence of all bands"
TOWERS = 4.0
"""Times the median around it from which a line is a tone: of 10,000 lines of noise, none is (Rayleigh, e^-11)."""
TONE_BLOCK = 128
LOG_FLOOR = 1e-6
"""Of the mean squared envelope: what a logarithm is taken of at least."""


@dataclass(frozen=True, slots=True, eq=False)
class EnvelopeSpectra:
    """Spectra of squared envelopes of one channel, all with the same lines."""

    power: NDArray[np.float64]
    """Shape (ways, lines); that of steady noise is level: its fall towards the width of the band is taken out."""
    heard: NDArray[np.bool_]
    """Lines that a way can hear, well inside the width of its band; same shape."""
    depth: NDArray[np.float64]
    """Amplitude of each line over the envelope's mean: 2 for a row of single pulses, 0 for steady noise; same shape."""
    ways: tuple[str, ...]
    kurtosis: NDArray[np.float64]
    """Spectral kurtosis of each way's band, shape (ways,)."""
    line_hz: float
    averages: int = 1
    """Pieces of the record that each is the mean of."""


def averaged_spectra(
    samples: NDArray[np.float64], fs_hz: float, top_hz: float, min_width_hz: float, pieces: int
) -> EnvelopeSpectra:
    """Take the mean of the envelope spectra of pieces of a waveform; arguments as of `envelope_spectra`.

    A rhythm whose distances vary, or of a speed that wanders, has a line as wide as many of a long record's: none of them
    stands out. Source: P. D. Welch, IEEE Trans. Audio Electroacoust. 15 (1967) 70-73; how wide a line of random distances is,
    D. Ho, R. B. Randall, Mech. Syst. Signal Process. 14 (2000) 763-788 (both from memory).
    """
    size = samples.shape[-1] // pieces
    rows = [samples[number * size : (number + 1) * size] for number in range(pieces)]
    found = [envelope_spectra(row, fs_hz, top_hz, min_width_hz) for row in rows]
    return EnvelopeSpectra(
        np.mean([one.power for one in found], axis=0),
        found[0].heard,
        np.sqrt(np.mean([one.depth**2 for one in found], axis=0)),
        found[0].ways,
        np.mean([one.kurtosis for one in found], axis=0),
        found[0].line_hz,
        pieces,
    )


def envelope_spectra(samples: NDArray[np.float64], fs_hz: float, top_hz: float, min_width_hz: float) -> EnvelopeSpectra:
    """Take the spectra of squared envelopes of a waveform.

    Parameters
    ----------
    samples : array, shape (n,)
        Acceleration, any unit.
    fs_hz : float
        Sample rate.
    top_hz : float
        Highest frequency of interest.
    min_width_hz : float
        Least width of a band: a band passes rhythms up to its own width.

    Returns
    -------
    EnvelopeSpectra
        Lines from 0 Hz to `top_hz`, or as far as the record goes.

    Notes
    -----
    Source: R. B. Randall, J. Antoni, Mech. Syst. Signal Process. 25 (2011) 485-520 (squared envelope); W. A. Smith,
    R. B. Randall, Mech. Syst. Signal Process. 64-65 (2015) 100-131 (pre-whitening before it); P. Borghesani, M. R. Shahriar,
    Mech. Syst. Signal Process. 91 (2017) 38-54 (logarithmic envelope, from memory).
    """
    n = samples.shape[-1]
    line_hz = fs_hz / n
    lines = np.fft.rfft(samples - samples.mean())
    count = min(int(top_hz / line_hz) + 4, n // 2 - 2)
    tree = kurtogram(lines, line_hz, min_width_hz)
    whole = tree[0]
    white = squared_envelope(prewhitened(lines), line_hz, whole.band)
    random = squared_envelope(without_tones(lines), line_hz, whole.band)
    whole_bands = (whole.samples, np.log(whole.samples + LOG_FLOOR), white.samples, random.samples)
    depth = _sizes([*whole_bands, *(part.samples for part in tree[1:])], count)
    kurtosis = np.array([part.kurtosis for part in (whole, whole, white, random, *tree[1:])])
    widths = np.array([whole.band.high_hz] * len(WAYS) + [part.band.high_hz - part.band.low_hz for part in tree[1:]])
    share = np.arange(count) * line_hz / widths[:, None]
    heard = share < HEARD
    level = depth**2 / np.maximum(1.0 - share, 1.0 - HEARD)
    power = level.copy()
    for reach in set(heard.sum(axis=1).tolist()):
        same = heard.sum(axis=1) == reach
        power[same, reach:] = np.median(level[same, : max(reach, 1)], axis=1, keepdims=True)
    return EnvelopeSpectra(power, heard, depth, (*WAYS, *(_name(part) for part in tree[1:])), kurtosis, line_hz)


def coherence_spectrum(samples: NDArray[np.float64], fs_hz: float, count: int) -> EnvelopeSpectra | None:
    """Take the enhanced envelope spectrum of all bands, `count` lines, as a set of one; None for a record too short for it."""
    found = enhanced_envelope(samples, count)
    if found is None:
        return None
    power = found[None, :]
    heard = np.ones(power.shape, np.bool_)
    return EnvelopeSpectra(power, heard, np.sqrt(power), (COHERENCE,), np.zeros(1), fs_hz / samples.shape[-1])


def without_tones(lines: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Bring lines that tower over their surroundings down to them: what is left has no fixed rhythm of its own.

    Tones beat with each other in an envelope, at every difference of two, and hide what modulates the noise. Source of the
    idea: discrete/random separation, J. Antoni, R. B. Randall, Mech. Syst. Signal Process. 18 (2004) 103-117 (from memory).

    Parameters
    ----------
    lines : complex array, shape (n_lines,)
        One-sided transform.

    Returns
    -------
    complex array, same shape
        Phases kept; a line TOWERS times the median around it, and the flanks of its main lobe, get the size of that median.
    """
    size = np.abs(lines)
    count = max(1, size.size // TONE_BLOCK)
    used = size[: count * TONE_BLOCK] if size.size >= TONE_BLOCK else size
    rows = used.reshape(count, -1)
    centres = (np.arange(count) + 0.5) * rows.shape[1]
    around = np.interp(np.arange(size.size), centres, np.median(rows, axis=1)) + np.finfo(np.float64).tiny
    towers = size > TOWERS * around
    near = towers.copy()
    for step in (1, 2):
        near[step:] |= towers[:-step]
        near[:-step] |= towers[step:]
    low = near & (size > around)
    return np.asarray(lines * np.divide(around, size, out=np.ones(size.size), where=low))


def _name(part: SquaredEnvelope) -> str:
    band: Band = part.band
    return f"band {band.low_hz:.0f}-{band.high_hz:.0f} Hz"


def _sizes(envelopes: Sequence[NDArray[np.float64]], count: int) -> NDArray[np.float64]:
    """Give the amplitude of the first `count` lines of each envelope under a Hann window; zero beyond half its rate.

    The window is laid on in frequency, where it is three lines wide; envelopes of one length share a transform.
    """
    sizes = []
    for length, rows in groupby(envelopes, key=lambda row: row.size):
        lines = np.fft.rfft(np.array(list(rows)), axis=1)[:, : count + 1] / length
        lines[:, 0] = 0.0
        full = np.zeros((len(lines), count + 1), np.complex128)
        full[:, : lines.shape[1]] = lines
        before = np.concatenate((full[:, 1:2].conj(), full[:, :-2]), axis=1)
        sizes.append(np.abs(2.0 * full[:, :-1] - before - full[:, 1:]))
    return np.concatenate(sizes)
