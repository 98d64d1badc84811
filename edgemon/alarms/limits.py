"""A value against its limits: beyond at the limit, back only below the deadband, alert and alarm each on their own."""

from edgemon.alarms.timing import INACTIVE, advance
from edgemon.model.alarm import Condition
from edgemon.model.instant import Instant
from edgemon.model.limit import Delay, Limit, Severity

TOLERANCE = 1e-9
"""Relative; a value written in another unit than its limit must still meet it. Rounding of doubles is 1e-16 a step."""


def is_beyond(value: float, limit: float) -> bool:
    """Say whether a value has reached a limit."""
    return value >= limit - TOLERANCE * abs(limit)


def is_back(value: float, limit: float, deadband: float) -> bool:
    """Say whether a value has fallen below the deadband of a limit; exactly at its edge it has not."""
    edge = limit - deadband
    return value < edge - TOLERANCE * abs(edge)


def judge_one(
    condition: Condition, value: float, limit: float | None, deadband: float, on: Delay, off: Delay, at: Instant, bridged: bool
) -> Condition:
    """Let one value act on one condition; a limit that is not set is never exceeded."""
    if limit is None:
        return INACTIVE
    if condition.active:
        return advance(condition, is_back(value, limit, deadband), off, at, bridged)
    return advance(condition, is_beyond(value, limit), on, at, bridged)


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
        Multiplies both limits, for a while after a start.
    """
    low = None if limit.alert is None else limit.alert * factor
    high = None if limit.alarm is None else limit.alarm * factor
    return (
        judge_one(alert, value, low, limit.deadband, limit.on_delay_alert, limit.off_delay, at, bridged),
        judge_one(alarm, value, high, limit.deadband, limit.on_delay_alarm, limit.off_delay, at, bridged),
    )


def severity_of(alert: Condition, alarm: Condition) -> Severity:
    """Give the highest severity whose condition is there."""
    return Severity.ALARM if alarm.active else Severity.ALERT if alert.active else Severity.NORMAL


def severity_by_value(limit: Limit | None, value: float) -> Severity:
    """Give the severity of a value alone, without delays."""
    if limit is None:
        return Severity.NORMAL
    if limit.alarm is not None and is_beyond(value, limit.alarm):
        return Severity.ALARM
    if limit.alert is not None and is_beyond(value, limit.alert):
        return Severity.ALERT
    return Severity.NORMAL
