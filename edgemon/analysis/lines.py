"""Lines that stand out of a spectrum, with the frequency and amplitude of the sine behind each, which falls between lines."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from edgemon.analysis.window import COSINES
from edgemon.errors import ParameterError
from edgemon.model.spectrum import Spectrum

STANDS_OUT = 5.0
"""Times the local floor (14 dB). Source: house choice; in noise under a Hann window one line in some 30 million does."""
REACH = 25
"""Lines to either side whose median is the local floor."""
MAIN_LOBE = {"rectangular": 1, "hann": 2, "flat-top": 5}
"""Lines from a sine's own line to where the window lets nothing more through."""


@dataclass(frozen=True, slots=True)
class Line:
    """A sine found in a spectrum."""

    hz: float
    amplitude: float
    """R.m.s., house's unit of the spectrum's quantity."""
    above: float
    """Times the median of the lines around it."""


def response(offset: NDArray[np.float64], name: str) -> NDArray[np.float64]:
    """Give a window's transform at offsets from a line, over its value at 0.

    Notes
    -----
    Sum of a_k / a_0 (sinc(d - k) + sinc(d + k)) / 2, many samples. Source: F. J. Harris, Proc. IEEE 66 (1978) 51-83.
    """
    first, *others = COSINES[name]
    total: NDArray[np.float64] = np.sinc(offset)
    for k, term in enumerate(others, start=1):
        total = total + 0.5 * term / first * (np.sinc(offset - k) + np.sinc(offset + k))
    return total


@lru_cache(maxsize=1)
def _flat_top_table() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    offset = np.linspace(-0.55, 0.55, 441)
    return np.log(response(1.0 - offset, "flat-top") / response(1.0 + offset, "flat-top")), offset


def between(spectrum: Spectrum, k: int, name: str) -> tuple[float, float]:
    """Give frequency and r.m.s. amplitude of the sine whose highest line is line k.

    Parameters
    ----------
    spectrum : Spectrum
        Of one window or of several averaged.
    k : int
        A line higher than both neighbours, with two lines to either side or more.
    name : str
        The window it was taken with.

    Returns
    -------
    (hz, amplitude)
        Exact for one sine far (ten lines) from 0 Hz and from others; an amplitude is never made more than the window's
        deepest scallop higher.

    Raises
    ------
    ParameterError
        Unknown window, or a line at the spectrum's end.

    Notes
    -----
    With r = larger neighbour / highest line: rectangular r / (1 + r), Hann (2 r - 1) / (1 + r) lines towards the larger
    neighbour; flat top by the ratio of both neighbours. Amplitude over the window's transform at that offset.
    Source: closed forms of the windows' transforms; see `response`.
    """
    if name not in COSINES:
        raise ParameterError(f"unknown window {name!r}", "name", f"one of {', '.join(COSINES)}")
    if not 1 <= k < spectrum.amplitude.size - 1:
        raise ParameterError(f"line {k} of {spectrum.amplitude.size}", "k", "a line with a neighbour on either side")
    left, middle, right = spectrum.amplitude[k - 1 : k + 2].astype(np.float64).tolist()
    if not middle > 0.0:
        return k * spectrum.line_hz, 0.0
    ratio, sign = max(left, right) / middle, 1.0 if right > left else -1.0
    if name == "rectangular":
        offset = sign * ratio / (1.0 + ratio)
    elif name == "hann":
        offset = sign * (2.0 * ratio - 1.0) / (1.0 + ratio)
    else:
        logs, offsets = _flat_top_table()
        offset = float(np.interp(math.log(max(right, 1e-300) / max(left, 1e-300)), logs, offsets))
    offset = min(max(offset, -0.5), 0.5)
    return (k + offset) * spectrum.line_hz, middle / float(response(np.array([offset]), name)[0])


def local_floor(spectrum: Spectrum, reach: int = REACH) -> NDArray[np.float32]:
    """Give the median of the lines within `reach` of each line, shape of the amplitudes."""
    return np.asarray(scipy.ndimage.median_filter(spectrum.amplitude, size=2 * reach + 1, mode="reflect"), np.float32)


def find_lines(
    spectrum: Spectrum, name: str = "hann", at_least: float = STANDS_OUT, most: int = 20, reach: int = REACH
) -> tuple[Line, ...]:
    """List the lines that stand out, largest first.

    Parameters
    ----------
    spectrum : Spectrum
        Of any quantity.
    name : str
        The window it was taken with.
    at_least : float
        Times the local floor.
    most : int
        Lines listed at most.
    reach : int
        Lines to either side that make the local floor.

    Returns
    -------
    tuple of Line
        Highest within the main lobe to either side, the lines nearest 0 Hz left out; `above` is the line's own height, not
        the corrected one's.

    Raises
    ------
    ParameterError
        Unknown window.
    """
    if name not in COSINES:
        raise ParameterError(f"unknown window {name!r}", "name", f"one of {', '.join(COSINES)}")
    size, lobe = spectrum.amplitude, MAIN_LOBE[name]
    if size.size < 2 * lobe + 3:
        return ()
    floor = np.maximum(local_floor(spectrum, reach), np.finfo(np.float32).tiny)
    above = size / floor
    highest = scipy.ndimage.maximum_filter(size, size=2 * lobe + 1, mode="nearest")
    at = np.flatnonzero((size == highest) & (above >= at_least))
    at = at[(at > lobe) & (at < size.size - 1)]
    at = at[np.argsort(-size[at], kind="stable")][:most]
    return tuple(Line(*between(spectrum, k, name), float(above[k])) for k in at.tolist())
