"""The band-limiting of a vibration-severity measurement: third-order Butterworth edges inside the standard's mask."""

import numpy as np
from numpy.typing import NDArray

from edgemon.model.level import Band

ORDER = 3
"""Order of both edges. Source: ISO 2954:2012 (third-order Butterworth high-pass and low-pass), as summarised publicly."""
EDGE_GAIN = 0.9
"""Gain at the band's edges: the middle between the mask's 0.8 and its nominal 1.0. A corner (0.707) put *at* the edge
fails the mask. Source: relative sensitivity 0.8 to 1.1 at 10 Hz and 1000 Hz, ISO 2954:1975 as reproduced in instruction
manuals of vibration meters."""
CORNER = (1.0 / EDGE_GAIN**2 - 1.0) ** (1.0 / (2 * ORDER))
"""Corner over edge of the high-pass; edge over corner of the low-pass: 0.785, so 7.85 Hz and 1273 Hz for 10-1000 Hz."""


LOWEST_HZ = 1e-9
"""Below it nothing passes, and its powers would not be numbers any more: a period of thirty years."""


def band_gain(f_hz: NDArray[np.float64], band: Band) -> NDArray[np.float64]:
    """Give the gain of the band at frequencies above zero.

    Parameters
    ----------
    f_hz : array
        Frequencies, all above zero.
    band : Band
        Edges at which the gain is 0.9; a lower edge of zero means no high-pass.

    Returns
    -------
    array
        Gain, shape of `f_hz`, between 0 and 1; no phase.
    """
    high_pass = 1.0 + (band.low_hz * CORNER / np.maximum(f_hz, LOWEST_HZ)) ** (2 * ORDER)
    low_pass = 1.0 + (f_hz * CORNER / band.high_hz) ** (2 * ORDER)
    return np.asarray(1.0 / np.sqrt(high_pass * low_pass))
