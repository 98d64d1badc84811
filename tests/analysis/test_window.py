"""Windows against F. J. Harris, Proc. IEEE 66 (1978) 51-83, Table 1, against closed forms, and against SciPy."""

from fractions import Fraction

import numpy as np
import pytest
import scipy.fft
import scipy.signal
from numpy.typing import NDArray

from edgemon.analysis.window import COSINES, window
from edgemon.errors import ParameterError


# Harris prints two decimals (rectangular, Hann); flat top: closed form from SciPy's coefficients.
@pytest.mark.parametrize(
    ("name", "gain", "bandwidth", "scallop_db"),
    [("rectangular", 1.0, 1.0, 3.9224), ("hann", 0.5, 1.5, 1.4236), ("flat-top", 0.2156, 3.7702, 0.0098)],
)
def test_figures_of_merit(name: str, gain: float, bandwidth: float, scallop_db: float) -> None:
    shape = window(name, 4096)
    assert shape.coherent_gain == pytest.approx(gain, abs=5e-5)
    assert shape.noise_bandwidth_lines == pytest.approx(bandwidth, abs=5e-5)
    half = np.abs(np.sum(shape.samples * np.exp(-1j * np.pi * np.arange(4096) / 4096))) / shape.samples.sum()
    assert -20.0 * np.log10(half) == pytest.approx(scallop_db, abs=1e-3)


@pytest.mark.parametrize("name", COSINES)
@pytest.mark.parametrize("n", [64, 100, 4096, 4097])
def test_closed_forms(name: str, n: int) -> None:
    terms = np.array(COSINES[name])
    shape = window(name, n)
    assert shape.coherent_gain == pytest.approx(terms[0], rel=1e-6)
    assert shape.noise_bandwidth_lines == pytest.approx(1.0 + 0.5 * np.sum((terms[1:] / terms[0]) ** 2), rel=1e-6)


# The terms typed again as decimals: noise bandwidth 1 + sum (a_k / a_0)^2 / 2 is a fraction, 3/2 for Hann
EXACT = {
    "rectangular": ("1",),
    "hann": ("0.5", "0.5"),
    "flat-top": ("0.21557895", "0.41663158", "0.277263158", "0.083578947", "0.006947368"),
}


@pytest.mark.parametrize("name", COSINES)
def test_figures_as_fractions(name: str) -> None:
    first, *others = (Fraction(term) for term in EXACT[name])
    bandwidth = 1 + sum(((term / first) ** 2 for term in others), Fraction(0)) / 2
    shape = window(name, 1024)
    assert shape.coherent_gain == pytest.approx(float(first), rel=1e-12)
    assert shape.noise_bandwidth_lines == pytest.approx(float(bandwidth), rel=1e-12)
    assert (name == "hann") == (bandwidth == Fraction(3, 2))


def transform(name: str, dense: int = 256) -> NDArray[np.float64]:
    """Size of a window's transform in dB under its top, `dense` values a line; a padded sum of SciPy's transform."""
    shape = window(name, 512).samples
    size = np.abs(scipy.fft.rfft(shape, 512 * dense))[: 40 * dense] / shape.sum()
    return np.asarray(20.0 * np.log10(np.maximum(size, 1e-9)))


# Widths of the main lobe 3 and 6 dB down, in lines, and highest side lobe, dB: Harris (1978) prints 0.89 1.21 -13 and
# 1.44 2.00 -32 (0.886 1.207 -13.3 and 1.441 2.000 -31.5 recomputed); flat top not in Harris, recomputed from its terms.
LOBES = [("rectangular", 0.886, 1.207, -13.3), ("hann", 1.441, 2.000, -31.5), ("flat-top", 3.725, 4.583, -93.0)]


@pytest.mark.parametrize(("name", "three_db", "six_db", "side_db"), LOBES)
def test_main_and_side_lobes(name: str, three_db: float, six_db: float, side_db: float) -> None:
    size = transform(name)
    for down, width in ((10.0 * np.log10(2.0), three_db), (20.0 * np.log10(2.0), six_db)):
        assert 2.0 * int(np.argmax(size < -down)) / 256.0 == pytest.approx(width, abs=0.01)
    steep = int(np.argmax(size < -10.0))  # the top of a flat top has ripples of its own
    end_of_main = steep + int(np.argmax(np.diff(size[steep:]) > 0.0))
    assert size[end_of_main:].max() == pytest.approx(side_db, abs=0.2)


# Scallop and processing loss together, dB: Harris prints 3.92 and 3.18 (sic; 3.185); flat top recomputed
@pytest.mark.parametrize(("name", "worst_db"), [("rectangular", 3.922), ("hann", 3.185), ("flat-top", 5.773)])
def test_worst_case_loss(name: str, worst_db: float) -> None:
    loss = 10.0 * np.log10(window(name, 512).noise_bandwidth_lines) - transform(name)[128]
    assert loss == pytest.approx(worst_db, abs=2e-3)


# Correlation of a window with itself half and a quarter of its length later, %: Harris prints 50.0 75.0 and 16.7 65.9
OVERLAPS = [("rectangular", 50.0, 75.0), ("hann", 16.7, 65.9), ("flat-top", -1.5, 4.6)]


@pytest.mark.parametrize(("name", "half", "three_quarters"), OVERLAPS)
def test_overlap_correlation(name: str, half: float, three_quarters: float) -> None:
    shape = window(name, 4096).samples
    for step, percent in ((2048, half), (1024, three_quarters)):
        shared = np.dot(shape[step:], shape[:-step]) / np.dot(shape, shape)
        assert 100.0 * shared == pytest.approx(percent, abs=0.06)


@pytest.mark.parametrize(("ours", "theirs"), [("rectangular", "boxcar"), ("hann", "hann"), ("flat-top", "flattop")])
def test_samples_are_the_periodic_windows_of_scipy(ours: str, theirs: str) -> None:
    np.testing.assert_allclose(window(ours, 1000).samples, scipy.signal.get_window(theirs, 1000), atol=1e-12)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ParameterError, match="unknown window"):
        window("triangle", 8)
    with pytest.raises(ParameterError, match="0 samples"):
        window("hann", 0)


def test_shared_samples_cannot_be_written() -> None:
    with pytest.raises(ValueError, match="read-only"):
        window("hann", 8).samples[0] = 1.0
