"""What a person may command, and who that person is."""

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

from edgemon.model.baseline import Baseline
from edgemon.model.ids import AlarmKey, PointKey
from edgemon.model.instant import Instant


class Role(StrEnum):
    """What a person may do; each role may do what the ones before it may."""

    VIEWER = "viewer"
    OPERATOR = "operator"
    ENGINEER = "engineer"


@dataclass(frozen=True, slots=True)
class Person:
    """Who commands: name, role and the station they sit at."""

    name: str
    role: Role
    station: str


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """An operator noticed this occurrence of an alarm."""

    alarm: AlarmKey
    occurrence: int


@dataclass(frozen=True, slots=True)
class Reset:
    """An operator ends a latched alarm whose condition is gone."""

    alarm: AlarmKey


@dataclass(frozen=True, slots=True)
class Shelve:
    """An operator hides an alarm for a while."""

    alarm: AlarmKey
    duration_s: float
    reason: str
    one_shot: bool = False


@dataclass(frozen=True, slots=True)
class Unshelve:
    """An operator ends a shelf early."""

    alarm: AlarmKey


@dataclass(frozen=True, slots=True)
class RemoveFromService:
    """An engineer takes an alarm out of service."""

    alarm: AlarmKey
    reason: str


@dataclass(frozen=True, slots=True)
class ReturnToService:
    """An engineer puts an alarm back into service."""

    alarm: AlarmKey


@dataclass(frozen=True, slots=True)
class Silence:
    """An operator silences whatever calls now, on the whole site; it is not acknowledged by that, and a new call sounds."""


@dataclass(frozen=True, slots=True)
class ProposeBaseline:
    """An engineer (or the gateway itself, without a name) proposes what was learnt."""

    baseline: Baseline
    reason: str


@dataclass(frozen=True, slots=True)
class ApproveBaseline:
    """An engineer makes a proposed baseline the measure."""

    point: PointKey
    level: str
    sim: bool
    reason: str
    proposed_at: Instant | None = None
    """The proposal that was read; another one is refused. None for whichever there is."""


@dataclass(frozen=True, slots=True)
class RetireBaseline:
    """An engineer takes a baseline out of use, as after a repair, or turns a proposal down."""

    point: PointKey
    level: str
    sim: bool
    reason: str


BaselineCommand: TypeAlias = ProposeBaseline | ApproveBaseline | RetireBaseline
Command: TypeAlias = Acknowledge | Reset | Shelve | Unshelve | RemoveFromService | ReturnToService
