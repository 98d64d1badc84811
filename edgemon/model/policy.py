"""What a site decided about all its alarms: how long they may be shelved, when they call again, how they sound."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from edgemon.model.limit import Severity

SHIFT_S = 28800.0
"""Longest shelf; one shift of 8 h is common practice, no source."""
SILENCE_S = 30.0
"""Sound returns so long after it was silenced where nobody acknowledged. Source: IMO resolution MSC.302(87), 7.3.5."""
CLOCK_ERROR_S = 1.0
"""By how much clocks of sensors may be wrong; house choice, no source."""
GATEWAY_SENSORS = 3
"""Of fewer silent sensors nothing can be said of the gateway. House choice, no source."""
GATEWAY_CHANCE = 1e-6
"""At one report in five minutes about once in ten years by chance. House choice, no source."""
GATEWAY_DELAY_S = 60.0
"""A loss of the gateway's own shorter than that calls nobody. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class AlarmClass:
    """What holds for the alarms of one class of machines (their criticality)."""

    max_shelve_alert_s: float = SHIFT_S
    max_shelve_alarm_s: float = SHIFT_S
    realarm_s: float | None = None
    """An alarm still there so long after its acknowledgement is announced again; None for never."""
    alert_needs_ack: bool = True
    """An alert, too, waits for an acknowledgement."""

    def max_shelve_s(self, severity: Severity) -> float:
        """Give the longest shelf of an alarm at a severity."""
        return self.max_shelve_alarm_s if severity is Severity.ALARM else self.max_shelve_alert_s


@dataclass(frozen=True, slots=True)
class AlarmPolicy:
    """All of `[alarms]`."""

    classes: Mapping[str, AlarmClass] = field(default_factory=dict)
    """By criticality; what is not named has the usual values."""
    silence_s: float = SILENCE_S
    """Sound returns so long after a silence; zero: not before a new call."""
    ringback_s: float = 0.0
    """So long it is told that an alarm went before anybody acknowledged it; zero: not at all."""
    clock_error_s: float = CLOCK_ERROR_S
    """By how much a sensor's clock may be wrong."""
    gateway_delay_s: float = GATEWAY_DELAY_S
    """The gateway must have lost something for so long before its own alarm calls."""
    gateway_sensors: int = GATEWAY_SENSORS
    """So many sensors at least must be overdue, and none heard, to take the gateway to be deaf; zero: never."""
    gateway_chance: float = GATEWAY_CHANCE
    """What is missing must be less likely than that by chance."""
