"""The shift log and the handover: what one shift leaves to the next."""

from dataclasses import dataclass
from enum import StrEnum

from edgemon.model.ids import MachineId
from edgemon.model.instant import Instant

TEXT_LONGEST = 2000
"""Characters of one entry of the log."""


class LogKind(StrEnum):
    """What an entry of the shift log is. Source: DOE-STD-1035-93, narrative logs; corrections leave the original as it is."""

    OBSERVATION = "observation"
    ACTION = "action"
    REQUEST = "request"
    CORRECTION = "correction"


@dataclass(frozen=True, slots=True)
class LogWritten:
    """Somebody wrote into the shift log."""

    at: Instant
    text: str
    sort: LogKind
    by: str
    station: str
    machine: MachineId | None = None
    corrects: int | None = None
    """The journal entry that a correction is about; it stays as it is."""


@dataclass(frozen=True, slots=True)
class ShiftTaken:
    """Somebody took the shift over, having read the handover page."""

    at: Instant
    by: str
    station: str
    digest: str
    """SHA-256 of the page that was read."""
    read_at: Instant
    """When that page was written; the next one begins there."""
    page: str
    """The page itself, frozen."""
    note: str = ""


@dataclass(frozen=True, slots=True)
class BlockView:
    """One block of the handover page: a title and its lines, plain text."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HandoverView:
    """What changed since the last takeover, what stands, what is hidden, what nobody sees, and what was written down."""

    since: Instant
    """The last takeover; where there is none, some hours ago."""
    now: Instant
    taken_by: str
    """Who took over then; empty where nobody did."""
    blocks: tuple[BlockView, ...]
    digest: str
    """SHA-256 of the text; the takeover names it, so that what was read is what was taken over."""
