"""What a sensor can tell: the frequencies up to which its resonance leaves a level right, and the noise it adds of its own."""

import math
from dataclasses import replace
from functools import lru_cache

from edgemon.errors import ParameterError
from edgemon.model.level import USUAL_UNIT, Band, Detector, Level
from edgemon.units import Quantity, from_si

USABLE_ERROR = 0.10
"""Error of amplitude up to which a band counts as measured. Source: the +-10 % band of accelerometer data sheets, common
practice."""
DETECTABLE = 2.0
"""Times the noise floor below which a level is the sensor's own as much as the machine's. Common practice, no source."""


def resonant_error(hz: float, resonance_hz: float) -> float:
    """Give by how much a sensor reads high below its resonance: 0.0101 at a tenth, 0.125 at a third of it.

    Parameters
    ----------
    hz, resonance_hz : float
        0 <= hz < resonance_hz.

    Raises
    ------
    ParameterError
        At or above the resonance, where no amplitude can be told.

    Notes
    -----
    1 / (1 - r^2) - 1, a mass on a spring without damping. Source: closed form, in every text on vibration.
    """
    if not 0.0 <= hz < resonance_hz:
        raise ParameterError(f"{hz:g} Hz with a resonance at {resonance_hz:g} Hz", "hz", "0 to below the resonance")
    return 1.0 / (1.0 - (hz / resonance_hz) ** 2) - 1.0


def usable_hz(resonance_hz: float, error: float = USABLE_ERROR) -> float:
    """Give the highest frequency that is read no more than `error` too high: 0.30 of the resonance for a tenth."""
    return resonance_hz * math.sqrt(error / (1.0 + error))


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
    floor = noise_floor(density, level.quantity, band)
    if level.value >= DETECTABLE * floor:
        return level
    unit = USUAL_UNIT[level.quantity]
    text = f"below detection: less than twice the sensor's own noise of {from_si(floor, unit):.2g} {unit}"
    return replace(level, remark="; ".join(filter(None, (level.remark, text))))
