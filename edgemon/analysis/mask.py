"""A limit for every line, learned from spectra taken while the machine was known to be well."""

from collections.abc import Sequence

import numpy as np

from edgemon.errors import ParameterError
from edgemon.model.spectrum import Spectrum

SPREAD = 1
"""Lines to either side over which the highest counts: speed differs a little from capture to capture."""


def learn_mask(spectra: Sequence[Spectrum], factor: float, floor: float) -> Spectrum:
    """Make a mask: so many times the highest that each line and its neighbours ever were, and never below a floor.

    Parameters
    ----------
    spectra : sequence of Spectrum
        Approved as normal; of one quantity, length and distance of lines.
    factor : float
        Times the highest normal amplitude, above zero; 2 to 2.5 is common practice (no source).
    floor : float
        Least value of the mask, above zero, house's unit: lines that were nothing are not judged by nothing.

    Returns
    -------
    Spectrum
        The mask, of the spectra's quantity and lines.

    Raises
    ------
    ParameterError
        No spectra, spectra that differ in kind, factor or floor not above zero.
    """
    if not spectra:
        raise ParameterError("no spectra to learn from", "spectra", "one or more")
    if not (factor > 0.0 and floor > 0.0):
        raise ParameterError(f"factor {factor:g}, floor {floor:g}", "factor, floor", "both above zero")
    for one in spectra[1:]:
        _same_kind(one, spectra[0])
    highest = np.max([one.amplitude for one in spectra], axis=0)
    wide = np.pad(highest, SPREAD, mode="edge")
    spread = np.lib.stride_tricks.sliding_window_view(wide, 2 * SPREAD + 1).max(axis=1)
    first = spectra[0]
    limit = np.maximum(spread * factor, floor).astype(np.float32)
    return Spectrum(limit, first.line_hz, first.quantity, first.noise_bandwidth_lines)


def excess(spectrum: Spectrum, mask: Spectrum) -> tuple[float, float]:
    """Give the worst ratio of a spectrum to its mask, and the frequency where it is; above 1 the mask is exceeded.

    Returns
    -------
    (ratio, hz)
        The line at 0 Hz is not judged: it is the sensor's offset.

    Raises
    ------
    ParameterError
        Spectrum and mask differ in kind, or have no line above 0 Hz.
    """
    _same_kind(spectrum, mask)
    if spectrum.amplitude.size < 2:
        raise ParameterError("a spectrum of no line above 0 Hz", "spectrum", "two lines or more")
    ratio = spectrum.amplitude[1:] / mask.amplitude[1:]
    at = int(ratio.argmax())
    return float(ratio[at]), (at + 1) * spectrum.line_hz


def _same_kind(one: Spectrum, other: Spectrum) -> None:
    if one.quantity is not other.quantity:
        raise ParameterError(f"a spectrum of {one.quantity} beside one of {other.quantity}", "spectrum", "one quantity")
    if one.amplitude.size != other.amplitude.size or abs(one.line_hz - other.line_hz) > 1e-9 * other.line_hz:
        raise ParameterError(
            f"{one.amplitude.size} lines of {one.line_hz:g} Hz beside {other.amplitude.size} of {other.line_hz:g} Hz",
            "spectrum",
            "the same lines",
        )
