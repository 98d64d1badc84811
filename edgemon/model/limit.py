"""Limits: how high is too high, or how low too low, for how long, and who says so."""

import math
from dataclasses import dataclass
from enum import IntEnum, StrEnum

from edgemon.units import Quantity

TOLERANCE = 1e-9
"""Relative; a value written in another unit than its limit must still meet it. Rounding of doubles is 1e-16 a step."""
ALARM_OVER_ALERT = 1.6
"""Stands in for the limit that is not set, in ratios only: about the step between two zone boundaries.

Source: ISO 10816-3:2009 Table A.1, 2.8 to 4.5 and 4.5 to 7.1 mm/s, that is 1.61 and 1.58.
"""


class Side(StrEnum):
    """On which side of a limit a value is bad."""

    ABOVE = "above"
    BELOW = "below"


BELOW = "_below"


def low_name(level: str) -> str:
    """Name the level under which the low limit is watched where a level has limits on both sides: the same value again.

    So each side has an alarm with an id, a state, a priority and a response of its own.
    """
    return f"{level}{BELOW}"


class Severity(IntEnum):
    """Direction of severity: `normal` < `alert` < `alarm`."""

    NORMAL = 0
    ALERT = 1
    ALARM = 2

    @property
    def word(self) -> str:
        """Give the word of the contract."""
        return _WORDS[self]


_WORDS = ("normal", "alert", "alarm")


@dataclass(frozen=True, slots=True)
class Delay:
    """How long a condition must hold: so many consecutive readings, or so many seconds of source time.

    Exactly one of the two counts: `readings` where `seconds` is None.
    """

    readings: int = 1
    seconds: float | None = None

    def __str__(self) -> str:
        """Write the delay as people do."""
        return f"{self.readings} readings" if self.seconds is None else f"{self.seconds:g} s"


@dataclass(frozen=True, slots=True)
class Zones:
    """Zone boundaries of a severity class, in the house's unit; 0 < upper_a < upper_b < upper_c."""

    upper_b: float
    """B/C."""
    upper_c: float
    """C/D."""
    edition: str
    """Standard and class, as people write it: `ISO 20816-3:2022 group 2, rigid`."""
    upper_a: float | None = None
    """A/B; None where the standard tells no A from B."""

    def zone(self, value: float) -> str:
        """Name the zone of a value: `A`, `B`, `A/B` where the two are not told apart, `C` or `D`.

        Notes
        -----
        A value on a boundary belongs to the lower zone. Source: the tables do not say; so read by an open-source library that
        cites their clauses.
        """
        less = value / (1.0 + TOLERANCE)
        if less > self.upper_b:
            return "D" if less > self.upper_c else "C"
        if self.upper_a is None:
            return "A/B"
        return "B" if less > self.upper_a else "A"


@dataclass(frozen=True, slots=True)
class Limit:
    """Alert and alarm limit of one level, in the house's unit of its quantity; None where not set."""

    level: str
    quantity: Quantity
    unit: str
    """The unit the limit was written in; values are shown in it."""
    alert: float | None
    alarm: float | None
    deadband: float
    on_delay_alert: Delay = Delay(2)
    on_delay_alarm: Delay = Delay(2)
    off_delay: Delay = Delay(2)
    latch_alert: bool = False
    latch_alarm: bool = False
    origin: str = "plant file"
    """Where the limit comes from: `plant file`, or `ISO 20816-3 group 2, rigid: zone boundaries B/C and C/D`."""
    promote_alert: bool = False
    """The site wants an alert on this level to call the operator like an alarm."""
    zones: Zones | None = None
    """Of the class that the alert was filled from; None where the plant file wrote it, or its class has no zones."""
    low_rpm: float = 0.0
    high_rpm: float = math.inf
    """Judged only between these speeds, r/min; where the speed is not known, judged always: what is unknown hides nothing."""
    max_shelve_s: float | None = None
    """Longest shelf of its alarms, zero for none; None: what holds for the machine's class."""
    side: Side = Side.ABOVE
    """Below: the value is bad at the limit and under it, and back once it has risen above limit plus deadband."""

    def holds_at(self, rpm: float | None) -> bool:
        """Say whether the limit is judged at a shaft speed."""
        return rpm is None or self.low_rpm <= rpm <= self.high_rpm

    def of(self, severity: Severity) -> float | None:
        """Give the value for a severity; None where it is not set."""
        return self.alert if severity is Severity.ALERT else self.alarm if severity is Severity.ALARM else None

    def severity_of(self, value: float) -> Severity:
        """Give the severity of a value alone, in the house's unit, without delays."""
        for severity in (Severity.ALARM, Severity.ALERT):
            bound = self.of(severity)
            if bound is not None and is_beyond(value, bound, self.side):
                return severity
        return Severity.NORMAL


