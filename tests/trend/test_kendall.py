"""Mann-Kendall against worked examples, scipy.stats.kendalltau, direct summation and simulation."""

import itertools
import math
from fractions import Fraction

import numpy as np
import pytest
import scipy.stats

from edgemon.errors import ParameterError
from edgemon.trend.counting import Values, inversions
from edgemon.trend.kendall import autocorrelation_inflation, mann_kendall


def places(values: list[float]) -> Values:
    return np.arange(len(values), dtype=float)


def direct_s(t_s: Values, values: Values) -> int:
    return int(
        sum(np.sign(t_s[j] - t_s[i]) * np.sign(values[j] - values[i]) for i, j in itertools.combinations(range(len(t_s)), 2))
    )


def test_epa_example_of_five_values() -> None:
    # US EPA QA/G-9, Mann-Kendall box: 5, 6, 11, 8, 10; S = 8 - 2, exact p printed as 0.117 (recomputed 14/120)
    found = mann_kendall(places([5.0] * 5), np.array([5.0, 6.0, 11.0, 8.0, 10.0]))
    assert found.s == 6
    assert found.is_exact
    assert found.p_rising == pytest.approx(14 / 120, abs=1e-12)


def test_epa_example_with_ties() -> None:
    # US EPA QA/G-9: S = 35 - 13, ties of 4 and of 2, variance 155.33, Z = 1.685
    found = mann_kendall(places([0.0] * 11), np.array([10.0, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15]))
    assert found.s == 22
    assert found.variance == pytest.approx(155.3333, abs=1e-3)
    assert found.z == pytest.approx(1.685, abs=5e-4)
    assert found.p == pytest.approx(0.0920, abs=5e-5)
    assert found.p_rising < 0.05


def test_gilbert_example_of_four_values() -> None:
    # R. O. Gilbert (1987), chapter 16: 10, 15, 14, 20; S = 4, exact p printed as 0.167
    found = mann_kendall(places([0.0] * 4), np.array([10.0, 15.0, 14.0, 20.0]))
    assert (found.s, found.p_rising) == pytest.approx((4, 4 / 24))


def test_helsel_and_hirsch_example() -> None:
    # Helsel & Hirsch, Statistical Methods in Water Resources: 33 rising, 12 falling pairs, tau 0.467, Z 1.789
    found = mann_kendall(places([0.0] * 10), np.array([1.22, 2.20, 4.80, 1.28, 1.97, 1.46, 2.64, 2.34, 4.84, 2.96]))
    assert (found.s, found.variance) == pytest.approx((21, 125.0))
    assert found.s / math.comb(found.n, 2) == pytest.approx(0.467, abs=5e-4)  # tau
    assert found.z == pytest.approx(1.789, abs=5e-4)


# Probability of S or more, one-sided: table in R. O. Gilbert (1987), appendix (from memory; each recomputed by counting)
TABLE = {
    4: {0: 0.625, 2: 0.375, 4: 0.167, 6: 0.042},
    5: {0: 0.592, 2: 0.408, 4: 0.242, 6: 0.117, 8: 0.042, 10: 0.0083},
    6: {1: 0.500, 3: 0.360, 5: 0.235, 7: 0.136, 9: 0.068, 11: 0.028, 13: 0.0083, 15: 0.0014},
    7: {1: 0.500, 3: 0.386, 5: 0.281, 7: 0.191, 9: 0.119, 11: 0.068, 13: 0.035, 15: 0.015, 17: 0.0054, 19: 0.0014},
}


@pytest.mark.parametrize("n", TABLE)
def test_exact_probabilities_against_every_order_of_the_values(n: int) -> None:
    orders = list(itertools.permutations(range(n)))
    all_s = [sum((b > a) - (b < a) for a, b in itertools.combinations(order, 2)) for order in orders]
    for s, printed in TABLE[n].items():
        share = Fraction(sum(one >= s for one in all_s), len(orders))
        assert float(share) == pytest.approx(printed, abs=6e-4)
        found = mann_kendall(places([0.0] * n), np.array(orders[all_s.index(s)], float))
        assert (found.s, found.is_exact) == (s, True)
        assert found.p_rising == pytest.approx(float(share), abs=1e-12)
        assert found.p_falling == pytest.approx(sum(one <= s for one in all_s) / len(orders), abs=1e-12)


