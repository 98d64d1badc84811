"""Waveforms and spectra as people ask for them, against closed forms of sines; windows against Heinzel et al. (2002).

G. Heinzel, A. Ruediger, R. Schilling, Spectrum and spectral density estimation by the DFT, Max Planck Institute (2002):
table of windows (rectangular: noise bandwidth 1.0000, largest error between lines -3.9224 dB; Hann: 1.5000, -1.4236 dB).
A sine of acceleration a has velocity a / w and displacement a / w^2 (kinematics; ISO 2041).
"""

import math
from dataclasses import replace

import numpy as np
import pytest
import scipy.signal

from edgemon.diagnosis.record import Channel, MachineFacts, Record
from edgemon.engine.look import Material, look_at_waveform, of_record
from edgemon.engine.look_spectrum import look_at_envelope, look_at_spectrum
from edgemon.errors import ParameterError
from edgemon.model.look import EnvelopeRequest, SpectrumRequest, WaveformRequest
from edgemon.model.machine import Bearing
from edgemon.units import Quantity

FS, N = 6400.0, 16384
RNG = np.random.default_rng(7)
NOISE = 1e-3 * RNG.standard_normal(N)
G, INCH = 9.80665, 0.0254
BEARING = Bearing(9, 7.94e-3, 39.04e-3, 0.0)


def sine(hz: float, rms: float = 2.0, phase: float = 0.4, n: int = N) -> np.ndarray:
    return np.asarray(math.sqrt(2.0) * rms * np.cos(2.0 * np.pi * hz * np.arange(n) / FS + phase))


NO_FACTS = MachineFacts()


def made(
    samples: np.ndarray,
    facts: MachineFacts = NO_FACTS,
    quantity: Quantity = Quantity.ACCELERATION,
    calibrated: bool = True,
) -> Material:
    record = Record(samples[None, :], FS, (Channel("a", calibrated=calibrated),), quantity)
    return of_record(record, 0, facts, "here")


IN_UNIT = [  # quantity, unit, unit in SI, times integrated
    ("acceleration", "m/s2", 1.0, 0),
    ("acceleration", "g", G, 0),
    ("velocity", "mm/s", 1e-3, 1),
    ("velocity", "in/s", INCH, 1),
    ("displacement", "um", 1e-6, 2),
    ("displacement", "mil", 1e-3 * INCH, 2),
]
DETECTED = [("rms", "r.m.s.", 1.0), ("peak", "peak", math.sqrt(2.0)), ("peak-to-peak", "peak-to-peak", 2.0 * math.sqrt(2.0))]


@pytest.mark.parametrize("window", ["rectangular", "hann", "flat-top"])
@pytest.mark.parametrize(("detector", "word", "factor"), DETECTED)
@pytest.mark.parametrize(("quantity", "unit", "size", "times"), IN_UNIT)
def test_a_sine_between_lines_in_every_quantity_unit_detector_and_window(
    quantity: str, unit: str, size: float, times: int, detector: str, word: str, factor: float, window: str
) -> None:
    hz = 403.37 * FS / N * 2.0  # 0.37 lines off the nearer one of a window of N / 2
    view = look_at_spectrum(
        made(sine(hz) + NOISE),
        SpectrumRequest(quantity=quantity, unit=unit, detector=detector, window=window, lines=3200, fmax_hz=2500.0),
    )
    top = view.peaks[0]
    assert (view.quantity, view.unit, view.detector, view.window) == (quantity, unit, word, window)
    assert view.averages == 3
    assert top.hz == pytest.approx(hz, abs=0.02 * view.line_hz)
    assert top.amplitude == pytest.approx(2.0 / (2.0 * math.pi * hz) ** times / size * factor, rel=5e-3)
    assert top.x == top.hz


@pytest.mark.parametrize(("window", "bandwidth", "loss_db"), [("rectangular", 1.0, -3.9224), ("hann", 1.5, -1.4236)])
def test_the_line_itself_is_low_by_the_windows_scallop_and_the_peak_is_not(
    window: str, bandwidth: float, loss_db: float
) -> None:
    view = look_at_spectrum(
        made(sine(1000.5 * FS / N)), SpectrumRequest("acceleration", window=window, lines=6400, fmax_hz=2500.0)
    )
    assert 20.0 * math.log10(max(view.amplitude) / 2.0) == pytest.approx(loss_db, abs=0.01)
    assert view.peaks[0].amplitude == pytest.approx(2.0, rel=1e-3)
    assert view.resolution_hz / view.line_hz == pytest.approx(bandwidth, rel=1e-6)


