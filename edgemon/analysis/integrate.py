"""From acceleration to velocity and displacement, by division by j omega; levels in the point's band."""

import math

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.block import Figures
from edgemon.analysis.weighting import band_gain
from edgemon.errors import ParameterError
from edgemon.model.level import Band
from edgemon.model.spectrum import Spectrum
from edgemon.units import Quantity

_NEXT = {Quantity.ACCELERATION: Quantity.VELOCITY, Quantity.VELOCITY: Quantity.DISPLACEMENT}


def velocity_rms(figures: Figures) -> float:
    """R.m.s. velocity in the point's band, counts s."""
    return math.sqrt(figures.velocity_square)


def velocity_peak(figures: Figures) -> float:
    """Largest velocity without its sign, counts s: a true peak of the band-limited waveform between the record's edges."""
    return max(figures.velocity_top, -figures.velocity_bottom)


def displacement_pp(figures: Figures) -> float:
    """Highest less lowest displacement, counts s^2: true peak-to-peak of the band-limited waveform between the edges."""
    return figures.displacement_top - figures.displacement_bottom


def integrated(spectrum: Spectrum, band: Band | None = None) -> Spectrum:
    """Integrate a spectrum once: acceleration to velocity, velocity to displacement.

    Parameters
    ----------
    spectrum : Spectrum
        Of acceleration or velocity.
    band : Band, optional
        Band whose edges weight the lines, as for the velocity levels; none leaves every line but the first as it is.

    Returns
    -------
    Spectrum
        Each line over 2 pi f; the line at 0 Hz is zero.

    Raises
    ------
    ParameterError
        A quantity that has no integral here.
    """
    if spectrum.quantity not in _NEXT:
        raise ParameterError(f"a spectrum of {spectrum.quantity} cannot be integrated", "spectrum", "acceleration or velocity")
    f: NDArray[np.float64] = spectrum.line_hz * np.arange(1, spectrum.amplitude.size, dtype=np.float64)
    weight: NDArray[np.float64] = 1.0 / (2.0 * np.pi * f)
    if band is not None:
        weight = weight * band_gain(f, band)
    amplitude = np.zeros_like(spectrum.amplitude)
    amplitude[1:] = spectrum.amplitude[1:] * weight
    return Spectrum(amplitude, spectrum.line_hz, _NEXT[spectrum.quantity], spectrum.noise_bandwidth_lines)
