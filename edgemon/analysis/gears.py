"""What teeth say: the average turn of a shaft, what is left of it without its regular lines, and sidebands of the mesh.

All of it needs the shaft's angle only up to a constant: a steady speed, known to a fraction of a line, will do.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.spectrum import averaged_spectrum
from edgemon.errors import ParameterError

SHAFT_LINES = 3
"""Multiples of shaft speed that unbalance and alignment make on every shaft: regular."""
HIGHEST = 0.45
"""Of the sample rate: above it the sensor's filter has its say."""
SURROGATES = 99
"""Signals with the same lines and phases at random that the shape of the difference signal is compared with."""
REACH_LINES = 0.5
"""Distance, in lines of the average, at which a line of another shaft is told from the shaft's own."""


@dataclass(frozen=True, slots=True, eq=False)
class GearAverage:
    """The average turn of one shaft, and its difference signal: what remains without its regular lines."""

    average: NDArray[np.float64]
    """Shape (n,), from the first sample's angle on, unit of the samples."""
    difference: NDArray[np.float64]
    """Same shape: without mesh lines and their first sidebands, the first multiples of the shaft, and lines of other shafts."""
    turns: int
    """Whole revolutions averaged."""
    locked: float
    """Mean power of its lines over that of the lines between them: 1 where nothing is locked to this shaft."""
    fm4: float
    """Kurtosis of the difference signal: 3 for a gear whose teeth are alike, more where a few are not."""


def gear_average(
    samples: NDArray[np.floating],
    fs_hz: float,
    turn_hz: float,
    teeth: Sequence[int],
    others: Sequence[float] = (),
) -> GearAverage:
    """Average the turns of a shaft and take the difference signal of its gears.

    Parameters
    ----------
    samples : array, shape (n,)
        Acceleration, any unit.
    fs_hz : float
        Sample rate.
    turn_hz : float
        Speed of the shaft.
    teeth : sequence of int
        Teeth of every gear on the shaft, 3 or more each.
    others : sequence of float
        Speeds of other shafts, in multiples of this one: where a multiple of theirs falls on one of this shaft's, the average
        holds both, and neither tells of the gear.

    Raises
    ------
    ParameterError
        Fewer than two turns, no gear, or a sample rate below twice the highest mesh line.

    Notes
    -----
    The multiples of shaft speed of the Fourier transform of whole turns are those of the average turn: no resampling, and no
    more error at the n-th than a turn's share of half a sample. FM4 is the fourth moment of the
    difference signal over its variance squared.
    Source: R. M. Stewart, Some Useful Data Analysis Techniques for Gearbox Diagnostics, Univ. of Southampton (1977);
    J. J. Zakrajsek, NASA TM-102340 (1989); P. Vecer, M. Kreidl, R. Smid, Acta Polytechnica 45 (2005) (all from memory).
    """
    wave = np.asarray(samples, np.float64)
    turns = int(wave.size * turn_hz / fs_hz)
    highest = int(HIGHEST * fs_hz / turn_hz)
    if not teeth or min(teeth) < 3 or highest <= max(teeth):
        raise ParameterError(f"gears of {list(teeth)} teeth at {turn_hz:g} Hz", "teeth", f"a mesh below {HIGHEST:g} fs")
    if turns < 2:
        raise ParameterError("fewer than two turns of the gear", "samples", f"{wave.size * turn_hz / fs_hz:.3g} in the record")
    used = round(turns * fs_hz / turn_hz)
    spectrum = np.fft.rfft(wave[:used] - wave[:used].mean()) / used
    lines = spectrum[: turns * highest + 1 : turns]
    per = 2 * highest + 2
    average = np.fft.irfft(lines, per) * per
    regular = is_regular(lines.size, teeth, others)
    kept = np.where(regular, 0.0, lines)
    locked = _locked(np.abs(spectrum[: turns * highest]) ** 2, turns, ~regular)
    difference = np.fft.irfft(kept, per) * per
    return GearAverage(average, difference, turns, locked, kurtosis(difference))


def _locked(power: NDArray[np.float64], turns: int, wanted: NDArray[np.bool_]) -> float:
    """Compare wanted multiples of the shaft with the lines between them: what is not locked to it is as strong there."""
    rows = power.reshape(-1, turns)
    wanted = wanted[: rows.shape[0]]
    if not wanted.any() or turns < 4:
        return 0.0
    return float(rows[wanted, 0].mean()) / max(float(rows[wanted, 2:-1].mean()), 1e-300)


def is_regular(count: int, teeth: Iterable[int], others: Iterable[float] = ()) -> NDArray[np.bool_]:
    """Say which of `count` multiples of a shaft, from 0 on, tell nothing of single teeth."""
    regular = np.zeros(count, np.bool_)
    regular[: SHAFT_LINES + 1] = True
    for mesh in teeth:
        for line in range(mesh, count, mesh):
            regular[line - 1 : line + 2] = True
    at = np.arange(count)
    for ratio in others:
        if abs(1.0 / ratio - round(1.0 / ratio)) < REACH_LINES / count and ratio < 1.0:
            continue  # all multiples of this shaft are also that one's: nothing could be told apart
        regular |= np.abs(at - ratio * np.rint(at / ratio)) * 2.0 < REACH_LINES * min(1.0, ratio)
    return regular


def kurtosis(signal: NDArray[np.floating]) -> float:
    """Fourth moment over variance squared; 3 for Gaussian noise, 0 for a signal that is nothing."""
    power = np.asarray(signal, np.float64) ** 2
    mean = float(power.mean())
    return float((power**2).mean()) / mean**2 if mean > 0.0 else 0.0