def is_beyond(value: float, limit: float, side: Side = Side.ABOVE) -> bool:
    """Say whether a value has reached a limit."""
    edge = edge_of(limit, side)
    return value <= edge if side is Side.BELOW else value >= edge


def edge_of(limit: float, side: Side = Side.ABOVE) -> float:
    """Give the value from which on a limit counts as reached: the limit, less what rounding may have cost."""
    margin = TOLERANCE * abs(limit)
    return limit + margin if side is Side.BELOW else limit - margin


def good_end(alert: float | None, alarm: float | None) -> float | None:
    """Give the value at which the bar of nearness of a low limit is empty.

    A low limit is seen from there: what counts is how far a value has come down, over how far the alarm limit lies. The alert
    limit then lies as far along as that of an upper limit usually does, and neither a zero that is a convention (a
    temperature's) nor a limit at or below zero disturbs.

    Returns
    -------
    float or None
        In the unit of the limits; None where they leave no scale.
    """
    span = _low_span(alert, alarm)
    return None if span is None else span[0]


_REST = 1.0 - 1.0 / ALARM_OVER_ALERT
"""Part of the way to the alarm limit that lies behind the alert limit."""


def _low_span(alert: float | None, alarm: float | None) -> tuple[float, float] | None:
    """Give the good end and the alarm limit; a limit that is not set stands a step of `ALARM_OVER_ALERT` away."""
    if alert is None:
        if alarm is None:
            return None
        alert = alarm + (ALARM_OVER_ALERT - 1.0) * abs(alarm)
    elif alarm is None:
        alarm = alert - _REST * abs(alert)
    return (alarm + (alert - alarm) / _REST, alarm) if alert > alarm else None


def ratio_line(alert: float | None, alarm: float | None, side: Side) -> tuple[float, float] | None:
    """Give slope and offset of the ratio of a value, all in the unit of the limits; None where the limits leave no scale.

    The ratio is 1 at the alarm limit. Upper limits: value over alarm limit, or over `ALARM_OVER_ALERT` times the alert limit
    where only that is set; None unless that is above zero. Low limits: the way down from `good_end` over the way to the alarm.
    """
    if side is Side.BELOW:
        span = _low_span(alert, alarm)
        return None if span is None else (-1.0 / (span[0] - span[1]), span[0] / (span[0] - span[1]))
    bound = alarm if alarm is not None else 0.0 if alert is None else ALARM_OVER_ALERT * alert
    return (1.0 / bound, 0.0) if bound > 0.0 else None


def ratio(value: float, alert: float | None, alarm: float | None, side: Side) -> float | None:
    """Say how near a value is to its alarm limit, 1 at the limit, as `ratio_line` has it; that of a low limit is never below 0.

    Parameters
    ----------
    value, alert, alarm : float
        In one unit.
    """
    line = ratio_line(alert, alarm, side)
    if line is None:
        return None
    found = value * line[0] + line[1]
    return 0.0 if found < 0.0 and side is Side.BELOW else found
