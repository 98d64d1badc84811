"""Sines between lines: worked example, closed forms, and random tones against what they were made of."""

import math

import numpy as np
import pytest
import scipy.signal

from edgemon.analysis.band import band_rms
from edgemon.analysis.lines import between, find_lines, local_floor, response
from edgemon.analysis.spectrum import amplitude_spectrum
from edgemon.analysis.window import COSINES
from edgemon.errors import ParameterError
from edgemon.model.spectrum import Spectrum
from edgemon.units import Quantity

FS, N = 2560.0, 1024
TONE = np.cos(2.0 * np.pi * 101.0 * np.arange(N) / FS + 0.7)  # line 40.4, amplitude 1

# (window, frequency, amplitude, tolerance): recomputed in float64; the rectangular one shows leakage of negative frequencies
WORKED = [("hann", 101.0, 1.0, 1e-5), ("rectangular", 101.0065, 0.99949, 1e-4), ("flat-top", 101.0, 1.0, 2e-4)]


@pytest.mark.parametrize(("name", "hz", "amplitude", "tolerance"), WORKED)
def test_worked_example(name: str, hz: float, amplitude: float, tolerance: float) -> None:
    found = between(amplitude_spectrum(TONE, FS, name=name), 40, name)
    assert found[0] == pytest.approx(hz, abs=0.02 if name == "flat-top" else tolerance)
    assert math.sqrt(2.0) * found[1] == pytest.approx(amplitude, abs=tolerance)


def test_lines_of_the_worked_example() -> None:
    # recomputed: highest line and its larger neighbour; ratio 0.875 for Hann, whence 0.4 of a line
    hann, plain = (math.sqrt(2.0) * amplitude_spectrum(TONE, FS, name=name).amplitude for name in ("hann", "rectangular"))
    assert (hann[40], hann[41], plain[40]) == pytest.approx((0.90098, 0.78836, 0.75354), abs=1e-5)
    assert hann[41] / hann[40] == pytest.approx(0.875, abs=1e-5)
    assert between(amplitude_spectrum(TONE, FS, name="rectangular"), 40, "rectangular")[0] / 2.5 == pytest.approx(
        40.40259, abs=1e-4
    )


@pytest.mark.parametrize("name", COSINES)
def test_response_is_the_windows_transform(name: str) -> None:
    """Direct sums of SciPy's windows."""
    n = 4096
    theirs = {"rectangular": "boxcar", "hann": "hann", "flat-top": "flattop"}[name]
    shape = scipy.signal.get_window(theirs, n)
    for offset in (0.0, 0.1, 0.37, 0.5, 1.3, 2.4):
        direct = np.abs(np.sum(shape * np.exp(-2j * np.pi * offset * np.arange(n) / n))) / shape.sum()
        assert abs(response(np.array([offset]), name)[0]) == pytest.approx(direct, abs=1e-5)


@pytest.mark.parametrize("name", COSINES)
@pytest.mark.parametrize("seed", range(6))
def test_random_tones(name: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    hz, rms, phase = rng.uniform(200.0, 1000.0), rng.uniform(0.1, 5.0), rng.uniform(0.0, 6.28)
    wave = math.sqrt(2.0) * rms * np.sin(2.0 * np.pi * hz * np.arange(4096) / FS + phase)
    spectrum = amplitude_spectrum(wave, FS, name=name)
    found = between(spectrum, int(spectrum.amplitude.argmax()), name)
    assert found[0] == pytest.approx(hz, abs=0.02 * spectrum.line_hz)
    assert found[1] == pytest.approx(rms, rel=1e-2 if name == "rectangular" else 1e-3)


@pytest.mark.parametrize("name", ["hann", "flat-top"])
def test_lines_over_noise_are_found_and_noise_is_not(name: str) -> None:
    rng = np.random.default_rng(4)
    t = np.arange(16384) / FS
    noise = rng.normal(size=t.size)
    tones = {150.3: 2.0, 300.6: 1.0, 751.5: 0.5}
    signal = noise + np.sum([math.sqrt(2.0) * a * np.cos(2.0 * np.pi * f * t + f) for f, a in tones.items()], axis=0)
    found = find_lines(amplitude_spectrum(signal, FS, name=name), name)
    assert [line.hz for line in found] == pytest.approx(list(tones), abs=0.05)
    assert [line.amplitude for line in found] == pytest.approx(list(tones.values()), abs=0.08)
    assert all(line.above > 5.0 for line in found)
    for seed in range(10):
        only = amplitude_spectrum(np.random.default_rng(seed).normal(size=4096), FS, name=name)
        assert find_lines(only, name) == ()
    assert len(find_lines(amplitude_spectrum(signal, FS, name=name), name, most=2)) == 2


def test_floor_is_the_median_of_neighbours() -> None:
    spectrum = amplitude_spectrum(np.random.default_rng(1).normal(size=2048), FS)
    assert local_floor(spectrum, 10)[500] == pytest.approx(np.median(spectrum.amplitude[490:511]))


def test_what_cannot_be_is_refused() -> None:
    spectrum = amplitude_spectrum(TONE, FS)
    with pytest.raises(ParameterError, match="unknown window"):
        find_lines(spectrum, "triangle")
    with pytest.raises(ParameterError, match="line 512"):
        between(spectrum, 512, "hann")
    assert between(amplitude_spectrum(np.zeros(64), FS), 5, "hann") == (200.0, 0.0)
    assert find_lines(amplitude_spectrum(np.ones(4), FS)) == ()


def test_rms_of_three_lines_to_either_side_of_a_hann_peak() -> None:
    # the worked example once more: root of the lines' sum of squares over 1.5 is 0.99997 of the sine (recomputed)
    around = band_rms(amplitude_spectrum(TONE, FS), 36.5 * 2.5, 43.5 * 2.5)
    assert math.sqrt(2.0) * around == pytest.approx(0.99997, abs=1e-5)


@pytest.mark.parametrize(("height", "is_listed"), [(4.9, False), (5.1, True), (8.0, True)])
def test_a_line_is_listed_from_five_times_its_surroundings(height: float, is_listed: bool) -> None:
    amplitude = np.ones(400, np.float32)
    amplitude[200] = height
    found = find_lines(Spectrum(amplitude, 2.0, Quantity.VELOCITY, 1.5))
    assert len(found) == is_listed
    # nothing beside it: no sine under this window, and never made more than the deepest scallop (1.4236 dB) higher
    isolated = Spectrum(np.where(np.arange(400) == 200, height, 0.0).astype(np.float32), 2.0, Quantity.VELOCITY, 1.5)
    assert between(isolated, 200, "hann")[1] <= height * 10.0 ** (1.4237 / 20.0)


@pytest.mark.parametrize(
    ("name", "apart", "count"),
    [("rectangular", 2, 2), ("hann", 4, 2), ("hann", 1, 1), ("flat-top", 11, 2), ("flat-top", 7, 2), ("flat-top", 4, 1)],
)
def test_two_tones_part_where_main_lobes_do(name: str, apart: int, count: int) -> None:
    """Main lobe 1 line to either side without a window, 2 for Hann, 5 for five cosine terms (closed forms)."""
    t = np.arange(N) / FS
    wave = np.cos(2.0 * np.pi * 500.0 * t) + 0.9 * np.sin(2.0 * np.pi * (500.0 + apart * FS / N) * t)
    wave += 0.01 * np.random.default_rng(1).normal(size=N)
    assert len(find_lines(amplitude_spectrum(wave, FS, name=name), name)) == count
