"""Health of sensors: what came of what was due, how long the battery lasts, and the category of NAMUR NE 107.

Completeness is an exponentially weighted share: two thirds of the weight lie on the last 48 measurements due, a day of
half-hourly captures. A message that comes long after its time counts as missing: nobody had it when due.
"""

from collections.abc import Iterable
from dataclasses import replace

from edgemon.alarms.rules import Rules
from edgemon.model.alarm import PointState, SensorState
from edgemon.model.health import Health, SensorStatus
from edgemon.model.instant import Instant
from edgemon.model.machine import Sensor
from edgemon.model.quality import Flaw, Quality

WEIGHT = 1.0 / 48.0
SLOTS_MOST = 10_000
"""Beyond so many missing measurements nothing is left of what came before."""
BATTERY_LOW_PCT = 20.0
"""Common practice, no source."""
BATTERY_CHANGED_PCT = 5.0
"""A charge that rises by so much is another battery."""
FORECAST_DROP_PCT = 3.0
FORECAST_DAYS = 7.0
"""A forecast of the battery rests on at least so many days and such a drop; house choice."""
COMPLETE_ENOUGH = 0.9
"""Common practice, no source."""
CLOCK_OFF_S = 300.0
"""Between measurement and arrival beyond this, clock or link are not as they should be; house choice."""
_DAY = 86_400.0
_INVALID = {Flaw.FLAT_LINE: "flat line", Flaw.REPEATED: "the same samples again", Flaw.IMPLAUSIBLE: "implausible values"}
_UNCERTAIN = {
    Flaw.CLIPPED: "clipped",
    Flaw.LOW_FREQUENCY_RISE: "low-frequency rise",
    Flaw.MISSING_SAMPLES: "samples are missing",
    Flaw.TOO_SHORT: "captures too short",
}


def came(state: SensorState, interval_s: float, at: Instant) -> tuple[Instant | None, float]:
    """Count a measurement that came, by its own time; several within half an interval are one.

    Returns
    -------
    (counted_at, completeness)
        Of the state from now on.
    """
    if state.counted_at is None:
        return at, 1.0
    slots = round((at - state.counted_at) / interval_s)
    if slots < 1:
        return state.counted_at, state.completeness
    kept = _after(state.completeness, slots - 1)
    return at, kept + (1.0 - kept) * WEIGHT


def _after(completeness: float, missing: int) -> float:
    return completeness * (1.0 - WEIGHT) ** min(missing, SLOTS_MOST)


def charged(state: SensorState, battery_pct: float, at: Instant) -> SensorState:
    """Note a battery's charge: from where it falls, for the forecast."""
    since = state.battery_since
    is_other = since is None or battery_pct >= (state.battery_pct or 0.0) + BATTERY_CHANGED_PCT or battery_pct > since[1]
    return replace(state, battery_pct=battery_pct, battery_since=(at, battery_pct) if is_other else since)


def health(sensor: Sensor, state: SensorState | None, points: Iterable[tuple[Rules, PointState]], now: Instant) -> Health:
    """Say how a sensor is.

    Parameters
    ----------
    sensor : Sensor
        As the plant file has it.
    state : SensorState or None
        What is remembered of it; None where it was never heard.
    points : iterable of (Rules, PointState)
        The points it watches, as last judged.
    now : Instant
        Time by which silence is judged.

    Notes
    -----
    Mapping of what happens to wireless sensors onto the categories: house choice on NAMUR NE 107.
    """
    if state is None or state.heard_at is None:
        return Health(SensorStatus.FAILURE, ("never heard",))
    watched = list(points)
    found: list[tuple[SensorStatus, str]] = []
    if now - state.heard_at >= min((rules.point.stale_after_s for rules, _ in watched), default=float("inf")):
        found.append((SensorStatus.FAILURE, "silent"))
    if state.sim:
        found.append((SensorStatus.FUNCTION_CHECK, "simulated"))
    reasons = {reason for _, point in watched if point.quality is Quality.BAD for reason in point.reasons}
    found += [(SensorStatus.FAILURE, words) for flaw, words in _INVALID.items() if flaw.value in reasons]
    found += [(SensorStatus.OUT_OF_SPECIFICATION, words) for flaw, words in _UNCERTAIN.items() if flaw.value in reasons]
    completeness = completeness_at(sensor, state, now)
    if completeness is not None and completeness < COMPLETE_ENOUGH:
        found.append((SensorStatus.OUT_OF_SPECIFICATION, f"{100.0 * (1.0 - completeness):.0f} % missing"))
    offset = state.clock_offset_s
    if sensor.clock and offset is not None and abs(offset) > CLOCK_OFF_S:
        found.append((SensorStatus.OUT_OF_SPECIFICATION, f"clock or link {offset:+.0f} s"))
    if state.battery_pct is not None and state.battery_pct <= BATTERY_LOW_PCT:
        found.append((SensorStatus.MAINTENANCE_REQUIRED, f"battery at {state.battery_pct:.0f} %"))
    order = list(SensorStatus)
    found.sort(key=lambda one: order.index(one[0]))
    status = found[0][0] if found else SensorStatus.GOOD
    return Health(status, tuple(words for _, words in found), completeness, battery_days(state, now))


def completeness_at(sensor: Sensor, state: SensorState, now: Instant) -> float | None:
    """Give the share of measurements that came, with those counted that are overdue by now."""
    if state.counted_at is None:
        return None
    overdue = int(max(0.0, now - state.counted_at - sensor.interval_s) / sensor.interval_s)
    return _after(state.completeness, overdue)


def battery_days(state: SensorState, now: Instant) -> float | None:
    """Give the days until a battery is used up, in a straight line from its first charge; None where too little is known."""
    if state.battery_since is None or state.battery_pct is None or state.heard_at is None:
        return None
    began, first = state.battery_since
    days = (min(now, state.heard_at) - began) / _DAY
    drop = first - state.battery_pct
    if days < FORECAST_DAYS or drop < FORECAST_DROP_PCT:
        return None
    return state.battery_pct / (drop / days)
