"""How a spectrum is set up and read: lines and highest frequency, kinds of amplitude, kinds of axis."""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from edgemon.errors import ParameterError
from edgemon.model.level import Detector
from edgemon.model.spectrum import Spectrum

RATE_OVER_HIGHEST = 2.56
"""Sample rate over highest frequency shown. Source: convention of the trade; leaves room for the anti-alias filter."""


class Axis(StrEnum):
    """What frequencies are counted in."""

    HZ = "Hz"
    CPM = "CPM"
    ORDERS = "orders"


@dataclass(frozen=True, slots=True)
class Resolution:
    """What a number of lines up to a highest frequency needs: N = 2.56 L samples in T = L / Fmax."""

    highest_hz: float
    lines: int

    def __post_init__(self) -> None:
        """Refuse what no measurement can be."""
        if not (math.isfinite(self.highest_hz) and self.highest_hz > 0.0):
            raise ParameterError(f"highest frequency {self.highest_hz:g} Hz", "highest_hz", "above zero")
        if self.lines < 1:
            raise ParameterError(f"{self.lines} lines", "lines", "1 or more")

    @property
    def samples(self) -> int:
        """Samples of one window."""
        return math.ceil(RATE_OVER_HIGHEST * self.lines - 1e-9)

    @property
    def fs_hz(self) -> float:
        """Least sample rate."""
        return RATE_OVER_HIGHEST * self.highest_hz

    @property
    def duration_s(self) -> float:
        """Length of one window."""
        return self.lines / self.highest_hz

    @property
    def line_hz(self) -> float:
        """Distance of two lines."""
        return self.highest_hz / self.lines


def shown(spectrum: Spectrum, highest_hz: float) -> Spectrum:
    """Give the lines up to a highest frequency, which a sample rate of 2.56 times it leaves free of aliases."""
    count = math.floor(highest_hz / spectrum.line_hz + 1e-9) + 1
    return Spectrum(spectrum.amplitude[:count], spectrum.line_hz, spectrum.quantity, spectrum.noise_bandwidth_lines)


def amplitude_as(spectrum: Spectrum, detector: Detector) -> NDArray[np.float32]:
    """Give the amplitudes as r.m.s., peak or peak-to-peak values of the sine that each line stands for.

    Notes
    -----
    Peaks of a line are derived from its r.m.s. value, by the square root of 2: true of a sine only, never of a waveform.
    The line at 0 Hz is a constant, of which r.m.s. and peak are the same; so is the one at half an even record's rate.

    Raises
    ------
    ParameterError
        A detector that is none of the three.
    """
    factor = {Detector.RMS: 1.0, Detector.PEAK: math.sqrt(2.0), Detector.PEAK_TO_PEAK: 2.0 * math.sqrt(2.0)}.get(detector)
    if factor is None:
        raise ParameterError(f"a line has no {detector}", "detector", "r.m.s., peak or peak-to-peak")
    return np.asarray(spectrum.amplitude * np.float32(factor))


def frequencies(spectrum: Spectrum, axis: Axis = Axis.HZ, rpm: float | None = None) -> NDArray[np.float64]:
    """Give the place of each line in Hz, cycles per minute, or multiples of running speed; shape of the amplitudes.

    Raises
    ------
    ParameterError
        Orders without a speed above zero.
    """
    hz: NDArray[np.float64] = spectrum.line_hz * np.arange(spectrum.amplitude.size, dtype=np.float64)
    match axis:
        case Axis.HZ:
            return hz
        case Axis.CPM:
            return 60.0 * hz
        case Axis.ORDERS:
            if rpm is None or not rpm > 0.0:
                raise ParameterError("orders need a running speed", "rpm", "above zero, r/min")
            return 60.0 * hz / rpm
