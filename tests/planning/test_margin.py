"""Margins against the closed forms, and against the distributions of scipy as a second method."""

import math
from collections.abc import Callable

import pytest
from scipy import constants, stats

from edgemon.errors import ParameterError
from edgemon.planning.margin import (
    judge,
    link_margin_db,
    rayleigh_outage,
    received_dbm,
    receiver_sensitivity_dbm,
    shadowing_margin_db,
)
from edgemon.planning.propagation import log_distance_loss_db


@pytest.mark.parametrize(
    ("bandwidth_hz", "noise_figure_db", "snr_db", "expected", "tolerance"),
    [(125e3, 6.0, -20.0, -137.03, 5e-3), (1e6, 8.0, 12.0, -94.0, 1e-9)],  # -174 + 10 log10 B + NF + SNR
)
def test_sensitivity(bandwidth_hz: float, noise_figure_db: float, snr_db: float, expected: float, tolerance: float) -> None:
    assert receiver_sensitivity_dbm(bandwidth_hz, noise_figure_db, snr_db) == pytest.approx(expected, abs=tolerance)


def test_its_thermal_noise_is_that_of_290_kelvin() -> None:
    noise_w = constants.k * 290.0
    assert receiver_sensitivity_dbm(1.0, 0.0, 0.0) == pytest.approx(10.0 * math.log10(noise_w / 1e-3), abs=0.03)  # -173.975


@pytest.mark.parametrize(
    ("power_dbm", "gains_dbi", "mhz", "exponent", "sensitivity_dbm", "expected", "is_enough"),
    [(14.0, 4.0, 868, 2.2, -110.0, 57.66, True), (4.0, 0.0, 2440, 3.3, -95.0, 0.125, False)],
)
def test_link_margin_at_60_m(
    power_dbm: float, gains_dbi: float, mhz: float, exponent: float, sensitivity_dbm: float, expected: float, is_enough: bool
) -> None:
    """14 + 2 + 2 - 70.338 + 110 = 57.66 dB; 4 - 98.875 + 95 = 0.13 dB, which fails."""
    rssi = received_dbm(power_dbm, gains_dbi, log_distance_loss_db(60.0, mhz * 1e6, exponent))
    margin = link_margin_db(rssi, sensitivity_dbm)
    assert margin == pytest.approx(expected, abs=5e-3)
    assert judge(margin, is_single_antenna=False).is_enough is is_enough


@pytest.mark.parametrize(("sigma_db", "coverage", "expected"), [(7.0, 0.90, 8.97), (6.8, 0.95, 11.19)])
def test_shadowing_margin(sigma_db: float, coverage: float, expected: float) -> None:
    margin = shadowing_margin_db(sigma_db, coverage)
    assert margin == pytest.approx(expected, abs=6e-3)
    assert stats.norm(scale=sigma_db).cdf(margin) == pytest.approx(coverage, rel=1e-12)  # second method


@pytest.mark.parametrize(("margin_db", "expected"), [(10.0, 0.0952), (20.0, 0.00995), (30.0, 0.0009995)])
def test_rayleigh_outage(margin_db: float, expected: float) -> None:
    assert rayleigh_outage(margin_db) == pytest.approx(expected, rel=1e-3)
    weakest = 10.0 ** (-margin_db / 20.0)  # amplitude; Rayleigh of scale 1/sqrt(2) has a mean power of 1
    assert rayleigh_outage(margin_db) == pytest.approx(stats.rayleigh(scale=math.sqrt(0.5)).cdf(weakest), rel=1e-9)


def test_without_any_margin_the_outage_is_certain_and_never_beyond() -> None:
    assert rayleigh_outage(-1000.0) == 1.0
    assert 0.0 < rayleigh_outage(400.0) < 1e-39


@pytest.mark.parametrize(
    ("left_db", "is_single", "is_enough"), [(10.0, False, True), (9.99, False, False), (10.0, True, False), (20.0, True, True)]
)
def test_ten_decibels_are_asked_for_and_twenty_of_a_single_antenna(left_db: float, is_single: bool, is_enough: bool) -> None:
    """Common practice, no source."""
    assert judge(left_db, is_single).is_enough is is_enough


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e4])
def test_impossible_numbers_are_told_by_the_name_of_their_parameter(bad: float) -> None:
    calls: list[tuple[Callable[[], object], str]] = [
        (lambda: receiver_sensitivity_dbm(-abs(bad), 6.0, 0.0), "bandwidth_hz"),
        (lambda: receiver_sensitivity_dbm(1e6, bad, 0.0), "noise_figure_db"),
        (lambda: receiver_sensitivity_dbm(1e6, 6.0, bad), "snr_db"),
        (lambda: received_dbm(bad, 0.0, 60.0), "power_dbm"),
        (lambda: received_dbm(14.0, bad, 60.0), "gains_dbi"),
        (lambda: received_dbm(14.0, 0.0, bad), "loss_db"),
        (lambda: link_margin_db(bad, -100.0), "rssi_dbm"),
        (lambda: link_margin_db(-80.0, bad), "sensitivity_dbm"),
        (lambda: shadowing_margin_db(bad, 0.9), "sigma_db"),
        (lambda: shadowing_margin_db(7.0, bad), "coverage"),
        (lambda: rayleigh_outage(bad), "margin_db"),
    ]
    for call, where in calls:
        with pytest.raises(ParameterError, match="not possible") as told:
            call()
        assert told.value.where == where
