"""Levels in bands of one's own: sines inside and outside, white noise's closed forms, band_rms as second method."""

import math

import numpy as np
import pytest

from edgemon.analysis.band import band_rms
from edgemon.analysis.integrate import integrated
from edgemon.analysis.measure import Waveform, measure
from edgemon.analysis.spectrum import amplitude_spectrum
from edgemon.errors import ParameterError
from edgemon.model.level import Band, Detector, Level, LevelSpec
from edgemon.model.quality import Verdict
from edgemon.units import Quantity
from tests.analysis.signals import USUAL, captured, velocity_sine

FS, N = 5120.0, 16384
A, V, D = Quantity.ACCELERATION, Quantity.VELOCITY, Quantity.DISPLACEMENT
RMS, PEAK, PP = Detector.RMS, Detector.PEAK, Detector.PEAK_TO_PEAK
SIGNAL = velocity_sine(24.7, FS, N, 3.0) + velocity_sine(311.0, FS, N, 1.0, 1.1)


def banded(signal: np.ndarray[tuple[int], np.dtype[np.float64]], *specs: LevelSpec, rpm: float | None = None) -> tuple[
    dict[str, Level], Verdict
]:  # fmt: skip
    plain = captured(signal, FS)
    wave = Waveform(plain.counts, plain.si_per_count, FS, USUAL, None, None, False, bands=specs, rpm=rpm)
    ((levels, verdict),) = measure([wave])
    return {level.name: level for level in levels}, verdict


@pytest.mark.parametrize(
    ("quantity", "detector", "expected"),
    [
        (V, RMS, 3e-3),
        (V, PEAK, 3e-3 * math.sqrt(2.0)),
        (V, PP, 6e-3 * math.sqrt(2.0)),
        (A, RMS, 3e-3 * 2.0 * math.pi * 24.7),
        (D, PP, 6e-3 * math.sqrt(2.0) / (2.0 * math.pi * 24.7)),
        (D, RMS, 3e-3 / (2.0 * math.pi * 24.7)),
    ],
)
def test_a_sine_in_the_band_counts_and_one_outside_does_not(quantity: Quantity, detector: Detector, expected: float) -> None:
    found, verdict = banded(SIGNAL, LevelSpec("slow", quantity, detector, 15.0, 35.0))
    assert verdict == Verdict()
    # the waveform of a band of 20 Hz rings where the record's ends of 0.1 s fade: its peaks read up to 3 % high
    assert found["slow"].value == pytest.approx(expected, rel=0.01 if detector is RMS else 0.03)
    assert (found["slow"].quantity, found["slow"].detector, found["slow"].band) == (quantity, detector, Band(15.0, 35.0))
    assert list(found)[-1] == "slow"


def test_bands_in_orders_follow_the_speed() -> None:
    first = LevelSpec("first_order", V, RMS, 0.7, 1.3, in_orders=True)
    found, _ = banded(SIGNAL, first, rpm=1482.0)
    assert found["first_order"].value == pytest.approx(3e-3, rel=0.01)
    band = found["first_order"].band
    assert band is not None
    assert (band.low_hz, band.high_hz) == pytest.approx((17.29, 32.11))
    elsewhere, _ = banded(SIGNAL, first, rpm=3000.0)
    assert elsewhere["first_order"].value < 2e-5


@pytest.mark.parametrize("rpm", [None, 0.0, math.nan])
def test_without_a_speed_the_level_is_left_out_and_the_rest_stays(rpm: float | None) -> None:
    specs = (LevelSpec("first_order", V, RMS, 0.7, 1.3, in_orders=True), LevelSpec("high", A, RMS, 500.0, 1000.0))
    found, verdict = banded(SIGNAL, *specs, rpm=rpm)
    assert "first_order" not in found
    assert found.keys() >= {"high", "velocity_rms"}
    assert verdict.is_fit
    assert verdict.left_out == (("first_order", "speed not known"),)


@pytest.mark.parametrize("seed", range(4))
def test_noise_against_closed_form_and_band_rms(seed: int) -> None:
    rng = np.random.default_rng(seed)
    noise = rng.normal(size=N)
    low, high = rng.uniform(20.0, 300.0), rng.uniform(800.0, 2000.0)
    specs = (LevelSpec("a", A, RMS, low, high), LevelSpec("v", V, RMS, low, high))
    found, _ = banded(noise, *specs)
    density = 1.0 / math.sqrt(FS / 2.0)
    assert found["a"].value == pytest.approx(density * math.sqrt(high - low), rel=0.05)
    assert found["v"].value == pytest.approx(density * math.sqrt(1.0 / low - 1.0 / high) / (2.0 * math.pi), rel=0.2)
    spectrum = amplitude_spectrum(noise, FS)
    assert found["a"].value == pytest.approx(band_rms(spectrum, low, high), rel=0.05)
    assert found["v"].value == pytest.approx(band_rms(integrated(spectrum), low, high), rel=0.2)


