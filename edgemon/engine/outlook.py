"""Trend, change and forecast of one level, from its stored values in like conditions; pure, tens of milliseconds."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from edgemon.engine.alike import alike, series_of
from edgemon.model.forecast import Forecast
from edgemon.model.instant import Instant
from edgemon.model.level import LevelKind
from edgemon.model.limit import Limit, Severity
from edgemon.model.machine import Machine, Point
from edgemon.model.outlook import ChangeView, CrossingView, OutlookView, SlopeView
from edgemon.model.snapshot import TrendPoint
from edgemon.trend.change import change_point
from edgemon.trend.conditions import Series
from edgemon.trend.counting import Values
from edgemon.trend.forecast import ForecastRules, forecasts
from edgemon.trend.robust import trend
from edgemon.units import from_si, interval_from_si

MOST = 5000
"""Values looked at, the newest: two weeks at one in five minutes."""

BLOCKS = 500
"""Medians that slope and change are sought in where there are more values: 5,000 values one by one take seconds."""

LEAST = 8
"""Fewer values have no trend. Common practice, no source."""

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
    found = alike(machine, kind.name, series_of(machine, kind.name, values, speeds, told))
    series = found.series
    newest = max([now, *(float(t) for t in series.t_s[-1:])])
    made = () if limit is None else forecasts(limit, found, newest, ForecastRules(max_age_s=point.stale_after_s))
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
        value=from_si(float(series.values[-1]), unit) if len(series) else None,
        slope=_slope(series, unit),
        change=_change(series, unit),
        forecasts=tuple(_crossing(severity, forecast, limit) for severity, forecast in made if limit is not None),
        sim=sim,
    )


def _slope(series: Series, unit: str) -> SlopeView | None:
    t_s, values = _thinned(series)
    if len(t_s) < LEAST or t_s[-1] <= t_s[0]:
        return None
    found = trend(t_s - t_s[0], values)
    line = found.line
    slope, low, high = (interval_from_si(rate * DAY_S, unit) for rate in (line.slope, line.slope_low, line.slope_high))
    return SlopeView(slope, low, high, line.confidence, found.test.p, found.test.p < SIGNIFICANT, found.n)


def _change(series: Series, unit: str) -> ChangeView | None:
    t_s, values = _thinned(series)
    if len(t_s) < LEAST:
        return None
    found = change_point(values)
    if found.p >= SIGNIFICANT:
        return None
    return ChangeView(float(t_s[found.at]), from_si(found.before, unit), from_si(found.after, unit), found.p)


def _thinned(series: Series) -> tuple[Values, Values]:
    """Give medians of `BLOCKS` blocks of equal count; all values where there are no more."""
    if len(series) <= BLOCKS:
        return series.t_s, series.values
    edges = np.linspace(0, len(series), BLOCKS + 1).astype(np.int64)
    middles = np.array([(np.median(series.t_s[a:b]), np.median(series.values[a:b])) for a, b in pairwise(edges)])
    return middles[:, 0], middles[:, 1]


def _crossing(severity: Severity, made: Forecast, limit: Limit) -> CrossingView:
    return CrossingView(
        severity=severity.word,
        limit=round(from_si(made.limit, limit.unit), 9),
        earliest=made.earliest,
        likely=made.likely,
        latest=made.latest,
        confidence=made.confidence,
        model="" if made.model is None else made.model.value,
        reason="" if made.reason is None else made.reason.value,
        text=made.text,
    )
