"""Noise bandwidths of the windows that sensors may name, against published tables, fractions and SciPy's windows."""

import json
from fractions import Fraction

import numpy as np
import pytest
import scipy.signal

from edgemon.decode.spectrum import NOISE_BANDWIDTH, decode_spectrum
from edgemon.model.gateway import InputBorders
from edgemon.model.ids import SensorId
from edgemon.model.machine import Sensor
from edgemon.model.message import Message

# Cosine terms. F. J. Harris, Proc. IEEE 66 (1978) 51-83, Table 1, for the first five; SciPy's coefficients of its flat top;
# G. Heinzel, A. Ruediger, R. Schilling, Spectrum and spectral density estimation by the DFT (2002) for the last two
TERMS = {
    "rectangular": ("1",),
    "hann": ("0.5", "0.5"),
    "hamming": ("0.54", "0.46"),
    "blackman": ("0.42", "0.50", "0.08"),
    "blackman-harris": ("0.35875", "0.48829", "0.14128", "0.01168"),
    "flat-top": ("0.21557895", "0.41663158", "0.277263158", "0.083578947", "0.006947368"),
    "hft70": ("1", "1.90796", "1.07349", "0.18199"),
    "hft90d": ("1", "1.942604", "1.340318", "0.440811", "0.043097"),
}
# As printed: Harris (two decimals), Heinzel et al. (four); the flat top is not in Harris and recomputed
PRINTED = {"rectangular": 1.00, "hann": 1.50, "hamming": 1.36, "blackman": 1.73, "blackman-harris": 2.00}
PRINTED |= {"flat-top": 3.7702, "hft70": 3.4129, "hft90d": 3.8832}


def test_every_window_known_is_one_of_the_tables() -> None:
    assert set(NOISE_BANDWIDTH) == set(TERMS) == set(PRINTED)


@pytest.mark.parametrize("name", TERMS)
def test_noise_bandwidth_in_fractions_and_in_print(name: str) -> None:
    """1 + sum (a_k / a_0)^2 / 2 without rounding; 3/2 for Hann, 1987/1458 for Hamming, 1523/882 for Blackman."""
    first, *others = (Fraction(term) for term in TERMS[name])
    exact = 1 + sum(((term / first) ** 2 for term in others), Fraction(0)) / 2
    assert NOISE_BANDWIDTH[name] == pytest.approx(float(exact), rel=1e-7)
    assert NOISE_BANDWIDTH[name] == pytest.approx(PRINTED[name], abs=0.005 if PRINTED[name] < 3.0 else 5e-5)
    known = {"hann": Fraction(3, 2), "hamming": Fraction(1987, 1458), "blackman": Fraction(1523, 882)}
    assert known.get(name, exact) == exact


@pytest.mark.parametrize("name", TERMS)
def test_noise_through_a_window_as_wide_as_told(name: str) -> None:
    """Second method: SciPy's windows, and their sums of squares."""
    theirs = {"rectangular": "boxcar", "blackman-harris": "blackmanharris", "flat-top": "flattop"}.get(name, name)
    terms = np.array([float(term) for term in TERMS[name]])
    wanted = ("general_cosine", terms / terms.sum()) if name.startswith("hft") else theirs
    shape = scipy.signal.get_window(wanted, 4096)
    assert NOISE_BANDWIDTH[name] == pytest.approx(4096 * np.sum(shape**2) / np.sum(shape) ** 2, rel=1e-6)


@pytest.mark.parametrize("name", TERMS)
def test_a_sensor_may_name_it(name: str) -> None:
    document = {"id": "p-1", "t": 1.75e9, "u": "mm/s", "detector": "peak", "df": 1.25, "window": name, "scale": 0.01}
    payload = json.dumps(document | {"axes": {"x": "AABkAP//BwA="}}).encode()
    message = Message("edgemon/v1/sensor/s-0001/spectrum", payload, 1.75e9 + 1.0)
    part = decode_spectrum(message, Sensor(SensorId("s-0001")), InputBorders()).part
    assert part is not None
    assert part.form is not None
    assert (part.form.window, part.form.noise_bandwidth_lines) == (name, NOISE_BANDWIDTH[name])
