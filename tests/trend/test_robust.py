"""Theil-Sen against worked examples, scipy.stats.theilslopes and simulation of its interval."""

import numpy as np
import pytest
import scipy.stats

from edgemon.errors import ParameterError
from edgemon.trend.robust import ALL_PAIRS_UP_TO, robust_spread, theil_sen, trend


def test_gilbert_slope() -> None:
    # R. O. Gilbert (1987), chapter 16: slopes -1, 2, 2.5, 3.333, 5, 6, median printed as 2.92
    assert theil_sen(np.arange(4.0), np.array([10.0, 15.0, 14.0, 20.0])).slope == pytest.approx(2.9167, abs=1e-4)


def test_helsel_and_hirsch_line_is_not_turned_by_one_wild_value() -> None:
    # Helsel & Hirsch: 1 2 3 4 5 16 7 over 1..7; slope 1, intercept 0, where least squares gives 1.7143 and -1.4286
    t_s, values = np.arange(1.0, 8.0), np.array([1.0, 2, 3, 4, 5, 16, 7])
    line = theil_sen(t_s, values)
    assert (line.slope, line.intercept) == pytest.approx((1.0, 0.0))
    plain = scipy.stats.linregress(t_s, values)
    assert (plain.slope, plain.intercept) == pytest.approx((1.7143, -1.4286), abs=1e-4)


@pytest.mark.parametrize("n", [2, 3, 12, 150, ALL_PAIRS_UP_TO + 1])
@pytest.mark.parametrize("is_rounded", [False, True])
def test_agrees_with_scipy_at_uneven_times(n: int, is_rounded: bool) -> None:
    rng = np.random.default_rng(n)
    t_s = rng.uniform(0.0, 1e6, n)
    values = 3e-6 * t_s + rng.normal(size=n)
    if is_rounded and n > 3:
        t_s, values = np.round(t_s, -5), np.round(values, 1)
    line, reference = theil_sen(t_s, values, 0.9), scipy.stats.theilslopes(values, t_s, 0.9)
    assert line.slope == pytest.approx(reference.slope, rel=1e-8)
    assert line.slope_low == pytest.approx(reference.low_slope, rel=1e-8)
    assert line.slope_high == pytest.approx(reference.high_slope, rel=1e-8)
    assert line.intercept == pytest.approx(reference.intercept, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("kind", ["rise", "noise", "exponential", "step"])
def test_counting_slopes_gives_what_forming_them_gives(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(5)
    t_s = np.sort(rng.uniform(0.0, 1e4, 300))
    values = {"rise": t_s + rng.normal(size=300), "noise": rng.normal(size=300), "exponential": np.exp(t_s / 1e3)}.get(
        kind, np.where(t_s > 5e3, 1.0, 0.0)
    )
    formed = theil_sen(t_s, values)
    monkeypatch.setattr("edgemon.trend.robust.ALL_PAIRS_UP_TO", 10)
    counted = theil_sen(t_s, values)
    scale = 1e-9 * max(abs(formed.slope_high), abs(formed.slope_low)) + 1e-15
    for name in ("slope", "slope_low", "slope_high"):
        assert getattr(counted, name) == pytest.approx(getattr(formed, name), rel=1e-8, abs=scale)


@pytest.mark.slow
def test_interval_of_the_slope_holds_as_often_as_it_says() -> None:
    """Nominal 90 %: with 400 simulated lines, chance alone moves the share by 1.5 % (one standard deviation)."""
    rng = np.random.default_rng(3)
    t_s = np.arange(40.0)
    held = 0
    for _ in range(400):
        line = trend(t_s, 0.1 * t_s + rng.normal(size=40), is_independent=True).line
        held += line.slope_low <= 0.1 <= line.slope_high
    assert 0.86 <= held / 400 <= 0.94


@pytest.mark.slow
def test_autocorrelated_noise_widens_the_interval() -> None:
    rng = np.random.default_rng(4)
    plain = corrected = 0
    for _ in range(200):
        noise = rng.normal(size=60)
        for i in range(1, 60):
            noise[i] += 0.6 * noise[i - 1]
        for independent in (True, False):
            line = trend(np.arange(60.0), noise, is_independent=independent).line
            inside = line.slope_low <= 0.0 <= line.slope_high
            plain, corrected = plain + (independent and inside), corrected + (not independent and inside)
    assert plain / 200 < 0.75
    assert corrected / 200 > 0.80


def test_order_of_the_values_given_does_not_matter() -> None:
    rng = np.random.default_rng(6)
    t_s, values = rng.uniform(0.0, 9.0, 50), rng.normal(size=50)
    mixed = rng.permutation(50)
    assert trend(t_s, values) == trend(t_s[mixed], values[mixed])


def test_spread_of_normal_noise_is_its_standard_deviation() -> None:
    values = np.random.default_rng(7).normal(3.0, 2.0, 20000)
    values[:4000] = 1e6
    assert robust_spread(values[4000:]) == pytest.approx(2.0, rel=0.03)
    assert robust_spread(values) < 4.0


def test_what_has_no_line_is_refused() -> None:
    with pytest.raises(ParameterError, match="same time"):
        theil_sen(np.zeros(5), np.arange(5.0))
    with pytest.raises(ParameterError, match="confidence"):
        theil_sen(np.arange(5.0), np.arange(5.0), 1.0)
