"""All that the judgement of one point needs, made once from the plant file."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from edgemon.model.alarm import MONITORING
from edgemon.model.level import COMPUTED, Band, Level
from edgemon.model.limit import Limit, Severity, Side, edge_of, ratio_line
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


def _within(limit: Limit) -> tuple[float, float]:
    """Give the open interval of values that have reached neither limit of a level."""
    edges = [edge_of(bound, limit.side) for bound in (limit.alert, limit.alarm) if bound is not None]
    if limit.side is Side.BELOW:
        return max(edges, default=-math.inf), math.inf
    return -math.inf, min(edges, default=math.inf)


class Label(NamedTuple):
    """What is the same of every view of a level while it is of one quantity and band: only its value and its state move."""

    quantity: Quantity
    band: Band | None
    band_text: str
    title: str
    unit: str
    alert: float | None
    alarm: float | None
    origin: str
    side: Side


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
    labels: dict[str, Label] = field(init=False, repr=False, compare=False, default_factory=dict)
    """Of the levels shown so far; they follow from the rest."""
    within: Mapping[str, tuple[float, float]] = field(init=False, repr=False)
    """By level with a limit: values between these two, edges left out, have reached neither its alert nor its alarm limit."""
    speaking: tuple[str, ...] = field(init=False, repr=False)
    """Levels whose coming says that the point is watched: vibration that has a limit and that a well sensor never leaves out;
    temperature where nothing else is watched."""
    _gated: frozenset[str] = field(init=False, repr=False)
    _extra: frozenset[str] = field(init=False, repr=False)
    _ratios: Mapping[str, tuple[float, float]] = field(init=False, repr=False)
    """Slope and offset of the ratio of a level, of its value in the house's unit."""

    def __post_init__(self) -> None:
        """Make the indexes."""
        limits = {limit.level: limit for limit in self.point.limits}
        object.__setattr__(self, "limits", limits)
        object.__setattr__(self, "within", {level: _within(limit) for level, limit in limits.items()})
        in_orders = (spec.name for spec in self.point.levels if spec.in_orders)
        masks, derived = (spec.name for spec in self.point.masks), (spec.name for spec in self.point.derived)
        unasked = COMPUTED - self.point.computes
        object.__setattr__(self, "_extra", frozenset((*in_orders, *masks, *derived, *unasked)))
        warm = {level for level, limit in limits.items() if limit.quantity is Quantity.TEMPERATURE}
        object.__setattr__(self, "_gated", frozenset(limits) - warm - {MONITORING})
        sure = [level for level in limits if level not in self._extra and level != MONITORING]
        shaking = [level for level in sure if level in self._gated]
        object.__setattr__(self, "speaking", tuple(shaking or sure))
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
        return level in self._gated

    def may_be_missing(self, level: str) -> bool:
        """Say whether a level may be left out although its sensor is well.

        It needs a speed, a baseline or values before it, or nobody asks for it.
        """
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
        return 0.0 if found < 0.0 and line[0] <= 0.0 else found

    def nearest(self, levels: Iterable[Level]) -> float | None:
        """Give the largest ratio of some levels; None where none of them has a scale."""
        largest: float | None = None
        for level in levels:
            line = self._ratios.get(level.name)
            if line is None:
                continue
            found = level.value * line[0] + line[1]
            if found < 0.0 and line[0] <= 0.0:
                found = 0.0
            if largest is None or found > largest:
                largest = found
        return largest
