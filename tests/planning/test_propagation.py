"""Path loss against the closed forms, worked by hand."""

import math
from collections.abc import Callable

import pytest
from scipy import constants

from edgemon.errors import ParameterError
from edgemon.planning.propagation import FACTORY_EXPONENT, free_space_loss_db, indoor_loss_db, log_distance_loss_db


@pytest.mark.parametrize(
    ("mhz", "at_1_m", "at_30_m", "at_100_m"),
    [(868, 31.218, 60.761, 71.218), (915, 31.676, 61.219, 71.676), (2440, 40.196, 69.738, 80.196)],
)
def test_free_space(mhz: float, at_1_m: float, at_30_m: float, at_100_m: float) -> None:
    """20 log10 d(m) + 20 log10 f(Hz) - 147.552, Friis."""
    for distance, loss in ((1.0, at_1_m), (30.0, at_30_m), (100.0, at_100_m)):
        assert free_space_loss_db(distance, mhz * 1e6) == pytest.approx(loss, abs=1e-3)
        by_friis = (constants.c / (mhz * 1e6) / (4.0 * math.pi * distance)) ** 2  # second method: received over sent power
        assert free_space_loss_db(distance, mhz * 1e6) == pytest.approx(-10.0 * math.log10(by_friis), rel=1e-12)


@pytest.mark.parametrize(("mhz", "exponent", "loss"), [(868, 2.2, 70.338), (2440, 3.3, 98.875), (2440, 1.6, 68.646)])
def test_log_distance_at_60_m(mhz: float, exponent: float, loss: float) -> None:
    assert log_distance_loss_db(60.0, mhz * 1e6, exponent) == pytest.approx(loss, abs=1e-3)


def test_an_exponent_of_two_is_free_space() -> None:
    for distance in (1.0, 17.0, 400.0):
        assert log_distance_loss_db(distance, 868e6, 2.0) == pytest.approx(free_space_loss_db(distance, 868e6))


def test_the_exponent_taken_is_the_average_of_the_factories() -> None:
    assert FACTORY_EXPONENT == 2.2  # T. S. Rappaport, IEEE TAP 37(8), 1989, abstract: five factories at 1300 MHz
    assert log_distance_loss_db(60.0, 868e6) == log_distance_loss_db(60.0, 868e6, 2.2)


@pytest.mark.parametrize(
    ("mhz", "power_loss", "distance", "floors", "loss"),
    [
        (1300, 22.0, 30.0, 0.0, 66.776),  # 20 log 1300 + 22 log 30 - 28
        (900, 33.0, 10.0, 0.0, 64.085),  # an office: 59.085 + 33 - 28
        (900, 20.0, 10.0, 9.0, 60.085),
        (1300, 32.0, 10.0, 0.0, 66.279),
        (1900, 28.0, 10.0, 0.0, 65.575),
        (1900, 30.0, 10.0, 0.0, 67.575),
        (1900, 22.0, 10.0, 0.0, 59.575),
    ],
)
def test_indoors_by_p_1238(mhz: float, power_loss: float, distance: float, floors: float, loss: float) -> None:
    assert indoor_loss_db(distance, mhz * 1e6, power_loss, floors) == pytest.approx(loss, abs=1e-3)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0, 0.0])
def test_impossible_numbers_are_told_by_the_name_of_their_parameter(bad: float) -> None:
    calls: list[tuple[Callable[[], object], str]] = [
        (lambda: free_space_loss_db(bad, 868e6), "distance_m"),
        (lambda: free_space_loss_db(10.0, bad), "frequency_hz"),
        (lambda: log_distance_loss_db(bad, 868e6), "distance_m"),
        (lambda: log_distance_loss_db(10.0, 868e6, bad), "exponent"),
        (lambda: indoor_loss_db(bad, 868e6, 20.0), "distance_m"),
        (lambda: indoor_loss_db(10.0, bad, 20.0), "frequency_hz"),
        (lambda: indoor_loss_db(10.0, 868e6, bad), "power_loss"),
        (lambda: indoor_loss_db(10.0, 868e6, 20.0, bad or -0.1), "floors_db"),
    ]
    for call, where in calls:
        with pytest.raises(ParameterError, match="not possible") as told:
            call()
        assert told.value.where == where


def test_below_the_reference_of_one_metre_there_is_no_log_distance() -> None:
    with pytest.raises(ParameterError, match="1 to 1e\\+06 m"):
        log_distance_loss_db(0.5, 868e6)
