"""When a level will cross its limits if it goes on as it does, with an interval; or the reason why nobody can say.

What was chosen, and on what evidence (walk-forward over open bearing run-to-failure records, `tests.bench.forecast`):

- Trends are sought in windows that end with the newest value and double in length, each thinned to medians of blocks, so
  that neither wild values nor a long quiet past decide. Two windows of different length must rise; with one alone, five times
  as many forecasts (49 to 10) spoke of limits that were never reached.
- Both shapes, straight and exponential, go into the interval: which one holds is not known beforehand. `likely` follows the
  one that scatters less.
- The interval of the slope alone held the crossing in half of the cases: it knows nothing of a rise that quickens or
  flattens out. Hence the time to the earliest crossing is halved and that to the latest doubled.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from edgemon.errors import ParameterError
from edgemon.model.forecast import Forecast, NoForecast, TrendModel
from edgemon.model.instant import Duration, Instant
from edgemon.model.limit import Limit, Severity, Side
from edgemon.trend.conditions import Like, Series
from edgemon.trend.counting import Values
from edgemon.trend.robust import Trend, trend
from edgemon.units import Quantity

SHORTEST = 16
"""Values in the shortest window; twice the eight points at like operating state that common practice asks for."""

LEAST = 20
"""Values needed in all, so that there are two windows."""

BLOCKS = 64
"""Blocks that a window is thinned to; enough for an interval of the slope, and a millisecond's work."""

NEWEST = 5
"""Values whose median tells where the level stands now."""


@dataclass(frozen=True, slots=True)
class ForecastRules:
    """When a forecast is given, and how careful it is."""

    significance: float = 0.01
    """Two-sided p below which a window rises; several windows are looked at, hence not 0.05."""
    confidence: float = 0.90
    """Of the interval of the slope."""
    reach: float = 1.0
    """A forecast looks no further ahead than so many times the span it rests on. House choice."""
    widening: float = 2.0
    """Factor on the time to the latest, divisor of the time to the earliest crossing, for what no slope knows."""
    max_age_s: Duration | None = None
    """The newest value must not be older; None where the caller has seen to it."""


@dataclass(frozen=True, slots=True)
class _Fit:
    """One shape laid through one window; times are counted from the newest value, values as the shape needs them."""

    window: int
    span_s: Duration
    model: TrendModel
    sign: float
    """-1 where the limit is a low one: the shaped values are turned over, so that towards the limit is always up."""
    trend: Trend
    middle_s: Duration
    middle: float
    scatter: float
    """In the unit of the level, so that shapes compare."""


@dataclass(frozen=True, slots=True)
class _Crossing:
    fit: _Fit
    earliest_s: Duration
    likely_s: Duration
    latest_s: Duration


def forecasts(
    limit: Limit, like: Like, now: Instant, rules: ForecastRules | None = None
) -> tuple[tuple[Severity, Forecast], ...]:
    """Forecast the crossing of the alert and the alarm limit of one level, where they are set.

    Parameters
    ----------
    limit : Limit
        Limits in the house's unit of the level.
    like : Like
        Its values in like conditions.
    now : Instant
        Time of the forecast, not before the newest value.
    """
    rules = rules or ForecastRules()
    models = (TrendModel.LINEAR,) if limit.quantity is Quantity.TEMPERATURE else tuple(TrendModel)
    fits = _fits(like.series, models, rules, limit.side)
    set_limits = [(severity, limit.of(severity)) for severity in (Severity.ALERT, Severity.ALARM)]
    return tuple(
        (severity, _forecast(limit.level, value, like, now, fits, rules, limit.side))
        for severity, value in set_limits
        if value is not None
    )


def forecast(
    level: str,
    limit: float,
    like: Like,
    now: Instant,
    rules: ForecastRules | None = None,
    models: Sequence[TrendModel] = tuple(TrendModel),
    side: Side = Side.ABOVE,
) -> Forecast:
    """Forecast when a level will cross one limit.

    Parameters
    ----------
    level : str
        Name of the level.
    limit : float
        In the unit of the values.
    models : sequence of TrendModel
        Shapes that make sense for the level; a temperature in degrees Celsius has no exponential one.
    side : Side
        On which side of the limit values are bad: a low limit is reached by falling.

    Raises
    ------
    ParameterError
        A limit that is no number, or `now` before the newest value.
    """
    rules = rules or ForecastRules()
    return _forecast(level, limit, like, now, _fits(like.series, models, rules, side), rules, side)


