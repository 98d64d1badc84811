"""A waveform as another quantity, and as columns of a picture."""

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from edgemon.analysis.prepare import plan_for
from edgemon.analysis.weighting import band_gain
from edgemon.errors import ParameterError
from edgemon.model.level import LEVEL_KINDS, Band, Level
from edgemon.units import Quantity

STEPS = {Quantity.ACCELERATION: 0, Quantity.VELOCITY: 1, Quantity.DISPLACEMENT: 2}
"""How often acceleration is integrated to give each."""


def as_waveform(
    samples: NDArray[np.floating], fs_hz: float, measured: Quantity, wanted: Quantity, band: Band
) -> tuple[NDArray[np.float64], int]:
    """Give a waveform as another quantity, in a band.

    Parameters
    ----------
    samples : array, shape (n,)
        House's unit of `measured`.
    fs_hz : float
        Sample rate.
    measured, wanted : Quantity
        Acceleration, velocity or displacement.
    band : Band
        Its edges weight the lines as for the velocity levels.

    Returns
    -------
    (waveform, first)
        The stretch between the record's edges, house's unit of `wanted`, and the number of its first sample. At each edge
        about one period of the band's lower edge, a quarter of the record at most, is used up: integration would turn the
        jump between a record's end and its beginning into a wave larger than the vibration.

    Raises
    ------
    ParameterError
        Record too short, or too slow, for the band.
    """
    n = samples.shape[-1]
    plan = plan_for(n, fs_hz, band, None)
    if plan.velocity is None or band.low_hz <= 0.0:
        raise ParameterError(f"no {wanted} in {band} of this record", "band", "; ".join(plan.remarks) or "edges above 0 Hz")
    taper = plan.window.astype(np.float64)
    wave = np.asarray(samples, np.float64)
    wave = (wave - np.dot(wave, taper) / taper.sum()) * taper
    lines = scipy.fft.rfft(wave)
    f: NDArray[np.float64] = fs_hz / n * np.arange(1, lines.size, dtype=np.float64)
    lines[0] = 0.0
    lines[1:] *= band_gain(f, band) * (2j * np.pi * f) ** (STEPS[measured] - STEPS[wanted])
    if n % 2 == 0:
        lines[-1] = 0.0  # the line at half the rate has no phase
    inside = np.flatnonzero(taper >= 1.0 - 1e-6)
    first, last = int(inside[0]), int(inside[-1])
    return np.asarray(scipy.fft.irfft(lines, n)[first : last + 1]), first


def levels_of_velocity(samples: NDArray[np.floating], fs_hz: float, band: Band) -> tuple[Level, ...]:
    """Give the levels that a waveform of velocity tells: of the same band and detectors as those made of acceleration.

    Parameters
    ----------
    samples : array, shape (n,)
        m/s.
    fs_hz, band
        Sample rate; band whose edges weight the lines.

    Raises
    ------
    ParameterError
        As of `as_waveform`.
    """
    velocity, displacement = (
        as_waveform(samples, fs_hz, Quantity.VELOCITY, quantity, band)[0]
        for quantity in (Quantity.VELOCITY, Quantity.DISPLACEMENT)
    )
    values = {
        "velocity_rms": float(np.sqrt(np.mean(velocity**2))),
        "velocity_peak": float(np.abs(velocity).max()),
        "displacement_pp": float(np.ptp(displacement)),
    }
    kinds = [(LEVEL_KINDS[name], value) for name, value in values.items()]
    return tuple(Level(kind.name, value, kind.quantity, kind.detector, band) for kind, value in kinds)


def columns(samples: NDArray[np.floating], most: int) -> tuple[NDArray[np.float64], NDArray[np.float64], int]:
    """Give the lowest and the highest value in each of at most so many columns of like width, and that width in samples.

    Raises
    ------
    ParameterError
        No samples, or no columns.
    """
    n = samples.shape[-1]
    if n < 1 or most < 1:
        raise ParameterError(f"{n} samples in {most} columns", "columns", "1 or more of both")
    width = -(-n // most)
    starts = np.arange(0, n, width)
    wave = np.asarray(samples, np.float64)
    return np.minimum.reduceat(wave, starts), np.maximum.reduceat(wave, starts), width
