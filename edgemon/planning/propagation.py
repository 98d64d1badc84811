"""What a radio wave loses on its way: free space, log-distance, and indoors by ITU-R P.1238."""

import math

from edgemon.planning.bounds import within

LIGHT_M_PER_S = 299_792_458.0
"""Exact. Source: SI brochure, 9th edition."""
FACTORY_EXPONENT = 2.2
"""Average of five factories at 1300 MHz. Source: T. S. Rappaport, IEEE Trans. Antennas Propag. 37(8), 1989, abstract."""
REFERENCE_M = 1.0
_FAR_M = 1e6


def free_space_loss_db(distance_m: float, frequency_hz: float) -> float:
    """Loss between two isotropic antennas in free space, dB: 20 log10(4 pi d f / c).

    Raises
    ------
    ParameterError
        A distance up to 1000 km or a frequency of 1 MHz to 1 THz is not given.

    Notes
    -----
    Source: Friis's transmission formula; 20 log d(m) + 20 log f(Hz) - 147.552. Valid some wavelengths away only.
    """
    within(distance_m, 1e-3, _FAR_M, "distance_m")
    within(frequency_hz, 1e6, 1e12, "frequency_hz")
    return 20.0 * math.log10(4.0 * math.pi * distance_m * frequency_hz / LIGHT_M_PER_S)


def log_distance_loss_db(distance_m: float, frequency_hz: float, exponent: float = FACTORY_EXPONENT) -> float:
    """Median loss, dB: that of free space to 1 m, then 10 n dB each decade of distance.

    Raises
    ------
    ParameterError
        A distance below 1 m, an exponent outside 1 to 8, or as `free_space_loss_db`.

    Notes
    -----
    Single paths scatter about it (see `margin.shadowing_margin_db`). Source: T. S. Rappaport, IEEE TAP 37(8), 1989.
    """
    within(distance_m, REFERENCE_M, _FAR_M, "distance_m")
    within(exponent, 1.0, 8.0, "exponent")
    return free_space_loss_db(REFERENCE_M, frequency_hz) + 10.0 * exponent * math.log10(distance_m / REFERENCE_M)


def indoor_loss_db(distance_m: float, frequency_hz: float, power_loss: float, floors_db: float = 0.0) -> float:
    """Median indoor loss by ITU-R P.1238, dB: 20 log10 f(MHz) + N log10 d(m) + Lf - 28.

    Parameters
    ----------
    power_loss : float
        Distance power loss coefficient N; at 900 MHz 33 for offices, 20 for commercial buildings.
    floors_db : float
        Lf, loss of the floors between, dB.

    Raises
    ------
    ParameterError
        A distance below 1 m, a coefficient outside 10 to 80, a negative loss, or a frequency as `free_space_loss_db`.

    Notes
    -----
    Source: ITU-R P.1238, as reproduced in Integrated Wireless Propagation Models (the recommendation itself was not read).
    """
    within(distance_m, 1.0, _FAR_M, "distance_m")
    within(frequency_hz, 1e6, 1e12, "frequency_hz")
    within(power_loss, 10.0, 80.0, "power_loss")
    within(floors_db, 0.0, 300.0, "floors_db")
    return 20.0 * math.log10(frequency_hz / 1e6) + power_loss * math.log10(distance_m) + floors_db - 28.0
