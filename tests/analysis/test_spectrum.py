"""Spectra, bands and integration against closed forms and worked examples (recomputed), and against scipy.signal."""

import math

import numpy as np
import pytest
import scipy.signal

from edgemon.analysis.band import band_rms
from edgemon.analysis.integrate import integrated
from edgemon.analysis.spectrum import amplitude_spectrum, averaged_spectrum
from edgemon.errors import ParameterError
from edgemon.model.level import Band
from edgemon.model.spectrum import Spectrum
from edgemon.units import STANDARD_GRAVITY, Quantity, from_si

FS = 2560.0
N = 4096
T = np.arange(N) / FS


@pytest.mark.parametrize("name", ["rectangular", "hann", "flat-top"])
def test_a_line_is_the_rms_of_the_sine_on_it(name: str) -> None:
    spectrum = amplitude_spectrum(math.sqrt(2.0) * 3.0 * np.sin(2.0 * np.pi * 100.0 * T + 0.4), FS, name=name)
    assert spectrum.line_hz == 0.625
    assert spectrum.amplitude.shape == (2049,)
    assert spectrum.amplitude[160] == pytest.approx(3.0, rel=1e-6)
    assert band_rms(spectrum, 90.0, 110.0) == pytest.approx(3.0, rel=1e-6)


def test_three_and_four_make_five() -> None:
    signal = math.sqrt(2.0) * (3.0 * np.sin(2.0 * np.pi * 50.0 * T) + 4.0 * np.sin(2.0 * np.pi * 175.3 * T))
    assert band_rms(amplitude_spectrum(signal, FS), 10.0, 1000.0) == pytest.approx(5.0, rel=1e-4)


def test_forgotten_noise_bandwidth_would_read_22_percent_high() -> None:
    noise = np.random.default_rng(1).normal(size=1 << 16)
    spectrum = amplitude_spectrum(noise, FS)
    overall = band_rms(spectrum, 0.0, FS)
    assert overall == pytest.approx(noise.std(), rel=0.01)
    assert np.sqrt(np.sum(spectrum.amplitude.astype(float) ** 2)) / overall == pytest.approx(math.sqrt(1.5), rel=1e-6)


@pytest.mark.parametrize("n", [4096, 4095])
def test_parseval_with_no_window(n: int) -> None:
    noise = np.random.default_rng(2).normal(size=n)
    spectrum = amplitude_spectrum(noise - noise.mean(), FS, name="rectangular")
    assert band_rms(spectrum, 0.0, FS) == pytest.approx(noise.std(), rel=1e-6)


def test_averaged_spectrum_is_welchs() -> None:
    noise = np.random.default_rng(3).normal(size=20000)
    ours = averaged_spectrum(noise, FS, 1024)
    _, power = scipy.signal.welch(noise - noise.mean(), FS, "hann", 1024, detrend=False, scaling="spectrum")
    np.testing.assert_allclose(ours.amplitude, np.sqrt(power), rtol=1e-4, atol=1e-6)


def test_edges_low_in_high_out_last_line_in() -> None:
    spectrum = Spectrum(np.ones(5, np.float32), 10.0, Quantity.ACCELERATION, 1.0)
    assert band_rms(spectrum, 10.0, 30.0) == pytest.approx(math.sqrt(2.0))
    assert band_rms(spectrum, 30.0, 1e6) == pytest.approx(math.sqrt(2.0))
    assert band_rms(spectrum, 11.0, 19.0) == 0.0


@pytest.mark.parametrize("edges", [(5.0, 5.0), (6.0, 5.0), (-1.0, 5.0), (50.0, 60.0), (math.nan, 5.0)])
def test_bands_that_cannot_be(edges: tuple[float, float]) -> None:
    spectrum = Spectrum(np.ones(5, np.float32), 10.0, Quantity.ACCELERATION, 1.0)
    with pytest.raises(ParameterError):
        band_rms(spectrum, *edges)


# Worked examples of a sinusoid, v = a / omega, x = v / omega; recomputed.
@pytest.mark.parametrize(
    ("a_rms", "f_hz", "v_mm_s", "x_um_rms"),
    [
        (0.314159, 50.0, 1.0, 3.18310),
        (0.706858, 25.0, 4.5, 28.6479),
        (STANDARD_GRAVITY, 1000.0, 1.560777, 0.248405),
        (STANDARD_GRAVITY, 1000.0 / (2.0 * math.pi), 9.80665, 9.80665),
    ],
)
def test_integration_of_a_line(a_rms: float, f_hz: float, v_mm_s: float, x_um_rms: float) -> None:
    line = Spectrum(np.array([0.0, a_rms], np.float32), f_hz, Quantity.ACCELERATION, 1.0)
    velocity = integrated(line)
    displacement = integrated(velocity)
    assert (velocity.quantity, displacement.quantity) == (Quantity.VELOCITY, Quantity.DISPLACEMENT)
    assert from_si(float(velocity.amplitude[1]), "mm/s") == pytest.approx(v_mm_s, rel=1e-5)
    assert from_si(float(displacement.amplitude[1]), "um") == pytest.approx(x_um_rms, rel=1e-5)


def test_integration_stops_at_displacement_and_can_weight() -> None:
    line = Spectrum(np.ones(3, np.float32), 10.0, Quantity.DISPLACEMENT, 1.0)
    with pytest.raises(ParameterError, match="cannot be integrated"):
        integrated(line)
    acceleration = Spectrum(np.full(3, 1.0, np.float32), 10.0, Quantity.ACCELERATION, 1.0)
    edge = integrated(acceleration, Band(10.0, 1000.0)).amplitude[1] / integrated(acceleration).amplitude[1]
    assert edge == pytest.approx(0.9, rel=1e-6)


def test_no_spectrum_of_nothing() -> None:
    with pytest.raises(ParameterError):
        amplitude_spectrum(np.zeros(1), FS)
    with pytest.raises(ParameterError):
        averaged_spectrum(np.zeros(10), FS, 11)
    with pytest.raises(ParameterError):
        amplitude_spectrum(np.zeros(10), 0.0)
