"""What is left of a radio link: sensitivity, margin, shadowing, fading, and whether that is enough."""

import math
from dataclasses import dataclass
from statistics import NormalDist

from edgemon.planning.bounds import within

THERMAL_NOISE_DBM_PER_HZ = -174.0
"""Thermal noise at 290 K, k T of 1 mW, rounded."""
NEEDED_DB = 10.0
"""Margin to the worst signal strength of 24 h, with doors and cranes in use. Common practice, no source."""
NEEDED_SINGLE_ANTENNA_DB = 20.0
"""The same with a single fixed antenna. Common practice, no source."""
SIGMA_DB = 7.0
"""Spread of the loss from place to place, standard deviation in dB. House choice, no source."""
COVERAGE = 0.9
"""Share of places that are to be reached. House choice, no source."""
_MOST_DB = 400.0


def receiver_sensitivity_dbm(bandwidth_hz: float, noise_figure_db: float, snr_db: float) -> float:
    """Weakest signal that a receiver understands, dBm: -174 + 10 log10 B + NF + SNR.

    Raises
    ------
    ParameterError
        A bandwidth outside 1 Hz to 100 GHz, a noise figure outside 0 to 100 dB, a ratio beyond 100 dB.

    Notes
    -----
    Source: noise of a resistance at 290 K over the bandwidth; `snr_db` is what the modulation needs.
    """
    within(bandwidth_hz, 1.0, 1e11, "bandwidth_hz")
    within(noise_figure_db, 0.0, 100.0, "noise_figure_db")
    within(snr_db, -100.0, 100.0, "snr_db")
    return THERMAL_NOISE_DBM_PER_HZ + 10.0 * math.log10(bandwidth_hz) + noise_figure_db + snr_db


def received_dbm(power_dbm: float, gains_dbi: float, loss_db: float) -> float:
    """Strength of the signal that arrives, dBm: power + gains of both antennas - path loss.

    Raises
    ------
    ParameterError
        A number is beyond 400 dB, or the loss far from positive.
    """
    within(power_dbm, -100.0, 100.0, "power_dbm")
    within(gains_dbi, -200.0, 200.0, "gains_dbi")
    return power_dbm + gains_dbi - within(loss_db, -100.0, _MOST_DB, "loss_db")


def link_margin_db(rssi_dbm: float, sensitivity_dbm: float) -> float:
    """Give what is left above the sensitivity, dB: signal strength - sensitivity; below zero nothing comes through.

    Raises
    ------
    ParameterError
        A strength beyond what a receiver can mean.
    """
    within(rssi_dbm, -_MOST_DB, 100.0, "rssi_dbm")
    return rssi_dbm - within(sensitivity_dbm, -_MOST_DB, 100.0, "sensitivity_dbm")


def shadowing_margin_db(sigma_db: float, coverage: float) -> float:
    """Margin that keeps a share of the places reached, dB: sigma x the inverse normal distribution of the share.

    Raises
    ------
    ParameterError
        A spread outside 0 to 50 dB, a share outside 0.5 to 0.9999.

    Notes
    -----
    Source: log-normal shadowing about the median loss; T. S. Rappaport, IEEE TAP 37(8), 1989.
    """
    within(sigma_db, 0.0, 50.0, "sigma_db")
    return sigma_db * NormalDist().inv_cdf(within(coverage, 0.5, 0.9999, "coverage"))


def rayleigh_outage(margin_db: float) -> float:
    """Share of time or places at which fading without a line of sight takes more than the margin: 1 - exp(-10^(-M/10)).

    Raises
    ------
    ParameterError
        The margin is no number, or beyond 1000 dB.

    Notes
    -----
    Source: power is exponentially distributed where the amplitude is Rayleigh's; the margin is that of the mean power.
    """
    within(margin_db, -1000.0, 1000.0, "margin_db")
    return -math.expm1(-(10.0 ** (-margin_db / 10.0)))


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether what is left is enough."""

    left_db: float
    needed_db: float

    @property
    def is_enough(self) -> bool:
        """What is left is what common practice asks for, or more."""
        return self.left_db >= self.needed_db


def judge(left_db: float, is_single_antenna: bool) -> Verdict:
    """Hold what is left against common practice: 10 dB, with a single fixed antenna 20 dB."""
    return Verdict(left_db, NEEDED_SINGLE_ANTENNA_DB if is_single_antenna else NEEDED_DB)
