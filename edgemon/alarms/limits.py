"""A value against its limits: beyond at the limit, back only past the deadband, alert and alarm each on their own.

A low limit is the mirror image: beyond is at the limit or under it, and back is above limit plus deadband.
"""

from edgemon.alarms.timing import INACTIVE, advance
from edgemon.model.alarm import Condition
from edgemon.model.instant import Instant
from edgemon.model.limit import TOLERANCE, Delay, Limit, Severity, Side, is_beyond


def is_back(value: float, limit: float, deadband: float, side: Side = Side.ABOVE) -> bool:
    """Say whether a value has come back past the deadband of a limit; exactly at its edge it has not."""
    if side is Side.BELOW:
        edge = limit + deadband
        return value > edge + TOLERANCE * abs(edge)
    edge = limit - deadband
    return value < edge - TOLERANCE * abs(edge)


def judge_one(
    condition: Condition, value: float, bound: float | None, limit: Limit, on: Delay, at: Instant, bridged: bool
) -> Condition:
    """Let one value act on one condition; a limit that is not set is never exceeded."""
    if bound is None:
        return INACTIVE
    if condition.active:
        return advance(condition, is_back(value, bound, limit.deadband, limit.side), limit.off_delay, at, bridged)
    return advance(condition, is_beyond(value, bound, limit.side), on, at, bridged)


def judge_both(
    limit: Limit, alert: Condition, alarm: Condition, value: float, at: Instant, bridged: bool, factor: float = 1.0
) -> tuple[Condition, Condition]:
    """Let one value act on the alert and the alarm condition of a level.

    Parameters
    ----------
    limit : Limit
        Limits, deadband and delays, in the house's unit.
    alert, alarm : Condition
        What was known before.
    value : float
        In the house's unit.
    at : Instant
        Source time of the value.
    bridged : bool
        See `timing.advance`.
    factor : float
        Multiplies both limits, for a while after a start; a low limit it would only make stricter, so there it is 1.
    """
    low = None if limit.alert is None else limit.alert * factor
    high = None if limit.alarm is None else limit.alarm * factor
    return (
        judge_one(alert, value, low, limit, limit.on_delay_alert, at, bridged),
        judge_one(alarm, value, high, limit, limit.on_delay_alarm, at, bridged),
    )


def severity_of(alert: Condition, alarm: Condition) -> Severity:
    """Give the highest severity whose condition is there."""
    return Severity.ALARM if alarm.active else Severity.ALERT if alert.active else Severity.NORMAL


def severity_by_value(limit: Limit | None, value: float) -> Severity:
    """Give the severity of a value alone, without delays."""
    return Severity.NORMAL if limit is None else limit.severity_of(value)
