"""Forecasts against closed forms, by simulation, and every reason for none."""

import math

import numpy as np
import pytest

from edgemon.errors import ParameterError
from edgemon.model.forecast import Forecast, NoForecast, TrendModel
from edgemon.model.limit import Limit, Severity, Side
from edgemon.trend.conditions import Conditions, like, make_series
from edgemon.trend.counting import Values
from edgemon.trend.forecast import ForecastRules, forecast, forecasts, time_to_limit
from edgemon.units import Quantity

DAY_S = 86400.0
START = 1.7e9


def made(values: Values, limit: float, every_s: float = DAY_S, **more: float) -> Forecast:
    t_s = START + every_s * np.arange(len(values), dtype=np.float64)
    rpm = np.full(len(values), 1480.0)
    rpm[-1:] = more.get("last_rpm", 1480.0)
    found = like(make_series(t_s, values, rpm=rpm), Conditions(rpm=1480.0, standstill_rpm=50.0))
    now = float(t_s[-1]) + more.get("later_s", 0.0) if len(t_s) else START
    return forecast("velocity_rms", limit, found, now, ForecastRules(max_age_s=more.get("max_age_s")))


def days(result: Forecast, at: float | None) -> float:
    assert at is not None
    return (at - result.made_at) / DAY_S


def test_closed_forms() -> None:
    # (4.5 - 2.0) / 0.02 = 125 days; ln(4.5 / 2.0) / 0.01 = 81.093 days (recomputed)
    assert time_to_limit(2.0, 0.02, 4.5, TrendModel.LINEAR) == pytest.approx(125.0)
    assert time_to_limit(2.0, 0.01, 4.5, TrendModel.EXPONENTIAL) == pytest.approx(81.093, abs=1e-3)
    assert time_to_limit(2.0, 0.0, 4.5, TrendModel.LINEAR) == math.inf
    assert time_to_limit(5.0, 0.1, 4.5, TrendModel.LINEAR) == 0.0
    with pytest.raises(ParameterError, match="above 0"):
        time_to_limit(0.0, 0.01, 4.5, TrendModel.EXPONENTIAL)


def test_straight_rise_without_noise_is_met_to_the_day() -> None:
    result = made(2.0 + 0.02 * np.arange(-199.0, 1.0) + 4.0, 8.5)  # 6.0 now, 0.02 a day: 125 days
    assert result.model is TrendModel.LINEAR
    assert days(result, result.likely) == pytest.approx(125.0, abs=0.5)
    assert days(result, result.earliest) < 125.0 < days(result, result.latest)


def test_exponential_rise_without_noise_is_met_to_the_day() -> None:
    result = made(2.0 * np.exp(0.01 * np.arange(-199.0, 1.0)), 4.5)
    assert result.model is TrendModel.EXPONENTIAL
    assert days(result, result.likely) == pytest.approx(81.093, abs=0.5)
    assert days(result, result.earliest) < 81.093 < days(result, result.latest)


@pytest.mark.slow
@pytest.mark.parametrize("model", list(TrendModel))
def test_interval_holds_where_one_of_the_shapes_is_true(model: TrendModel) -> None:
    """Noise of 5 %, uneven times; nominal 90 % and widened: at least 95 of 100 simulated rises."""
    rng = np.random.default_rng(21)
    t_days = np.sort(rng.uniform(-300.0, 0.0, 240))
    shape = 4.0 + 0.01 * t_days if model is TrendModel.LINEAR else 4.0 * np.exp(0.004 * t_days)
    true = 50.0 if model is TrendModel.LINEAR else math.log(4.5 / 4.0) / 0.004
    held = given = 0
    for _ in range(100):
        values = shape * (1.0 + 0.05 * rng.normal(size=240))
        found = like(make_series(START + DAY_S * t_days, values), Conditions())
        result = forecast("velocity_rms", 4.5, found, START)
        if result.reason is None:
            given += 1
            held += days(result, result.earliest) <= true <= days(result, result.latest)
    assert given > 60
    assert held >= 0.95 * given


