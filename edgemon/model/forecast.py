"""When a level will cross a limit if it goes on as it does, with an interval; or why nobody can say."""

from dataclasses import dataclass
from enum import StrEnum

from edgemon.model.instant import Instant


class TrendModel(StrEnum):
    """Shape that the forecast goes on with."""

    LINEAR = "linear"
    EXPONENTIAL = "exponential"


class NoForecast(StrEnum):
    """Why there is no forecast."""

    TOO_FEW = "too few values in like conditions"
    CONDITIONS = "the machine now runs in other conditions"
    BEYOND = "already beyond the limit"
    NOT_SIGNIFICANT = "no trend that is sure enough"
    AWAY = "moves away from the limit"
    TOO_RECENT = "changed too recently"
    TOO_FAR = "further away than the values reach back"
    STALE = "the newest value is too old"


@dataclass(frozen=True, slots=True)
class Forecast:
    """Crossing of one limit by one level; `reason` says why there is none, then the times are None."""

    level: str
    limit: float
    made_at: Instant
    confidence: float
    """Nominal, of the interval; what it reached on open run-to-failure records is told by `tests.bench.forecast`."""
    earliest: Instant | None = None
    likely: Instant | None = None
    latest: Instant | None = None
    model: TrendModel | None = None
    reason: NoForecast | None = None
    text: str = ""
    """For people: what it rests on, or the figures behind the reason."""
