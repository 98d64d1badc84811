"""What is alike and what is not; ISO 10816-3:2009 5.3 asks for the same operating state, the tolerances are house settings."""

import numpy as np
import pytest

from edgemon.errors import ParameterError
from edgemon.trend.conditions import Conditions, LeftOut, like, make_series, since, usual_speeds

T = np.arange(8.0)
NAN = np.nan


def test_each_value_left_out_is_counted_under_one_reason() -> None:
    series = make_series(
        T,
        np.array([2.0, NAN, 2.1, 2.2, 2.3, 2.4, 2.5, 2.6]),
        rpm=np.array([1480.0, 1480, 0, NAN, 1200, 1490, 1470, 1485]),
        load=np.array([50.0, 50, 50, 50, 50, 80, NAN, 52]),
        fit=np.array([True, True, True, True, True, True, True, True]),
    )
    found = like(series, Conditions(rpm=1480.0, load=50.0, standstill_rpm=100.0))
    assert found.series.t_s.tolist() == [0.0, 7.0]
    assert found.left_out == {
        LeftOut.UNFIT: 1,
        LeftOut.STANDSTILL: 1,
        LeftOut.SPEED_UNKNOWN: 1,
        LeftOut.OTHER_SPEED: 1,
        LeftOut.OTHER_LOAD: 1,
        LeftOut.LOAD_UNKNOWN: 1,
    }
    assert found.newest_is_like


def test_tolerance_is_part_of_the_speed_and_its_edge_belongs_to_it() -> None:
    series = make_series(np.arange(4.0), np.ones(4), rpm=np.array([949.0, 950.0, 1050.0, 1051.0]))
    assert like(series, Conditions(rpm=1000.0)).series.rpm.tolist() == [950.0, 1050.0]


def test_the_newest_fit_value_tells_whether_the_machine_still_runs_alike() -> None:
    rpm = np.array([1000.0] * 7 + [700.0])
    assert not like(make_series(T, np.ones(8), rpm=rpm), Conditions(rpm=1000.0)).newest_is_like
    unfit = np.array([True] * 7 + [False])
    assert like(make_series(T, np.ones(8), rpm=rpm, fit=unfit), Conditions(rpm=1000.0)).newest_is_like


def test_standstill_is_told_by_the_level_only_where_no_speed_is_known() -> None:
    series = make_series(np.arange(3.0), np.array([0.1, 0.1, 2.0]), rpm=np.array([NAN, 1480.0, NAN]))
    found = like(series, Conditions(standstill_below=0.3))
    assert found.series.t_s.tolist() == [1.0, 2.0]
    assert found.left_out == {LeftOut.STANDSTILL: 1}


def test_without_conditions_every_fit_value_counts() -> None:
    assert len(like(make_series(T, T), Conditions()).series) == 8
    empty = like(make_series(np.empty(0), np.empty(0)), Conditions(rpm=1.0))
    assert (len(empty.series), empty.newest_is_like) == (0, False)


def test_usual_speeds_of_a_machine_with_two_and_a_run_up_between() -> None:
    rng = np.random.default_rng(1)
    rpm = np.concatenate((rng.normal(1480, 4, 60), rng.normal(990, 3, 30), np.linspace(0, 1480, 12), np.zeros(40)))
    series = make_series(np.arange(len(rpm), dtype=float), np.ones(len(rpm)), rpm=rng.permutation(rpm))
    fast, slow = usual_speeds(series, standstill_rpm=50.0)
    assert (fast, slow) == pytest.approx((1480.0, 990.0), abs=5.0)
    assert usual_speeds(make_series(T, T)) == ()


def test_values_are_put_in_the_order_of_time_with_all_that_belongs_to_them() -> None:
    series = make_series(np.array([3.0, 1.0, 2.0]), np.array([30.0, 10.0, 20.0]), rpm=np.array([3.0, 1.0, 2.0]))
    assert series.values.tolist() == [10.0, 20.0, 30.0]
    assert series.rpm.tolist() == [1.0, 2.0, 3.0]
    assert since(series, 2.0).values.tolist() == [20.0, 30.0]


def test_rows_of_different_lengths_and_times_that_are_none_are_refused() -> None:
    with pytest.raises(ParameterError, match="equal length"):
        make_series(T, T[:-1])
    with pytest.raises(ParameterError, match="time"):
        make_series(np.array([0.0, NAN]), np.ones(2))
