"""One-sided amplitude spectra."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.units import Quantity


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """One-sided r.m.s. amplitude spectrum, shape (n_lines,), in the house's unit of its quantity."""

    amplitude: NDArray[np.float32]
    line_hz: float
    """Distance of two lines, Hz; line k is at k * line_hz."""
    quantity: Quantity
    noise_bandwidth_lines: float
    """Equivalent noise bandwidth of the window, in lines."""