def time_to_limit(value: float, rate: float, limit: float, model: TrendModel) -> Duration:
    """Give the time until a value that goes on at a rate reaches a limit; infinite where it moves away.

    Parameters
    ----------
    value, limit : float
        In one unit; above 0 for the exponential model.
    rate : float
        Unit per second for the linear, parts per second for the exponential model.

    Notes
    -----
    linear: (limit - value) / rate; exponential, value * exp(rate * t): ln(limit / value) / rate.

    Raises
    ------
    ParameterError
        A value or limit that no exponential reaches.
    """
    if model is TrendModel.EXPONENTIAL and not (value > 0.0 and limit > 0.0):
        raise ParameterError(f"an exponential goes through values above 0 only, not from {value!r} to {limit!r}")
    distance = limit - value if model is TrendModel.LINEAR else math.log(limit / value)
    if distance <= 0.0:
        return 0.0
    return distance / rate if rate > 0.0 else math.inf


def _forecast(
    level: str, limit: float, like: Like, now: Instant, fits: Sequence[_Fit], rules: ForecastRules, side: Side
) -> Forecast:
    if not math.isfinite(limit):
        raise ParameterError(f"limit of {level} is not a number: {limit!r}")
    series = like.series
    if len(series) and now < series.t_s[-1]:
        raise ParameterError(f"forecast of {level} made before its newest value")
    none = _obstacle(limit, like, now, fits, rules, side)
    if none is not None:
        return Forecast(level, limit, now, rules.confidence, reason=none[0], text=none[1])
    crossings = [_crossing(fit, limit) for fit in fits if _rises(fit, rules) and _fits_limit(fit, limit)]
    near = [crossing for crossing in crossings if crossing.likely_s <= rules.reach * crossing.fit.span_s]
    if len({crossing.fit.window for crossing in near}) < 2:
        soonest = min((crossing.likely_s for crossing in crossings), default=math.inf)
        spans = sorted({crossing.fit.span_s for crossing in crossings})
        text = (
            f"about {soonest:.3g} s ahead at the soonest; two spans must reach so far, the second longest is {_second(spans)}"
        )
        return Forecast(level, limit, now, rules.confidence, reason=NoForecast.TOO_FAR, text=text)
    newest = float(series.t_s[-1])
    model = _better([crossing.fit for crossing in near])
    same = [max(crossing.likely_s, 1.0) for crossing in near if crossing.fit.model is model]
    likely = math.exp(math.fsum(map(math.log, same)) / len(same))
    earliest = min(likely, *(crossing.earliest_s for crossing in near)) / rules.widening
    latest = max(likely, *(crossing.latest_s for crossing in near)) * rules.widening
    windows = sorted({crossing.fit.window for crossing in near})
    return Forecast(
        level,
        limit,
        now,
        rules.confidence,
        max(now, newest + earliest),
        max(now, newest + likely),
        max(now, newest + latest),
        model,
        text=f"{_words(side)[0]} through the newest {', '.join(map(str, windows))} values",
    )


def _second(spans: Sequence[Duration]) -> str:
    return f"{spans[-2]:.3g} s" if len(spans) > 1 else "none"


def _words(side: Side) -> tuple[str, str]:
    """Say how values go towards the limit, and how away."""
    return ("falls", "rises") if side is Side.BELOW else ("rises", "falls")


