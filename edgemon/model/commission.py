"""How far each point is from being trusted: one check for everything that stands between."""

from dataclasses import dataclass
from enum import StrEnum

from edgemon.model.instant import Instant

HEARD = "sensor heard"
"""The check that comes before all others."""


class Stand(StrEnum):
    """How one check stands."""

    OPEN = "open"
    DONE = "done"
    NOT_NEEDED = "not needed"


@dataclass(frozen=True, slots=True)
class CheckView:
    """One thing that a point needs, and how it stands."""

    name: str
    """`sensor heard`, ...: the same for every point."""
    stand: Stand
    words: str
    """What was found: since when, how much, by whom, or what lacks."""


@dataclass(frozen=True, slots=True)
class SignView:
    """The newest sign-off of a point: who answers for it, and whether it still holds."""

    at: Instant
    by: str
    station: str = ""
    remark: str = ""
    left_open: tuple[str, ...] = ()
    """Checks that were open when it was given."""
    signed_for: tuple[str, ...] = ()
    """Sensor, mounting and limits that it holds for, as `name: value`; empty once it is withdrawn."""
    withdrawn_at: Instant | None = None
    withdrawn_by: str = ""
    """Empty where the plant file withdrew it."""
    withdrawn_because: str = ""

    @property
    def holds(self) -> bool:
        """Say whether it was not withdrawn."""
        return self.withdrawn_at is None


@dataclass(frozen=True, slots=True)
class CommissionRow:
    """One point, what is missing first."""

    machine: str
    machine_name: str
    area: str
    point: str
    point_name: str
    checks: tuple[CheckView, ...]
    sensor: str = ""
    axis: str = ""
    sign: SignView | None = None
    """None: it was never signed off."""

    @property
    def is_signed(self) -> bool:
        """Say whether somebody signed it off, and that holds."""
        return self.sign is not None and self.sign.holds

    @property
    def missing(self) -> tuple[CheckView, ...]:
        """Give what is open."""
        return tuple(check for check in self.checks if check.stand is Stand.OPEN)


@dataclass(frozen=True, slots=True)
class CommissionView:
    """All points, in the plant file's order of machines."""

    now: Instant
    rows: tuple[CommissionRow, ...]

    @property
    def complete(self) -> int:
        """Count the points of which nothing is open."""
        return sum(not row.missing for row in self.rows)

    @property
    def signed(self) -> int:
        """Count the points that are signed off."""
        return sum(row.is_signed for row in self.rows)

    @property
    def summary(self) -> str:
        """Say how far the plant is."""
        return f"{self.complete} of {len(self.rows)} points complete, {self.signed} signed off"
