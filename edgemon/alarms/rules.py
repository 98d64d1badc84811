"""All that the judgement of one point needs, made once from the plant file."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from edgemon.model.alarm import MONITORING
from edgemon.model.limit import Limit, Severity
from edgemon.model.machine import Criticality, Machine, Point
from edgemon.units import Quantity, from_si

ALARM_OVER_ALERT = 1.6
"""Stands in for the alarm limit where only an alert is set, in ratios only: about the step between two zone boundaries.

Source: ISO 10816-3:2009 Table A.1, 2.8 to 4.5 and 4.5 to 7.1 mm/s, that is 1.61 and 1.58.
"""


def _bound(limit: Limit) -> float:
    """Give what a level's ratio is taken against, in the unit of the limit; zero where there is nothing."""
    if limit.alarm is not None:
        return from_si(limit.alarm, limit.unit)
    return 0.0 if limit.alert is None else ALARM_OVER_ALERT * from_si(limit.alert, limit.unit)


@dataclass(frozen=True, slots=True)
class Rules:
    """A point, its machine and what the site decided for it."""

    point: Point
    machine: Machine
    max_shelve_s: float = 28800.0
    """Longest shelf; one shift of 8 h is common practice, no source."""
    runup_factor: float = 1.0
    """Limits of vibration levels are multiplied by it for `runup_s` after a start."""
    runup_s: float = 0.0
    realarm_s: float | None = None
    """An alarm still there so long after its acknowledgement is announced again; None for never."""
    alert_needs_ack: bool = True
    """An alert, too, waits for an acknowledgement; otherwise it counts as acknowledged at once."""
    limits: Mapping[str, Limit] = field(init=False)
    _bounds: Mapping[str, float] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Make the indexes."""
        object.__setattr__(self, "limits", {limit.level: limit for limit in self.point.limits})
        bounds = {limit.level: _bound(limit) for limit in self.point.limits}
        object.__setattr__(self, "_bounds", {level: bound for level, bound in bounds.items() if bound > 0.0})

    @property
    def loss_severity(self) -> Severity:
        """Give the severity of the loss of monitoring: alarm on a critical machine, alert otherwise."""
        return Severity.ALARM if self.machine.criticality is Criticality.CRITICAL else Severity.ALERT

    def gates(self, level: str) -> bool:
        """Say whether a level is judged only while the machine runs: vibration is, temperature and silence are not."""
        limit = self.limits.get(level)
        return level != MONITORING and limit is not None and limit.quantity is not Quantity.TEMPERATURE

    def ratio(self, level: str, value: float) -> float | None:
        """Give value over alarm limit, both in the unit of the limit; None without a limit above zero.

        Notes
        -----
        Where only an alert is set, `ALARM_OVER_ALERT` times the alert stands in for the alarm. The unit matters for
        temperatures only, whose zero is a convention: 80 degrees of a limit of 100 is 0.8 in the unit people wrote.
        """
        limit = self.limits.get(level)
        return None if limit is None else self.ratio_in_unit(level, from_si(value, limit.unit))

    def ratio_in_unit(self, level: str, value: float) -> float | None:
        """Give the same for a value that is in the unit of the limit already."""
        bound = self._bounds.get(level)
        return None if bound is None else value / bound