def test_the_whole_band_is_the_acceleration_level() -> None:
    found, _ = banded(np.random.default_rng(9).normal(size=N), LevelSpec("all", A, RMS, 0.0, FS))
    assert found["all"].value == pytest.approx(found["acceleration_rms"].value, rel=0.03)
    assert found["all"].remark == "sample rate too low for the band: cut at 2560 Hz"


def test_bands_without_or_with_few_lines_say_so() -> None:
    specs = (LevelSpec("beyond", A, RMS, 3000.0, 4000.0), LevelSpec("few", V, RMS, 24.5, 25.0))
    found, verdict = banded(SIGNAL, *specs)
    assert verdict.left_out == (("beyond", "no line of the capture lies in 3000-4000 Hz"),)
    assert found["few"].remark == "band narrower than the resolution of the capture"


@pytest.mark.parametrize("of_envelope", [False, True])
def test_a_band_with_too_few_periods_of_its_lower_edge_says_so(of_envelope: bool) -> None:
    # 3.2 s hold 7.7 periods of 2.4 Hz and 8.3 of 2.6 Hz; the usual levels ask for eight; the envelope is of a shorter record
    slow, quick = (2.4, 2.6) if not of_envelope else (2.4, 5.0)
    specs = tuple(LevelSpec(f"f{low:g}".replace(".", "_"), A, RMS, low, 80.0, of_envelope=of_envelope) for low in (slow, quick))
    found, _ = banded(SIGNAL, *specs)
    assert [level.remark for name, level in found.items() if name.startswith("f")] == ["capture too short for the band", ""]


@pytest.mark.parametrize(("lines", "remark"), [(3, "band narrower than the resolution of the capture"), (4, "")])
def test_a_band_of_four_lines_holds_a_sine_and_one_of_three_does_not(lines: int, remark: str) -> None:
    line_hz = FS / N
    spec = LevelSpec("few", V, RMS, 77 * line_hz, (77 + lines) * line_hz)
    found, _ = banded(velocity_sine((77 + lines / 2.0) * line_hz, FS, N, 2.0), spec)
    assert found["few"].remark == remark
    assert found["few"].value == pytest.approx(2e-3, rel=0.01 if lines == 4 else 0.1)


@pytest.mark.parametrize(
    "spec",
    [
        LevelSpec("x", Quantity.TEMPERATURE, RMS, 1.0, 2.0),
        LevelSpec("x", A, Detector.KURTOSIS, 1.0, 2.0),
        LevelSpec("x", A, RMS, 2.0, 2.0),
        LevelSpec("x", A, RMS, -1.0, 2.0),
    ],
)
def test_what_cannot_be_is_refused(spec: LevelSpec) -> None:
    with pytest.raises(ParameterError, match="x: "):
        banded(SIGNAL, spec)


def test_every_row_of_a_batch_has_its_own_bands() -> None:
    waves = []
    for i in range(6):
        plain = captured(velocity_sine(25.0 + i, FS, N, 1.0 + i), FS)
        bands = (LevelSpec(f"first_{i}", V, RMS, 0.6, 1.4, in_orders=True),)
        waves.append(Waveform(plain.counts, plain.si_per_count, FS, USUAL, None, None, False, bands, 60.0 * (25.0 + i)))
    for i, (levels, _) in enumerate(measure(waves)):
        assert levels[-1].name == f"first_{i}"
        assert levels[-1].value == pytest.approx(1e-3 * (1.0 + i), rel=0.01)


@pytest.mark.parametrize(("rpm", "spec"), [(None, (50.0, 80.0, False)), (1482.0, (2.0, 3.2, True))])
def test_a_band_of_the_envelope_holds_the_modulation(rpm: float | None, spec: tuple[float, float, bool]) -> None:
    """Carrier of 2 m/s2 at 1 kHz, strength varying by 30 % at 63 Hz: the envelope's line is 2 x 0.3 / sqrt(2) (closed form)."""
    t = np.arange(N) / FS
    signal = 2.0 * (1.0 + 0.3 * np.cos(2.0 * np.pi * 63.0 * t)) * np.cos(2.0 * np.pi * 1000.0 * t)
    low, high, in_orders = spec
    inside = LevelSpec("inside", A, RMS, low, high, in_orders, of_envelope=True)
    outside = LevelSpec("outside", A, RMS, 100.0, 300.0, of_envelope=True)
    peak = LevelSpec("peak", A, PEAK, 50.0, 80.0, of_envelope=True)
    found, verdict = banded(signal, inside, outside, peak, rpm=rpm)
    assert found["inside"].value == pytest.approx(0.6 / math.sqrt(2.0), rel=0.01)
    assert found["outside"].value < 0.01
    assert verdict.left_out == (("peak", "an envelope's band has an r.m.s. only"),)
