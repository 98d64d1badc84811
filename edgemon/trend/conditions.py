"""Like conditions: which values of a level may be compared with each other, and why the others may not."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from edgemon.errors import ParameterError
from edgemon.model.instant import Instant
from edgemon.trend.counting import Values

SPEED_TOLERANCE = 0.05
"""Part of the speed by which like values may differ (unbalance goes with its square: 10 %). Common practice, no source."""

LOAD_TOLERANCE = 0.10
"""Part of the load by which like values may differ. Common practice, no source."""


class LeftOut(StrEnum):
    """Why a value takes no part."""

    UNFIT = "unfit"
    STANDSTILL = "machine not running"
    OTHER_SPEED = "other speed"
    SPEED_UNKNOWN = "speed not known"
    OTHER_LOAD = "other load"
    LOAD_UNKNOWN = "load not known"


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """Values of one level of one point in the order of time, each array of shape (n,).

    Speed and load are not a number where they are not known; `fit` is False where the capture had flaws.
    """

    t_s: Values
    values: Values
    rpm: Values
    load: Values
    fit: NDArray[np.bool_]

    def __len__(self) -> int:
        """Give the number of values."""
        return len(self.t_s)

    def only(self, wanted: NDArray[np.bool_]) -> "Series":
        """Give the values where `wanted` is True."""
        return Series(self.t_s[wanted], self.values[wanted], self.rpm[wanted], self.load[wanted], self.fit[wanted])


@dataclass(frozen=True, slots=True)
class Conditions:
    """Running conditions that a value must meet; None where a quantity does not matter or is not known."""

    rpm: float | None = None
    rpm_tolerance: float = SPEED_TOLERANCE
    """Part of `rpm`."""
    load: float | None = None
    load_tolerance: float = LOAD_TOLERANCE
    """Part of `load`."""
    standstill_rpm: float | None = None
    """At or below this speed the machine does not run."""
    standstill_below: float | None = None
    """Below this value of the level the machine does not run, where no speed is known."""


@dataclass(frozen=True, slots=True, eq=False)
class Like:
    """The values in like conditions, and how many were left out for which reason."""

    series: Series
    conditions: Conditions
    left_out: Mapping[LeftOut, int] = field(default_factory=dict)
    newest_is_like: bool = True
    """The newest fit value of all belongs to them: the machine runs in these conditions now."""


def make_series(
    t_s: Values, values: Values, rpm: Values | None = None, load: Values | None = None, fit: NDArray[np.bool_] | None = None
) -> Series:
    """Put the values of a level in the order of time; what is not given is not known, and fit.

    Raises
    ------
    ParameterError
        Arrays of different lengths, or a time that is no number.
    """
    t_s, values = np.asarray(t_s, np.float64), np.asarray(values, np.float64)
    unknown = np.full(t_s.shape, np.nan)
    rpm = unknown if rpm is None else np.asarray(rpm, np.float64)
    load = unknown if load is None else np.asarray(load, np.float64)
    fit = np.isfinite(values) if fit is None else np.asarray(fit, np.bool_) & np.isfinite(values)
    if t_s.ndim != 1 or any(other.shape != t_s.shape for other in (values, rpm, load, fit)):
        raise ParameterError("times, values, speeds, loads and fitness must be rows of equal length")
    if not np.isfinite(t_s).all():
        raise ParameterError("a time is not a number")
    return Series(t_s, values, rpm, load, fit).only(np.argsort(t_s, kind="stable"))  # type: ignore[arg-type]


def like(series: Series, conditions: Conditions) -> Like:
    """Keep the values that are fit and were taken in the conditions asked for.

    Notes
    -----
    Where a speed (or load) is asked for and a value's is not known, the value is left out: it cannot be called alike.
    Source: ISO 20816-1:2016 and ISO 10816-3:2009 5.3 (compare at the same position, direction and operating state; quoted
    from secondary sources).
    """
    reasons: dict[LeftOut, NDArray[np.bool_]] = {LeftOut.UNFIT: ~series.fit, LeftOut.STANDSTILL: _stands(series, conditions)}
    if conditions.rpm is not None:
        reasons[LeftOut.SPEED_UNKNOWN] = np.isnan(series.rpm)
        reasons[LeftOut.OTHER_SPEED] = np.abs(series.rpm - conditions.rpm) > conditions.rpm_tolerance * abs(conditions.rpm)
    if conditions.load is not None:
        reasons[LeftOut.LOAD_UNKNOWN] = np.isnan(series.load)
        reasons[LeftOut.OTHER_LOAD] = np.abs(series.load - conditions.load) > conditions.load_tolerance * abs(conditions.load)
    wanted = np.ones(len(series), np.bool_)
    left_out: dict[LeftOut, int] = {}
    for reason, applies in reasons.items():
        count = int(np.count_nonzero(wanted & applies))
        if count:
            left_out[reason] = count
        wanted &= ~applies
    fit = np.flatnonzero(series.fit)
    return Like(series.only(wanted), conditions, left_out, bool(fit.size and wanted[fit[-1]]))


def usual_speeds(
    series: Series, tolerance: float = SPEED_TOLERANCE, standstill_rpm: float = 0.0, least: int = 8
) -> tuple[float, ...]:
    """Give the speeds at which the machine usually runs, most values first, r/min; empty where no speed is known.

    Notes
    -----
    The densest span of speeds that lie within `tolerance` of its middle is taken out, again and again, while it holds
    `least` values. A speed is the median of its span.
    """
    rpm = np.sort(series.rpm[series.fit & (series.rpm > standstill_rpm)])
    speeds: list[float] = []
    while rpm.size >= least:
        end = np.searchsorted(rpm, rpm * (1.0 + tolerance) / (1.0 - tolerance), side="right")
        first = int(np.argmax(end - np.arange(rpm.size)))
        last = int(end[first])
        if last - first < least:
            break
        speeds.append(float(np.median(rpm[first:last])))
        rpm = np.delete(rpm, slice(first, last))
    return tuple(speeds)


def since(series: Series, at: Instant) -> Series:
    """Give the values taken at or after a time, such as the end of a repair."""
    return series.only(series.t_s >= at)


def _stands(series: Series, conditions: Conditions) -> NDArray[np.bool_]:
    stands = np.zeros(len(series), np.bool_)
    if conditions.standstill_rpm is not None:
        stands |= series.rpm <= conditions.standstill_rpm
    if conditions.standstill_below is not None:
        stands |= np.isnan(series.rpm) & (series.values < conditions.standstill_below)
    return stands
