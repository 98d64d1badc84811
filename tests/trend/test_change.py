"""Control charts against published examples, run lengths by simulation, Markov chain and published tables."""

import numpy as np
import pytest
from numpy.typing import NDArray

from edgemon.errors import ParameterError
from edgemon.trend.change import Cusum, Ewma, Reference, change_point, cusum, ewma, in_control_run_length, reference_of

# D. C. Montgomery, G. C. Runger, Applied Statistics and Probability for Engineers, Example 16-6, Tables 16-7 and 16-8
CHEMICAL = [102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1]
CHEMICAL += [101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0]
CHEMICAL_HIGH = [2, 0, 0, 0, 2, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1]
CHEMICAL_LOW = [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1, 2.3, 0, 0, 0.8, 0]

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4
NIST = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
NIST_Z = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33]
NIST_Z += [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]

# NIST/SEMATECH e-Handbook, 6.3.2.3 (data from memory, sums recomputed)
GROUPS = [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600]
GROUPS += [324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350]


def first_signal(chart: Cusum | Ewma) -> int | None:
    """Give the index of a chart's first signal."""
    return int(np.argmax(chart.signals)) if chart.signals.any() else None


def test_cusum_of_the_chemical_process() -> None:
    chart = cusum(np.array(CHEMICAL), Reference(99.0, 2.0), slack=0.5, decision=5.0)
    assert chart.high == pytest.approx(CHEMICAL_HIGH, abs=1e-9)
    assert chart.low == pytest.approx(CHEMICAL_LOW, abs=1e-9)
    assert chart.decision == 10.0
    assert first_signal(chart) is None


def test_cusum_of_the_groups_signals_at_the_fourteenth() -> None:
    chart = cusum(np.array(GROUPS), Reference(325.0, 1.0), slack=0.3175, decision=4.1959)
    assert chart.high[[12, 13, 14, 19]] == pytest.approx([3.007, 4.94, 7.447, 19.035], abs=1e-3)
    assert (int(np.argmax(chart.low)), float(chart.low.max())) == pytest.approx((7, 0.715), abs=1e-3)
    assert first_signal(chart) == 13
    assert chart.started[13] == 12  # the thirteenth group is the first of the new state


def test_ewma_of_the_handbook() -> None:
    chart = ewma(np.array(NIST), Reference(50.0, 2.0539), weight=0.3, is_settled=True)
    assert chart.averages == pytest.approx(NIST_Z, abs=0.00501)
    assert chart.upper == pytest.approx(np.full(20, 52.5884), abs=1e-3)
    assert chart.lower == pytest.approx(np.full(20, 47.4115), abs=1e-3)
    assert first_signal(chart) is None


def test_limits_of_the_average_grow_from_the_start() -> None:
    # recomputed from the variance of the average, sigma^2 w / (2 - w) (1 - (1 - w)^(2 i))
    chart = ewma(np.array(NIST), Reference(50.0, 2.0539), weight=0.3)
    assert chart.upper[:5] == pytest.approx([51.8485, 52.2564, 52.4314, 52.5127, 52.5516], abs=1e-4)
    assert chart.upper + chart.lower == pytest.approx(np.full(20, 100.0))


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_both_charts_signal_in_either_direction_and_at_their_usual_width(sign: float) -> None:
    # steps of 1.5 sigma add 1.0 a value beyond k = 1/2: beyond h = 5 at the sixth; the average of weight 0.2 starts at 0.3,
    # 0.54, 0.732 ... (1 - 0.8^i) 1.5, its limit 3 / 3 sqrt(1 - 0.64^i): beyond at the fifth (1.008 against 0.945), by hand
    step = np.full(12, sign * 1.5)
    assert first_signal(cusum(step, Reference(0.0, 1.0))) == 5
    assert first_signal(ewma(step, Reference(0.0, 1.0))) == 4


@pytest.mark.parametrize(("n", "at"), [(20, 10), (30, 10), (50, 40)])
def test_probability_of_a_clean_step_by_pettitts_formula(n: int, at: int) -> None:
    # K = at (n - at) where every value after the step is larger; p = 2 exp(-6 K^2 / (n^3 + n^2)): A. N. Pettitt (1979)
    found = change_point(np.arange(float(n)) + np.where(np.arange(n) >= at, 100.0, 0.0))
    assert found.at == n // 2  # a rise with a step: the middle has the largest sum of signs
    clean = change_point(np.where(np.arange(n) >= at, 1.0, 0.0))
    assert clean.at == at
    assert clean.p == pytest.approx(min(1.0, 2.0 * np.exp(-6.0 * (at * (n - at)) ** 2 / (n**3 + n**2))), rel=1e-9)


def chain_run_length(decision: float, shift: float, slack: float = 0.5, cells: int = 400) -> float:
    """One-sided CUSUM by the Markov chain of D. Brook, D. A. Evans, Biometrika 59 (1972) 539-549."""
    from scipy.stats import norm

    width = 2.0 * decision / (2 * cells - 1)
    centre = np.arange(cells) * width
    edges = norm.cdf((np.arange(cells) + 0.5) * width - centre[:, None] + slack - shift)
    moves = np.diff(edges, axis=1, prepend=0.0)
    return float(np.linalg.solve(np.eye(cells) - moves, np.ones(cells))[0])


def two_sided(decision: float, shift: float) -> float:
    return 1.0 / (1.0 / chain_run_length(decision, shift) + 1.0 / chain_run_length(decision, -shift))


