"""Velocity and displacement levels through the whole chain, against ISO 2954's mask, closed forms and a second method."""

import math

import numpy as np
import pytest

from edgemon.analysis.band import band_rms
from edgemon.analysis.integrate import integrated
from edgemon.analysis.spectrum import amplitude_spectrum
from edgemon.model.level import Band
from tests.analysis.signals import SLOW, USUAL, captured, full, levels, velocity_sine

FS = 2560.0
N = 4096  # 1.6 s, 16 periods of 10 Hz

# Relative sensitivity, ISO 2954:1975, as reproduced in the manual of a general vibration meter: f, least, most.
MASK = [(10, 0.8, 1.1), (20, 0.9, 1.1), (40, 0.9, 1.1), (80, 1.0, 1.0), (160, 0.9, 1.1), (500, 0.9, 1.1), (1000, 0.8, 1.1)]


@pytest.mark.parametrize(("f_hz", "least", "most"), MASK)
@pytest.mark.parametrize(("fs_hz", "n"), [(2560.0, 4096), (25600.0, 32768), (6400.0, 8192), (25600.0, 16384)])
def test_relative_sensitivity_mask(f_hz: float, least: float, most: float, fs_hz: float, n: int) -> None:
    reference = levels(captured(velocity_sine(80.0, fs_hz, n), fs_hz))
    assert reference["velocity_rms"] == pytest.approx(1e-3, rel=1e-3)
    assert reference["velocity_peak"] == pytest.approx(math.sqrt(2.0) * 1e-3, rel=0.01)
    found = levels(captured(velocity_sine(f_hz, fs_hz, n), fs_hz))
    for name in ("velocity_rms", "velocity_peak"):
        assert least - 1e-9 <= found[name] / reference[name] <= most + 1e-9


@pytest.mark.parametrize(("f_hz", "least", "most"), [(2, 0.8, 1.1), (4, 0.9, 1.1), (10, 0.9, 1.1), (1000, 0.8, 1.1)])
def test_mask_moves_with_the_lower_edge(f_hz: float, least: float, most: float) -> None:
    found = levels(captured(velocity_sine(f_hz, FS, 16384), FS, SLOW))
    assert least <= found["velocity_rms"] / 1e-3 <= most


@pytest.mark.parametrize("periods", [8, 16, 40])
def test_bias_of_few_periods_is_the_hann_windows(periods: int) -> None:
    # + 1 / (2 k^2) for k periods under a Hann window (derived); the tapered ends make it a little more
    n, f_hz = 8192, 80.0
    fs_hz = f_hz * n / (periods + 0.37)
    found = [levels(captured(velocity_sine(f_hz, fs_hz, n, phase=p), fs_hz))["velocity_rms"] for p in (0.0, 0.8, 1.6, 2.4)]
    assert np.array(found) / 1e-3 - 1.0 == pytest.approx(1.0 / (2.0 * periods**2), abs=1e-3 + 0.6 / (2.0 * periods**2))


@pytest.mark.parametrize("f_hz", [15.3, 24.7, 49.4, 87.6, 311.1, 700.3])
@pytest.mark.parametrize("phase", [0.0, 1.0, 2.0, 3.0, 4.0, 5.0])
def test_peaks_of_a_tone_that_does_not_fit_the_record(f_hz: float, phase: float) -> None:
    found = levels(captured(velocity_sine(f_hz, FS, N, phase=phase), FS))
    band = 1.0 / math.sqrt((1 + (10 * 0.785366 / f_hz) ** 6) * (1 + (f_hz * 0.785366 / 1000) ** 6))  # 0.785: gain 0.9 at edges
    v = 1e-3 * math.sqrt(2.0) * band
    tolerance = 0.01 + 0.05 * (15.3 / f_hz) ** 2  # what is left of the edges after one period of 10 Hz
    grain = (f_hz / 10.0) ** 2 * 0.29 / 30000.0 / 4.0  # rounding to counts is noise, which displacement weighs by 1/f^2
    assert found["velocity_peak"] == pytest.approx(v, rel=tolerance)
    assert found["displacement_pp"] == pytest.approx(2.0 * v / (2.0 * math.pi * f_hz), rel=tolerance + grain)


# 1 mm/s at 50 Hz is 9.00316 um p-p; 4.5 mm/s at 25 Hz is 81.0285 um p-p (recomputed).
@pytest.mark.parametrize(("rms", "f_hz", "um_pp"), [(1.0, 50.0, 9.00316), (4.5, 25.0, 81.0285)])
def test_displacement_worked_examples(rms: float, f_hz: float, um_pp: float) -> None:
    found = levels(captured(velocity_sine(f_hz, FS, N, rms), FS))
    assert found["displacement_pp"] * 1e6 == pytest.approx(um_pp, rel=0.01)
    assert found["velocity_rms"] * 1e3 == pytest.approx(rms, rel=3e-3)


