"""All that the judgement of one point needs, made once from the plant file."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from edgemon.model.alarm import MONITORING
from edgemon.model.limit import Limit, Severity, ratio_line
from edgemon.model.machine import Criticality, Machine, Point
from edgemon.model.policy import SHIFT_S
from edgemon.units import Quantity, from_si


def _line(limit: Limit) -> tuple[float, float] | None:
    """Give slope and offset of a level's ratio, of its value in the house's unit; None where there is none."""
    alert, alarm = (None if one is None else from_si(one, limit.unit) for one in (limit.alert, limit.alarm))
    line = ratio_line(alert, alarm, limit.side)
    if line is None:
        return None
    zero = from_si(0.0, limit.unit)
    return line[0] * (from_si(1.0, limit.unit) - zero), line[0] * zero + line[1]


@dataclass(frozen=True, slots=True)
class Rules:
    """A point, its machine and what the site decided for it."""

    point: Point
    machine: Machine
    max_shelve_s: float = SHIFT_S
    """Longest shelf of an alert."""
    runup_factor: float = 1.0
    """Limits of vibration levels are multiplied by it for `runup_s` after a start."""
    runup_s: float = 0.0
    realarm_s: float | None = None
    """An alarm still there so long after its acknowledgement is announced again; None for never."""
    alert_needs_ack: bool = True
    """An alert, too, waits for an acknowledgement; otherwise it counts as acknowledged at once."""
    max_shelve_alarm_s: float | None = None
    """Longest shelf of an alarm; None: as for an alert."""
    is_system: bool = False
    """The gateway itself, no machine: its alarm is of high priority, and never shelved."""
    limits: Mapping[str, Limit] = field(init=False)
    _extra: frozenset[str] = field(init=False, repr=False)
    _ratios: Mapping[str, tuple[float, float]] = field(init=False, repr=False)
    """Slope and offset of the ratio of a level, of its value in the house's unit."""

    def __post_init__(self) -> None:
        """Make the indexes."""
        object.__setattr__(self, "limits", {limit.level: limit for limit in self.point.limits})
        in_orders = (spec.name for spec in self.point.levels if spec.in_orders)
        masks, derived = (spec.name for spec in self.point.masks), (spec.name for spec in self.point.derived)
        object.__setattr__(self, "_extra", frozenset((*in_orders, *masks, *derived)))
        lines = {limit.level: _line(limit) for limit in self.point.limits}
        object.__setattr__(self, "_ratios", {level: line for level, line in lines.items() if line is not None})

    @property
    def loss_severity(self) -> Severity:
        """Give the severity of the loss of monitoring: alarm on a critical machine, alert otherwise."""
        return Severity.ALARM if self.machine.criticality is Criticality.CRITICAL else Severity.ALERT

    def shelf_s(self, level: str, severity: Severity) -> float:
        """Give how long an alarm may be shelved at a severity: what its limit says, else its class; zero for not at all."""
        limit = self.limits.get(level)
        if limit is not None and limit.max_shelve_s is not None:
            return limit.max_shelve_s
        if severity is Severity.ALARM and self.max_shelve_alarm_s is not None:
            return self.max_shelve_alarm_s
        return self.max_shelve_s

    def gates(self, level: str) -> bool:
        """Say whether a level is judged only while the machine runs: vibration is, temperature and silence are not."""
        limit = self.limits.get(level)
        return level != MONITORING and limit is not None and limit.quantity is not Quantity.TEMPERATURE

    def may_be_missing(self, level: str) -> bool:
        """Say whether a level may be left out although its sensor is well: it needs a speed, a baseline or values before it."""
        return level in self._extra

    def ratio(self, level: str, value: float) -> float | None:
        """Say how near a level is to its alarm limit, as `model.limit.ratio_line` has it; None without a scale.

        Parameters
        ----------
        level : str
            Name.
        value : float
            In the house's unit.

        Notes
        -----
        Value over alarm limit in the unit of the limit, which matters for temperatures only, whose zero is a convention: 80
        degrees of a limit of 100 is 0.8 in the unit people wrote. A low limit is seen from its good end, and never below 0.
        """
        line = self._ratios.get(level)
        if line is None:
            return None
        found = value * line[0] + line[1]
        return found if line[0] > 0.0 or found > 0.0 else 0.0
