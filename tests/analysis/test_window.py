"""Windows against F. J. Harris, Proc. IEEE 66 (1978) 51-83, Table 1, against closed forms, and against SciPy."""

import numpy as np
import pytest
import scipy.signal

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
