"""Baselines and what follows from them; ISO 10816-3:2009 5.3, 5.4.1 and 5.4.2, quoted from an open-source library."""

from dataclasses import replace

import numpy as np
import pytest

from edgemon.errors import ParameterError
from edgemon.model.baseline import Baseline, BaselineState, NoBaseline, Refusal
from edgemon.model.machine import point_key
from edgemon.model.outlook import BaselineView
from edgemon.trend.baseline import approve, limits_of, propose, retire
from edgemon.trend.conditions import Conditions, like, make_series
from edgemon.trend.counting import Values
from edgemon.trend.robust import robust_spread
from edgemon.units import Quantity

POINT = point_key("intake-pump-1", "motor-de-h")


def proposed(values: Values, rpm: Values | None = None, **more: float) -> Baseline | Refusal:
    t_s = 1e9 + 3600.0 * np.arange(len(values), dtype=np.float64)
    found = like(make_series(t_s, values, rpm=rpm), Conditions(rpm=1480.0 if rpm is not None else None, standstill_rpm=50.0))
    return propose(POINT, "velocity_rms", Quantity.VELOCITY, found, 2e9, learnt_since=more.get("since"))


def steady(n: int = 30) -> Values:
    return np.random.default_rng(n).normal(2.0e-3, 0.1e-3, n)


@pytest.mark.parametrize(
    ("baseline", "upper_b", "upper_c", "alert", "change", "ceiling"),
    [
        # baseline + 25 % of B/C, at most 1.25 x B/C; 25 % of B/C; 1.25 x C/D (mm/s; 4.0 / 7.5 / 11.8 from memory)
        (1.2, 2.8, 4.5, 1.90, 0.70, 5.625),
        (3.2, 2.8, 4.5, 3.50, 0.70, 5.625),
        (0.8, 4.5, 7.1, 1.925, 1.125, 8.875),
        (2.0, 7.1, 11.0, 3.775, 1.775, 13.75),
        (4.0, 7.5, 11.8, 5.875, 1.875, 14.75),
    ],
)
def test_limits_of_the_standard(
    baseline: float, upper_b: float, upper_c: float, alert: float, change: float, ceiling: float
) -> None:
    found = limits_of(baseline, upper_b, upper_c, "ISO 10816-3:2009")
    assert found.alert == pytest.approx(alert, abs=1e-9)
    assert found.change == pytest.approx(change, abs=1e-9)
    assert found.alarm_at_most == pytest.approx(ceiling, abs=1e-9)
    assert found.is_capped == (baseline == 3.2)


# ISO 10816-7:2009 gives alarm and trip limits besides its zones, mm/s (from memory; each is 1.25 times the boundary, rounded)
@pytest.mark.parametrize(
    ("upper_b", "upper_c", "alarm", "trip"),
    [(4.0, 6.6, 5.0, 8.3), (5.0, 7.6, 6.3, 9.5), (5.1, 8.5, 6.4, 10.6), (6.1, 9.5, 7.6, 11.9)],
)
def test_ceilings_are_the_alarm_and_trip_limits_of_pumps(upper_b: float, upper_c: float, alarm: float, trip: float) -> None:
    found = limits_of(upper_b, upper_b, upper_c, "ISO 10816-7:2009")
    assert found.is_capped is False
    assert limits_of(upper_b + 0.01, upper_b, upper_c, "").is_capped
    assert (found.alert, found.alarm_at_most) == pytest.approx((alarm, trip), abs=0.0501)


def test_spread_and_drift_on_either_side_of_a_fifth_of_the_median() -> None:
    # common practice: a state whose values scatter or drift by more than 20 % is not steady
    shape = np.tile([-1.0, 0.9, -0.8, 1.0, 0.7, -0.9, 0.8, -0.7], 3)[:20]
    per_spread = robust_spread(shape)
    for share, is_steady in ((0.15, True), (0.19, True), (0.21, False), (0.4, False)):
        found = proposed(2e-3 * (1.0 + share / per_spread * (shape - np.median(shape))))
        assert isinstance(found, Baseline) is is_steady
        assert is_steady or (isinstance(found, Refusal) and found.reason is NoBaseline.NOT_STEADY)
    for share, is_steady in ((0.05, True), (0.18, True), (0.22, False), (0.4, False)):
        found = proposed(np.linspace(1.0 - share / 2.0, 1.0 + share / 2.0, 20) * 2e-3)
        assert isinstance(found, Baseline) is is_steady
        assert is_steady or (isinstance(found, Refusal) and found.reason is NoBaseline.DRIFTING)


@pytest.mark.parametrize(
    ("value", "baseline", "is_significant"),
    [(1.2, 2.0, True), (2.7, 2.0, False), (2.71, 2.0, True), (1.3, 2.0, False), (1.29, 2.0, True), (2.0, 2.0, False)],
)
def test_change_in_either_direction(value: float, baseline: float, is_significant: bool) -> None:
    # criterion II with B/C = 2.8 mm/s: more than 0.7, exactly 0.7 is not more
    change = limits_of(baseline, 2.8, 4.5, "").change
    level = ("m", "p", "velocity_rms", "velocity r.m.s.", "mm/s")
    known = BaselineView(*level, "approved", 20, 20, baseline, change=change)
    assert (known.changed_by(value) is not None) is is_significant
    assert known.changed_by(value) in (None, value - baseline)
    assert replace(known, state="proposed").changed_by(value) is None
    assert known.changed_by(None) is None