@pytest.mark.parametrize("n", [2, 3, 7, 30, 200])
@pytest.mark.parametrize("step", [0.0, 0.5])
def test_agrees_with_direct_summation_and_scipy(n: int, step: float) -> None:
    rng = np.random.default_rng(n)
    t_s, values = rng.uniform(0.0, 50.0, n), rng.normal(size=n)
    if step:
        t_s, values = np.round(t_s), np.round(values / step) * step
    found = mann_kendall(t_s, values)
    assert found.s == direct_s(t_s, values)
    if not found.is_exact and n > 3:
        reference = scipy.stats.kendalltau(t_s, values, method="asymptotic")
        z = scipy.stats.norm.isf(reference.pvalue / 2.0)  # without continuity correction
        assert abs(found.s) / math.sqrt(found.variance) == pytest.approx(z, rel=1e-9)
    if found.is_exact:
        assert found.p == pytest.approx(scipy.stats.kendalltau(t_s, values, method="exact").pvalue, abs=1e-12)


@pytest.mark.parametrize("n", [0, 1, 2, 17, 70000])
def test_inversions_of_a_falling_and_a_rising_row(n: int) -> None:
    assert inversions(-np.arange(float(n))) == n * (n - 1) // 2
    assert inversions(np.arange(float(n))) == 0
    assert inversions(np.ones(n)) == 0


def test_values_that_are_all_equal_have_no_trend() -> None:
    found = mann_kendall(np.arange(9.0), np.full(9, 2.5))
    assert (found.s, found.p, found.z) == (0, 1.0, 0.0)


@pytest.mark.slow
def test_autocorrelated_noise_is_not_taken_for_a_trend() -> None:
    """Nominal 5 %: with r = 0.6 the plain test errs many times as often, the corrected one keeps near it."""
    rng = np.random.default_rng(1)
    plain = corrected = 0
    for _ in range(300):
        noise = rng.normal(size=100)
        for i in range(1, 100):
            noise[i] += 0.6 * noise[i - 1]
        plain += mann_kendall(np.arange(100.0), noise).p < 0.05
        corrected += mann_kendall(np.arange(100.0), noise, autocorrelation_inflation(noise)).p < 0.05
    assert plain > 60
    assert corrected < 30


@pytest.mark.parametrize("seed", range(12))
def test_inflation_against_direct_summation(seed: int) -> None:
    """K. H. Hamed, A. R. Rao (1998), eq. 18 (from memory), summed term by term; nothing where r is not significant."""
    n, memory = 30, 0.08 * seed
    noise = np.random.default_rng(seed).normal(size=n)
    for i in range(1, n):
        noise[i] += memory * noise[i - 1]
    ranks = [float(rank) - (n + 1) / 2.0 for rank in scipy.stats.rankdata(noise)]
    r = sum(a * b for a, b in itertools.pairwise(ranks)) / sum(a * a for a in ranks) + 1.0 / n
    factor = 1.0 + 2.0 / (n * (n - 1) * (n - 2)) * sum((n - k) * (n - k - 1) * (n - k - 2) * r**k for k in range(1, n))
    assert autocorrelation_inflation(noise) == pytest.approx(factor if r > 1.96 / math.sqrt(n) else 1.0, rel=1e-9)


def test_independent_noise_is_hardly_ever_inflated() -> None:
    rng = np.random.default_rng(2)
    assert sum(autocorrelation_inflation(rng.normal(size=64)) > 1.0 for _ in range(200)) < 20


@pytest.mark.parametrize(
    ("t_s", "values"), [([0.0], [1.0]), ([0.0, 1.0], [1.0]), ([0.0, 1.0], [1.0, math.nan]), ([0.0, math.inf], [1.0, 2.0])]
)
def test_what_cannot_be_tested_is_refused(t_s: list[float], values: list[float]) -> None:
    with pytest.raises(ParameterError):
        mann_kendall(np.array(t_s), np.array(values))