# D. C. Montgomery, Introduction to Statistical Quality Control, table of CUSUM run lengths for k = 1/2 (from memory; each
# figure is recomputed here by the Markov chain)
PUBLISHED = {(4.0, 0.0): 168.0, (4.0, 1.0): 8.38, (4.0, 2.0): 3.34, (5.0, 0.0): 465.0, (5.0, 1.0): 10.4, (5.0, 2.0): 4.01}


@pytest.mark.parametrize(("decision", "shift"), PUBLISHED)
def test_published_run_lengths_are_those_of_the_chain(decision: float, shift: float) -> None:
    assert two_sided(decision, shift) == pytest.approx(PUBLISHED[decision, shift], rel=0.01)


@pytest.mark.parametrize("decision", [4.0, 5.0])
def test_the_run_length_told_is_near_the_published_one(decision: float) -> None:
    assert in_control_run_length(decision=decision) == pytest.approx(PUBLISHED[decision, 0.0], rel=0.03)
    assert in_control_run_length(0.25, decision) == pytest.approx(two_sided_with(0.25, decision), rel=0.03)


def two_sided_with(slack: float, decision: float) -> float:
    return chain_run_length(decision, 0.0, slack) / 2.0


def simulated(decision: float, shift: float, runs: int, longest: int) -> NDArray[np.float64]:
    rng = np.random.default_rng(11)
    reference = Reference(0.0, 1.0)
    firsts = [first_signal(cusum(rng.normal(shift, 1.0, longest), reference, decision=decision)) for _ in range(runs)]
    assert all(first is not None for first in firsts)
    return np.array([first + 1.0 for first in firsts if first is not None])


def within_chance(lengths: NDArray[np.float64], mean: float) -> bool:
    return bool(abs(lengths.mean() - mean) < 3.5 * lengths.std() / np.sqrt(len(lengths)))


@pytest.mark.parametrize(("decision", "shift"), [key for key in PUBLISHED if key[1] >= 1.0])
def test_cusum_finds_a_shift_as_soon_as_published(decision: float, shift: float) -> None:
    assert within_chance(simulated(decision, shift, 400, 150), PUBLISHED[decision, shift])


@pytest.mark.slow
@pytest.mark.parametrize("decision", [4.0, 5.0])
def test_cusum_errs_as_seldom_as_published(decision: float) -> None:
    assert within_chance(simulated(decision, 0.0, 250, int(PUBLISHED[decision, 0.0]) * 12), PUBLISHED[decision, 0.0])


def test_ewma_finds_a_shift_as_soon_as_published() -> None:
    # J. M. Lucas, M. S. Saccucci, Technometrics 32 (1990): weight 0.1, L = 2.814, shift 1: 10.3 (from memory)
    rng = np.random.default_rng(12)
    charts = (ewma(rng.normal(1.0, 1.0, 200), Reference(0.0, 1.0), 0.1, 2.814, is_settled=True) for _ in range(600))
    lengths = np.array([at + 1.0 for chart in charts if (at := first_signal(chart)) is not None])
    assert len(lengths) == 600
    assert within_chance(lengths, 10.3)


def test_headstart_finds_a_change_at_the_start_sooner() -> None:
    rng = np.random.default_rng(13)
    rows = [rng.normal(1.0, 1.0, 100) for _ in range(200)]
    means = []
    for start in (0.0, 2.5):
        firsts = [first_signal(cusum(row, Reference(0.0, 1.0), headstart=start)) for row in rows]
        means.append(np.mean([first for first in firsts if first is not None]))
    assert means[1] < means[0] - 2.0


def test_change_point_is_where_the_step_is() -> None:
    rng = np.random.default_rng(14)
    found = change_point(np.concatenate((rng.normal(2.0, 0.1, 60), rng.normal(2.4, 0.1, 40))))
    assert found.at == 60
    assert found.p < 1e-6
    assert (found.before, found.after) == pytest.approx((2.0, 2.4), abs=0.05)


def test_change_point_agrees_with_direct_summation() -> None:
    values = np.round(np.random.default_rng(15).normal(size=40), 1)  # with ties
    direct = [abs(sum(np.sign(values[i] - values[j]) for i in range(k) for j in range(k, 40))) for k in range(1, 40)]
    assert change_point(values).at == int(np.argmax(direct)) + 1


def test_noise_without_a_change_is_seldom_taken_for_one() -> None:
    rng = np.random.default_rng(16)
    assert sum(change_point(rng.normal(size=80)).p < 0.05 for _ in range(300)) <= 24
    assert change_point(np.full(9, 1.0)).p == 1.0


def test_reference_is_not_spoilt_by_wild_values_and_honours_the_least_shift() -> None:
    values = np.random.default_rng(17).normal(5.0, 0.1, 101)
    values[:10] = 500.0
    assert reference_of(values).target == pytest.approx(5.0, abs=0.05)
    assert reference_of(values).sigma == pytest.approx(0.1, rel=0.4)
    assert reference_of(values, least_shift=1.25).sigma == 1.25


def test_references_and_charts_that_make_no_sense_are_refused() -> None:
    with pytest.raises(ParameterError, match="eight"):
        reference_of(np.arange(7.0))
    with pytest.raises(ParameterError, match="vary"):
        reference_of(np.ones(20))
    with pytest.raises(ParameterError, match="weight"):
        ewma(np.ones(3), Reference(0.0, 1.0), weight=0.0)
    with pytest.raises(ParameterError, match="two values"):
        change_point(np.ones(1))