@pytest.mark.parametrize("phase", np.linspace(0.0, math.pi / 6.0, 7))
def test_peak_between_samples_at_the_upper_edge(phase: float) -> None:
    # twelve samples in a period of 1000 Hz: wherever they fall, the peak is that of the sine, 0.9 of it at the edge
    found = levels(captured(velocity_sine(1000.0, FS, N, phase=phase), FS))
    assert found["velocity_peak"] == pytest.approx(0.9 * math.sqrt(2.0) * 1e-3, rel=4e-3)


@pytest.mark.parametrize(
    ("um_pp", "rpm", "mm_s_peak", "mm_s_rms"), [(25.0, 3000.0, 3.92699, 2.77680), (50.8, 1800.0, 4.78780, 3.38549)]
)
def test_displacement_of_a_speed(um_pp: float, rpm: float, mm_s_peak: float, mm_s_rms: float) -> None:
    # pi f x: 25 um p-p at 3000 r/min; 2 mil p-p at 1800 r/min, which is 0.188496 in/s peak (recomputed)
    found = levels(captured(velocity_sine(rpm / 60.0, FS, N, mm_s_rms), FS))
    assert found["displacement_pp"] * 1e6 == pytest.approx(um_pp, rel=0.01)
    assert found["velocity_peak"] * 1e3 == pytest.approx(mm_s_peak, rel=0.01)
    assert found["velocity_rms"] * 1e3 == pytest.approx(mm_s_rms, rel=3e-3)


def test_velocity_of_displacements_at_several_frequencies() -> None:
    # ISO 20816-1:2016: v = pi 1e-3 sqrt(sum (s f)^2 / 2), s in um p-p: 50 um at 25 Hz and 20 um at 50 Hz make 3.556 mm/s
    each = [math.pi * 1e-3 * um_pp * f_hz / math.sqrt(2.0) for um_pp, f_hz in ((50.0, 25.0), (20.0, 50.0))]
    signal = velocity_sine(25.0, FS, N, each[0]) + velocity_sine(50.0, FS, N, each[1], phase=1.1)
    assert levels(captured(signal, FS))["velocity_rms"] * 1e3 == pytest.approx(3.556, rel=3e-3)


def test_beat_of_two_components() -> None:
    # ISO 20816-1:2016: from the highest and lowest reading of a slow beat, sqrt((4^2 + 2^2) / 2) = 3.162 mm/s
    fs_hz, n = 2560.0, 4096 * 40  # 64 s: a whole beat of 1/64 Hz
    signal = velocity_sine(50.0, fs_hz, n, 3.0, 0.0) + velocity_sine(50.0 + fs_hz / n, fs_hz, n, 1.0, 0.0)
    readings = [levels(captured(signal[at : at + N], fs_hz))["velocity_rms"] * 1e3 for at in range(0, n, N)]
    assert (max(readings), min(readings)) == pytest.approx((4.0, 2.0), rel=0.01)
    assert math.sqrt((max(readings) ** 2 + min(readings) ** 2) / 2.0) == pytest.approx(3.162, rel=0.01)
    assert math.sqrt(np.mean(np.square(readings))) == pytest.approx(3.162, rel=0.01)


def test_components_add_as_squares() -> None:
    signal = velocity_sine(60.0, FS, N, 3.0) + velocity_sine(175.3, FS, N, 4.0)
    assert levels(captured(signal, FS))["velocity_rms"] * 1e3 == pytest.approx(5.0, rel=2e-3)


def test_offset_does_not_integrate() -> None:
    # a summed-up offset of 1 mg would be 9.81 mm/s after 1 s; gravity itself a thousand times more
    signal = velocity_sine(49.4, FS, N)
    for offset in (0.00980665, 9.80665):
        moved = levels(captured(signal + offset, FS, si_per_count=0.0005))
        still = levels(captured(signal, FS, si_per_count=0.0005))
        for name in ("velocity_rms", "velocity_peak", "displacement_pp"):
            assert moved[name] == pytest.approx(still[name], rel=2e-3)


def test_a_summed_up_offset_drifts_and_the_level_does_not() -> None:
    # 1 mg for 1 s is 9.80665 mm/s (3rd CGPM, 1901): what summing samples makes of it, and what must not come out here
    n = 2560
    signal = np.full(n, 9.80665e-3) + velocity_sine(49.4, FS, n, 0.1)
    summed = np.cumsum(signal) / FS
    assert summed[-1] == pytest.approx(9.80665e-3, rel=0.03)
    assert levels(captured(signal, FS))["velocity_rms"] == pytest.approx(0.1e-3, rel=0.01)
    assert levels(captured(signal, FS))["velocity_peak"] < 0.2e-3


