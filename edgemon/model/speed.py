"""A shaft speed, where it comes from and how sure it is: whatever is computed in orders rests on it."""

from dataclasses import dataclass
from enum import StrEnum


class SpeedOrigin(StrEnum):
    """Where a speed comes from."""

    MEASURED = "measured"
    """Sent by a sensor."""
    FIXED = "fixed"
    """The machine has only one, says the plant file."""
    ESTIMATED = "estimated"
    """Read from the record's own lines, near the nominal or given one."""
    GIVEN = "given"
    """Said by whoever asked, or by the file."""
    NOMINAL = "nominal"
    """As in the plant file, of a machine whose speed may vary: no level is computed with it."""
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Speed:
    """A speed as it was used."""

    rpm: float | None = None
    origin: SpeedOrigin = SpeedOrigin.UNKNOWN
    confidence: float | None = None
    """0 to 1, where the speed was estimated and the chance of error is known; None where it is as good as whoever said it."""
    text: str = ""
    """For people; empty where nothing needs to be said."""
