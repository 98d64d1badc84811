"""How far vectors of vibration have moved where the phase of the shaft is not known: never less than so much."""

import math

import numpy as np
from numpy.typing import NDArray

from edgemon.errors import ParameterError

Vectors = NDArray[np.complex128]


def least_change(now: Vectors, then: Vectors) -> float:
    """Give the least magnitude of the change of several vectors that were measured together.

    Parameters
    ----------
    now, then : array, shape (axes,)
        Amplitude and phase of one line in each axis, any unit; the phases of one record against each other are known, but not
        where the shaft stood when it began: all of `now` may be turned against `then` by one angle.

    Returns
    -------
    float
        Root of the sum of squares over the axes, at the angle at which it is least. Of one axis alone it is the change of its
        size; whatever the angle was, the true change is no less.

    Raises
    ------
    ParameterError
        Shapes that differ, or no axis.

    Notes
    -----
    |now e^(j t) - then|^2 = |now|^2 + |then|^2 - 2 Re(e^(j t) <then, now>), least where the last term is |<then, now>|.
    Source: closed form; that the magnitude of the change of the vector counts, not the change of its magnitude:
    ISO 20816-1:2016, 6.3.3 and Annex D (at second hand).
    """
    if now.shape != then.shape or now.ndim != 1 or not now.size:
        raise ParameterError(f"vectors of shapes {now.shape} and {then.shape}", "now, then", "(axes,) each")
    whole = float(np.vdot(now, now).real + np.vdot(then, then).real)
    return math.sqrt(max(0.0, whole - 2.0 * float(abs(np.vdot(then, now)))))
