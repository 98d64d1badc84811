"""The closed union of what can happen; every event is journalled, and every `match` over `Event` ends in assert_never."""

import re
from dataclasses import dataclass, field
from typing import TypeAlias, get_args

from edgemon.model.alarm import MONITORING, STORAGE, AlarmState, Priority
from edgemon.model.baseline import BaselineApproved, BaselineProposed, BaselineRetired
from edgemon.model.collection import FastEvent
from edgemon.model.finding import Diagnosis
from edgemon.model.gateway_event import (
    ClockStepped,
    GatewayStarted,
    GatewayStopped,
    LinkChanged,
    SettingsChanged,
    StoreChanged,
    StoreMended,
)
from edgemon.model.ids import AlarmKey, CaptureId, MachineId, PointKey, SensorId
from edgemon.model.instant import Instant
from edgemon.model.limit import Severity, Side
from edgemon.model.proof import ProofCarried, ProofEnded, ProofStarted
from edgemon.model.shift import LogWritten, ShiftTaken
from edgemon.model.signoff import PointSignedOff, SignOffWithdrawn
from edgemon.model.upstream import RetryOrdered


@dataclass(frozen=True, slots=True)
class AlarmChanged:
    """An alarm record made a transition: condition, operator or logic moved it."""

    at: Instant
    """Time of the measurement, or of the command."""
    alarm: AlarmKey
    change: str
    """RAISED, CLEARED, ACK, RESET, LEVEL_UP, LEVEL_DOWN, REALARM, SHELVED, UNSHELVED, SUPPRESSED, UNSUPPRESSED, OOS, RTS."""
    from_state: AlarmState
    to_state: AlarmState
    severity: Severity
    occurrence: int
    priority: Priority
    annunciates: bool
    value: float | None = None
    limit: float | None = None
    unit: str = ""
    """The unit people see; value and limit are in the house's unit."""
    by: str = ""
    station: str = ""
    reason: str = ""
    until: Instant | None = None
    detail: str = ""
    """What a careful reader must know of the value: `worst at 148.5 Hz, 3.2 times the mask`."""
    side: Side = Side.ABOVE
    """On which side of the limit a value is bad."""

    @property
    def is_closed(self) -> bool:
        """Say whether it ended because what it is about is no more, for the reason told; nothing returned to normal."""
        return self.change == "CLEARED" and self.reason != "" and self.alarm.level not in (MONITORING, STORAGE)


@dataclass(frozen=True, slots=True)
class CommandRefused:
    """An operator's command that changed nothing, and why."""

    at: Instant
    alarm: AlarmKey
    command: str
    why: str
    by: str = ""
    station: str = ""


@dataclass(frozen=True, slots=True)
class AlarmsSilenced:
    """An operator silenced what was calling; every one of these still waits for its acknowledgement."""

    at: Instant
    alarms: tuple[AlarmKey, ...]
    by: str
    station: str = ""


@dataclass(frozen=True, slots=True)
class FirstOutMarked:
    """The mark of the first alarm of a machine was set, moved or, where no alarm is named, taken back: the group is over."""

    at: Instant
    machine: MachineId
    alarms: tuple[AlarmKey, ...]
    """By onset, the earliest first."""
    sure: bool = True
    """False: these began within the errors of their clocks."""
    sim: bool = False
    before: tuple[AlarmKey, ...] = ()
    """Who was told to be the first before, where that was put right: the others began earlier, as was known only now."""


@dataclass(frozen=True, slots=True)
class OnsetMoved:
    """A late measurement shows that an alarm began at another time than was told; its state does not change by it."""

    at: Instant
    """The onset, as it is known now."""
    alarm: AlarmKey
    told_at: Instant
    """The onset as it was known before."""
    value: float
    """Of the late measurement."""
    limit: float | None
    unit: str
    """The unit people see; value and limit are in the house's unit."""


@dataclass(frozen=True, slots=True)
class OutputsTested:
    """Somebody had horn, beacon and board show all they can for some seconds; no alarm stands behind it."""

    at: Instant
    until: Instant
    by: str
    station: str = ""


@dataclass(frozen=True, slots=True)
class QualityChanged:
    """What a point's state rests on became good, stale or bad."""

    at: Instant
    point: PointKey
    quality: str
    reasons: tuple[str, ...]
    sim: bool = False


@dataclass(frozen=True, slots=True)
class RunningChanged:
    """A point saw its machine start or stop."""

    at: Instant
    point: PointKey
    running: bool
    rpm: float | None = None
    sim: bool = False


@dataclass(frozen=True, slots=True)
class MeasurementLate:
    """A measurement older than one already judged: stored, never judged."""

    at: Instant
    point: PointKey
    capture: CaptureId | None
    newest_at: Instant
    beyond: Severity
    """What it would have been, by its values alone."""
    sim: bool = False


@dataclass(frozen=True, slots=True)
class CaptureIncomplete:
    """Parts of a capture never came; what came is kept."""

    at: Instant
    sensor: SensorId
    capture: CaptureId
    missing_parts: tuple[int, ...]
    sim: bool = False


@dataclass(frozen=True, slots=True)
class MessageRejected:
    """Messages that could not be used: one entry for each cause and interval, with how many there were."""

    at: Instant
    cause: str
    topic: str
    """Topic of the newest one, cleaned."""
    detail: str
    count: int


@dataclass(frozen=True, slots=True)
class SimulationNoted:
    """Whoever plays simulated traffic said what is being played."""

    at: Instant
    title: str
    text: str
    machine: MachineId | None = None


@dataclass(frozen=True, slots=True)
class DiagnosisMade:
    """The newest capture of a point was diagnosed: it entered alert or alarm, or somebody asked."""

    at: Instant
    """Time of the capture."""
    point: PointKey
    capture: CaptureId
    diagnosis: Diagnosis
    by: str = ""
    """Who asked; empty where an alarm did."""
    sim: bool = False


Event: TypeAlias = (
    AlarmChanged
    | CommandRefused
    | AlarmsSilenced
    | FirstOutMarked
    | OnsetMoved
    | OutputsTested
    | QualityChanged
    | RunningChanged
    | MeasurementLate
    | CaptureIncomplete
    | MessageRejected
    | SimulationNoted
    | DiagnosisMade
    | BaselineProposed
    | BaselineApproved
    | BaselineRetired
    | GatewayStarted
    | GatewayStopped
    | LinkChanged
    | ClockStepped
    | SettingsChanged
    | StoreChanged
    | StoreMended
    | RetryOrdered
    | LogWritten
    | ShiftTaken
    | ProofStarted
    | ProofCarried
    | ProofEnded
    | PointSignedOff
    | SignOffWithdrawn
    | FastEvent
)


EVENT_OF: dict[str, type[Event]] = {re.sub(r"(?<!^)(?=[A-Z])", "-", event.__name__).lower(): event for event in get_args(Event)}
"""The journal's word for each kind of event: `alarm-changed` is `AlarmChanged`."""

_KINDS = {event: kind for kind, event in EVENT_OF.items()}


def kind_of(event: Event) -> str:
    """Give the journal's word for the kind of an event."""
    return _KINDS[type(event)]


@dataclass(frozen=True, slots=True)
class JournalEntry:
    """One event as it stands in the journal."""

    seq: int
    recorded_at: Instant
    event: Event
    hash: str = field(default="", compare=False)
    """Of the journal's chain, hex; empty where an older version wrote the entry."""
