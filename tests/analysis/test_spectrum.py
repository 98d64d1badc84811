"""Spectra, bands and integration against closed forms and worked examples (recomputed), and against scipy.signal."""

import math

import numpy as np
import pytest
import scipy.signal

from edgemon.analysis.band import band_rms
from edgemon.analysis.integrate import integrated
from edgemon.analysis.scaling import shown
from edgemon.analysis.spectrum import amplitude_spectrum, averaged_spectrum
from edgemon.errors import ParameterError
from edgemon.model.level import Band, Detector
from edgemon.model.spectrum import Spectrum
from edgemon.units import STANDARD_GRAVITY, Quantity, from_si, quantity_of, to_si

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


@pytest.mark.parametrize("name", ["rectangular", "hann", "flat-top"])
@pytest.mark.parametrize("n_window", [63, 64])
@pytest.mark.parametrize(("overlap", "hop"), [(0.0, (63, 64)), (0.5, (32, 32)), (0.75, (16, 16))])
@pytest.mark.parametrize("peak_hold", [False, True])
def test_every_line_against_direct_sums(
    name: str, n_window: int, overlap: float, hop: tuple[int, int], peak_hold: bool
) -> None:
    """Float64, no transform: the defining sum of every line, 0 Hz and half the rate included, which have no twin."""
    wave = np.random.default_rng(n_window).normal(size=500) + 4.0
    wave += 3.0 * (-1.0) ** np.arange(500)  # a sine at half the rate, and below one slower than a window
    wave += 5.0 * np.sin(2.0 * np.pi * np.arange(500) / 480.0)
    shape = scipy.signal.get_window({"rectangular": "boxcar", "hann": "hann", "flat-top": "flattop"}[name], n_window)
    k, i = np.arange(n_window // 2 + 1), np.arange(n_window)
    turn = np.exp(-2j * np.pi * np.outer(k, i) / n_window)
    step = hop[n_window - 63]
    pieces = [(wave - wave.mean())[at : at + n_window] for at in range(0, 500 - n_window + 1, step)]
    both = 1.0 + ((k > 0) & (2 * k < n_window))  # lines that have a twin at negative frequency carry half of the power
    power = np.array([both * np.abs(turn @ (piece * shape)) ** 2 / shape.sum() ** 2 for piece in pieces])
    expected = np.sqrt(power.max(axis=0) if peak_hold else power.mean(axis=0))
    found = averaged_spectrum(wave, FS, n_window, Quantity.ACCELERATION, name, overlap, peak_hold)
    np.testing.assert_allclose(found.amplitude, expected, rtol=2e-5, atol=1e-5)


def test_five_and_a_half_records_make_ten_averages_at_half_overlap() -> None:
    # K overlapped averages need K (1 - overlap) + overlap records (recomputed): a last burst counts only if it is reached
    burst = np.zeros(5632)
    burst[5120:5632] = np.random.default_rng(4).normal(size=512)
    ten, nine = averaged_spectrum(burst, FS, 1024), averaged_spectrum(burst[:-1], FS, 1024)
    assert ten.amplitude[1:].max() > 0.0
    assert nine.amplitude[10:].max() < 0.02 * ten.amplitude.max()


@pytest.mark.parametrize("averages", [1, 4, 16, 64, 100])
def test_averages_smooth_the_floor_and_do_not_lower_it(averages: int) -> None:
    # relative error 1 / sqrt(n) of a line's power: J. S. Bendat, A. G. Piersol, Random Data (1 0.5 0.25 0.125 0.1)
    noise = np.random.default_rng(averages).normal(size=4096 * averages)
    found = averaged_spectrum(noise, FS, 4096, name="rectangular", overlap=0.0).amplitude[1:-1].astype(np.float64) ** 2
    assert found.mean() == pytest.approx(2.0 / 4096.0, rel=4.0 / math.sqrt(2047.0 * averages))
    assert found.std() / found.mean() == pytest.approx(averages**-0.5, rel=0.1)


def test_a_modulated_carrier_has_its_two_sidebands() -> None:
    # (1 + 0.5 cos 2 pi 20 t) cos 2 pi 1000 t: 1.0 at 1000 Hz, 0.25 at 980 and 1020 Hz, peak (recomputed)
    t = np.arange(8192) / 8192.0
    signal = (1.0 + 0.5 * np.cos(2.0 * np.pi * 20.0 * t)) * np.cos(2.0 * np.pi * 1000.0 * t)
    size = math.sqrt(2.0) * amplitude_spectrum(signal, 8192.0).amplitude
    assert (size[1000], size[980], size[1020]) == pytest.approx((1.0, 0.25, 0.25), rel=1e-5)
    assert size[1010] < 1e-5


def test_a_clipped_sine_has_a_third_harmonic() -> None:
    # clipped at 0.8 of its peak: third harmonic 8.2 % of the fundamental, -21.7 dB (recomputed)
    phase = 2.0 * np.pi * np.arange(65536) / 1024.0 + 0.0123
    size = amplitude_spectrum(np.clip(np.sin(phase), -0.8, 0.8), FS).amplitude
    assert size[192] / size[64] == pytest.approx(0.082, abs=5e-4)
    assert 20.0 * np.log10(size[192] / size[64]) == pytest.approx(-21.7, abs=0.05)


@pytest.mark.parametrize("f_hz", [1400.0, 1550.0, 2000.0, 2559.0, 3960.0])
def test_aliases_and_what_the_usual_rate_keeps_free_of_them(f_hz: float) -> None:
    """A tone of f comes back at |f - m fs|: 1400 Hz at 2560 Hz as 1160 Hz (recomputed).

    Up to fs - Fmax = 1560 Hz that lies above Fmax = fs / 2.56 and is not shown; what is beyond, a filter must keep away.
    """
    spectrum = amplitude_spectrum(np.cos(2.0 * np.pi * f_hz * T + 0.3), FS)
    image = abs(f_hz - FS * round(f_hz / FS))
    assert {1400.0: 1160.0, 2000.0: 560.0}.get(f_hz, image) == image
    assert int(spectrum.amplitude.argmax()) * spectrum.line_hz == pytest.approx(image, abs=spectrum.line_hz)
    assert (shown(spectrum, 1000.0).amplitude.max() < 0.01) == (image > 1000.0)


def test_acceleration_floor_of_a_noise_density() -> None:
    # 100 ug per root hertz over 10-1000 Hz: 3.146 mg r.m.s. (recomputed: density times root of 990 Hz)
    lines = np.full(1281, to_si(0.1, "mg") * math.sqrt(1.5), np.float32)  # lines 1 Hz apart under a Hann window
    floor = band_rms(Spectrum(lines, 1.0, Quantity.ACCELERATION, 1.5), 10.0, 1000.0)
    assert from_si(floor, "mg") == pytest.approx(3.146, abs=1e-3)


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


RMS, PEAK, PP = Detector.RMS, Detector.PEAK, Detector.PEAK_TO_PEAK
# Handbook conversions of a sine, v = a / omega, x = v / omega (recomputed): f in Hz, what is given, what it is
SINES = [
    (50.0, (0.0320353, "g", RMS), [(1.0, "mm/s", RMS), (3.18310, "um", RMS), (9.00316, "um", PP), (0.314159, "m/s2", RMS)]),
    (50.0, (0.0453048, "g", PEAK), [(1.0, "mm/s", RMS), (math.sqrt(2.0), "mm/s", PEAK)]),
    (25.0, (0.0720795, "g", RMS), [(4.5, "mm/s", RMS), (28.6479, "um", RMS), (81.0285, "um", PP)]),
    (1000.0, (1.0, "g", RMS), [(1.560777, "mm/s", RMS), (0.248405, "um", RMS), (0.702596, "um", PP)]),
    (50.0, (3.92699, "mm/s", PEAK), [(2.77680, "mm/s", RMS), (25.0, "um", PP)]),  # 3000 r/min
    (30.0, (0.188496, "in/s", PEAK), [(2.0, "mil", PP), (1.0, "mil", PEAK)]),  # 1800 CPM
    (77.0, (1.0, "in/s", PEAK), [(17.9605, "mm/s", RMS), (25.4, "mm/s", PEAK)]),
    (77.0, (0.314, "in/s", PEAK), [(5.6396, "mm/s", RMS)]),
    (100.0, (1.0, "g", PEAK), [(0.61448, "in/s", PEAK)]),  # in/s peak = 61.448 g peak / f
    (40.0, (1000.0, "mg", PEAK), [(61.448 / 40.0, "in/s", PEAK), (9806.65, "mm/s2", PEAK)]),
]


@pytest.mark.parametrize(("f_hz", "given", "expected"), SINES)
def test_handbook_conversions_of_a_sine(
    f_hz: float, given: tuple[float, str, Detector], expected: list[tuple[float, str, Detector]]
) -> None:
    value, unit, detector = given
    of_rms = {RMS: 1.0, PEAK: math.sqrt(2.0), PP: 2.0 * math.sqrt(2.0)}  # of a sine
    rms = to_si(value, unit) / of_rms[detector]
    line = Spectrum(np.array([0.0, rms], np.float32), f_hz, quantity_of(unit), 1.0)
    for value, unit, detector in expected:
        found = line
        while found.quantity is not quantity_of(unit):
            found = integrated(found)
        assert from_si(float(found.amplitude[1]) * of_rms[detector], unit) == pytest.approx(value, rel=2e-5)


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
