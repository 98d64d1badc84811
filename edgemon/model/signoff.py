"""The sign-off of a measurement point: somebody was there, saw that it is as the plant file says, and answers for it.

It holds for what it was given for: sensor, mounting, velocity band and limits as the plant file had them then. What the file
says otherwise later takes it back by itself. What baselines do to a limit does not: they are approved by themselves.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeAlias

from edgemon.errors import ParameterError
from edgemon.model.commission import HEARD, CommissionRow
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant, format_instant

REMARK_LONGEST = 500


@dataclass(frozen=True, slots=True)
class SignOff:
    """An engineer signs a point off."""

    point: PointKey
    remark: str
    left_open: tuple[str, ...] = ()
    """Checks that are open, as whoever signs knows."""


@dataclass(frozen=True, slots=True)
class WithdrawSignOff:
    """An engineer takes the sign-off of a point back."""

    point: PointKey
    reason: str


SignCommand = SignOff | WithdrawSignOff


@dataclass(frozen=True, slots=True)
class PointSignedOff:
    """Somebody signed a point off."""

    at: Instant
    point: PointKey
    signed_for: tuple[str, ...]
    """What it holds for, each as `name: value`: sensor, mounting and limits of the plant file."""
    left_open: tuple[str, ...]
    """Checks that were open, and known to be."""
    by: str
    station: str
    remark: str


@dataclass(frozen=True, slots=True)
class SignOffWithdrawn:
    """A sign-off holds no longer: somebody took it back, or what it was given for is another thing now."""

    at: Instant
    point: PointKey
    signed_at: Instant
    signed_by: str
    reason: str
    by: str = ""
    """Empty where the plant file withdrew it."""
    station: str = ""


SignEvent: TypeAlias = PointSignedOff | SignOffWithdrawn


def newest_signs(events: Iterable[object]) -> tuple[SignEvent, ...]:
    """Give what happened last to the sign-off of each point, by what the journal says, oldest first."""
    newest = {event.point: event for event in events if isinstance(event, PointSignedOff | SignOffWithdrawn)}
    return tuple(newest.values())


def check(row: CommissionRow, remark: str) -> tuple[str, ...]:
    """Say whether a point may be signed off as it stands, and give the checks that are left open by it.

    Raises
    ------
    ParameterError
        It was never heard, it is signed off already, or something is open and no remark says why that may be.
    """
    missing, name = tuple(one.name for one in row.missing), f"{row.machine}/{row.point}"
    if HEARD in missing:
        raise ParameterError(f"nothing real of {name} was ever heard: there is nothing to sign for")
    if row.sign is not None and row.sign.holds:
        raise already(row.sign.by, row.sign.at)
    if missing and not remark.strip():
        raise ParameterError(f"open at {name}: {', '.join(missing)}", hint="say in a remark why that may be")
    return missing


def already(by: str, at: Instant) -> ParameterError:
    """Give the refusal of a second sign-off of a point."""
    return ParameterError(f"it is signed off already, by {by} at {format_instant(at)}", hint="withdraw that first")