@pytest.mark.slow
def test_steady_levels_hardly_ever_give_a_forecast() -> None:
    rng = np.random.default_rng(22)
    given = sum(made(2.0 + 0.1 * rng.normal(size=300), 2.8).reason is None for _ in range(150))
    assert given <= 3


RISE = 2.0 + 0.01 * np.arange(100.0)
NOISE = 0.05 * np.random.default_rng(23).normal(size=100)


@pytest.mark.parametrize(
    ("result", "reason"),
    [
        (made(RISE[:19], 4.5), NoForecast.TOO_FEW),
        (made(np.empty(0), 4.5), NoForecast.TOO_FEW),
        (made(RISE, 4.5, last_rpm=900.0), NoForecast.CONDITIONS),
        (made(RISE, 2.9), NoForecast.BEYOND),
        (made(2.0 + NOISE, 4.5), NoForecast.NOT_SIGNIFICANT),
        (made(np.full(100, 2.0), 4.5), NoForecast.NOT_SIGNIFICANT),
        (made(RISE[::-1], 4.5), NoForecast.AWAY),
        (made(2.0 + NOISE + np.append(np.zeros(84), 0.1 * np.arange(16.0)), 9.0), NoForecast.TOO_RECENT),
        (made(RISE, 45.0), NoForecast.TOO_FAR),
        (made(RISE, 3.2, later_s=3 * DAY_S, max_age_s=2 * DAY_S), NoForecast.STALE),
    ],
    ids=lambda value: value.name if isinstance(value, NoForecast) else "",
)
def test_no_forecast_says_why(result: Forecast, reason: NoForecast) -> None:
    assert result.reason is reason
    assert result.text
    assert (result.earliest, result.likely, result.latest, result.model) == (None, None, None, None)


@pytest.mark.parametrize(("ahead_days", "is_given"), [(40.0, True), (60.0, True), (70.0, False), (90.0, False), (250.0, False)])
def test_no_forecast_looks_further_ahead_than_two_of_its_spans(ahead_days: float, is_given: bool) -> None:
    result = made(RISE, 2.99 + 0.01 * ahead_days)  # its windows span 15, 31, 63 and 99 days
    assert (result.reason is None) is is_given
    if not is_given:
        assert result.reason is NoForecast.TOO_FAR
        assert f"the second longest is {63.0 * DAY_S:.3g} s" in result.text  # 90 days lie within 99, and yet it is too far


def test_one_wild_newest_value_is_not_where_the_level_stands() -> None:
    values = RISE.copy()
    values[-1] = 50.0
    result = made(values, 3.5)
    assert days(result, result.likely) == pytest.approx(51.0, rel=0.1)


def test_order_of_the_times_and_nothing_before_now() -> None:
    result = made(RISE + 0.1 * NOISE, 3.05, later_s=20 * DAY_S)
    assert result.earliest is not None
    assert result.likely is not None
    assert result.latest is not None
    assert result.made_at <= result.earliest <= result.likely <= result.latest


def test_wild_values_do_not_change_the_forecast_by_much() -> None:
    values = RISE + 0.1 * NOISE
    wild = values.copy()
    wild[::13] = 50.0
    plain, spoilt = made(values, 3.5), made(wild, 3.5)
    assert days(spoilt, spoilt.likely) == pytest.approx(days(plain, plain.likely), rel=0.15)


def test_values_that_touch_zero_have_no_exponential_but_a_straight_forecast() -> None:
    result = made(0.01 * np.arange(100.0), 1.2)
    assert result.model is TrendModel.LINEAR
    assert days(result, result.likely) == pytest.approx(21.0, abs=0.5)


