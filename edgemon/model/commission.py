"""How far each point is from being trusted: one check for everything that stands between."""

from dataclasses import dataclass
from enum import StrEnum

from edgemon.model.instant import Instant


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
class CommissionRow:
    """One point, what is missing first."""

    machine: str
    machine_name: str
    area: str
    point: str
    point_name: str
    checks: tuple[CheckView, ...]

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
    def summary(self) -> str:
        """Say how far the plant is."""
        return f"{self.complete} of {len(self.rows)} points complete"
