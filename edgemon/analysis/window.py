"""Windows with the two figures that put a spectrum right: coherent gain and noise bandwidth."""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from edgemon.errors import ParameterError

COSINES: dict[str, tuple[float, ...]] = {
    "rectangular": (1.0,),
    "hann": (0.5, 0.5),
    "flat-top": (0.21557895, 0.41663158, 0.277263158, 0.083578947, 0.006947368),
}
"""Cosine terms a_k of w = sum (-1)^k a_k cos(2 pi k n / N).

Source: F. J. Harris, Proc. IEEE 66 (1978) 51-83, for the first two; the flat top is the five-term set that SciPy uses
(-93 dB highest side lobe), named here because at least four sets are in use.
"""


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """One window, periodic (made for the discrete Fourier transform), peak 1."""

    name: str
    samples: NDArray[np.float64]
    """Shape (n,), read-only."""
    coherent_gain: float
    """Mean of the window: what a sine's line is too low by."""
    noise_bandwidth_lines: float
    """Equivalent noise bandwidth, in lines: what a sum of squares over lines is too high by."""


@lru_cache(maxsize=64)
def amplitudes(name: str, n: int) -> NDArray[np.float32]:
    """Give a window that makes r.m.s. amplitudes of the lines of its transform; arguments, errors as for `window`."""
    shape = window(name, n)
    scaled: NDArray[np.float32] = (shape.samples * (math.sqrt(2.0) / max(float(shape.samples.sum()), 1e-30))).astype(np.float32)
    scaled.flags.writeable = False
    return scaled


@lru_cache(maxsize=64)
def window(name: str, n: int) -> Window:
    """Give a window of `n` samples.

    Parameters
    ----------
    name : str
        `rectangular`, `hann` or `flat-top`.
    n : int
        Number of samples, 1 or more.

    Returns
    -------
    Window
        The samples are shared between callers and cannot be written to.

    Raises
    ------
    ParameterError
        Unknown name, or no samples.

    Notes
    -----
    Coherent gain a_0, noise bandwidth 1 + sum (a_k / a_0)^2 / 2 lines, taken here from the samples themselves.
    Source: F. J. Harris, Proc. IEEE 66 (1978) 51-83.
    """
    if name not in COSINES:
        raise ParameterError(f"unknown window {name!r}", "window", f"one of {', '.join(COSINES)}")
    if n < 1:
        raise ParameterError(f"a window of {n} samples", "window", "1 or more")
    angle = 2.0 * np.pi * np.arange(n) / n
    samples = np.zeros(n)
    for k, term in enumerate(COSINES[name]):
        samples += (-1) ** k * term * np.cos(k * angle)
    samples.flags.writeable = False
    total = float(samples.sum())
    energy = float(np.dot(samples, samples))
    bandwidth = n * energy / total**2 if total > 0.0 else 1.0
    return Window(name, samples, total / n, bandwidth)
