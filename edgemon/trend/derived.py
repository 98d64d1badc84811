"""Levels that follow from another level of the same point: its distance from the baseline, its rate, a temperature's rise.

Or nothing but another name for it, for a limit on its other side.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import TypeAlias

import numpy as np

from edgemon.model.derived import DerivedSpec, Rule, is_alike
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant
from edgemon.model.level import Detector, Level
from edgemon.units import Quantity

History: TypeAlias = tuple[tuple[Instant, float], ...]
Reference: TypeAlias = Callable[[PointKey], float | None]
"""Gives the fresh temperature of another point, None where there is none."""

STEPS = 32
"""Values kept of a rate's time, evenly: a straight line through 32 values is as steep as one through all of them."""
LEAST = 3
"""Values a rate needs: through two, the scatter of either is the slope. Common practice, no source."""
COVERED = 0.5
"""Part of its time that the values of a rate must span. House choice, no source."""
SPREAD_FLOOR = 0.01
"""Least standard deviation, part of the median: values that never scattered would make all an exception. House choice."""


def derived_levels(
    specs: Sequence[DerivedSpec],
    levels: Sequence[Level],
    at: Instant,
    rpm: float | None,
    stands: bool,
    recent: Mapping[str, History],
    reference: Reference,
) -> tuple[tuple[Level, ...], Mapping[str, History]]:
    """Compute the levels that follow from those just measured.

    Parameters
    ----------
    specs : sequence of DerivedSpec
        Levels wanted.
    levels : sequence of Level
        Of one fit measurement, house's units.
    at : Instant
        Its time.
    rpm : float or None
        Shaft speed, r/min.
    stands : bool
        The machine is known to stand: vibration then says nothing, and its history begins anew.
    recent : mapping
        Values of the rates' levels before, as this function gave them, by name of the derived level.
    reference : callable
        See `Reference`.

    Returns
    -------
    (levels, recent)
        What cannot be computed (no baseline yet, another speed than the baseline's, too few values) is left out.
    """
    found: list[Level] = []
    following = recent
    for spec in specs:
        is_vibration = spec.of.quantity is not Quantity.TEMPERATURE
        if stands and is_vibration:
            if spec.name in following:
                following = {name: kept for name, kept in following.items() if name != spec.name}
            continue
        value = next((level.value for level in (*levels, *found) if level.name == spec.of.name), None)
        if value is None:
            continue
        if spec.rule is Rule.RATE:
            history = _window(following.get(spec.name, ()), at, spec.over_s)
            level = _rate(spec, history, at, value)
            following = {**following, spec.name: _kept(history, at, value, spec.over_s)}
        elif spec.rule is Rule.RISE:
            level = _rise(spec, value, reference)
        elif spec.rule is Rule.SAME:
            level = _level(spec, value, "")
        else:
            level = _from_baseline(spec, value, rpm)
        if level is not None:
            found.append(level)
    return tuple(found), following


def _level(spec: DerivedSpec, value: float, remark: str) -> Level:
    return Level(spec.name, value, spec.kind.quantity, Detector.VALUE, remark=remark)


def _from_baseline(spec: DerivedSpec, value: float, rpm: float | None) -> Level | None:
    """Give the distance from the baseline, either way.

    Notes
    -----
    A change in either direction counts. Source: ISO 10816-3:2009 5.3, criterion II, quoted from an open-source library that
    cites the clause. In standard deviations it is a control chart of single values. Source: NIST/SEMATECH e-Handbook of
    Statistical Methods, 6.3.2.2, from memory; the spread here is robust.
    """
    one = spec.baseline
    if one is None or not is_alike(one.rpm, spec.rpm_tolerance, rpm):
        return None
    change = value - one.median
    side = "above" if change >= 0.0 else "below"
    text = f"{spec.shown(abs(change))} {side} the baseline of {spec.shown(one.median)}"
    if spec.rule is Rule.CHANGE:
        return _level(spec, abs(change), text)
    spread = max(one.spread, SPREAD_FLOOR * abs(one.median))
    return _level(spec, abs(change) / spread, f"{text}, spread {spec.shown(spread)}") if spread > 0.0 else None


def _rise(spec: DerivedSpec, value: float, reference: Reference) -> Level | None:
    if spec.reference is None or (other := reference(spec.reference)) is None:
        return None
    return _level(spec, value - other, f"{spec.shown(value)} here, {spec.shown(other)} at {spec.reference}")


def _window(history: History, at: Instant, over_s: float) -> History:
    return tuple((t, value) for t, value in history if at - over_s * (1.0 + 1e-9) <= t < at)


def _kept(history: History, at: Instant, value: float, over_s: float) -> History:
    """Add a value unless the newest is so near that the history would outgrow its bound."""
    is_near = bool(history) and at - history[-1][0] < over_s / STEPS * (1.0 - 1e-9)
    return history if is_near else (*history, (at, value))


def _rate(spec: DerivedSpec, history: History, at: Instant, value: float) -> Level | None:
    """Give the rise within the time by the least-squares line through its values; falling is below zero.

    Notes
    -----
    Slope = sum((t - mean t)(x - mean x)) / sum((t - mean t)^2). Source: any handbook of statistics; NIST/SEMATECH e-Handbook,
    4.1.4.1.
    """
    t = np.array([*(moment for moment, _ in history), at]) - at
    x = np.array([*(old for _, old in history), value])
    if len(t) < LEAST or -t[0] < COVERED * spec.over_s:
        return None
    middle = t - t.mean()
    rise = float(middle @ x / (middle @ middle)) * spec.over_s
    return _level(spec, rise, f"by the straight line through {len(t)} values of {_span(-float(t[0]))}")


def _span(seconds: float) -> str:
    for size, unit in ((86400.0, "d"), (3600.0, "h"), (60.0, "min")):
        if seconds >= 2.0 * size:
            return f"{seconds / size:.3g} {unit}"
    return f"{seconds:.3g} s"
