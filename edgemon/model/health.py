"""Health of a sensor in the categories of NAMUR NE 107."""

from dataclasses import dataclass
from enum import StrEnum

WEAK_RSSI_DBM = -90.0
"""Below it a person should look at the radio link. Common practice, no source."""


class SensorStatus(StrEnum):
    """Diagnostic categories, the gravest first. Source: NAMUR NE 107; the order F > C > S > M is that of device manuals."""

    FAILURE = "failure"
    """What it says is not valid, or it says nothing."""
    FUNCTION_CHECK = "function-check"
    """What it says is not of the plant for the time being: simulation, replay, maintenance."""
    OUT_OF_SPECIFICATION = "out-of-specification"
    """What it says is uncertain."""
    MAINTENANCE_REQUIRED = "maintenance-required"
    """What it says is valid; its reserve is nearly used up."""
    GOOD = "good"


@dataclass(frozen=True, slots=True)
class Health:
    """What a sensor's status is, and why."""

    status: SensorStatus
    causes: tuple[str, ...] = ()
    completeness: float | None = None
    """Share of the measurements due of late that came, 0 to 1; None where nothing was ever due."""
    battery_days: float | None = None
    """Days until its battery is used up if it goes on as up to now; None where that is not known."""
