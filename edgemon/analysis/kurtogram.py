"""Which band of a waveform rings with impacts: squared envelopes of a tree of bands, and how peaked each is.

All bands are cut from the lines of one transform, each at its own low rate, so that a whole tree costs a few transforms.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from edgemon.errors import ParameterError
from edgemon.model.level import Band

MIN_LINES = 64
"""Fewest lines in a band: with fewer, one strong tone at the edge makes a false maximum (measured on tones in noise)."""


@dataclass(frozen=True, slots=True, eq=False)
class SquaredEnvelope:
    """Squared envelope of one band, mean 1, at a rate of twice the band's width."""

    samples: NDArray[np.float64]
    """Shape (m,), m even; lasts as long as the waveform."""
    band: Band
    kurtosis: float
    """Spectral kurtosis of the band: 0 for Gaussian noise, -1 for a steady tone, above 0 for impacts."""


def band_tree(half_rate_hz: float, min_width_hz: float) -> list[Band]:
    """List the bands of a tree: halves, thirds of those, and so on, down to a least width; half-overlapped.

    Parameters
    ----------
    half_rate_hz : float
        Half the sample rate; the first band is all of it.
    min_width_hz : float
        No band is narrower.

    Returns
    -------
    list of Band
        From wide to narrow; 1, 2, 3, 4, 6, 8, 12 ... bands to a level.

    Notes
    -----
    The 1/3-binary tree. Source: J. Antoni, Mech. Syst. Signal Process. 21 (2007) 108-124.
    """
    bands = [Band(0.0, half_rate_hz)]
    for count in (2, 3, 4, 6, 8, 12, 16):
        width = half_rate_hz / count
        if width < min_width_hz:
            break
        bands += [Band(i * width, (i + 1) * width) for i in range(count)]
    return bands


def squared_envelope(lines: NDArray[np.complexfloating], line_hz: float, band: Band) -> SquaredEnvelope:
    """Demodulate one band of a waveform.

    Parameters
    ----------
    lines : complex array, shape (n // 2 + 1,)
        One-sided transform of the waveform.
    line_hz : float
        Distance of two lines.
    band : Band
        At least MIN_LINES lines wide.

    Returns
    -------
    SquaredEnvelope
        Of the lines inside the band; all ones where they are all zero.

    Raises
    ------
    ParameterError
        Too few lines in the band.
    """
    return _squared_envelopes(lines, line_hz, [band])[0]


def _squared_envelopes(lines: NDArray[np.complexfloating], line_hz: float, bands: Sequence[Band]) -> list[SquaredEnvelope]:
    """Demodulate bands of one width, all in one transform of many rows."""
    parts = []
    for band in bands:
        first, last = max(1, round(band.low_hz / line_hz)), min(lines.size - 1, round(band.high_hz / line_hz))
        if last - first < MIN_LINES:
            raise ParameterError(f"{max(0, last - first)} lines in {band}", "band", f"{MIN_LINES} or more")
        parts.append(lines[first:last])
    m = scipy.fft.next_fast_len(2 * max(part.size for part in parts))
    m += m % 2
    padded = np.zeros((len(parts), m), np.complex128)
    for row, part in zip(padded, parts, strict=True):
        row[: part.size] = part
    analytic = scipy.fft.ifft(padded, axis=1, overwrite_x=True)
    square = analytic.real**2 + analytic.imag**2
    mean = square.mean(axis=1, keepdims=True)
    flat = ~(mean > 0.0)
    square = np.where(flat, 1.0, square / np.where(flat, 1.0, mean))
    kurtosis = np.where(flat[:, 0], 0.0, np.einsum("ij,ij->i", square, square) / m - 2.0)
    return [SquaredEnvelope(row, band, float(one)) for row, band, one in zip(square, bands, kurtosis, strict=True)]


def kurtogram(lines: NDArray[np.complexfloating], line_hz: float, min_width_hz: float) -> list[SquaredEnvelope]:
    """Give the squared envelopes of the whole tree, as many as have lines enough; arguments as above."""
    half_rate = line_hz * (lines.size - 1)
    tree = band_tree(half_rate, max(min_width_hz, (MIN_LINES + 2) * line_hz))
    levels = groupby(tree, key=lambda band: round(half_rate / (band.high_hz - band.low_hz)))
    return [one for _, bands in levels for one in _squared_envelopes(lines, line_hz, list(bands))]
