"""The band's edges against ISO 2954, against SciPy's analogue filters, and in fifty digits."""

import math
from decimal import Decimal, getcontext

import numpy as np
import pytest
import scipy.signal

from edgemon.analysis.weighting import band_gain
from edgemon.model.level import Band

# Relative sensitivity, ISO 2954:1975, as reproduced in the manual of a general vibration meter: f, least, most
MASK = [(10, 0.8, 1.1), (20, 0.9, 1.1), (40, 0.9, 1.1), (80, 1.0, 1.0), (160, 0.9, 1.1), (500, 0.9, 1.1), (1000, 0.8, 1.1)]
USUAL = Band(10.0, 1000.0)


def gain(f_hz: float, band: Band = USUAL) -> float:
    return float(band_gain(np.array([f_hz], np.float64), band)[0])


@pytest.mark.parametrize(("f_hz", "least", "most"), MASK)
def test_gain_lies_in_the_mask_of_the_standard(f_hz: float, least: float, most: float) -> None:
    assert least - 1e-4 <= gain(f_hz) / gain(80.0) <= most + 1e-4


def test_the_two_reference_frequencies_read_the_same() -> None:
    # 79.4 Hz in the 2012 edition of ISO 2954, 80 Hz in that of 1975
    assert gain(79.4) == pytest.approx(1.0, abs=1e-4)
    assert gain(80.0) == pytest.approx(gain(79.4), abs=1e-5)


def test_corners_are_those_of_a_third_order_that_passes_nine_tenths_at_the_edges() -> None:
    # f_edge (1 / g^2 - 1)^(+-1 / 6) for g = 0.9: 7.853 and 1273.4 Hz (recomputed)
    for corner in (7.853, 1273.4):
        assert gain(corner) == pytest.approx(math.sqrt(0.5), abs=1e-3)
        assert gain(corner) < 0.8  # a corner put at the band's edge would fail the mask
    assert (gain(10.0), gain(1000.0)) == pytest.approx((0.9, 0.9), abs=1e-5)


@pytest.mark.parametrize("band", [USUAL, Band(2.0, 1000.0), Band(10.0, 5000.0)])
def test_both_edges_are_third_order_butterworth(band: Band) -> None:
    """ISO 2954:2012 names third-order Butterworth filters at both edges; SciPy's analogue prototypes as second method."""
    f = np.geomspace(0.3, 20000.0, 300)
    moved = (1.0 / 0.81 - 1.0) ** (1.0 / 6.0)
    high_pass = scipy.signal.butter(3, 2.0 * np.pi * band.low_hz * moved, "highpass", analog=True)
    low_pass = scipy.signal.butter(3, 2.0 * np.pi * band.high_hz / moved, "lowpass", analog=True)
    both = [np.abs(scipy.signal.freqs(*one, worN=2.0 * np.pi * f)[1]) for one in (high_pass, low_pass)]
    np.testing.assert_allclose(band_gain(f, band), both[0] * both[1], rtol=1e-9)


def test_in_fifty_digits() -> None:
    getcontext().prec = 50
    corner = (1 / Decimal("0.81") - 1) ** (Decimal(1) / 6)
    for f_hz in ("0.5", "2", "7.853", "10", "79.4", "159.155", "1000", "1273.4", "3999"):
        f = Decimal(f_hz)
        exact = 1 / ((1 + (10 * corner / f) ** 6) * (1 + (f * corner / 1000) ** 6)).sqrt()
        assert gain(float(f_hz)) == pytest.approx(float(exact), rel=1e-13)


def test_an_edge_at_zero_passes_everything_slow() -> None:
    assert gain(1e-3, Band(0.0, 1000.0)) == pytest.approx(1.0, abs=1e-12)