# N = 2.56 L, T = L / Fmax (recomputed): lines, samples, duration and line distance for Fmax 1000 Hz
@pytest.mark.parametrize(
    ("lines", "samples", "duration", "line"),
    [(400, 1024, 0.4, 2.5), (800, 2048, 0.8, 1.25), (1600, 4096, 1.6, 0.625), (3200, 8192, 3.2, 0.3125),
     (6400, 16384, 6.4, 0.15625)],
)  # fmt: skip
def test_so_many_lines_take_so_many_samples(lines: int, samples: int, duration: float, line: float) -> None:
    asked = SpectrumRequest("acceleration", lines=lines, fmax_hz=1000.0)
    whole = replace(made(NOISE[:samples]), fs_hz=2560.0)
    view = look_at_spectrum(whole, asked)
    assert view.averages == 1
    assert view.high_hz == pytest.approx(1000.0)
    assert view.line_hz == pytest.approx(line)
    assert samples / 2560.0 == pytest.approx(duration)
    with pytest.raises(ParameterError, match=f"take {duration:.4g} s"):
        look_at_spectrum(replace(whole, samples=whole.samples[:-1]), asked)


def test_lines_and_fmax_make_the_window_and_the_answer_says_what_it_was() -> None:
    """800 lines to 1000 Hz take 0.8 s (lines over Fmax): 5120 samples at 6400 Hz, 1.25 Hz apart, 5 windows at half overlap."""
    view = look_at_spectrum(made(NOISE), SpectrumRequest("acceleration", lines=800, fmax_hz=1000.0))
    assert (view.line_hz, view.averages, view.overlap, view.averaging) == (1.25, 5, 0.5, "linear, power")
    assert (view.low_hz, view.high_hz, len(view.amplitude)) == (1.25, 1000.0, 800)
    assert view.first_x + view.step_x * 799 == pytest.approx(1000.0)
    one = look_at_spectrum(made(NOISE), SpectrumRequest("acceleration", lines=800, fmax_hz=1000.0, averages=1))
    assert (one.averages, one.averaging, one.overlap, one.effective_averages) == (1, "none", 0.0, 1.0)


@pytest.mark.parametrize("overlap", [0.0, 0.5, 0.75])
def test_averaged_power_is_welchs(overlap: float) -> None:
    view = look_at_spectrum(
        made(NOISE + sine(100.0)), SpectrumRequest("acceleration", lines=800, fmax_hz=2500.0, overlap=overlap, low_hz=50.0)
    )
    size = 2048
    wave = NOISE + sine(100.0)
    hann = scipy.signal.windows.hann(size, sym=False)
    hz, power = scipy.signal.welch(wave - wave.mean(), FS, hann, size, int(overlap * size), detrend=False, scaling="spectrum")
    inside = (hz >= 50.0 - 1e-9) & (hz <= 2500.0 + 1e-9)
    np.testing.assert_allclose(view.amplitude, np.sqrt(power[inside]), rtol=2e-3, atol=2e-6)


def test_total_is_the_rms_of_the_band() -> None:
    """Two sines of 3 and 4 m/s2 r.m.s. make 5 (Parseval)."""
    view = look_at_spectrum(made(sine(100.3, 3.0) + sine(700.7, 4.0)), SpectrumRequest("acceleration"))
    assert view.total_rms == pytest.approx(5.0, rel=1e-3)


def test_peak_hold_keeps_what_comes_and_goes() -> None:
    burst = np.where(np.arange(N) < 2048, sine(800.0), 0.0)
    held = look_at_spectrum(made(burst), SpectrumRequest("acceleration", lines=800, fmax_hz=2500.0, hold=True))
    mean = look_at_spectrum(made(burst), SpectrumRequest("acceleration", lines=800, fmax_hz=2500.0))
    assert held.averaging == "peak hold"
    assert max(held.amplitude) == pytest.approx(2.0, rel=1e-3)
    assert max(mean.amplitude) < 1.0


