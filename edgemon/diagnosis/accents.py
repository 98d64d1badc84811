"""Rhythms that fall on a multiple of shaft speed: what that one has over the others."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

LOWEST = 3
"""Least multiple that has two neighbours on either side."""
PLACE = 2
"""Lines to either side of where a multiple should be: the speed is read to a line or so."""


@dataclass(frozen=True, slots=True)
class Accent:
    """One multiple of shaft speed that the envelope stresses."""

    depth: float
    """Of its line, in the spectrum where it is weaker."""
    dominance: float
    """Over the largest of the other multiples up to twice its own, in the spectrum where it fares worse."""


def accent(depth: NDArray[np.float64], lines_a_turn: float, order: int) -> Accent | None:
    """Look for a stress on one multiple of shaft speed.

    Parameters
    ----------
    depth : array, shape (spectra, lines)
        Modulation depth of each line, those of the shaft among them.
    lines_a_turn : float
        Shaft speed, lines.
    order : int
        The multiple, 3 or more.

    Returns
    -------
    Accent or None
        None where the multiple, or twice it, does not exceed the two next to it on either side, in every spectrum: rows of
        multiples that fall evenly are what a blow at each turn makes.
    """
    at = np.rint(np.arange(1, 2 * order + 3) * lines_a_turn).astype(np.int64)
    if order < LOWEST or not len(depth) or at[0] <= 2 * PLACE or at[-1] + PLACE >= depth.shape[1]:
        return None
    size = np.array([depth[:, at + step] for step in range(-PLACE, PLACE + 1)]).max(axis=0)
    for middle in (order, 2 * order):
        beside = size[:, [middle - 3, middle - 2, middle, middle + 1]].max(axis=1)
        if bool((size[:, middle - 1] <= beside).any()):
            return None
    own = size[:, [order - 1, 2 * order - 1]].max(axis=1)
    others = np.delete(size[:, : 2 * order + 1], [order - 1, 2 * order - 1], axis=1).max(axis=1)
    return Accent(float(own.min()), float((own / np.maximum(others, np.finfo(float).tiny)).min()))
