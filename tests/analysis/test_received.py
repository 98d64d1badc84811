"""Levels of spectra that sensors send: closed forms of sines, and scipy's estimates of spectra as a second method."""

import math
from typing import Any

import numpy as np
import pytest
import scipy.signal
from numpy.typing import NDArray

from edgemon.analysis.measure import Waveform, measure
from edgemon.analysis.received import (
    NO_ENVELOPE,
    NO_PEAK,
    UNKNOWABLE,
    Received,
    amplitudes,
    measure_spectrum,
    velocity_spectrum,
)
from edgemon.model.derived import MaskSpec
from edgemon.model.level import LEVEL_KINDS, Band, Detector, LevelSpec
from edgemon.model.quality import Flaw, Verdict
from edgemon.model.spectrum import LineForm
from edgemon.units import Quantity

BAND = Band(10.0, 1000.0)
FS_HZ, N = 6400.0, 8192
ENBW = {"boxcar": 1.0, "hann": 1.5, "flattop": 3.7702465}
"""Harris, Proc. IEEE 66 (1978) 51-83; scipy's flat top is the five-term one."""


def form(quantity: Quantity = Quantity.ACCELERATION, line_hz: float = 1.25, **more: Any) -> LineForm:
    given = {"first_hz": 0.0, "noise_bandwidth_lines": 1.5, "window": "hann", **more}
    return LineForm(quantity, Detector.RMS, line_hz, **given)


def lines(hz: float, rms: float, quantity: Quantity = Quantity.ACCELERATION, count: int = 801, **more: Any) -> Received:
    """One sine on a line under a Hann window: half of it in either neighbour (the window's own transform)."""
    amplitude = np.zeros(count)
    k = round(hz / 1.25)
    amplitude[k - 1 : k + 2] = rms * np.array([0.5, 1.0, 0.5])
    return Received(amplitude, form(quantity), more.pop("band", BAND), **more)


def levels_of(received: Received) -> tuple[dict[str, float], Verdict]:
    levels, verdict = measure_spectrum(received)
    return {level.name: level.value for level in levels}, verdict


OMEGA = 2.0 * math.pi * 100.0


@pytest.mark.parametrize(
    ("quantity", "acceleration", "velocity"),
    [
        (Quantity.ACCELERATION, 1.0, 1.0 / OMEGA),
        (Quantity.VELOCITY, OMEGA, 1.0),
        (Quantity.DISPLACEMENT, OMEGA**2, OMEGA),
    ],
)
def test_a_sine_in_each_quantity(quantity: Quantity, acceleration: float, velocity: float) -> None:
    """v = a / (2 pi f), s = v / (2 pi f) at 100 Hz; its two neighbours lie 1.25 Hz off and carry a third of the power."""
    found, verdict = levels_of(lines(100.0, 1e-6, quantity))
    assert found["acceleration_rms"] == pytest.approx(1e-6 * acceleration, rel=3e-4)
    assert found["velocity_rms"] == pytest.approx(1e-6 * velocity, rel=3e-4)
    assert verdict.is_fit


def test_own_bands_in_each_quantity_and_in_orders() -> None:
    specs = (
        LevelSpec("a", Quantity.ACCELERATION, Detector.RMS, 90.0, 110.0),
        LevelSpec("v", Quantity.VELOCITY, Detector.RMS, 1.5, 2.5, in_orders=True),
        LevelSpec("s", Quantity.DISPLACEMENT, Detector.RMS, 90.0, 110.0),
        LevelSpec("beside", Quantity.ACCELERATION, Detector.RMS, 200.0, 300.0),
    )
    found, _ = levels_of(lines(100.0, 2.0, bands=specs, rpm=3000.0))
    assert found["a"] == pytest.approx(2.0, rel=1e-9)
    assert found["v"] == pytest.approx(2.0 / OMEGA, rel=3e-4)
    assert found["s"] == pytest.approx(2.0 / OMEGA**2, rel=1e-3)
    assert found["beside"] == 0.0


def noise(seed: int) -> NDArray[np.int16]:
    """Noise and three sines in counts of 1e-3 m/s2, full of lines from 5 Hz to half the rate."""
    rng = np.random.default_rng(seed)
    t = np.arange(N) / FS_HZ
    tones = sum(a * np.sin(2 * np.pi * f * t + p) for a, f, p in ((3000, 24.8, 0.3), (2000, 49.6, 1.0), (900, 733.0, 2.0)))
    return np.rint(rng.normal(0.0, 800.0, N) + tones).astype(np.int16)


