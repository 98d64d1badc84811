"""The documents of the API: what is asked and answered; JSON of the snapshot's own dataclasses."""

from functools import cache
from typing import Any, TypeAlias

from pydantic import BaseModel, Field, TypeAdapter

from edgemon.model.collection import LONGEST_S as FAST_LONGEST_S
from edgemon.model.commission import CommissionView
from edgemon.model.ids import AlarmKey, MachineId, PointId, is_identifier
from edgemon.model.look import CapturePage, SpectrumView, WaveformView
from edgemon.model.outlook import BaselineView, OutlookView
from edgemon.model.performance import Performance
from edgemon.model.proof import LONGEST_S, ProofReport
from edgemon.model.shift import TEXT_LONGEST, HandoverView, LogKind
from edgemon.model.signoff import REMARK_LONGEST
from edgemon.model.snapshot import Change, JournalView, Snapshot, TrendBins, TrendPoint

Listed: TypeAlias = TrendPoint | JournalView | BaselineView | OutlookView
"""What is answered in lists."""
Look: TypeAlias = CapturePage | WaveformView | SpectrumView
"""What is seen of stored captures."""
Document: TypeAlias = (
    Snapshot
    | Change
    | OutlookView
    | HandoverView
    | Look
    | Performance
    | TrendBins
    | ProofReport
    | CommissionView
    | tuple[Listed, ...]
)
"""What is answered."""


class LinkDocument(BaseModel):
    """One link of the gateway."""

    name: str
    up: bool
    detail: str


class HealthDocument(BaseModel):
    """How the gateway fares."""

    status: str = Field(description="good, degraded (a link is down) or failing (it cannot keep or judge what comes)")
    reasons: list[str] = Field(description="why it is not good")
    version: str
    site: str
    started_at: float
    now: float
    links: list[LinkDocument]
    store_ok: bool
    store_detail: str
    store_bytes: int
    store_keeps: str = Field(description="everything, journal and alarm states, or nothing; the rest waits at the broker")
    store_since: float | None = Field(description="since when it has not been everything")
    queue: int
    unsent: int
    oldest_unsent: float | None
    machines: int


class AlarmOrder(BaseModel):
    """Command one alarm."""

    alarm: str = Field(description="id of the alarm: machine/point/level, with /sim for simulated data", max_length=300)


class ReasonedOrder(AlarmOrder):
    """Command one alarm, saying why."""

    reason: str = Field(min_length=1, max_length=500, description="why; stands in the journal with the name of the caller")


class ShelveOrder(ReasonedOrder):
    """Hide an alarm for a while."""

    duration_s: float = Field(gt=0.0, description="at most what the alarm's class allows")
    one_shot: bool = Field(default=False, description="ends also when the condition goes")


class AcknowledgeOrder(AlarmOrder):
    """Acknowledge one occurrence of an alarm."""

    occurrence: int = Field(ge=1, description="the occurrence that was read; another one is refused")


class BaselineOrder(BaseModel):
    """Propose, approve or retire the baseline of one level at one point."""

    machine: str = Field(max_length=63)
    point: str = Field(max_length=63)
    level: str = Field(max_length=63)
    reason: str = Field(min_length=1, max_length=500, description="why; stands in the journal with the name of the caller")
    proposed_at: float | None = Field(
        default=None, description="approving only: the proposal that was read; another one is refused"
    )


class ReasonOrder(BaseModel):
    """Order something of the whole gateway, saying why."""

    reason: str = Field(min_length=1, max_length=500, description="why; stands in the journal with the name of the caller")


class ProofOrder(ReasonOrder):
    """Announce a proof of a point, a machine, an area or (nothing named) the whole plant."""

    area: str = Field(default="", max_length=63)
    machine: str = Field(default="", max_length=63)
    point: str = Field(default="", max_length=63, description="of the machine")
    duration_s: float = Field(gt=0.0, le=LONGEST_S, description="it ends by itself after that")


class WithdrawOrder(ReasonOrder):
    """Take the sign-off of a point back."""

    machine: str = Field(max_length=63)
    point: str = Field(max_length=63)


class SignOrder(BaseModel):
    """Sign a point off."""

    machine: str = Field(max_length=63)
    point: str = Field(max_length=63)
    remark: str = Field(default="", max_length=REMARK_LONGEST, description="must say why, where a check is left open")
    left_open: tuple[str, ...] = Field(default=(), max_length=50, description="open checks as they were read: others refuse it")


class CollectionStop(ReasonOrder):
    """Take the fast collection of a sensor back."""

    target: str = Field(max_length=127, description="the sensor, or a point that it watches: MACHINE/POINT")


class CollectionOrder(CollectionStop):
    """Have a sensor measure more often for a while."""

    interval_s: float = Field(gt=0.0, allow_inf_nan=False, description="between two captures")
    duration_s: float = Field(gt=0.0, le=FAST_LONGEST_S, description="then its routine is in force again")


class LogOrder(BaseModel):
    """Write into the shift log."""

    text: str = Field(min_length=1, max_length=TEXT_LONGEST)
    sort: LogKind = LogKind.OBSERVATION
    machine: str = Field(default="", max_length=63, description="the machine it is about; empty for none")
    corrects: int | None = Field(default=None, description="number of the journal entry that a correction is about")


class TakeOverOrder(BaseModel):
    """Take the shift over."""

    digest: str = Field(max_length=64, description="of the handover page that was read")
    note: str = Field(default="", max_length=TEXT_LONGEST)


class WhoDocument(BaseModel):
    """Who the gateway takes the caller for."""

    name: str
    role: str
    station: str


class OutcomeDocument(BaseModel):
    """What became of a command."""

    done: bool
    why: str = ""


@cache
def adapter(kind: Any) -> TypeAdapter[Any]:
    """Give the JSON reader and writer of a type, made once."""
    return TypeAdapter(kind)


def to_json(value: Document) -> bytes:
    """Write a document."""
    kind: Any = type(value) if not isinstance(value, tuple) else tuple[type(value[0]), ...] if value else tuple[()]  # type: ignore[misc]
    return adapter(kind).dump_json(value)


def alarm_key(text: str) -> AlarmKey | None:
    """Read an alarm's id; None where it is none."""
    parts = text.split("/")
    sim = len(parts) == 4 and parts[3] == "sim"
    if len(parts) != 3 + sim or not (is_identifier(parts[0]) and is_identifier(parts[1]) and parts[2]):
        return None
    return AlarmKey(MachineId(parts[0]), PointId(parts[1]), parts[2], sim)
