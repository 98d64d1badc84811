"""Levels of the whole measured band, from the lowest resolved line to half the sample rate; mean removed."""

import math

from edgemon.analysis.block import NAN, Figures


def acceleration_rms(figures: Figures) -> float:
    """R.m.s. acceleration, counts."""
    return math.sqrt(figures.second)


def acceleration_peak(figures: Figures) -> float:
    """Largest sample without its sign, counts: a true peak, not one derived from the r.m.s. value."""
    return max(figures.top - figures.mean, figures.mean - figures.bottom)


def crest_factor(figures: Figures) -> float:
    """Peak over r.m.s. acceleration; not a number where nothing moves."""
    return acceleration_peak(figures) / math.sqrt(figures.second) if figures.second > 0.0 else NAN


def kurtosis(figures: Figures) -> float:
    """Fourth moment over the square of the second (Pearson's, 3 for Gaussian noise); not a number where nothing moves."""
    return figures.fourth / figures.second**2 if figures.second > 0.0 else NAN
