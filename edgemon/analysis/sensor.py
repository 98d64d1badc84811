"""What a sensor can tell: the frequencies up to which its resonance leaves a level right, and the noise it adds of its own."""

import math
from collections.abc import Iterable, Mapping
from functools import lru_cache
from types import MappingProxyType

from edgemon.analysis.registry import ENVELOPE_BAND
from edgemon.errors import ParameterError
from edgemon.model.level import USUAL_UNIT, Band, Detector, Level, LevelSpec
from edgemon.model.machine import Mounting, Sensor
from edgemon.units import Quantity, from_si

USABLE_ERROR = 0.10
"""Error of amplitude up to which a band counts as measured. Source: the +-10 % band of accelerometer data sheets, common
practice."""
TYPICAL_HZ: Mapping[Mounting, float] = MappingProxyType(
    {Mounting.STUD: 30_000.0, Mounting.ADHESIVE: 25_000.0, Mounting.MAGNET: 7_000.0, Mounting.PROBE: 1_000.0}
)
"""Resonance of a light sensor as mounted, the lower end of what is usual: stud about 30 kHz, thin adhesive little below it,
magnet 7 to 12 kHz, by hand 1 to 2 kHz. Order by ISO 5348:2021 (at second hand); figures common practice, no source. A heavier
sensor has less: its data sheet says."""
DETECTABLE = 2.0
"""Times the noise floor below which a level is the sensor's own as much as the machine's. Common practice, no source."""

ENVELOPE_OF_NOISE = math.sqrt(2.0 - math.pi / 2.0)
"""R.m.s. of the envelope of noise about its mean, over the noise's own: 0.655. Source: closed form (Rayleigh distribution)."""


def usable_hz(resonance_hz: float, error: float = USABLE_ERROR) -> float:
    """Give the highest frequency that is read no more than `error` too high: 0.30 of the resonance for a tenth.

    Notes
    -----
    A mass on a spring without damping reads 1 / (1 - r^2) as much at the part r of its resonance. Source: closed form, in every
    text on vibration.
    """
    return resonance_hz * math.sqrt(error / (1.0 + error))


def resonance_of(resonance_hz: float | None, mounting: Mounting | None) -> tuple[float, str] | None:
    """Give the resonance of a sensor as mounted and what that rests on, for people; None where nothing is said of it."""
    if resonance_hz is not None:
        return resonance_hz, "as the plant file says"
    return None if mounting is None else (TYPICAL_HZ[mounting], f"typical of a light sensor by {mounting}")


@lru_cache(maxsize=1024)
def noise_floor(density: float, quantity: Quantity, band: Band) -> float:
    """Give what white noise of a sensor alone reads as, r.m.s., house's unit of `quantity`.

    Parameters
    ----------
    density : float
        Of acceleration, m/s2 per root hertz.
    quantity : Quantity
        Acceleration, velocity or displacement.
    band : Band
        For the last two its lower edge lies above zero.

    Raises
    ------
    ParameterError
        Another quantity, or an integral from 0 Hz on, which has no bound.

    Notes
    -----
    Root of the integral of S^2 / (2 pi f)^(2 k) between sharp edges, k integrations.
    Source: closed form; S sqrt((1/f1 - 1/f2) / (4 pi^2)) for velocity.
    """
    low, high = band.low_hz, band.high_hz
    if quantity is Quantity.ACCELERATION:
        return density * math.sqrt(high - low)
    if quantity not in (Quantity.VELOCITY, Quantity.DISPLACEMENT) or not low > 0.0:
        raise ParameterError(f"noise of {quantity} in {band}", "quantity, band", "from above 0 Hz on where it is integrated")
    if quantity is Quantity.VELOCITY:
        return density * math.sqrt(1.0 / low - 1.0 / high) / (2.0 * math.pi)
    return density * math.sqrt((low**-3 - high**-3) / 3.0) / (2.0 * math.pi) ** 2


def said_of_noise(level: Level, density: float) -> Level:
    """Give a level with a remark where it lies below twice the sensor's own noise; r.m.s. levels with a band only."""
    band, integrated = level.band, level.quantity in (Quantity.VELOCITY, Quantity.DISPLACEMENT)
    if level.detector is not Detector.RMS or band is None or not (integrated or level.quantity is Quantity.ACCELERATION):
        return level
    if integrated and not band.low_hz > 0.0:
        return level
    floor = noise_floor(density, level.quantity, band) * (ENVELOPE_OF_NOISE if level.name in ENVELOPE_BAND else 1.0)
    if level.value >= DETECTABLE * floor:
        return level
    unit = USUAL_UNIT[level.quantity]
    text = f"below detection: less than twice the sensor's own noise of {from_si(floor, unit):.2g} {unit}"
    return level._replace(remark="; ".join(filter(None, (level.remark, text))))


def said_of_resonance(level: Level, resonance_hz: float, basis: str) -> Level:
    """Give a level with a remark where its band reaches beyond what the resonance of the mounting leaves right.

    Notes
    -----
    What lies beyond is read high up to the resonance, and low above it. Source: mass on a spring, closed form; that a band
    should end at about a third of the resonance: ISO 5348:2021 (at second hand), common practice.
    """
    reach = usable_hz(resonance_hz)
    if level.band is None or level.band.high_hz <= reach * (1.0 + 1e-9):
        return level
    text = f"its band reaches beyond {reach:.0f} Hz: resonance of the mounting at {resonance_hz:.0f} Hz ({basis})"
    return level._replace(remark="; ".join(filter(None, (level.remark, text))))


def said_of_sensor(levels: tuple[Level, ...], sensor: Sensor, own: Iterable[LevelSpec] = ()) -> tuple[Level, ...]:
    """Give levels with remarks on what their sensor cannot tell; as they are where nothing is known of it.

    Those of one's own (`own`) in the spectrum of an envelope stay as they are: their band is of rhythms, not of vibration.
    """
    noise, resonance = sensor.noise_si, resonance_of(sensor.resonance_hz, sensor.mounting)
    if noise is None and resonance is None:
        return levels
    rhythms = {spec.name for spec in own if spec.of_envelope}
    return tuple(level if level.name in rhythms else _said(level, noise, resonance) for level in levels)


def _said(level: Level, noise: float | None, resonance: tuple[float, str] | None) -> Level:
    level = level if noise is None else said_of_noise(level, noise)
    return level if resonance is None else said_of_resonance(level, *resonance)
