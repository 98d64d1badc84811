"""A proof: for a limited time simulated alarms call like real ones, marked as a test, so that every path of an alarm is shown.

What a point has proven follows from the journal alone: the announcement, the alarms of simulated data raised while it held, who
took them (broker, annunciator), and who acknowledged them.
"""

from dataclasses import dataclass
from typing import NamedTuple

from edgemon.model.alarm import MONITORING
from edgemon.model.ids import AlarmKey, AreaId, MachineId, PointId, PointKey
from edgemon.model.instant import Duration, Instant, format_instant
from edgemon.model.limit import Severity

LEAD_S: Duration = 5.0
"""Between the announcement and the first call: every board shows it by then. House choice; boards are told once a second."""
LONGEST_S: Duration = 8 * 3600.0
"""A proof ends with the shift that was told of it. House choice, no source."""
BROKER = "broker"
"""Who took the published state, in `ProofCarried`."""
CAUTION = "Announce it to the control room first. Real alarms call as ever, and come first."


class Scope(NamedTuple):
    """What a proof is about: a point, a machine, an area, or (nothing named) the whole plant."""

    area: AreaId | None = None
    machine: MachineId | None = None
    point: PointId | None = None

    def __str__(self) -> str:
        """Write it as people say it."""
        if self.machine is not None:
            return self.machine if self.point is None else f"{self.machine}/{self.point}"
        return "the whole plant" if self.area is None else f"area {self.area}"

    def covers(self, point: PointKey, area: AreaId) -> bool:
        """Say whether a point, in its machine's area, belongs to it."""
        if self.machine is not None:
            return point.machine == self.machine and self.point in (None, point.point)
        return self.area in (None, area)


@dataclass(frozen=True, slots=True)
class StartProof:
    """An engineer announces a proof."""

    scope: Scope
    duration_s: Duration
    reason: str


@dataclass(frozen=True, slots=True)
class StopProof:
    """An engineer ends the proof that is on."""

    reason: str


ProofCommand = StartProof | StopProof


@dataclass(frozen=True, slots=True)
class ProofStarted:
    """A proof was announced: from `LEAD_S` later on simulated alarms of these points call, as a test."""

    at: Instant
    until: Instant
    by: str
    station: str
    reason: str
    area: AreaId | None = None
    machine: MachineId | None = None
    point: PointId | None = None

    @property
    def scope(self) -> Scope:
        """What it is about."""
        return Scope(self.area, self.machine, self.point)


@dataclass(frozen=True, slots=True)
class ProofEnded:
    """A proof is over; simulated alarms of its points were ended with it."""

    at: Instant
    reason: str
    by: str = ""
    """Empty where its time ended it."""
    station: str = ""
    area: AreaId | None = None
    machine: MachineId | None = None
    point: PointId | None = None

    @property
    def scope(self) -> Scope:
        """What it was about."""
        return Scope(self.area, self.machine, self.point)


@dataclass(frozen=True, slots=True)
class ProofCarried:
    """An alarm of a proof got out: somebody beyond the gateway took it."""

    at: Instant
    alarm: AlarmKey
    severity: Severity
    to: str
    """`broker` or `annunciator NAME`."""


@dataclass(frozen=True, slots=True)
class Proof:
    """The proof that is on, as the gateway remembers it."""

    started: ProofStarted
    is_open: bool = False
    """Simulated alarms call; false while it is only announced."""

    def calls(self, alarm: AlarmKey, area: AreaId, now: Instant) -> bool:
        """Say whether a simulated alarm of a machine in this area calls now; that no simulated data comes never does."""
        is_on = self.is_open and now < self.started.until
        point = PointKey(alarm.machine, alarm.point)
        return is_on and alarm.sim and alarm.level != MONITORING and self.started.scope.covers(point, area)

    def __str__(self) -> str:
        """Say it in a few words, as every output is told."""
        return f"PROOF of {self.started.scope} until {format_instant(self.started.until)}"


@dataclass(frozen=True, slots=True)
class ProofView:
    """The proof that is on, as boards and programs are shown it."""

    scope: str
    since: Instant
    calls_from: Instant
    until: Instant
    by: str
    reason: str
    is_open: bool


def proof_view(proof: Proof) -> ProofView:
    """Show a proof."""
    one = proof.started
    return ProofView(str(one.scope), one.at, one.at + LEAD_S, one.until, one.by, one.reason, proof.is_open)


@dataclass(frozen=True, slots=True)
class Tried:
    """One severity of the limit of one level."""

    level: str
    severity: str
    """alert or alarm."""

    def __str__(self) -> str:
        """Write it in words: `velocity_rms alarm`."""
        return f"{self.level} {self.severity}"


@dataclass(frozen=True, slots=True)
class Carried:
    """Who took an alarm of a proof, and when first."""

    tried: Tried
    to: str
    at: Instant


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """Who acknowledged an alarm of a proof first, and when."""

    tried: Tried
    by: str
    at: Instant


@dataclass(frozen=True, slots=True)
class PointProof:
    """What one point has proven in the newest proof in which it raised anything, as the journal has it."""

    machine: str
    point: str
    announced_at: Instant
    by: str
    """Who started the proof."""
    reason: str
    reached: tuple[Tried, ...] = ()
    """What was raised."""
    carried: tuple[Carried, ...] = ()
    acknowledged: tuple[Acknowledged, ...] = ()

    @property
    def key(self) -> PointKey:
        """Its point."""
        return PointKey(MachineId(self.machine), PointId(self.point))

    @property
    def people(self) -> str:
        """Say who began it and who acknowledged what it raised."""
        names = ", ".join(dict.fromkeys(one.by for one in self.acknowledged))
        return f"by {self.by}" + (f", acknowledged by {names}" if names else "")


@dataclass(frozen=True, slots=True)
class ProofRow:
    """What one point has proven: its best proof, what lacks of it, and when the last of it was shown."""

    machine: str
    machine_name: str
    point: str
    point_name: str
    lacks: tuple[str, ...]
    """Empty: its alarm is proven."""
    proven_at: Instant | None
    shown: PointProof | None
    """None: it never raised anything in a proof."""


@dataclass(frozen=True, slots=True)
class ProofReport:
    """Whether a proof is on, and what each point has proven."""

    now: Instant
    on: ProofView | None
    rows: tuple[ProofRow, ...]
