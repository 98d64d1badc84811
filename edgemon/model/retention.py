"""How long what is stored is kept, within which budget of the disk, and what went."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum, IntEnum

from edgemon.model.ids import PointKey, SensorId

DAY_S = 86_400.0
NEAR_PERCENT, OVER_PERCENT = 95.0, 105.0
"""Of the budget; what is over goes within seconds, if it may, and the log comes and goes. House choice."""


class Room(Enum):
    """How a store stands against its budget, as far as somebody must be told."""

    ENOUGH = "enough"
    NEAR = "near"
    OVER = "over"


class Worth(IntEnum):
    """What a capture is worth, the least first: in this order they go."""

    NORMAL = 0
    """Of a machine without an active alarm."""
    ALERT = 1
    """Of a machine with one."""
    EVENT = 2
    """Around the onset of an alarm at its point."""
    BASELINE = 3
    """A baseline rests on it: it never goes."""

    @property
    def word(self) -> str:
        """Give the name for people and meters."""
        return self.name.lower()


@dataclass(frozen=True, slots=True)
class Retention:
    """Ages count from the arrival of a capture, the time of a reading, the writing of a journal entry."""

    budget_bytes: int | None = None
    """Most that the store may take; None: a share of what the disk has for it, see `store/disk.py`."""
    normal_s: float = 90 * DAY_S
    alert_s: float = 400 * DAY_S
    event_s: float = 1830 * DAY_S
    around_s: float = 48 * 3600.0
    """Captures of a point within so long of the onset of one of its alarms are those around the event."""
    readings_s: float = 400 * DAY_S
    """Older readings are thinned, see `store/chunk.py`."""
    journal_s: float | None = None
    """None: the journal is kept for ever."""

    def age_s(self, worth: Worth) -> float:
        """Give how long captures of a worth are kept."""
        return {Worth.NORMAL: self.normal_s, Worth.ALERT: self.alert_s, Worth.EVENT: self.event_s}.get(worth, float("inf"))


@dataclass(frozen=True, slots=True)
class Kept:
    """A stored capture, as far as its going is concerned."""

    number: int
    worth: Worth
    received_at: float
    length: int


@dataclass(frozen=True, slots=True)
class Tended:
    """What one round of tending the store came to."""

    dropped: Mapping[Worth, int] = field(default_factory=dict)
    """Captures, by worth."""
    freed_bytes: int = 0
    """Given back to the disk."""
    folded: int = 0
    """Readings moved from rows into stretches."""
    thinned: int = 0
    """Readings that are now only part of an hour."""
    forgotten: int = 0
    """Journal entries."""
    used_bytes: int = 0
    budget_bytes: int = 0
    short_bytes: int = 0
    """Over the budget, and nothing may go any more."""
    is_done: bool = True
    """False: there is more to do at once."""


@dataclass(frozen=True, slots=True)
class KeepView:
    """How the store stands against its budget, and what went since the start."""

    budget_bytes: int = 0
    """Zero: not known yet."""
    short_bytes: int = 0
    """Beyond the budget, and nothing may go any more."""
    dropped: Mapping[str, int] = field(default_factory=dict)
    """Captures, by the word of their worth."""
    thinned: int = 0
    """Readings that are now only part of an hour."""
    forgotten: int = 0
    """Journal entries that were older than their age."""
    freed_bytes: int = 0

    def percent(self, used_bytes: int) -> float | None:
        """Give what the store takes of its budget, %; None where that is not known yet."""
        return 100.0 * used_bytes / self.budget_bytes if self.budget_bytes else None

    def room(self, used_bytes: int) -> Room:
        """Say whether the budget is worth a word: it is exceeded, or near while nothing had to go yet.

        Once the oldest captures go, a store at its budget is as it should be.
        """
        percent = self.percent(used_bytes)
        if percent is None:
            return Room.ENOUGH
        if self.short_bytes or percent > OVER_PERCENT:
            return Room.OVER
        return Room.NEAR if percent >= NEAR_PERCENT and not any(self.dropped.values()) else Room.ENOUGH


SensorsOf = Mapping[PointKey, SensorId]
"""The sensor of each point."""