@pytest.mark.parametrize(("axis", "factor"), [("Hz", 1.0), ("CPM", 60.0), ("orders", 1.0 / 49.6)])
def test_axes(axis: str, factor: float) -> None:
    view = look_at_spectrum(
        made(sum(sine(k * 49.6) for k in (1, 2, 3)) + NOISE, MachineFacts(speed_hz=49.5)),
        SpectrumRequest("acceleration", axis=axis),
    )
    assert view.source.rpm == pytest.approx(60.0 * 49.6, rel=1e-4)
    assert "measured from 1x" in view.source.speed_basis
    assert view.step_x == pytest.approx(view.line_hz * factor, rel=1e-4)
    assert sorted(peak.x for peak in view.peaks[:3]) == pytest.approx([k * 49.6 * factor for k in (1, 2, 3)], rel=1e-3)
    assert sorted(peak.name for peak in view.peaks[:3]) == ["1x", "2x", "3x"]
    assert [peak.order for peak in view.peaks[:3]] == pytest.approx([peak.hz / 49.6 for peak in view.peaks[:3]], rel=1e-4)


def test_a_zoom_shows_the_tops_of_sines_that_lie_close() -> None:
    """Sines 2 Hz apart: 2.56 s under a Hann window part them (main lobe 4 / T = 1.56 Hz wide)."""
    wave = sine(500.1, 2.0) + sine(502.1, 1.0) + NOISE
    view = look_at_spectrum(made(wave), SpectrumRequest("acceleration", zoom_low_hz=495.0, zoom_high_hz=505.0, lines=1001))
    assert (view.low_hz, len(view.amplitude), view.averages) == (495.0, 1001, 1)
    assert view.step_x == pytest.approx(0.01)
    at = int(np.argmax(view.amplitude))
    assert view.first_x + at * view.step_x == pytest.approx(500.1, abs=0.05)
    assert max(view.amplitude) == pytest.approx(2.0, rel=0.03)
    assert [peak.hz for peak in view.peaks[:2]] == pytest.approx([500.1, 502.1], abs=0.05)
    assert [peak.amplitude for peak in view.peaks[:2]] == pytest.approx([2.0, 1.0], rel=0.05)
    wide = look_at_spectrum(made(wave), SpectrumRequest("acceleration", zoom_low_hz=300.0, zoom_high_hz=800.0))
    assert max(wide.amplitude) == pytest.approx(wide.peaks[0].amplitude, rel=0.02)  # tops show in a wide one, too
    velocity = look_at_spectrum(made(wave), SpectrumRequest(zoom_low_hz=495.0, zoom_high_hz=505.0))
    assert velocity.peaks[0].amplitude == pytest.approx(2.0e3 / (2.0 * math.pi * 500.1), rel=0.05)


def test_expected_frequencies_stand_beside_the_spectrum() -> None:
    """Bearing 9 x 7.94 mm on 39.04 mm: BPFO 3.585, BPFI 5.415, 2 BSF 4.713, FTF 0.398 (Norton & Karczub, 8.5-8.14)."""
    facts = MachineFacts(50.0, (("b", BEARING),), blades=6, supply_hz=50.0, poles=2)
    view = look_at_spectrum(made(NOISE, facts), SpectrumRequest("acceleration", axis="orders"))
    at = {one.name: one for one in view.markers}
    assert {name: round(one.x, 3) for name, one in at.items()} == {
        "1x": 1.0, "BPFO": 3.585, "BPFI": 5.415, "2 BSF": 4.713, "FTF": 0.398, "blade pass": 6.0, "2 x supply": 2.0,
    }  # fmt: skip
    assert at["BPFI"].sidebands_hz == (50.0,)
    assert at["BPFO"].tolerance_hz == pytest.approx(0.04 * 3.585 * 50.0, rel=1e-3)  # slip of motor and of cage, 2 % each
    assert view.source.speed_basis == view.source.speed_origin == "given"


def impacts(hz: float, low: float, high: float) -> np.ndarray:
    """Noise in a band whose strength comes and goes at hz, cos^8: so does its envelope."""
    noise = np.fft.rfft(np.random.default_rng(3).standard_normal(N))
    f = np.fft.rfftfreq(N, 1.0 / FS)
    inside = np.fft.irfft(np.where((f > low) & (f < high), noise, 0.0), N)
    return np.asarray(inside * np.cos(np.pi * hz * np.arange(N) / FS) ** 8)


