"""Stored values of a level, with the speeds they were taken at, to a series in which like may be compared with like; pure."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from edgemon.model.machine import Machine
from edgemon.model.snapshot import TrendPoint
from edgemon.trend.conditions import Conditions, Like, Series, like, make_series, usual_speeds
from edgemon.units import from_si

RPM = "rpm"
"""Name under which the store keeps the shaft speed at a point's measurements, Hz."""


def series_of(
    machine: Machine, level: str, values: Sequence[TrendPoint], speeds: Sequence[TrendPoint], told: Sequence[TrendPoint] = ()
) -> Series:
    """Bring values and speeds together; what neighbours a standstill is left out as unfit.

    Parameters
    ----------
    machine : Machine
        Says at and below which speed it does not run, or which level tells so.
    level : str
        Name of the level the values are of.
    values, speeds, told : sequences of TrendPoint
        In the house's unit, oldest first: the level; shaft speed, Hz; the level of the machine's standstill rule, where that
        is another one.

    Notes
    -----
    Before and after a standstill the machine may be running up or down: the fit value next to one is not steady, whatever its
    speed says. Common practice, no source.
    """
    t = np.array([value.t for value in values], np.float64)
    speed_at = {speed.t: from_si(speed.value, "r/min") for speed in speeds}
    rpm = np.array([speed_at.get(value.t, np.nan) for value in values], np.float64)
    rule = machine.standstill
    if rule is not None and rule.level != level:
        low = {one.t for one in told if one.value < rule.below}
        rpm[[bool(np.isnan(speed)) and value.t in low for speed, value in zip(rpm, values, strict=True)]] = 0.0
    fit = np.array([value.fit for value in values], np.bool_)
    series = make_series(t, np.array([value.value for value in values], np.float64), rpm, fit=fit)
    fit = series.fit & ~_beside(_stands(machine, level, series), series.fit)
    return Series(series.t_s, series.values, series.rpm, series.load, fit)


def alike(machine: Machine, level: str, series: Series) -> Like:
    """Keep the values taken at the speed at which the machine usually runs; where no speed is known, all while it runs."""
    floor = machine.standstill_rpm or 0.0
    usual = usual_speeds(series, machine.learning.speed_tolerance, floor)
    known = series.rpm[series.fit & (series.rpm > floor)]
    rule = machine.standstill
    conditions = Conditions(
        rpm=usual[0] if usual else float(np.median(known)) if known.size else None,
        rpm_tolerance=machine.learning.speed_tolerance,
        standstill_rpm=floor,
        standstill_below=rule.below if rule is not None and rule.level == level else None,
    )
    return like(series, conditions)


def _stands(machine: Machine, level: str, series: Series) -> NDArray[np.bool_]:
    stands = series.rpm <= (machine.standstill_rpm or 0.0)
    rule = machine.standstill
    if rule is not None and rule.level == level:
        stands = stands | (np.isnan(series.rpm) & (series.values < rule.below))
    return stands & series.fit


def _beside(stands: NDArray[np.bool_], fit: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Mark the fit values just before and just after each standstill."""
    places = np.flatnonzero(fit)
    standing = stands[places]
    near = np.zeros_like(standing)
    near[1:] |= standing[:-1]
    near[:-1] |= standing[1:]
    marked = np.zeros(len(fit), np.bool_)
    marked[places] = near & ~standing
    return marked
