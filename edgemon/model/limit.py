"""Limits: how high is too high, for how long, and who says so."""

import math
from dataclasses import dataclass
from enum import IntEnum

from edgemon.units import Quantity


class Severity(IntEnum):
    """Direction of severity: `normal` < `alert` < `alarm`."""

    NORMAL = 0
    ALERT = 1
    ALARM = 2

    @property
    def word(self) -> str:
        """Give the word of the contract."""
        return self.name.lower()


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
    """Zone boundaries of a severity class, in the house's unit; 0 < upper_b < upper_c."""

    upper_b: float
    """B/C."""
    upper_c: float
    """C/D."""
    edition: str
    """Standard and class, as people write it: `ISO 20816-3:2022 group 2, rigid`."""


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

    def holds_at(self, rpm: float | None) -> bool:
        """Say whether the limit is judged at a shaft speed."""
        return rpm is None or self.low_rpm <= rpm <= self.high_rpm

    def of(self, severity: Severity) -> float | None:
        """Give the value for a severity; None where it is not set."""
        return self.alert if severity is Severity.ALERT else self.alarm if severity is Severity.ALARM else None
