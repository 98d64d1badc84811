"""Levels in a band of a spectrum."""

import math

import numpy as np

from edgemon.errors import ParameterError
from edgemon.model.spectrum import Spectrum


def band_rms(spectrum: Spectrum, low_hz: float, high_hz: float) -> float:
    """R.m.s. of the part of a spectrum between two frequencies.

    Parameters
    ----------
    spectrum : Spectrum
        One-sided, r.m.s. amplitude, shape (n_lines,), house's unit of its quantity.
    low_hz, high_hz : float
        Edges in Hz, low included, high excluded; 0 <= low_hz < high_hz. A band that ends at or above the last line
        includes that line.

    Returns
    -------
    float
        R.m.s. in the house's unit of the spectrum's quantity; zero where no line lies in the band.

    Raises
    ------
    ParameterError
        Edges out of order, or the lower one above the last line.

    Notes
    -----
    Root of the sum of squares, over the window's noise bandwidth in lines.
    Source: F. J. Harris, Proc. IEEE 66 (1978) 51-83.
    """
    if not 0.0 <= low_hz < high_hz:
        raise ParameterError(f"band {low_hz:g}-{high_hz:g} Hz", "low_hz, high_hz", "0 <= low < high")
    last = spectrum.amplitude.size - 1
    first = low_hz / spectrum.line_hz
    if first > last + 1e-9:
        raise ParameterError(f"lower edge {low_hz:g} Hz", "low_hz", f"the spectrum ends at {last * spectrum.line_hz:g} Hz")
    end = min(high_hz / spectrum.line_hz, last + 1.0)
    # edges given in Hz often mean a line exactly: a billionth of a line decides nothing
    lines = spectrum.amplitude[math.ceil(first - 1e-9) : math.ceil(end - 1e-9)].astype(np.float64)
    return math.sqrt(float(np.dot(lines, lines)) / spectrum.noise_bandwidth_lines)
