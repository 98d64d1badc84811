"""Trend, change and forecast of one level, from its stored values in like conditions; pure, tens of milliseconds."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from edgemon.engine.alike import alike, series_of
from edgemon.engine.baselines import has_baseline
from edgemon.model.forecast import Forecast
from edgemon.model.instant import Instant
from edgemon.model.level import LevelKind
from edgemon.model.limit import Limit, Severity
from edgemon.model.machine import Machine, Point
from edgemon.model.outlook import ChangeView, CrossingView, OutlookView, ShiftView, SlopeView
from edgemon.model.snapshot import TrendPoint
from edgemon.trend.baseline import CHANGE_OF_B
from edgemon.trend.change import change_point, cusum, ewma, in_control_run_length, reference_of
from edgemon.trend.conditions import Like, Series
from edgemon.trend.counting import Values
from edgemon.trend.forecast import ForecastRules, forecasts
from edgemon.trend.robust import trend
from edgemon.units import from_si

MOST = 5000
"""Values looked at, the newest: two weeks at one in five minutes."""

BLOCKS = 500
"""Medians that slope and change are sought in where there are more values: 5,000 values one by one take seconds."""

LEAST = 8
"""Fewer values have no trend. Common practice, no source."""

REFERENCE_SHARE = 4
"""The first part in so many of the values, `LEAST` at least, is what the charts measure against. House choice."""

SIGNIFICANT = 0.05
DAY_S = 86_400.0


def outlook(
    machine: Machine,
    point: Point,
    kind: LevelKind,
    values: Sequence[TrendPoint],
    speeds: Sequence[TrendPoint],
    told: Sequence[TrendPoint],
    now: Instant,
    since: Instant | None,
    sim: bool,
) -> OutlookView:
    """Say where a level is heading.

    Parameters
    ----------
    machine, point : Machine, Point
        With the limits in force.
    kind : LevelKind
        Of the level.
    values, speeds, told : sequences of TrendPoint
        As for `alike.series_of`.
    now : Instant
        Gateway time.
    since : Instant, optional
        End of the last repair; values before it must not be among those given.
    """
    limit = point.limit_of(kind.name)
    unit = kind.unit if limit is None else limit.unit
    found = _in_unit(alike(machine, kind.name, series_of(machine, kind.name, values, speeds, told)), unit)
    series = found.series
    newest = max([now, *(float(t) for t in series.t_s[-1:])])
    rules = ForecastRules(max_age_s=point.stale_after_s)
    made = () if limit is None else forecasts(_limit_in_unit(limit), found, newest, rules)
    return OutlookView(
        machine=str(machine.id),
        point=str(point.key.point),
        level=kind.name,
        title=kind.title,
        unit=unit,
        made_at=now,
        count=len(series),
        left_out={reason.value: count for reason, count in found.left_out.items()},
        rpm=found.conditions.rpm,
        since=since,
        value=float(series.values[-1]) if len(series) else None,
        slope=_slope(series),
        change=_change(series),
        forecasts=tuple(_crossing(severity, forecast) for severity, forecast in made),
        sim=sim,
        shift=_shift(series, _least_shift(limit)) if has_baseline(kind) else None,
    )


def _in_unit(found: Like, unit: str) -> Like:
    """Give the values in the unit people see, so that every word about them is in it, too."""
    values = np.array([from_si(value, unit) for value in found.series.values.tolist()], np.float64)
    return replace(found, series=replace(found.series, values=values))


def _limit_in_unit(limit: Limit) -> Limit:
    alert, alarm = (None if one is None else round(from_si(one, limit.unit), 9) for one in (limit.alert, limit.alarm))
    return replace(limit, alert=alert, alarm=alarm)


def _slope(series: Series) -> SlopeView | None:
    t_s, values = _thinned(series)
    if len(t_s) < LEAST or t_s[-1] <= t_s[0]:
        return None
    found = trend(t_s - t_s[0], values)
    line = found.line
    slope, low, high = (rate * DAY_S for rate in (line.slope, line.slope_low, line.slope_high))
    return SlopeView(slope, low, high, line.confidence, found.test.p, found.test.p < SIGNIFICANT and slope != 0.0, found.n)


def _change(series: Series) -> ChangeView | None:
    t_s, values = _thinned(series)
    if len(t_s) < LEAST:
        return None
    found = change_point(values)
    if found.p >= SIGNIFICANT:
        return None
    return ChangeView(float(t_s[found.at]), found.before, found.after, found.p)


def _least_shift(limit: Limit | None) -> float | None:
    """Give 25 % of B/C in the unit people see; None where there is no B/C."""
    return None if limit is None or limit.zones is None else CHANGE_OF_B * from_si(limit.zones.upper_b, limit.unit)


def _shift(series: Series, least: float | None) -> ShiftView | None:
    """Look for a lasting shift away from the earliest values: CUSUM says since when, EWMA whether it holds now."""
    t_s, values = _thinned(series)
    learnt = max(LEAST, len(t_s) // REFERENCE_SHARE)
    if len(t_s) < learnt + LEAST:
        return None
    least = CHANGE_OF_B * abs(float(np.median(values[:learnt]))) if least is None else least
    if not least > 0.0:
        return None
    reference = reference_of(values[:learnt], least)
    sums, averages = cusum(values[learnt:], reference), ewma(values[learnt:], reference)
    is_up = sums.high[-1] > sums.decision and averages.averages[-1] > averages.upper[-1]
    is_down = sums.low[-1] > sums.decision and averages.averages[-1] < averages.lower[-1]
    if not (is_up or is_down):
        return None
    begin = learnt + int(sums.started[-1])
    after = float(np.median(values[begin:]))
    return ShiftView(float(t_s[begin]), reference.target, after, reference.sigma, learnt, in_control_run_length())


def _thinned(series: Series) -> tuple[Values, Values]:
    """Give medians of `BLOCKS` blocks of equal count; all values where there are no more."""
    if len(series) <= BLOCKS:
        return series.t_s, series.values
    edges = np.linspace(0, len(series), BLOCKS + 1).astype(np.int64)
    middles = np.array([(np.median(series.t_s[a:b]), np.median(series.values[a:b])) for a, b in pairwise(edges)])
    return middles[:, 0], middles[:, 1]


def _crossing(severity: Severity, made: Forecast) -> CrossingView:
    return CrossingView(
        severity=severity.word,
        limit=made.limit,
        earliest=made.earliest,
        likely=made.likely,
        latest=made.latest,
        confidence=made.confidence,
        model="" if made.model is None else made.model.value,
        reason="" if made.reason is None else made.reason.value,
        text=made.text,
    )
