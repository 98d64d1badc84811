"""What the engine is set to, and what it remembers between two batches; both are values, replaced as a whole."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

from edgemon.alarms.judge import Rules
from edgemon.alarms.parent import RULES as GATEWAY_RULES
from edgemon.decode.assemble import Assembly
from edgemon.model.alarm import MachineSpeed, PointState, SensorState
from edgemon.model.baseline import Baseline
from edgemon.model.collection import FastCollectionStarted
from edgemon.model.event import DiagnosisMade
from edgemon.model.gateway import Gateway
from edgemon.model.ids import MachineId, PointKey, SensorId
from edgemon.model.instant import Instant
from edgemon.model.machine import GATEWAY, Machine, Plant, Point
from edgemon.model.policy import AlarmClass
from edgemon.model.proof import Proof
from edgemon.model.reading import SimulationNote
from edgemon.model.signoff import SignEvent

Track: TypeAlias = tuple[PointKey, bool]
"""A point's real or simulated history; the two never touch."""

NOTES_KEPT = 20


@dataclass(frozen=True, slots=True)
class Setting:
    """Plant, gateway and the rules of every point, made once for each configuration."""

    plant: Plant
    gateway: Gateway
    rules: Mapping[PointKey, Rules]

    def rules_of(self, key: PointKey) -> Rules | None:
        """Give the rules of a point, or of the gateway's own alarm; None where there is no such point."""
        return GATEWAY_RULES if key == GATEWAY else self.rules.get(key)


def setting_of(plant: Plant, gateway: Gateway) -> Setting:
    """Make the rules of every point."""
    rules = {point.key: _rules(plant, machine, point) for machine in plant.machines for point in machine.points}
    return Setting(plant, gateway, rules)


def _rules(plant: Plant, machine: Machine, point: Point) -> Rules:
    decided = plant.alarms.classes.get(machine.criticality.value, AlarmClass())
    return Rules(
        point,
        machine,
        max_shelve_s=decided.max_shelve_alert_s,
        max_shelve_alarm_s=decided.max_shelve_alarm_s,
        runup_factor=machine.startup.factor,
        runup_s=machine.startup.seconds,
        realarm_s=decided.realarm_s,
        alert_needs_ack=decided.alert_needs_ack,
    )


@dataclass(frozen=True, slots=True)
class Rejections:
    """Messages of one cause that were rejected: when the journal last said so, and how many it has not told of."""

    told_at: Instant
    untold: int
    topic: str
    detail: str


@dataclass(frozen=True, slots=True)
class Memory:
    """All that is remembered; never changed in place."""

    points: Mapping[Track, PointState]
    sensors: Mapping[SensorId, SensorState]
    speeds: Mapping[tuple[MachineId, bool], MachineSpeed]
    assembly: Assembly
    counters: Mapping[str, int]
    rejections: Mapping[str, Rejections] = field(default_factory=dict)
    notes: tuple[SimulationNote, ...] = ()
    diagnoses: Mapping[Track, DiagnosisMade] = field(default_factory=dict)
    """The newest of each track."""
    baselines: Mapping[tuple[PointKey, str, bool], Baseline] = field(default_factory=dict)
    """The newest of each point and level, real or simulated; the limits in force follow from it."""
    lost: Mapping[str, Instant] = field(default_factory=dict)
    """What the gateway itself lost (its link to the broker), and since when."""
    quiet_since: Instant = 0.0
    """When a sensor was heard last, or the gateway began to listen, whichever is later."""
    proof: Proof | None = None
    """The one that is on; the journal alone is what a restart goes by."""
    fast: Mapping[SensorId, FastCollectionStarted] = field(default_factory=dict)
    """Fast collections that are on."""
    signs: Mapping[PointKey, SignEvent] = field(default_factory=dict)
    """What happened last to the sign-off of each point."""
