"""Cepstrum pre-whitening: making a waveform's spectrum flat, so that no tone hides the impacts."""

import numpy as np
from numpy.typing import NDArray


def prewhitened(lines: NDArray[np.complexfloating]) -> NDArray[np.complex128]:
    """Give every line of a transform the size 1 and keep its phase: cepstrum pre-whitening.

    Parameters
    ----------
    lines : complex array, shape (..., n_lines)
        One-sided transform of a real waveform.

    Returns
    -------
    complex array, same shape
        Lines of size 1; a line that was exactly zero stays zero. The waveform made of them has an r.m.s. of 1/sqrt(n).

    Notes
    -----
    Setting the whole real cepstrum to zero, except at zero quefrency, leaves a transform of size 1.
    Source: P. Borghesani et al., Mech. Syst. Signal Process. 36 (2013) 370-384 (from memory); recomputed.
    """
    size = np.abs(lines)
    return np.asarray(np.divide(lines, size, out=np.zeros(lines.shape, np.complex128), where=size > 0.0))
