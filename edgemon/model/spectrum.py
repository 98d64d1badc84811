"""One-sided amplitude spectra, and what the lines of one that a sensor sent stand for."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.model.level import Detector
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


@dataclass(frozen=True, slots=True)
class LineForm:
    """What the lines of a spectrum stand for, as its sensor says."""

    quantity: Quantity
    """Acceleration, velocity or displacement."""
    detector: Detector
    """How the amplitude of a line is told: r.m.s., peak or peak-to-peak of the sine it stands for."""
    line_hz: float
    """Distance of two lines, above zero."""
    first_hz: float
    """Frequency of the first line sent, 0 or above."""
    noise_bandwidth_lines: float
    """Equivalent noise bandwidth of the window, in lines; 1 or above."""
    window: str = ""
    averages: int = 1
    is_float: bool = False
    """Lines are IEEE 754 binary32, else unsigned 16-bit numbers; little-endian."""

    @property
    def words(self) -> int:
        """Give how many 16-bit words a line takes."""
        return 2 if self.is_float else 1