@pytest.mark.parametrize("window", ENBW)
def test_the_same_signal_as_waveform_and_as_spectrum_by_welch(window: str) -> None:
    """Parseval: scipy's averaged power spectrum gives the level that the waveform has, within the noise of its estimate.

    Integration weighs the skirt of a line k lines above zero too: by 1.5 <j^2> / k^2 too high, <j^2> the mean square distance
    in the skirt (2.2 lines^2 of a flat top, 1/3 of a Hann window); the strongest tone is 8 lines up.
    """
    counts = noise(1)
    hz, power = scipy.signal.welch(counts * 1e-3, FS_HZ, window, 2048, 1024, detrend="constant", scaling="spectrum")
    given = form(line_hz=float(hz[1]), noise_bandwidth_lines=ENBW[window], window=window)
    found, verdict = levels_of(Received(np.sqrt(power), given, BAND))
    (waveform, _) = measure([Waveform(counts, 1e-3, FS_HZ, BAND, None, None, missing=False)])[0]
    expected = {level.name: level.value for level in waveform}
    assert verdict.is_fit
    assert found["acceleration_rms"] == pytest.approx(expected["acceleration_rms"], rel=0.03)
    assert found["velocity_rms"] == pytest.approx(expected["velocity_rms"], rel=0.05 if window == "flattop" else 0.03)


def test_one_periodogram_without_a_window_holds_the_mean_square_exactly() -> None:
    """Parseval's theorem, no estimate: the sum over all lines of one rectangular window is the variance."""
    counts = noise(2)
    hz, power = scipy.signal.periodogram(counts * 1e-3, FS_HZ, "boxcar", detrend="constant", scaling="spectrum")
    found, _ = levels_of(Received(np.sqrt(power), form(line_hz=float(hz[1]), noise_bandwidth_lines=1.0), BAND))
    assert found["acceleration_rms"] == pytest.approx(float(np.std(counts * 1e-3)), rel=1e-9)


def test_what_a_spectrum_cannot_hold_is_left_out_with_the_reason() -> None:
    specs = (
        LevelSpec("own_peak", Quantity.VELOCITY, Detector.PEAK, 10.0, 100.0),
        LevelSpec("own_envelope", Quantity.ACCELERATION, Detector.RMS, 10.0, 100.0, of_envelope=True),
        LevelSpec("own_orders", Quantity.VELOCITY, Detector.RMS, 0.5, 1.5, in_orders=True),
        LevelSpec("too_high", Quantity.VELOCITY, Detector.RMS, 3000.0, 5000.0),
    )
    found, verdict = levels_of(lines(100.0, 1.0, bands=specs))
    why = dict(verdict.left_out)
    assert set(found) == {"velocity_rms", "acceleration_rms"}
    assert set(why) == set(UNKNOWABLE) | {spec.name for spec in specs}
    assert set(found) | set(UNKNOWABLE) | {"temperature"} == set(LEVEL_KINDS)
    assert (why["own_peak"], why["own_envelope"], why["own_orders"]) == (NO_PEAK, NO_ENVELOPE, "speed not known")
    assert "3000-5000 Hz" in why["too_high"]
    assert verdict.is_fit


@pytest.mark.parametrize(
    ("change", "covered"),
    [
        ({}, True),
        ({"count": 800}, True),  # 0 to 998.75 Hz: the line at 1000 Hz is left out by convention
        ({"count": 799}, False),
        ({"count": 400}, False),
        ({"count": 400, "band": Band(10.0, 400.0)}, True),
        ({"band": Band(2.0, 1000.0)}, True),
        ({"band": Band(0.5, 1000.0)}, False),
    ],
)
def test_a_part_of_the_band_never_passes_for_the_whole(change: dict[str, Any], covered: bool) -> None:
    received = lines(100.0, 1.0, needed=frozenset({"velocity_rms"}), **change)
    levels, verdict = measure_spectrum(received)
    assert verdict.is_fit is covered
    velocity = next(level for level in levels if level.name == "velocity_rms")
    assert (velocity.remark == "") is covered
    if not covered:
        assert verdict.flaws == (Flaw.BAND_NOT_COVERED,)
        assert "velocity_rms" in verdict.remarks[0]
        assert velocity.band != received.band


def test_a_first_line_above_the_band_is_told_and_one_without_a_limit_does_no_harm() -> None:
    above = Received(np.ones(800), form(first_hz=20.0), BAND)
    levels, verdict = measure_spectrum(above)
    assert verdict.is_fit
    assert levels[0].band == Band(20.0, 1000.0)
    assert "not all of 10-1000 Hz" in levels[0].remark
    assert measure_spectrum(Received(np.ones(800), form(first_hz=10.5), BAND))[0][0].remark == ""