def _obstacle(
    limit: float, like: Like, now: Instant, fits: Sequence[_Fit], rules: ForecastRules, side: Side
) -> tuple[NoForecast, str] | None:
    series = like.series
    if len(series) and not like.newest_is_like:
        return NoForecast.CONDITIONS, "; ".join(f"{count} {reason}" for reason, count in like.left_out.items())
    if len(series) < LEAST:
        return NoForecast.TOO_FEW, f"{len(series)} of at least {LEAST}"
    if rules.max_age_s is not None and now - series.t_s[-1] > rules.max_age_s:
        return NoForecast.STALE, f"{now - series.t_s[-1]:.0f} s old"
    level = float(np.median(series.values[-NEWEST:]))
    if _sign(side) * (level - limit) >= 0.0:
        return NoForecast.BEYOND, f"{level:.4g} of {limit:.4g}"
    rising = {fit.window for fit in fits if _rises(fit, rules)}
    if len(rising) >= 2:
        return None
    p = min((fit.trend.test.p for fit in fits), default=1.0)
    if rising and max(rising) < len(series):
        return NoForecast.TOO_RECENT, f"{_words(side)[0]} in the newest {max(rising)} values only"
    if not rising and any(fit.trend.line.slope_high < 0.0 and fit.trend.test.p < rules.significance for fit in fits):
        return NoForecast.AWAY, f"{_words(side)[1]}, p {p:.2g}"
    return NoForecast.NOT_SIGNIFICANT, f"least p {p:.2g}; two spans must have one below {rules.significance:g}"


def _sign(side: Side) -> float:
    return -1.0 if side is Side.BELOW else 1.0


def _fits(series: Series, models: Sequence[TrendModel], rules: ForecastRules, side: Side) -> tuple[_Fit, ...]:
    if len(series) < LEAST:
        return ()
    found: list[_Fit] = []
    window = SHORTEST
    while True:
        window = min(window, len(series))
        t_s, values = _thin(series.t_s[-window:] - series.t_s[-1], series.values[-window:])
        for model in models:
            if t_s[-1] > t_s[0] and (model is TrendModel.LINEAR or values.min() > 0.0):
                span_s = float(series.t_s[-1] - series.t_s[-window])
                found.append(_fit(window, span_s, model, t_s, values, rules.confidence, _sign(side)))
        if window == len(series):
            return tuple(found)
        window *= 2


def _fit(window: int, span_s: Duration, model: TrendModel, t_s: Values, values: Values, confidence: float, sign: float) -> _Fit:
    shaped = sign * (values if model is TrendModel.LINEAR else np.log(values))
    line = trend(t_s, shaped, confidence)
    laid = sign * (line.line.intercept + line.line.slope * t_s)
    scatter = float(np.median(np.abs(values - (laid if model is TrendModel.LINEAR else np.exp(laid)))))
    return _Fit(window, span_s, model, sign, line, float(np.median(t_s)), float(np.median(shaped)), scatter)


def _thin(t_s: Values, values: Values) -> tuple[Values, Values]:
    """Give medians of `BLOCKS` blocks of equal count; all values where there are no more."""
    if len(t_s) <= BLOCKS:
        return t_s, values
    edges = np.linspace(0, len(t_s), BLOCKS + 1).astype(np.int64)
    middle = np.array([(np.median(t_s[a:b]), np.median(values[a:b])) for a, b in pairwise(edges)])
    return middle[:, 0], middle[:, 1]


def _rises(fit: _Fit, rules: ForecastRules) -> bool:
    return fit.trend.test.p < rules.significance and fit.trend.line.slope_low > 0.0


def _fits_limit(fit: _Fit, limit: float) -> bool:
    return fit.model is TrendModel.LINEAR or limit > 0.0


def _crossing(fit: _Fit, limit: float) -> _Crossing:
    """Follow the line, and the edges of its slope about the middle of the window, out to the limit and beyond the scatter."""
    goal = fit.sign * (limit if fit.model is TrendModel.LINEAR else math.log(limit))
    line, spread = fit.trend.line, fit.trend.spread

    def after(distance: float, slope: float) -> Duration:
        return max(0.0, fit.middle_s + time_to_limit(0.0, slope, distance, TrendModel.LINEAR))

    away = goal - fit.middle
    return _Crossing(fit, after(away - spread, line.slope_high), after(away, line.slope), after(away + spread, line.slope_low))


def _better(fits: Sequence[_Fit]) -> TrendModel:
    """Give the shape that scatters less over the longest window that has it; the exponential one where they tie."""
    longest = max(fit.window for fit in fits)
    best = min((fit for fit in fits if fit.window == longest), key=lambda fit: (fit.scatter, fit.model.value))
    return best.model