def test_an_envelope_of_a_modulated_tone_is_its_modulation() -> None:
    """(1 + 0.5 cos) times a tone of peak 2: the envelope swings by 1 (closed form); squared, by 4."""
    t = np.arange(N) / FS
    wave = 2.0 * (1.0 + 0.5 * np.cos(2.0 * np.pi * 37.5 * t)) * np.cos(2.0 * np.pi * 2000.0 * t)
    asked = EnvelopeRequest(band_low_hz=1800.0, band_high_hz=2200.0)
    view = look_at_envelope(made(wave), asked)
    assert (view.kind, view.unit, view.demodulated) == ("envelope", "m/s2", "1800-2200 Hz, as asked")
    assert view.peaks[0].hz == pytest.approx(37.5, abs=0.01)
    assert view.peaks[0].amplitude == pytest.approx(1.0 / math.sqrt(2.0), rel=5e-3)
    squared = look_at_envelope(made(wave), replace(asked, squared=True, unit="g"))
    assert squared.unit == "(g)2"
    assert squared.peaks[0].amplitude == pytest.approx(4.0 / math.sqrt(2.0) / G**2, rel=5e-3)


def test_the_band_that_rings_is_found_and_noise_has_none() -> None:
    wave = impacts(81.0, 2000.0, 2600.0) + 0.02 * NOISE + sine(50.0, 1.0)
    view = look_at_envelope(made(wave), EnvelopeRequest(squared=True, fmax_hz=400.0))
    assert "rings most with impacts" in view.demodulated
    assert view.peaks[0].hz == pytest.approx(81.0, abs=0.5)
    quiet = look_at_envelope(made(NOISE), EnvelopeRequest(fmax_hz=400.0))
    assert "none rings" in quiet.demodulated


def test_whitening_takes_tones_away() -> None:
    wave = impacts(81.0, 2000.0, 2600.0) + NOISE + sine(2300.0, 20.0) + sine(2390.0, 20.0)
    asked = EnvelopeRequest(band_low_hz=2000.0, band_high_hz=2600.0, squared=True, fmax_hz=300.0)
    plain, white = look_at_envelope(made(wave), asked), look_at_envelope(made(wave), replace(asked, whitened=True))
    assert plain.peaks[0].hz == pytest.approx(90.0, abs=0.5)
    assert white.peaks[0].hz == pytest.approx(81.0, abs=0.5)
    assert white.unit == "1"
    assert white.kind == "squared envelope, whitened"


def test_a_waveform_keeps_every_peak() -> None:
    wave = NOISE.copy()
    wave[[777, 9000]] = 5.0, -7.0
    view = look_at_waveform(made(wave), WaveformRequest(columns=300))
    assert len(view.low) == len(view.high) <= 300
    assert [max(view.high), min(view.low)] == pytest.approx([5.0 - wave.mean(), -7.0 - wave.mean()], rel=1e-6)
    at = int(np.argmax(view.high))
    assert view.start_s + at * view.step_s <= 777 / FS < view.start_s + (at + 1) * view.step_s
    whole = look_at_waveform(made(wave[:4000]), WaveformRequest(columns=4000))
    assert whole.low == whole.high
    np.testing.assert_allclose(whole.low, wave[:4000] - wave[:4000].mean(), atol=1e-6)


@pytest.mark.parametrize(("quantity", "unit", "size", "times"), IN_UNIT)
def test_a_waveform_in_every_unit(quantity: str, unit: str, size: float, times: int) -> None:
    """Far inside the band, 10 to 1000 Hz, its gain is 1 to 1e-3 (third-order Butterworth)."""
    hz = 100.17
    view = look_at_waveform(made(sine(hz)), WaveformRequest(quantity, unit, columns=4000))
    rms = 2.0 / (2.0 * math.pi * hz) ** times / size
    assert view.unit == unit
    assert view.rms == pytest.approx(rms, rel=3e-3)
    assert view.peak == pytest.approx(math.sqrt(2.0) * rms, rel=5e-3)
    assert view.peak_to_peak == pytest.approx(2.0 * math.sqrt(2.0) * rms, rel=5e-3)
    assert view.crest_factor == pytest.approx(math.sqrt(2.0), rel=5e-3)
    if times:
        assert (view.band_low_hz, view.band_high_hz) == (10.0, 1000.0)


def test_a_stretch_of_a_waveform_and_velocity_measured_as_such() -> None:
    view = look_at_waveform(made(sine(50.0)), WaveformRequest(start_s=0.5, length_s=0.1))
    assert (view.start_s, view.samples) == (0.5, 640)
    measured = made(sine(100.0, 1e-3), quantity=Quantity.VELOCITY)
    assert look_at_waveform(measured, WaveformRequest("velocity")).rms == pytest.approx(1.0, rel=1e-3)
    lines = look_at_spectrum(measured, SpectrumRequest("acceleration"))
    assert lines.peaks[0].amplitude == pytest.approx(1e-3 * 2.0 * math.pi * 100.0, rel=5e-3)