def na4(residual: NDArray[np.floating], variances: Sequence[float]) -> float:
    """Give NA4: fourth moment of a residual signal over the squared mean variance of those of the baseline.

    Parameters
    ----------
    residual : array, shape (n,)
        Of the gear now.
    variances : sequence of float
        Of the same signal in the baseline's captures, one or more, above zero.

    Raises
    ------
    ParameterError
        No variance, or none above zero.

    Notes
    -----
    3 for a gear as it was; it rises with the square of the residual's power, while FM4 falls back to 3 as damage spreads.
    Source: J. J. Zakrajsek, D. P. Townsend, H. J. Decker, NASA TM-105950 (1993) (from memory).
    """
    mean = math.fsum(variances) / len(variances) if len(variances) else 0.0
    if not mean > 0.0:
        raise ParameterError("no residual of a baseline", "variances", "one or more, above zero")
    signal = np.asarray(residual, np.float64)
    return float(((signal - signal.mean()) ** 4).mean()) / mean**2


def by_chance(turn: GearAverage) -> float:
    """Give the share of signals of the same lines, their phases at random, whose kurtosis is as high as FM4.

    The phases alone make a blow of a set of lines. 1 / (SURROGATES + 1) at least.

    Notes
    -----
    Source: J. Theiler et al., Physica D 58 (1992) 77-94 (surrogate data, from memory).
    """
    per = turn.difference.size
    size = np.abs(np.fft.rfft(turn.difference))
    phases = np.exp(2j * np.pi * np.random.default_rng(per).random((SURROGATES, size.size)))
    signals = np.fft.irfft(size * phases, per, axis=1)
    power = signals**2
    mean = power.mean(axis=1)
    high = np.einsum("ij,ij->i", power, power) / per >= turn.fm4 * mean**2
    return (1 + int(np.count_nonzero(high & (mean > 0.0)))) / (1 + SURROGATES)


@dataclass(frozen=True, slots=True, eq=False)
class Sidebands:
    """R.m.s. amplitudes about the mesh of one gear; unit of the samples."""

    mesh: NDArray[np.float64]
    """Of each harmonic of the mesh, shape (harmonics,)."""
    sides: NDArray[np.float64]
    """Shape (harmonics, 2 * reach): from -reach to +reach turns of the gear, the mesh line itself left out."""
    floor: float
    """Median of the lines between first and last."""
    elsewhere: NDArray[np.float64]
    """Sums of the logarithms of what such sidebands have over the floor at distances that are no part of a turn of the gear."""

    @property
    def above(self) -> NDArray[np.float64]:
        """Sidebands over the floor."""
        return np.asarray(self.sides / max(self.floor, 1e-300))


TURNS_IN_WINDOW = 10
"""Turns of the shaft in a window: its multiples fall on lines, and sidebands lie that many lines apart."""


LOBE = 2
"""Lines to either side that a line reaches under the Hann window."""


def sidebands(
    samples: NDArray[np.floating], fs_hz: float, turn_hz: float, teeth: int, harmonics: int = 3, reach: int = 4
) -> Sidebands:
    """Take the sidebands at the speed of one gear about the harmonics of its mesh.

    Parameters
    ----------
    turn_hz : float
        Speed of the gear.
    teeth : int
        Its teeth: the mesh is at so many orders.
    harmonics, reach : int
        Harmonics of the mesh, as many as the record holds; sidebands to either side.

    Raises
    ------
    ParameterError
        The mesh lies beyond the record, or the record is shorter than a window of ten turns.
    """
    held = min(harmonics, int((HIGHEST * fs_hz / turn_hz - reach) // teeth))
    size = round(TURNS_IN_WINDOW * fs_hz / turn_hz)
    if held < 1 or teeth <= reach:
        raise ParameterError(f"mesh of {teeth} teeth at {turn_hz:g} Hz", "teeth", f"within {HIGHEST:g} of the sample rate")
    wave = np.asarray(samples, np.float64)
    found = averaged_spectrum(wave - wave.mean(), fs_hz, size).amplitude.astype(np.float64)
    centres = teeth * np.arange(1, held + 1)
    steps = np.concatenate((np.arange(-reach, 0), np.arange(1, reach + 1)))
    at = TURNS_IN_WINDOW * (centres[:, None] + steps)
    between = found[TURNS_IN_WINDOW * (teeth - reach) : TURNS_IN_WINDOW * (int(centres[-1]) + reach) + 1]
    floor = float(np.median(between))
    shifted = [found[at + sign * shift] for shift in range(LOBE + 1, TURNS_IN_WINDOW - LOBE) for sign in (-1, 1)]
    elsewhere = [float(np.log(np.maximum(one / max(floor, 1e-300), 1.0)).sum()) for one in shifted]
    return Sidebands(found[TURNS_IN_WINDOW * centres], found[at], floor, np.array(elsewhere))


ABOVE_FLOOR = 3.0
"""Times the floor, now or in the baseline, from which a sideband is compared. House choice."""
FEWEST_LINES = 4


def change_db(now: Sidebands, then: Sidebands) -> tuple[float, float, int] | None:
    """Say how far the sidebands of a gear have moved from a baseline, whichever way.

    Returns
    -------
    (moved, direction, count) or None
        Median of the absolute changes and of the changes, dB, and the sidebands compared; None where too few stand out.
    """
    rows = min(now.sides.shape[0], then.sides.shape[0])
    seen = np.maximum(now.above[:rows], then.above[:rows]) >= ABOVE_FLOOR
    if np.count_nonzero(seen) < FEWEST_LINES:
        return None
    ratio = np.maximum(now.sides[:rows][seen], 1e-300) / np.maximum(then.sides[:rows][seen], 1e-300)
    db = 20.0 * np.log10(ratio)
    return float(np.median(np.abs(db))), float(np.median(db)), int(seen.sum())
