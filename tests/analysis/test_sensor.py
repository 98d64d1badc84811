"""What a sensor's resonance and its own noise do: closed forms, an oscillator run in time, noise through the levels."""

import math

import numpy as np
import pytest
import scipy.integrate
import scipy.signal

from edgemon.analysis.integrate import integrated
from edgemon.analysis.sensor import noise_floor, resonance_of, said_of_noise, said_of_sensor, usable_hz
from edgemon.analysis.spectrum import amplitude_spectrum
from edgemon.errors import ParameterError
from edgemon.model.ids import SensorId
from edgemon.model.level import Band, Detector, Level, LevelSpec
from edgemon.model.machine import Mounting, Sensor
from edgemon.units import Quantity, from_si, to_si
from tests.analysis.signals import SLOW, USUAL, captured, full

A, V, D = Quantity.ACCELERATION, Quantity.VELOCITY, Quantity.DISPLACEMENT
DENSITY = to_si(1e-4, "g")  # 100 ug per root hertz


# 1 / (1 - r^2) of a mass on a spring without damping, in every text on vibration: a tenth of the resonance for 1 %, a fifth for
# 4 %, a third for 12.5 %, half for a third (common practice; figures recomputed from the closed form)
@pytest.mark.parametrize(
    ("error", "share"), [(1.0 / 99.0, 0.1), (1.0 / 24.0, 0.2), (0.10, 0.30151), (0.125, 1.0 / 3.0), (1.0 / 3.0, 0.5)]
)
def test_the_usable_band_ends_where_the_error_is_reached(error: float, share: float) -> None:
    assert usable_hz(9000.0, error) == pytest.approx(9000.0 * share, rel=1e-5)


@pytest.mark.parametrize("error", [0.0025, 0.04, 0.10, 0.125, 0.56])
def test_against_an_oscillator_that_is_shaken(error: float) -> None:
    """Second method: the seismic mass itself, x'' + w^2 x = -a(t), stepped in time by SciPy's exact discretisation."""
    w = 2.0 * np.pi * 1000.0
    t = np.arange(0.0, 1.0, 1e-5)
    shaken = np.sin(2.0 * np.pi * usable_hz(1000.0, error) * t) * np.minimum(1.0, t / 0.5)  # slowly: it does not ring
    weights, memory, _ = scipy.signal.cont2discrete(([w * w], [1.0, 2e-4 * w, w * w]), 1e-5, "foh")
    moved = scipy.signal.lfilter(weights[0], memory, shaken)
    assert np.abs(moved[t > 0.8]).max() == pytest.approx(1.0 + error, rel=3e-3)


# S sqrt((1/f1 - 1/f2) / (4 pi^2)): 0.04911 and 0.11025 mm/s; as acceleration 3.146 mg (recomputed)
@pytest.mark.parametrize(
    ("quantity", "band", "unit", "floor"),
    [(V, USUAL, "mm/s", 0.04911), (V, SLOW, "mm/s", 0.11025), (A, USUAL, "mg", 3.146)],
)
def test_floors_of_a_hundred_micro_g(quantity: Quantity, band: Band, unit: str, floor: float) -> None:
    assert from_si(noise_floor(DENSITY, quantity, band), unit) == pytest.approx(floor, rel=2e-4)


@pytest.mark.parametrize(("quantity", "times"), [(A, 0), (V, 1), (D, 2)])
@pytest.mark.parametrize("band", [USUAL, SLOW, Band(0.5, 5000.0)])
def test_floors_against_numerical_integration(quantity: Quantity, times: int, band: Band) -> None:
    """The power of each frequency, S^2 / (2 pi f)^(2 k), summed by SciPy's quadrature over the logarithm of frequency."""
    power, _ = scipy.integrate.quad(
        lambda x: DENSITY**2 * math.exp(x) / (2.0 * math.pi * math.exp(x)) ** (2 * times),
        math.log(band.low_hz),
        math.log(band.high_hz),
        epsrel=1e-10,
    )
    assert noise_floor(DENSITY, quantity, band) == pytest.approx(math.sqrt(power), rel=1e-8)


def test_floors_against_lines_of_noise() -> None:
    """Every line of a flat spectrum integrated by itself."""
    lines = amplitude_spectrum(np.random.default_rng(3).normal(size=1 << 17) * DENSITY * math.sqrt(1280.0), 2560.0)
    velocity = integrated(lines)
    for spectrum, quantity in ((lines, A), (velocity, V), (integrated(velocity), D)):
        at = np.arange(spectrum.amplitude.size) * spectrum.line_hz
        inside = (at >= 10.0) & (at < 1000.0)
        power = np.sum(spectrum.amplitude[inside].astype(np.float64) ** 2) / spectrum.noise_bandwidth_lines
        assert noise_floor(DENSITY, quantity, USUAL) == pytest.approx(math.sqrt(power), rel=0.1)


