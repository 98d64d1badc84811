"""Alarm records and what is remembered of a point and a machine between two measurements."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from edgemon.model.ids import AlarmKey, CaptureId, MachineId, PointKey
from edgemon.model.instant import Instant
from edgemon.model.level import Level
from edgemon.model.limit import Severity, Side
from edgemon.model.quality import Quality

MONITORING = "monitoring"
"""The name that stands for a level in the alarm record `loss of monitoring`."""
STORAGE = "storage"
"""The name that stands for a level in the gateway's own alarm record `loss of storage`."""


class AlarmState(StrEnum):
    """States of an alarm record. Source: IEC 62682 / ISA-18.2; the two latched codes are ours."""

    NORM = "NORM"
    UNACK = "UNACK"
    ACKED = "ACKED"
    RTNUN = "RTNUN"
    LATUN = "LATUN"
    LATAK = "LATAK"
    SHLVD = "SHLVD"
    DSUPR = "DSUPR"
    OOSRV = "OOSRV"


class Priority(StrEnum):
    """How soon the operator must act."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


@dataclass(frozen=True, slots=True)
class Pending:
    """A change that must hold a while before it counts: since when, and for how many readings already."""

    since: Instant
    readings: int


@dataclass(frozen=True, slots=True)
class Condition:
    """Whether one limit of a level (alert or alarm) counts as exceeded, and what is pending."""

    active: bool = False
    pending: Pending | None = None


@dataclass(frozen=True, slots=True)
class Hiding:
    """Who hid an alarm, why and until when; one of the three ways of IEC 62682 to hide one."""

    by: str
    reason: str
    since: Instant
    until: Instant | None = None
    one_shot: bool = False
    severity: Severity = Severity.NORMAL
    """Severity at the time; a rise above it breaks a shelf."""


@dataclass(frozen=True, slots=True)
class FirstOut:
    """The mark of the first alarm of a machine's group."""

    onset_at: Instant
    """When its limit was first exceeded, by the sensor's time."""
    sure: bool
    """False: others began within the errors of the clocks."""


@dataclass(frozen=True, slots=True)
class AlarmRecord:
    """The tracked thing of IEC 62682: one level (or the loss of monitoring) at one point."""

    key: AlarmKey
    state: AlarmState = AlarmState.NORM
    severity: Severity = Severity.NORMAL
    """Severity in force now; in RTNUN, LATUN and LATAK see `peak_severity`."""
    peak_severity: Severity = Severity.NORMAL
    """Highest severity of this occurrence, and of those right before it that nobody acknowledged, or reset where it latches."""
    occurrence: int = 0
    """Counts annunciations; every command of an operator names the one it means."""
    since: Instant = 0.0
    """Time (of the measurement, or of the command) at which the present state began."""
    raised_at: Instant = 0.0
    """Time at which this occurrence was raised."""
    alert: Condition = Condition()
    alarm: Condition = Condition()
    annunciates: bool = True
    """Calls the operator (flash, sound) while unacknowledged; alerts do not unless promoted."""
    priority: Priority = Priority.LOW
    value: float | None = None
    """Value at the last change, in the house's unit."""
    shelf: Hiding | None = None
    suppression: Hiding | None = None
    out_of_service: Hiding | None = None
    onset_at: Instant | None = None
    """Time of the first measurement beyond the limit, before the on-delay; of this occurrence or a milder one before it."""
    first_out: FirstOut | None = None
    """It came first of the alarms of its machine that wait; None: it did not."""
    silenced_at: Instant | None = None
    """When somebody silenced this occurrence; a new one sounds again."""
    judged_onset_at: Instant | None = None
    """The onset by judged values alone; `onset_at` may be earlier, by late ones."""
    within_at: Instant | None = None
    """Time of the newest value before the onset: nothing before it belongs to this occurrence."""
    side: Side = Side.ABOVE
    """On which side of the limit that it is about a value is bad: the same name may mean the other one after a start."""
    told_at: Instant | None = None
    """Gateway time at which the present state began, where a measurement brought it about; None: the same as `since`."""