@pytest.mark.parametrize(("band", "low"), [(USUAL, 10.0), (SLOW, 2.0)])
def test_velocity_floor_of_white_noise(band: Band, low: float) -> None:
    # Density 100 ug per root hertz gives S sqrt((1/f1 - 1/f2) / (4 pi^2)) between sharp edges: 0.04911 and 0.11025 mm/s. A
    # third-order high-pass with corner fc passes as much as a sharp edge at 3 fc / pi (the integral of f^4 / (f^6 + fc^6)).
    density, n = 100e-6 * 9.80665, 1 << 18
    noise = np.random.default_rng(5).normal(size=n) * density * math.sqrt(FS / 2.0)
    sharp = density * math.sqrt((1.0 / low - 1.0 / 1000.0) / (4.0 * math.pi**2))
    assert sharp * 1e3 == pytest.approx({10.0: 0.04911, 2.0: 0.11025}[low], rel=1e-3)
    equivalent = 3.0 * 0.785366 * low / math.pi
    expected = density * math.sqrt((1.0 / equivalent - 1.0 / 1273.3) / (4.0 * math.pi**2))
    assert levels(captured(noise, FS, band))["velocity_rms"] == pytest.approx(expected, rel=0.03)
    assert 1.0 < expected / sharp < 1.17


def test_time_and_spectrum_agree() -> None:
    rng = np.random.default_rng(6)
    tones = zip(rng.uniform(25, 700, 9), rng.uniform(0.2, 2, 9), range(9), strict=True)
    signal = np.sum([velocity_sine(f, FS, 16384, v, p) for f, v, p in tones], axis=0)
    by_spectrum = band_rms(integrated(amplitude_spectrum(signal, FS), USUAL), 0.0, 1280.0)
    assert levels(captured(signal, FS))["velocity_rms"] == pytest.approx(by_spectrum, rel=1e-3)


@pytest.mark.parametrize("seed", range(8))
def test_multi_tone_against_direct_sums(seed: int) -> None:
    """Float64, no transform: each tone's own velocity and displacement, weighted, summed on a fine grid of time."""
    rng = np.random.default_rng(seed)
    f, v, p = rng.uniform(15.0, 600.0, 6), rng.uniform(0.2, 3.0, 6), rng.uniform(0.0, 2.0 * np.pi, 6)
    n, fs_hz = 16384, 6400.0
    tones = zip(f, v, p, strict=True)
    found = levels(captured(np.sum([velocity_sine(a, fs_hz, n, b, c) for a, b, c in tones], axis=0), fs_hz))
    gain = 1.0 / np.sqrt((1 + (7.85366 / f) ** 6) * (1 + (f / 1273.3) ** 6))
    t = np.arange(0.1, n / fs_hz - 0.1, 1.0 / 25600.0)  # without one period of 10 Hz at either end
    angle = 2.0 * np.pi * np.outer(t, f) + p
    peak = np.sqrt(2.0) * 1e-3 * v * gain
    velocity = np.sin(angle) @ peak
    displacement = -np.cos(angle) @ (peak / (2.0 * np.pi * f))
    assert found["velocity_rms"] == pytest.approx(1e-3 * math.sqrt(np.sum((v * gain) ** 2)), rel=5e-3)
    assert found["velocity_peak"] == pytest.approx(np.abs(velocity).max(), rel=0.02)
    assert found["displacement_pp"] == pytest.approx(np.ptp(displacement), rel=0.03)


def test_a_capture_too_short_says_so() -> None:
    found, verdict = full(captured(velocity_sine(50.0, 25600.0, 4096), 25600.0))
    assert verdict.is_fit
    for name in ("velocity_rms", "velocity_peak", "displacement_pp"):
        assert found[name].remark == "capture too short for the band"
        assert found[name].band == USUAL
    assert found["acceleration_rms"].remark == ""
    for n, remark in ((20224, "capture too short for the band"), (20480, "")):  # 7.9 periods of 10 Hz, and 8 exactly
        assert full(captured(velocity_sine(50.0, 25600.0, n), 25600.0))[0]["velocity_rms"].remark == remark


def test_a_rate_too_low_cuts_the_band_and_says_so() -> None:
    found, verdict = full(captured(velocity_sine(50.0, 1000.0, 4096), 1000.0))
    assert verdict.is_fit
    assert found["velocity_rms"].band == Band(10.0, 500.0)
    assert found["velocity_rms"].remark == "sample rate too low for the band: cut at 500 Hz"
    assert found["velocity_rms"].value == pytest.approx(1e-3, rel=2e-3)
    none, verdict = full(captured(np.random.default_rng(0).normal(size=4096), 16.0))
    assert "velocity_rms" not in none
    assert "acceleration_rms" in none
    assert verdict.remarks == ("sample rate 16 Hz too low for velocity in 10-1000 Hz",)