@pytest.mark.parametrize(
    ("received", "flaw"),
    [
        (Received(np.zeros(801), form(), BAND), Flaw.FLAT_LINE),
        (Received(np.ones(6), form(), BAND), Flaw.TOO_SHORT),
        (Received(np.ones(801), form(), BAND, missing=True), Flaw.MISSING_SAMPLES),
        (lines(20.0, 1.0, Quantity.VELOCITY), Flaw.IMPLAUSIBLE),
    ],
)
def test_what_is_not_fit(received: Received, flaw: Flaw) -> None:
    assert flaw in measure_spectrum(received)[1].flaws


def test_the_line_at_zero_never_counts() -> None:
    received = lines(100.0, 1.0)
    with_offset = received.amplitude.copy()
    with_offset[0] = 1e3
    assert measure_spectrum(received)[0] == measure_spectrum(Received(with_offset, received.form, BAND))[0]


def test_words_to_amplitudes() -> None:
    unsigned = np.array([0, 1, 65535], "<u2").view("<i2")
    assert amplitudes(unsigned, form(), 0.5).tolist() == [0.0, 0.5, 32767.5]
    floats = np.array([0.25, 3.5], "<f4").view("<i2")
    assert amplitudes(floats, form(is_float=True), 2.0).tolist() == [0.5, 7.0]


def test_a_mask_is_held_against_the_lines() -> None:
    """A sine of 2 mm/s against 1 mm/s is 2; its power lies in three lines of 1.25 Hz, all within one of the mask's 5 Hz."""
    written = MaskSpec("m", Quantity.VELOCITY, 10.0, 900.0, 5.0, given=((10.0, 1e-3), (900.0, 1e-3)))
    envelope = MaskSpec("e", Quantity.ACCELERATION, 5.0, 900.0, 5.0, envelope=True, given=((5.0, 1.0), (900.0, 1.0)))
    wide = MaskSpec("w", Quantity.VELOCITY, 10.0, 5000.0, 5.0, given=((10.0, 1e-3), (900.0, 1e-3)))
    levels, verdict = measure_spectrum(lines(100.0, 2e-3, Quantity.VELOCITY, masks=(written, envelope, wide), rpm=3000.0))
    level = next(level for level in levels if level.name == "m")
    assert level.value == pytest.approx(2.0, rel=1e-6)
    assert "worst at 100 Hz (2.00 x speed)" in level.remark
    why = dict(verdict.left_out)
    assert why["e"] == NO_ENVELOPE
    assert "not all of 10-5000 Hz" in why["w"]


def test_a_mask_on_acceleration_lines_in_velocity_equals_the_waveforms() -> None:
    """Second method: the mask's own path from the samples, whose window and taper differ."""
    counts = noise(3)
    spec = MaskSpec("m", Quantity.VELOCITY, 10.0, 1000.0, 12.5, given=((10.0, 1e-3), (1000.0, 1e-3)))
    hz, power = scipy.signal.periodogram(counts * 1e-3, FS_HZ, "hann", detrend="constant", scaling="spectrum")
    own = measure_spectrum(Received(np.sqrt(power), form(line_hz=float(hz[1])), BAND, masks=(spec,)))[0]
    other = measure([Waveform(counts, 1e-3, FS_HZ, BAND, None, None, missing=False, masks=(spec,))])[0][0]
    worst = [next(level.value for level in levels if level.name == "m") for levels in (own, other)]
    assert worst[0] == pytest.approx(worst[1], rel=0.02)


@pytest.mark.parametrize(
    ("quantity", "size"),
    [
        (Quantity.VELOCITY, 1.0),
        (Quantity.ACCELERATION, 2.0 * math.pi * 80.0),
        (Quantity.DISPLACEMENT, 1.0 / (2.0 * math.pi * 80.0)),
    ],
)
def test_lines_as_velocity_sum_up_to_the_level_of_velocity(quantity: Quantity, size: float) -> None:
    """Root of the sum of squares over the noise bandwidth of the window (F. J. Harris, 1978), at the mask's reference 80 Hz."""
    one = lines(80.0, 2e-3 * size, quantity)
    found = velocity_spectrum(one)
    assert found.quantity is Quantity.VELOCITY
    assert float(found.amplitude.max()) == pytest.approx(2e-3, rel=1e-3)
    (level,) = [level for level in measure_spectrum(one)[0] if level.name == "velocity_rms"]
    assert math.sqrt(float(np.sum(found.amplitude.astype(float) ** 2)) / 1.5) == pytest.approx(level.value, rel=1e-5)
