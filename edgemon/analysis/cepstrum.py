"""The cepstrum, and what it is used for most: making a waveform's spectrum flat, so that no tone hides the impacts."""

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from edgemon.errors import ParameterError


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


def real_cepstrum(samples: NDArray[np.floating]) -> NDArray[np.float64]:
    """Give the real cepstrum: inverse transform of the logarithm of the size of a waveform's lines.

    Parameters
    ----------
    samples : array, shape (n,)
        Waveform, n >= 2.

    Returns
    -------
    array, shape (n // 2 + 1,)
        Quefrencies from 0 in steps of one sample; lines `d` Hz apart show at multiples of 1/d.

    Raises
    ------
    ParameterError
        Fewer than two samples.

    Notes
    -----
    Source: R. B. Randall, Mech. Syst. Signal Process. 97 (2017) 3-19 (from memory).
    """
    n = samples.shape[-1]
    if n < 2:
        raise ParameterError(f"a cepstrum of {n} samples", "samples", "2 or more")
    size = np.abs(scipy.fft.rfft(np.asarray(samples, np.float64)))
    floor = np.finfo(np.float64).tiny
    return np.asarray(scipy.fft.irfft(np.log(size + floor), n)[: n // 2 + 1])
