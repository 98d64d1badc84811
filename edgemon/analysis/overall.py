"""Levels of the whole measured band, from the lowest resolved line to half the sample rate; mean removed."""

import numpy as np

from edgemon.analysis.block import Block, Rows


def acceleration_rms(block: Block) -> Rows:
    """R.m.s. acceleration, counts."""
    return np.sqrt(block.second)


def acceleration_peak(block: Block) -> Rows:
    """Largest sample without its sign, counts: a true peak, not one derived from the r.m.s. value."""
    peak: Rows = np.maximum(block.top - block.mean, block.mean - block.bottom)
    return peak


def crest_factor(block: Block) -> Rows:
    """Peak over r.m.s. acceleration; not a number where nothing moves."""
    return acceleration_peak(block) / _moving(acceleration_rms(block))


def kurtosis(block: Block) -> Rows:
    """Fourth moment over the square of the second (Pearson's, 3 for Gaussian noise); not a number where nothing moves."""
    return block.fourth / _moving(block.second * block.second)


def _moving(value: Rows) -> Rows:
    return np.where(value > 0.0, value, np.float32(np.nan))