REFUSED = [
    (SpectrumRequest("temperature"), "quantity", "acceleration"),
    (SpectrumRequest(unit="um"), "unit", "mm/s"),
    (SpectrumRequest(unit="\x1b[2J"), "unit", "mm/s"),
    (SpectrumRequest(detector="mean"), "detector", "peak-to-peak"),
    (SpectrumRequest(window="kaiser"), "window", "flat-top"),
    (SpectrumRequest(axis="rad/s"), "axis", "CPM"),
    (SpectrumRequest(axis="orders"), "rpm", "r/min"),
    (SpectrumRequest(lines=10**9), "lines", "16 to"),
    (SpectrumRequest(lines=12_800), "lines", "at most"),
    (SpectrumRequest(lines=0), "lines", "16"),
    (SpectrumRequest(fmax_hz=1e9), "fmax_hz", "3200"),
    (SpectrumRequest(fmax_hz=1e-300), "fmax_hz", "16 lines"),
    (SpectrumRequest(fmax_hz=math.nan), "fmax_hz", "above 0"),
    (SpectrumRequest(overlap=0.999999), "overlap", "0.9"),
    (SpectrumRequest(overlap=math.nan), "overlap", "0.9"),
    (SpectrumRequest(averages=10**6), "averages", "1 to"),
    (SpectrumRequest(peaks=10**6), "peaks", "200"),
    (SpectrumRequest(low_hz=-1.0), "low_hz", "0 or more"),
    (SpectrumRequest(low_hz=5000.0), "low_hz", "lower"),
    (SpectrumRequest(zoom_low_hz=10.0), "zoom", "both"),
    (SpectrumRequest(zoom_low_hz=10.0, zoom_high_hz=20.0, averages=3), "zoom", "leave out"),
    (SpectrumRequest(zoom_low_hz=10.0, zoom_high_hz=20.0, lines=10**7), "lines", "6400"),
    (EnvelopeRequest(quantity="velocity"), "quantity", "acceleration"),
    (EnvelopeRequest(band_low_hz=100.0), "band", "both"),
    (EnvelopeRequest(band_low_hz=100.0, band_high_hz=1e6), "band", "3200"),
    (EnvelopeRequest(band_low_hz=1000.0, band_high_hz=1100.0, fmax_hz=500.0), "fmax_hz", "widen"),
    (EnvelopeRequest(whitened=True, unit="g"), "unit", "leave it out"),
    (WaveformRequest(columns=10**8), "columns", "4000"),
    (WaveformRequest(start_s=99.0), "start_s", "lasts"),
    (WaveformRequest(start_s=math.nan), "start_s", "lasts"),
    (WaveformRequest(length_s=-1.0), "start_s", "lasts"),
    (WaveformRequest("velocity", low_hz=50.0, high_hz=5.0), "low_hz", "low < high"),
    (WaveformRequest("velocity", low_hz=1e-9), "band", "period"),
    (WaveformRequest(low_hz=5.0), "low_hz", "integrated"),
]


def look(material: Material, request: SpectrumRequest | WaveformRequest) -> object:
    match request:
        case WaveformRequest():
            return look_at_waveform(material, request)
        case EnvelopeRequest():
            return look_at_envelope(material, request)
        case _:
            return look_at_spectrum(material, request)


@pytest.mark.parametrize(("request_", "where", "hint"), REFUSED, ids=lambda one: str(one)[:60] if isinstance(one, str) else "")
def test_what_cannot_be_is_refused_with_what_would_do(
    request_: SpectrumRequest | WaveformRequest, where: str, hint: str
) -> None:
    material = made(NOISE)
    with pytest.raises(ParameterError) as refused:
        look(material, request_)
    assert refused.value.where == where
    assert hint in str(refused.value)


def test_sizes_that_mean_nothing_are_shown_as_recorded_and_never_converted() -> None:
    unsaid = made(sine(100.0), calibrated=False)
    assert look_at_spectrum(unsaid, SpectrumRequest("acceleration")).unit == "as recorded"
    with pytest.raises(ParameterError, match="does not say what unit"):
        look_at_spectrum(unsaid, SpectrumRequest("velocity"))


@pytest.mark.parametrize("rpm", [0.0, -3.0, math.nan, math.inf])
def test_a_speed_that_is_none_is_refused(rpm: float) -> None:
    record = Record(NOISE[None, :], FS, (Channel("a"),))
    with pytest.raises(ParameterError, match="running speed"):
        of_record(record, 0, MachineFacts(), "here", rpm)