def test_both_limits_are_forecast_and_temperature_only_straight() -> None:
    limit = Limit("temperature", Quantity.TEMPERATURE, "Cel", 70.0, 75.0, 1.0)
    t_s = START + DAY_S * np.arange(100.0)
    found = like(make_series(t_s, 50.0 + 0.19 * np.arange(100.0)), Conditions())
    both = forecasts(limit, found, float(t_s[-1]))
    assert [severity for severity, _ in both] == [Severity.ALERT, Severity.ALARM]
    assert {result.model for _, result in both} == {TrendModel.LINEAR}
    alert, alarm = (result.likely for _, result in both)
    assert alert is not None
    assert alarm is not None
    assert alert < alarm
    assert (
        forecasts(Limit("temperature", Quantity.TEMPERATURE, "Cel", None, 75.0, 1.0), found, float(t_s[-1]))[0][0]
        is Severity.ALARM
    )


def test_limits_and_times_that_are_none_are_refused() -> None:
    with pytest.raises(ParameterError, match="limit"):
        made(RISE, math.nan)
    with pytest.raises(ParameterError, match="before its newest value"):
        made(RISE, 4.5, later_s=-1.0)


def falling(
    values: Values, limit: float, side: Side = Side.BELOW, models: tuple[TrendModel, ...] = tuple(TrendModel)
) -> Forecast:
    t_s = START + DAY_S * np.arange(len(values), dtype=np.float64)
    found = like(make_series(t_s, values), Conditions())
    return forecast("velocity_rms", limit, found, float(t_s[-1]), models=models, side=side)


def test_straight_fall_to_a_low_limit_is_met_to_the_day() -> None:
    result = falling(6.0 - 0.02 * np.arange(-199.0, 1.0), 3.5)  # 6.0 now, 0.02 a day down: 125 days
    assert result.model is TrendModel.LINEAR
    assert days(result, result.likely) == pytest.approx(125.0, abs=0.5)
    assert days(result, result.earliest) < 125.0 < days(result, result.latest)
    assert result.text.startswith("falls through the newest")


def test_exponential_fall_to_a_low_limit_is_met_to_the_day() -> None:
    result = falling(4.5 * np.exp(-0.01 * np.arange(-199.0, 1.0)), 2.0)  # ln(4.5 / 2.0) / 0.01 = 81.093 days (recomputed)
    assert result.model is TrendModel.EXPONENTIAL
    assert days(result, result.likely) == pytest.approx(81.093, abs=0.5)


def test_straight_forecasts_to_a_low_limit_are_those_of_the_values_turned_over() -> None:
    """Metamorphic: the straight shape knows no zero, so a low limit on x is the high limit on -x; noise of 0.1."""
    rng, straight = np.random.default_rng(4), (TrendModel.LINEAR,)
    for slope in (-0.02, 0.0, 0.02):
        values = 6.0 + slope * np.arange(-199.0, 1.0) + 0.1 * rng.normal(size=200)
        low, high = falling(values, 4.0, models=straight), falling(-values, -4.0, Side.ABOVE, models=straight)
        assert (low.earliest, low.likely, low.latest, low.reason) == (high.earliest, high.likely, high.latest, high.reason)


def test_a_low_limit_that_is_passed_or_left_behind_has_its_reason() -> None:
    beyond = falling(6.0 - 0.02 * np.arange(200.0), 3.5)
    assert beyond.reason is NoForecast.BEYOND
    away = falling(6.0 + 0.02 * np.arange(200.0), 3.5)
    assert (away.reason, away.text[:5]) == (NoForecast.AWAY, "rises")


def test_both_low_limits_are_forecast_the_alert_first() -> None:
    both = Limit("velocity_rms", Quantity.VELOCITY, "mm/s", 5.0, 4.0, 0.1, side=Side.BELOW)
    t_s = START + DAY_S * np.arange(200.0)
    found = like(make_series(t_s, 6.0 - 0.02 * np.arange(-199.0, 1.0)), Conditions())
    (first, alert), (second, alarm) = forecasts(both, found, float(t_s[-1]))
    assert (first, second) == (Severity.ALERT, Severity.ALARM)
    assert days(alert, alert.likely) == pytest.approx(50.0, abs=0.5)  # 1.0 / 0.02
    assert days(alarm, alarm.likely) == pytest.approx(100.0, abs=0.5)