@pytest.mark.parametrize(("times", "is_below"), [(0.0, True), (1.9, True), (2.1, False), (50.0, False)])
@pytest.mark.parametrize("quantity", [A, V, D])
def test_less_than_twice_the_floor_is_below_detection(quantity: Quantity, times: float, is_below: bool) -> None:
    # common practice: a level less than twice the sensor's own noise is not told from it
    level = Level("x", times * noise_floor(DENSITY, quantity, USUAL), quantity, Detector.RMS, USUAL, "short")
    said = said_of_noise(level, DENSITY)
    assert (said.value, said.band) == (level.value, level.band)
    assert said.remark.startswith("short; below detection") is is_below
    assert is_below or said == level


def test_noise_alone_is_below_detection_and_a_machine_is_not() -> None:
    """White noise of the density through the levels: it is the sensor's own; one millimetre a second is the machine's."""
    t = np.arange(1 << 16) / 2560.0
    noise = np.random.default_rng(1).normal(size=t.size) * DENSITY * math.sqrt(1280.0)
    running = noise + math.sqrt(2.0) * 2.0 * np.pi * 50.0 * 1e-3 * np.cos(2.0 * np.pi * 50.0 * t)
    for wave, is_below in ((noise, True), (running, False)):
        level = full(captured(wave, 2560.0))[0]["velocity_rms"]
        assert ("below detection" in said_of_noise(level, DENSITY).remark) is is_below


def test_what_noise_alone_reads_as_in_an_envelope() -> None:
    """White noise of the density through the levels: what the remark says of an envelope is what noise reads as."""
    fs_hz = 25600.0
    noise = np.random.default_rng(1).normal(size=1 << 16) * DENSITY * math.sqrt(fs_hz / 2.0)
    level = full(captured(noise, fs_hz))[0]["envelope_rms"]
    (said,) = said_of_sensor((level,), Sensor(SensorId("s-0001"), noise_si=DENSITY))
    assert f"own noise of {level.value:.2g} m/s2" in said.remark


def test_a_band_of_rhythms_in_an_envelope_is_none_of_vibration() -> None:
    """One of 50 to 500 Hz in the spectrum of an envelope says nothing of noise, or of a resonance, from 50 to 500 Hz."""
    sensor = Sensor(SensorId("s-0001"), noise_si=DENSITY, mounting=Mounting.PROBE)
    levels = tuple(Level(name, 1e-6, A, Detector.RMS, Band(50.0, 500.0)) for name in ("rhythms", "plain"))
    own = tuple(LevelSpec(name, A, Detector.RMS, 50.0, 500.0, of_envelope=name == "rhythms") for name in ("rhythms", "plain"))
    rhythms, plain = said_of_sensor(levels, sensor, own)
    assert rhythms is levels[0]
    assert "below detection" in plain.remark
    assert "resonance" in plain.remark


def test_levels_that_have_no_floor_are_left_as_they_are() -> None:
    for level in (
        Level("crest_factor", 3.0, Quantity.RATIO, Detector.CREST_FACTOR, USUAL),
        Level("velocity_peak", 0.0, V, Detector.PEAK, USUAL),
        Level("velocity_rms", 0.0, V, Detector.RMS),
        Level("velocity_rms", 0.0, V, Detector.RMS, Band(0.0, 100.0)),
        Level("temperature", 20.0, Quantity.TEMPERATURE, Detector.VALUE),
    ):
        assert said_of_noise(level, DENSITY) is level


def test_what_cannot_be_is_refused() -> None:
    for quantity, band in ((V, Band(0.0, 100.0)), (Quantity.TEMPERATURE, USUAL)):
        with pytest.raises(ParameterError, match="noise of"):
            noise_floor(DENSITY, quantity, band)


def test_mountings_stand_in_the_order_of_their_stiffness() -> None:
    """ISO 5348: stud, adhesive, magnet, probe, each lower than the one before."""
    found = [resonance for mounting in Mounting if (resonance := resonance_of(None, mounting)) is not None]
    assert [hz for hz, _ in found] == sorted((hz for hz, _ in found), reverse=True)
    assert len(found) == len(Mounting) == 4
    assert resonance_of(2500.0, Mounting.STUD) == (2500.0, "as the plant file says")
    assert resonance_of(None, None) is None


def test_a_level_whose_band_the_mounting_distorts_says_so() -> None:
    """A third of the resonance reads an eighth high, 0.3015 of it a tenth (closed form, above): 2111 Hz of a magnet's 7000."""
    magnet = Sensor(SensorId("s-1"), mounting=Mounting.MAGNET)
    inside = Level("velocity_rms", 1e-3, V, Detector.RMS, USUAL)
    beyond = Level("acceleration_peak", 9.0, A, Detector.PEAK, Band(0.5, 3200.0), "short")
    same, said = said_of_sensor((inside, beyond), magnet)
    assert same is inside
    assert said.value == beyond.value
    assert said.remark.startswith("short; its band reaches beyond 2111 Hz: resonance of the mounting at 7000 Hz (typical")
    at_edge = Level("a", 1.0, A, Detector.RMS, Band(10.0, usable_hz(7000.0)))
    assert said_of_sensor((at_edge, Level("t", 20.0, Quantity.TEMPERATURE, Detector.VALUE)), magnet)[0] is at_edge
    unknown = Sensor(SensorId("s-1"))
    assert said_of_sensor((inside, beyond), unknown) == (inside, beyond)
