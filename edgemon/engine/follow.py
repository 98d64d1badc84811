"""A measurement, and the levels that follow from it and from what is remembered; pure."""

from collections.abc import Mapping
from dataclasses import replace
from math import isfinite

from edgemon.alarms.rules import Rules
from edgemon.alarms.running import told_by
from edgemon.engine.memory import Track
from edgemon.model.alarm import PointState
from edgemon.model.derived import OF_BASELINE
from edgemon.model.ids import PointKey
from edgemon.model.level import Measurement
from edgemon.trend.derived import derived_levels

TEMPERATURE = "temperature"
NO_BASELINE = "no baseline yet: the level it follows from has none that an engineer approved"
_NEVER = float("-inf")


def follow(
    rules: Rules, state: PointState, measurement: Measurement, points: Mapping[Track, PointState]
) -> tuple[PointState, Measurement]:
    """Add the levels that follow from a fit measurement, and remember what the next rates need.

    Notes
    -----
    What is late makes nothing: it is stored, and not judged. A temperature of another point counts while that point's state may
    rest on it, as old as this point may be silent.
    """
    at = measurement.taken_at
    fresh = [one for one in measurement.levels if state.level_at.get(one.name, _NEVER) < at and isfinite(one.value)]

    def temperature(key: PointKey) -> float | None:
        other = points.get((key, measurement.sim))
        if other is None or abs(at - other.level_at.get(TEMPERATURE, _NEVER)) > rules.point.stale_after_s:
            return None
        return next((one.value for one in other.levels if one.name == TEMPERATURE), None)

    told = told_by(rules, state, measurement)
    levels, recent = derived_levels(
        rules.point.derived, fresh, at, measurement.rpm, told.running is False, state.recent, temperature
    )
    if recent is not state.recent:
        state = replace(state, recent=recent)
    waiting = tuple(
        (spec.name, NO_BASELINE) for spec in rules.point.derived if spec.rule in OF_BASELINE and spec.baseline is None
    )
    if waiting:
        verdict = measurement.verdict
        measurement = replace(measurement, verdict=replace(verdict, left_out=(*verdict.left_out, *waiting)))
    return state, replace(measurement, levels=(*measurement.levels, *levels)) if levels else measurement
