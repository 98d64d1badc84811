"""What a level usually is at one point in one state of the machine, and who said that this shall be the measure."""

from dataclasses import dataclass
from enum import StrEnum

from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant
from edgemon.units import Quantity


class BaselineState(StrEnum):
    """Life of a baseline: nothing rests on it before a person approved it."""

    PROPOSED = "proposed"
    APPROVED = "approved"
    RETIRED = "retired"


@dataclass(frozen=True, slots=True)
class Baseline:
    """Statistics of the first fit values of one level in like conditions, in the house's unit of its quantity."""

    point: PointKey
    level: str
    quantity: Quantity
    count: int
    first_at: Instant
    last_at: Instant
    mean: float
    median: float
    """The baseline value: a few wild captures cannot move it."""
    spread: float
    """Robust standard deviation of single values."""
    rpm: float | None
    """Running speed it holds for, r/min; None where speeds are not known."""
    load: float | None
    proposed_at: Instant
    state: BaselineState = BaselineState.PROPOSED
    approved_by: str = ""
    approved_at: Instant | None = None
    retired_by: str = ""
    retired_at: Instant | None = None
    retired_because: str = ""
    learnt_since: Instant | None = None
    """End of the repair after which it was learnt; None for the first one."""
    sim: bool = False
    mask: tuple[float, ...] = ()
    """Where the level is a spectral mask: the limit of each line from the first, at 0; the figures above are then those of the
    ratio of each capture to the mask that the others make."""
    grid: str = ""
    """The lines the mask is for, `MaskSpec.grid`."""


class NoBaseline(StrEnum):
    """Why no baseline can be proposed."""

    TOO_FEW = "too few fit values in like conditions"
    NOT_STEADY = "the values scatter too much for a steady state"
    DRIFTING = "the values rise or fall throughout: running in, warming up, or a fault"


@dataclass(frozen=True, slots=True)
class Refusal:
    """No baseline, with the reason and the figures behind it."""

    reason: NoBaseline
    text: str


@dataclass(frozen=True, slots=True)
class BaselineLimits:
    """What follows from a baseline and the boundaries of a severity class; proposed only, in the unit of the baseline."""

    alert: float
    """ALARM of the standard: baseline + 25 % of B/C, at most 1.25 x B/C."""
    is_capped: bool
    change: float
    """A change by more than this in either direction is significant: 25 % of B/C."""
    alarm_at_most: float
    """Ceiling of TRIP of the standard, 1.25 x C/D: a bound for people, never a set-point, and edgemon trips nothing."""
    origin: str


@dataclass(frozen=True, slots=True)
class BaselineProposed:
    """A baseline was learnt; nothing rests on it before an engineer approves it."""

    at: Instant
    baseline: Baseline
    unit: str
    """The unit people see; the numbers are in the house's unit."""
    alert: float | None = None
    """Alert limit that follows from it once approved; None where none does."""
    note: str = ""
    """Rule by which the limit follows, or why none does."""
    by: str = ""
    """Who asked; empty where the gateway had learnt enough."""
    station: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class BaselineApproved:
    """An engineer made a proposed baseline the measure; the alert limit that follows is in force from now on."""

    at: Instant
    baseline: Baseline
    unit: str
    alert: float | None = None
    note: str = ""
    by: str = ""
    station: str = ""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class BaselineRetired:
    """An engineer took a baseline out of use, or turned a proposal down; the limits are those of the plant file again."""

    at: Instant
    baseline: Baseline
    unit: str
    alert: float | None = None
    """Alert limit of the plant file or its class, in force from now on."""
    note: str = ""
    by: str = ""
    station: str = ""
    reason: str = ""
