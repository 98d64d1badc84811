"""The plant: areas, machines, measurement points and the sensors that watch them, with names resolved and units SI."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from edgemon.model.collection import Collection
from edgemon.model.derived import DerivedSpec, MaskSpec
from edgemon.model.ids import AreaId, MachineId, PointId, PointKey, SensorId, SiteId
from edgemon.model.level import COMPUTED, LEVEL_KINDS, Band, LevelKind, LevelSpec
from edgemon.model.limit import Limit, Severity
from edgemon.model.policy import AlarmPolicy
from edgemon.model.response import Response
from edgemon.model.sends import Sends
from edgemon.units import Quantity


class Mounting(StrEnum):
    """How a sensor is held, from stiff to soft. Source: ISO 5348:2021 (its terms and their order; at second hand)."""

    STUD = "stud"
    ADHESIVE = "adhesive"
    MAGNET = "magnet"
    PROBE = "probe"
    """Held by hand."""


class Criticality(StrEnum):
    """What the plant loses with the machine; decides priority and who is told of lost monitoring."""

    CRITICAL = "critical"
    ESSENTIAL = "essential"
    GENERAL = "general"


@dataclass(frozen=True, slots=True)
class Bearing:
    """Geometry of a rolling bearing, SI."""

    rolling_elements: int
    ball_diameter_m: float
    pitch_diameter_m: float
    contact_angle_rad: float
    outer_turns: bool = False
    """The outer ring turns with the shaft and the inner one stands, as in a wheel's hub or an idler."""


@dataclass(frozen=True, slots=True)
class Sensor:
    """One wireless sensor."""

    id: SensorId
    interval_s: float = 300.0
    """Expected time between two captures (or readings, where it sends no captures)."""
    sensitivity_v_per_si: float | None = None
    """Volts per m/s2, for captures sent in mV."""
    range_si: float | None = None
    """Largest acceleration it can measure, m/s2, one-sided."""
    clock: bool = True
    """Has a clock of its own; otherwise the time of arrival counts."""
    levels: Mapping[str, Quantity] = field(default_factory=dict)
    """Levels of its points that are the plant file's own, and what they measure: the sensor may send them as readings."""
    sends: Sends = Sends.WAVEFORM
    noise_si: float | None = None
    """Density of its own noise, m/s2 per root hertz."""
    resonance_hz: float | None = None
    """Its resonance as mounted, as the plant file says."""
    mounting: Mounting | None = None
    collects: Collection | None = None
    """What the gateway commands of it; None: nothing."""


@dataclass(frozen=True, slots=True)
class Point:
    """One measurement point: a place and a direction on a machine, and the sensor axis that watches it."""

    key: PointKey
    name: str
    sensor: SensorId
    axis: str
    limits: tuple[Limit, ...]
    stale_after_s: float
    """No good measurement for so long means no data."""
    band: Band = Band(10.0, 1000.0)
    """Band of the velocity and displacement levels."""
    envelope_band: Band | None = None
    """Band demodulated for the envelope levels; None for the usual choice."""
    computes: frozenset[str] = COMPUTED
    """Usual levels that are made of its waveforms."""
    separation: str = "none"
    """How what repeats itself is taken out before the spectrum of an envelope: none, synchronous or prediction."""
    bearing: Bearing | None = None
    direction: str = ""
    """`horizontal`, `vertical`, `axial` or empty."""
    part: str = ""
    """`driver`, `driven` or empty: on which side of the coupling it sits."""
    end: str = ""
    """`drive` (beside the coupling), `non-drive` or empty."""
    levels: tuple[LevelSpec, ...] = ()
    """Levels of the plant file's own, in the order in which they are computed."""
    responses: Mapping[tuple[str, Severity], Response] = field(default_factory=dict)
    """What to do, for every alarm that there can be."""
    masks: tuple[MaskSpec, ...] = ()
    derived: tuple[DerivedSpec, ...] = ()
    sends: Sends = Sends.WAVEFORM
    """What its sensor sends."""

    def kind_of(self, level: str) -> LevelKind | None:
        """Say what a level's name stands for at this point, None where it is not a level."""
        if level in LEVEL_KINDS:
            return LEVEL_KINDS[level]
        own: tuple[LevelSpec | MaskSpec | DerivedSpec, ...] = (*self.levels, *self.masks, *self.derived)
        return next((spec.kind for spec in own if spec.name == level), None)

    def limit_of(self, level: str) -> Limit | None:
        """Give the limit set for a level, None where there is none."""
        return next((limit for limit in self.limits if limit.level == level), None)


@dataclass(frozen=True, slots=True)
class StandstillRule:
    """How one tells that a machine does not run where no speed is measured: a level well below its running level."""

    level: str
    below: float
    """In the house's unit of the level's quantity."""


