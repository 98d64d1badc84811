"""How a spectrum is read: highest frequency, kinds of axis."""

import math
from enum import StrEnum

from edgemon.model.spectrum import Spectrum

RATE_OVER_HIGHEST = 2.56
"""Sample rate over highest frequency shown. Source: convention of the trade; leaves room for the anti-alias filter."""


class Axis(StrEnum):
    """What frequencies are counted in."""

    HZ = "Hz"
    CPM = "CPM"
    ORDERS = "orders"


def shown(spectrum: Spectrum, highest_hz: float) -> Spectrum:
    """Give the lines up to a highest frequency, which a sample rate of 2.56 times it leaves free of aliases."""
    count = math.floor(highest_hz / spectrum.line_hz + 1e-9) + 1
    return Spectrum(spectrum.amplitude[:count], spectrum.line_hz, spectrum.quantity, spectrum.noise_bandwidth_lines)