def test_first_values_make_the_baseline_and_later_ones_do_not() -> None:
    values = np.concatenate((steady(20), np.full(50, 9e-3)))
    found = proposed(values)
    assert isinstance(found, Baseline)
    assert found.count == 20
    assert (found.mean, found.median) == pytest.approx((np.mean(values[:20]), np.median(values[:20])))
    assert found.spread == pytest.approx(0.1e-3, rel=0.5)
    assert (found.state, found.proposed_at, found.last_at) == (BaselineState.PROPOSED, 2e9, 1e9 + 19 * 3600.0)


def test_a_few_wild_captures_do_not_move_it() -> None:
    values = steady(20)
    wild = values.copy()
    wild[[3, 9]] = 1.0
    plain, spoilt = proposed(values), proposed(wild)
    assert isinstance(plain, Baseline)
    assert isinstance(spoilt, Baseline)
    assert abs(spoilt.median - plain.median) < plain.spread
    assert spoilt.mean > 10 * plain.mean


def test_standstill_and_other_speeds_take_no_part() -> None:
    values, rpm = steady(40), np.full(40, 1480.0)
    values[::2], rpm[::2] = 1e-5, 0.0
    rpm[1] = 900.0
    found = proposed(values, rpm)
    assert isinstance(found, Baseline)
    assert (found.count, found.rpm) == (19, 1480.0)
    assert found.median == pytest.approx(2e-3, rel=0.05)


def test_after_a_repair_it_is_learnt_anew() -> None:
    values = np.concatenate((steady(30), 0.5 * steady(30)))
    found = proposed(values, since=1e9 + 30 * 3600.0)
    assert isinstance(found, Baseline)
    assert found.median == pytest.approx(1e-3, rel=0.05)
    assert (found.learnt_since, found.first_at) == (1e9 + 30 * 3600.0, 1e9 + 30 * 3600.0)


@pytest.mark.parametrize(
    ("values", "reason"),
    [
        (steady(7), NoBaseline.TOO_FEW),
        (np.linspace(2e-3, 4e-3, 20), NoBaseline.DRIFTING),
        (np.linspace(4e-3, 2e-3, 20), NoBaseline.DRIFTING),
        (np.tile([1e-3, 3e-3, 2e-3, 5e-3], 5), NoBaseline.NOT_STEADY),
    ],
)
def test_what_is_no_steady_state_makes_none(values: Values, reason: NoBaseline) -> None:
    found = proposed(values)
    assert isinstance(found, Refusal)
    assert found.reason is reason
    assert found.text


def test_a_person_approves_and_retires_with_name_time_and_reason() -> None:
    made = proposed(steady())
    assert isinstance(made, Baseline)
    approved = approve(made, " m. okafor\x1b ", 2e9 + 5.0)
    assert (approved.state, approved.approved_by, approved.approved_at) == (
        BaselineState.APPROVED,
        "m. okafor\ufffd",
        2e9 + 5.0,
    )
    assert replace(approved, state=made.state, approved_by="", approved_at=None) == made
    retired = retire(approved, "m. okafor", 3e9, "impeller replaced")
    assert (retired.state, retired.retired_at, retired.retired_because) == (BaselineState.RETIRED, 3e9, "impeller replaced")
    assert retired.approved_by == approved.approved_by
    for other in (approved, retired):
        with pytest.raises(ParameterError, match="not proposed"):
            approve(other, "m. okafor", 3e9)
    with pytest.raises(ParameterError, match="retired already"):
        retire(retired, "m. okafor", 3e9, "again")


def test_nobody_and_no_reason_are_refused() -> None:
    made = proposed(steady())
    assert isinstance(made, Baseline)
    with pytest.raises(ParameterError, match="nobody"):
        approve(made, "  ", 0.0)
    with pytest.raises(ParameterError, match="reason"):
        retire(made, "m. okafor", 0.0, " ")


@pytest.mark.parametrize(
    ("baseline", "upper_b", "upper_c"), [(-1.0, 2.8, 4.5), (1.0, 4.5, 2.8), (1.0, 0.0, 4.5), (np.nan, 1.0, 2.0)]
)
def test_boundaries_out_of_order_are_refused(baseline: float, upper_b: float, upper_c: float) -> None:
    with pytest.raises(ParameterError):
        limits_of(baseline, upper_b, upper_c, "x")


def test_fewer_captures_than_make_a_baseline_are_refused() -> None:
    with pytest.raises(ParameterError, match="8 captures"):
        propose(POINT, "velocity_rms", Quantity.VELOCITY, like(make_series(steady(), steady()), Conditions()), 0.0, captures=5)