@dataclass(frozen=True, slots=True)
class GearPair:
    """Two gears in mesh."""

    teeth: int
    driven_teeth: int
    order: float = 1.0
    """Speed of the first gear's shaft in multiples of the machine's."""


class Member(StrEnum):
    """What a planetary gear set has on its axis."""

    SUN = "sun"
    RING = "ring"
    CARRIER = "carrier"


@dataclass(frozen=True, slots=True)
class PlanetarySet:
    """A simple planetary (epicyclic) gear set: planets on a carrier between sun and ring; one member stands."""

    sun: int
    """Teeth, as are the next two."""
    planet: int
    ring: int
    planets: int
    """How many."""
    fixed: Member = Member.RING
    driving: Member = Member.SUN
    """The member that is driven from outside."""
    order: float = 1.0
    """Speed of the driving member in multiples of the machine's."""
    even: bool = True
    """The planets stand at equal distances."""

    @property
    def driven(self) -> Member:
        """Give the member that is left for the output."""
        return next(one for one in Member if one not in (self.fixed, self.driving))

    def __str__(self) -> str:
        """Write the teeth as people do, sun/planet/ring."""
        return f"{self.sun}/{self.planet}/{self.ring}"


@dataclass(frozen=True, slots=True)
class Belt:
    """A belt on a sheave of the machine's shaft, SI."""

    sheave_m: float
    length_m: float


@dataclass(frozen=True, slots=True)
class Train:
    """What turns with the shaft, and what drives it; what is not known is not guessed."""

    blades: int | None = None
    supply_hz: float | None = None
    """Supply frequency of the motor."""
    poles: int | None = None
    sleeve_bearings: bool = False
    belt: Belt | None = None
    gears: tuple[GearPair, ...] = ()
    rotor_bars: int | None = None
    planetary: tuple[PlanetarySet, ...] = ()


@dataclass(frozen=True, slots=True)
class Learning:
    """How baselines of a machine are learnt, and which of its values are alike."""

    captures: int = 20
    """Fit values in like conditions from which a baseline is learnt: the median is then known to about a quarter of their
    spread. House choice, no source."""
    speed_tolerance: float = 0.03
    """Part of the speed by which like values may differ: unbalance goes with its square, 6 %. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Startup:
    """Limits of vibration are multiplied for a while after a start, then hold again by themselves."""

    factor: float = 1.0
    seconds: float = 0.0


@dataclass(frozen=True, slots=True)
class Machine:
    """One machine with its points."""

    id: MachineId
    name: str
    area: AreaId
    points: tuple[Point, ...]
    kind: str = ""
    """For people: `vertical pump`, `fan`."""
    rpm: float | None = None
    """Nominal shaft speed, r/min."""
    standstill_rpm: float | None = None
    """At or below this speed the machine is not running."""
    standstill: StandstillRule | None = None
    severity_class: str = ""
    criticality: Criticality = Criticality.ESSENTIAL
    train: Train = Train()
    learning: Learning = Learning()
    startup: Startup = Startup()
    fixed_speed: bool = False
    """It has no other speed than `rpm`: a drive with one setting, or a motor on the mains whose slip does not matter."""


@dataclass(frozen=True, slots=True)
class Area:
    """A part of the site that people name."""

    id: AreaId
    name: str


@dataclass(frozen=True, slots=True)
class Plant:
    """Everything that `plant.toml` says, resolved; the indexes are made once."""

    site: SiteId
    name: str
    areas: tuple[Area, ...]
    machines: tuple[Machine, ...]
    sensors: Mapping[SensorId, Sensor]
    alarms: AlarmPolicy = AlarmPolicy()
    """What the site decided about all alarms."""
    points_of_sensor: Mapping[SensorId, tuple[Point, ...]] = field(init=False)
    points: Mapping[PointKey, Point] = field(init=False)
    machine_of: Mapping[MachineId, Machine] = field(init=False)

    def __post_init__(self) -> None:
        """Make the indexes."""
        points = [point for machine in self.machines for point in machine.points]
        of_sensor: dict[SensorId, list[Point]] = {}
        for point in points:
            of_sensor.setdefault(point.sensor, []).append(point)
        object.__setattr__(self, "points", {point.key: point for point in points})
        object.__setattr__(self, "points_of_sensor", {sensor: tuple(watched) for sensor, watched in of_sensor.items()})
        object.__setattr__(self, "machine_of", {machine.id: machine for machine in self.machines})


GATEWAY = PointKey(MachineId("gateway"), PointId("gateway"))
"""Stands for the gateway in its own alarm; no machine may be named so."""


def point_key(machine: str, point: str) -> PointKey:
    """Make a point key of two texts already known to be identifiers."""
    return PointKey(MachineId(machine), PointId(point))
