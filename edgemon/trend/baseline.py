"""Baselines: learnt from fit values in like conditions, approved by a person, retired when the machine is another."""

from dataclasses import replace

import numpy as np

from edgemon.errors import ParameterError
from edgemon.model.baseline import Baseline, BaselineLimits, BaselineState, NoBaseline, Refusal
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant
from edgemon.model.text import clean
from edgemon.trend.conditions import Like
from edgemon.trend.conditions import since as taken_since
from edgemon.trend.counting import Values
from edgemon.trend.robust import robust_spread, trend
from edgemon.units import Quantity

CAPTURES = 20
"""Values a baseline is learnt from: the median is then known to about a quarter of their spread. House choice, no source."""

LEAST = 8
"""Fewer values make no baseline. Common practice, no source."""

STEADY_SPREAD = 0.20
"""Spread over median up to which the state counts as steady. Common practice, no source."""

DRIFT = 0.20
"""Part of the median by which the values may drift over their span, where the drift is significant. House choice."""

CHANGE_OF_B = 0.25
"""Part of the upper limit of zone B: margin of ALARM over the baseline, and a significant change. ISO 10816-3:2009 5.3, 5.4.1,
quoted from an open-source library that cites the clauses."""

CEILING = 1.25
"""Times B/C (ALARM) and C/D (TRIP): not to be exceeded. ISO 10816-3:2009 5.4.1 and 5.4.2, quoted likewise."""


def propose(
    point: PointKey,
    level: str,
    quantity: Quantity,
    like: Like,
    now: Instant,
    learnt_since: Instant | None = None,
    captures: int = CAPTURES,
    sim: bool = False,
) -> Baseline | Refusal:
    """Propose a baseline from the first values in like conditions, or say why there is none.

    Parameters
    ----------
    like : Like
        Fit values in like conditions, machine running (`edgemon.trend.conditions.like`).
    now : Instant
        Time of the proposal.
    learnt_since : Instant, optional
        End of a repair: values before it are another machine's.
    captures : int
        How many of the first values to use, at least `LEAST`; with fewer (but `LEAST`) there, all are used.

    Raises
    ------
    ParameterError
        Fewer captures asked for than make a baseline.
    """
    if captures < LEAST:
        raise ParameterError(f"a baseline needs {LEAST} captures at least, not {captures}")
    series = like.series if learnt_since is None else taken_since(like.series, learnt_since)
    t_s, values = series.t_s[:captures], series.values[:captures]
    if len(values) < LEAST:
        return Refusal(NoBaseline.TOO_FEW, f"{len(values)} of at least {LEAST}")
    median, spread = float(np.median(values)), robust_spread(values)
    refusal = _unsteady(t_s, values, median, spread)
    if refusal is not None:
        return refusal
    return Baseline(
        point,
        level,
        quantity,
        len(values),
        float(t_s[0]),
        float(t_s[-1]),
        float(np.mean(values)),
        median,
        spread,
        _middle(series.rpm[:captures]),
        _middle(series.load[:captures]),
        now,
        learnt_since=learnt_since,
        sim=sim,
    )


def approve(baseline: Baseline, by: str, at: Instant) -> Baseline:
    """Make a proposed baseline the measure, in the name of a person.

    Raises
    ------
    ParameterError
        It is not proposed, or no name is given.
    """
    if baseline.state is not BaselineState.PROPOSED:
        raise ParameterError(f"the baseline of {baseline.point} {baseline.level} is {baseline.state}, not proposed")
    return replace(baseline, state=BaselineState.APPROVED, approved_by=_name(by), approved_at=at)


def retire(baseline: Baseline, by: str, at: Instant, because: str) -> Baseline:
    """Take a baseline out of use: after a repair, at a newly approved one, or as a proposal turned down.

    Raises
    ------
    ParameterError
        It is retired already, or no name or reason is given.
    """
    if baseline.state is BaselineState.RETIRED:
        raise ParameterError(f"the baseline of {baseline.point} {baseline.level} is retired already")
    if not because.strip():
        raise ParameterError("a baseline is retired for a reason", hint="say why, in a few words")
    reason = clean(because.strip(), 200)
    return replace(baseline, state=BaselineState.RETIRED, retired_by=_name(by), retired_at=at, retired_because=reason)


def limits_of(baseline: float, upper_b: float, upper_c: float, origin: str) -> BaselineLimits:
    """Give the limits that follow from a baseline value, all in one unit.

    Parameters
    ----------
    baseline : float
        Baseline value, not below 0.
    upper_b, upper_c : float
        Zone boundaries B/C and C/D of the machine's class, 0 < upper_b < upper_c.
    origin : str
        Edition, group and support that the boundaries come from.

    Raises
    ------
    ParameterError
        Boundaries out of order, or numbers that are none.

    Notes
    -----
    Source: ISO 10816-3:2009 5.3, 5.4.1, 5.4.2 (kept in ISO 20816-3:2022), quoted from an open-source library that cites
    the clauses. A low baseline may put ALARM below zone C; that is intended (5.4.1).
    """
    if not (np.isfinite([baseline, upper_b, upper_c]).all() and baseline >= 0.0 and 0.0 < upper_b < upper_c):
        raise ParameterError(f"need baseline >= 0 and 0 < B/C < C/D, not {baseline!r}, {upper_b!r}, {upper_c!r}")
    change = CHANGE_OF_B * upper_b
    ceiling = CEILING * upper_b
    text = f"{origin}: baseline + 25 % of B/C, at most 1.25 x B/C"
    return BaselineLimits(min(baseline + change, ceiling), baseline + change > ceiling, change, CEILING * upper_c, text)


def _unsteady(t_s: Values, values: Values, median: float, spread: float) -> Refusal | None:
    found = trend(t_s, values)
    drift = abs(found.line.slope) * (found.last - found.first)
    if found.test.p < 0.05 and drift > DRIFT * abs(median):
        return Refusal(
            NoBaseline.DRIFTING, f"{drift / abs(median):.0%} of the median in {len(values)} values" if median else ""
        )
    if spread > STEADY_SPREAD * abs(median):
        return Refusal(NoBaseline.NOT_STEADY, f"spread {spread:.3g} at a median of {median:.3g}")
    return None


def _middle(values: Values) -> float | None:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else None


def _name(by: str) -> str:
    name = clean(by.strip())
    if not name:
        raise ParameterError("nobody is named", hint="say who approves or retires the baseline")
    return name
