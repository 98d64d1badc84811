"""Battery life by hand, against the balance of charge; what a cell delivers, against a handbook's figure."""

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from edgemon.errors import ParameterError
from edgemon.model.collection import cost_of
from edgemon.planning.battery import DAY_S, Battery, Daily, Drain, Pulse, captures_per_percent, life_years, rows
from edgemon.planning.cells import BEST, BOBBIN_D, drain_caveat

# 5 uA asleep; 24 captures a day, each 15 mA for 2 s and 30 mA for 1.5 s
DRAIN = Drain(5e-6, (Pulse(15e-3, 2.0), Pulse(30e-3, 1.5)))
WHOLE = Battery(2.4, 1.0, 0.0)


def test_the_average_current_is_the_charge_of_a_day_over_a_day() -> None:
    day = DRAIN.average_a(3600.0) * DAY_S
    assert day == pytest.approx(2.232, rel=1e-4)  # by hand: 5e-6 x 86400 + 24 x (0.030 + 0.045)
    assert day / 3.6 == pytest.approx(0.620, rel=1e-4)  # mAh
    assert DRAIN.average_a(3600.0) == pytest.approx(25.833e-6, rel=1e-4)


def test_the_same_charge_counted_second_by_second() -> None:
    """Second method: the current summed over half seconds of a day."""
    hour = [5e-6 + (15e-3 if k < 4 else 30e-3 if k < 7 else 0.0) for k in range(7200)]
    assert 24 * math.fsum(hour) * 0.5 == pytest.approx(DRAIN.average_a(3600.0) * DAY_S, rel=1e-12)


def test_the_energy_of_a_capture_is_its_charge_times_the_voltage() -> None:
    assert DRAIN.energy_j_per_capture(3.6) == pytest.approx(0.270, rel=1e-6)  # 75 mC x 3.6 V


@pytest.mark.parametrize(
    ("usable", "discharge", "years"), [(1.0, 0.0, 10.598), (1.0, 0.01, 9.583), (0.8, 0.0, 8.479), (0.8, 0.01, 7.666)]
)
def test_life(usable: float, discharge: float, years: float) -> None:
    """By hand: 2400 mAh x usable over (25.8333e-3 mA x 8766 h + 2400 mAh x discharge)."""
    assert life_years(Battery(2.4, usable, discharge), DRAIN.average_a(3600.0)) == pytest.approx(years, rel=1e-3)


def test_the_charge_of_a_life_is_what_was_counted_on() -> None:
    battery = Battery(2.4, 0.8, 0.02)
    (one,) = rows(battery, DRAIN, (3600.0,))
    assert one.life_years is not None
    assert one.average_a is not None
    drawn = one.average_a * 8766.0 * one.life_years
    assert drawn + 2.4 * 0.02 * one.life_years == pytest.approx(0.8 * 2.4, rel=1e-12)


def test_the_share_of_the_sleep_current() -> None:
    assert DRAIN.sleep_share(3600.0) == pytest.approx(0.194, abs=5e-4)  # 0.432 C of 2.232 C


def test_what_happens_beside_captures_counts_as_often_as_it_does() -> None:
    beside = replace(DRAIN, daily=(Daily(Pulse(10e-3, 0.1), 144.0),))
    assert (beside.average_a(3600.0) - DRAIN.average_a(3600.0)) * DAY_S == pytest.approx(0.144)  # 10 mA x 0.1 s x 144


def test_captures_per_percent_is_what_the_cost_of_a_fast_collection_divides_by() -> None:
    assert captures_per_percent(WHOLE, DRAIN) == pytest.approx(1152.0)  # 1 % of 2.4 Ah = 86.4 C, over 75 mC
    assert captures_per_percent(replace(WHOLE, usable_share=0.8), DRAIN) == pytest.approx(921.6)
    cost = cost_of(3600.0, 60.0, 86_400.0, captures_per_percent(WHOLE, DRAIN))
    charge = cost.captures * DRAIN.charge_c_per_capture
    assert cost.battery_pct == pytest.approx(100.0 * charge / (2.4 * 3600.0))


def test_a_rarer_capture_never_shortens_the_life_and_one_that_does_not_fit_has_none() -> None:
    found = rows(WHOLE, DRAIN, (1.0, 3.5, 60.0, 3600.0, 86_400.0))
    assert [one.life_years is None for one in found] == [True, False, False, False, False]
    lives = [one.life_years for one in found if one.life_years is not None]
    assert lives == sorted(lives)
    assert found[-1].captures_per_day == 1.0
    with pytest.raises(ParameterError, match=r"a capture takes 3\.5 s") as told:
        DRAIN.average_a(1.0)
    assert told.value.where == "interval_s"


@pytest.mark.parametrize("bad", [math.nan, math.inf, -1.0])
def test_impossible_numbers_are_told_by_the_name_of_their_parameter(bad: float) -> None:
    calls: list[tuple[Callable[[], object], str]] = [
        (lambda: Pulse(bad, 1.0), "current_a"),
        (lambda: Pulse(1e-3, bad), "time_s"),
        (lambda: Daily(Pulse(1e-3, 1.0), bad), "times_per_day"),
        (lambda: Battery(bad), "capacity_ah"),
        (lambda: Battery(1.0, bad), "usable_share"),
        (lambda: Battery(1.0, 1.0, bad), "self_discharge_per_year"),
        (lambda: Drain(bad, DRAIN.capture), "sleep_a"),
        (lambda: DRAIN.average_a(bad), "interval_s"),
        (lambda: DRAIN.energy_j_per_capture(bad), "voltage_v"),
        (lambda: life_years(WHOLE, bad), "average_a"),
    ]
    for make, where in calls:
        with pytest.raises(ParameterError, match="not possible") as told:
            make()
        assert told.value.where == where


def test_what_leaves_no_capture_or_no_time_in_a_day_is_refused() -> None:
    with pytest.raises(ParameterError, match="draws nothing"):
        Drain(5e-6, ())
    half = Daily(Pulse(1e-3, 1000.0), 50.0)
    with pytest.raises(ParameterError, match="100000 s a day"):
        Drain(5e-6, DRAIN.capture, (half, half))


# Linden's Handbook of Batteries, Fig. 14.17: Li/SOCl2, bobbin, D size, 25 °C
FIGURE = [(0.2, 17.0, 0.895, 85_000), (1, 18.4, 0.968, 18_400), (2, 18.8, 0.989, 9400), (4, 19.0, 1.0, 4750)]
FIGURE += [(20, 13.5, 0.711, 675), (35, 7.0, 0.368, 200)]


def test_what_a_cell_delivers_is_what_the_handbook_shows() -> None:
    assert len(BOBBIN_D) == len(FIGURE)
    for one, (current_ma, capacity_ah, share, hours) in zip(BOBBIN_D, FIGURE, strict=True):
        assert one.current_a * 1e3 == pytest.approx(current_ma)
        assert one.capacity_ah == capacity_ah
        assert one.capacity_ah / BEST.capacity_ah == pytest.approx(share, abs=5e-4)
        assert one.capacity_ah / one.current_a == pytest.approx(hours, rel=1e-3)
    assert BEST.current_a == 4e-3


def test_the_caveat_names_both_ends_and_where_the_plan_lies() -> None:
    said = drain_caveat((6e-6, 130e-6), 30e-3)
    for part in ("17 Ah at 0.2 mA", "19 Ah at 4 mA", "7 Ah at 35 mA", "averages of 0.006 to 0.13 mA", "up to 30 mA"):
        assert part in said
    assert "an average of 0.006 mA" in drain_caveat((6e-6,), 30e-3)