@dataclass(frozen=True, slots=True)
class PointState:
    """All that is remembered of one point, for real or for simulated data; survives a restart."""

    point: PointKey
    sim: bool = False
    taken_at: Instant | None = None
    """Time of the newest measurement judged, fit or not."""
    fit_at: Instant | None = None
    """Time of the newest fit measurement; the state rests on it."""
    heard_at: Instant | None = None
    """Gateway time at which the newest fit measurement was judged."""
    quality: Quality = Quality.STALE
    reasons: tuple[str, ...] = ("waiting-for-first-data",)
    levels: tuple[Level, ...] = ()
    """Newest fit value of each level."""
    level_at: Mapping[str, Instant] = field(default_factory=dict)
    """Time of the newest judged value of each level."""
    alarms: Mapping[str, AlarmRecord] = field(default_factory=dict)
    """By level name, and `monitoring`."""
    running: bool | None = None
    """Whether the machine ran at the newest fit measurement; None where nothing tells."""
    rpm: float | None = None
    capture: CaptureId | None = None
    trend: tuple[float, ...] = ()
    """Value over alarm limit of the worst level, oldest first, bounded."""
    flawed: tuple[str, ...] = ()
    """Levels with a limit whose newest measurement was not fit; the quality is bad until a fit one comes for each."""
    running_at: Instant | None = None
    """Time of the measurement that last told whether the machine ran."""
    started_at: Instant | None = None
    """Time at which the machine was last seen to start; limits may be raised for a while from then."""
    left_out: Mapping[str, str] = field(default_factory=dict)
    """Levels that could not be measured in the newest fit capture, with the reason."""
    recent: Mapping[str, tuple[tuple[Instant, float], ...]] = field(default_factory=dict)
    """Values of the levels whose rate of change is watched, oldest first, bounded."""


@dataclass(frozen=True, slots=True)
class Arrival:
    """A message whose time is that of its arrival, remembered so that it keeps that time when it is delivered again."""

    digest: str
    """Checksum of topic and payload."""
    received_at: Instant
    """When it came for the first time."""
    taken_at: Instant
    """The time it was stored under: that of its capture's first part, or `received_at`."""


@dataclass(frozen=True, slots=True)
class SensorState:
    """What is remembered of a sensor: its health, as last heard."""

    sensor: str
    battery_pct: float | None = None
    rssi_dbm: float | None = None
    temperature_c: float | None = None
    heard_at: Instant | None = None
    """Gateway time of the last usable message."""
    captures: int = 0
    readings: int = 0
    repeats: int = 0
    late: int = 0
    unfit: int = 0
    capture_at: Instant | None = None
    """Newest time of any capture (or part of one) stored; a repeat cannot be newer."""
    reading_at: Instant | None = None
    """Newest time of any reading stored."""
    digest: int | None = None
    """Checksum of the newest capture's samples: the same samples under another name come from a stuck sensor."""
    clock_offset_s: float | None = None
    """Arrival minus measurement time of the newest message."""
    sim: bool = False
    arrivals: tuple[Arrival, ...] = ()
    """Newest messages without a usable time of their own, oldest first, bounded."""
    counted_at: Instant | None = None
    """Time of the newest measurement counted as having come."""
    completeness: float = 1.0
    """Weighted share of the measurements due that came, up to `counted_at`."""
    battery_since: tuple[Instant, float] | None = None
    """When this battery was first heard of, and its charge then, %."""
    unkept_since: Instant | None = None
    """What it measured from then on was judged while it could not be stored: it is stored when it is delivered again."""
    real_battery_pct: float | None = None
    """What real data said last; simulated data tells nothing of the sensor that hangs at the machine."""
    real_rssi_dbm: float | None = None


@dataclass(frozen=True, slots=True)
class MachineSpeed:
    """The newest shaft speed heard for a machine."""

    machine: MachineId
    rpm: float
    taken_at: Instant
    sim: bool = False
