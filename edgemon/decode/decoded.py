"""What comes out of decoding one message."""

from dataclasses import dataclass

from edgemon.model.reading import CapturePart, Reading, SimulationNote


@dataclass(frozen=True, slots=True)
class Decoded:
    """What one message says; a message of one topic fills one of the three."""

    readings: tuple[Reading, ...] = ()
    """Oldest first; no two with the same key."""
    part: CapturePart | None = None
    note: SimulationNote | None = None
    skipped: tuple[str, ...] = ()
    """Names of records that were well-formed but mean nothing here, cleaned, so that nothing vanishes silently."""
