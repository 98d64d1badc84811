"""What is asked of the journal."""

from dataclasses import dataclass

from edgemon.model.instant import Instant


@dataclass(frozen=True, slots=True)
class Search:
    """Which journal entries are wanted; what is None is not asked for."""

    since: Instant | None = None
    """Recorded at this time or later."""
    until: Instant | None = None
    """Recorded before this time."""
    kinds: tuple[str, ...] = ()
    """Words of `model.event.EVENT_OF`; none stands for all."""
    machine: str | None = None
    person: str | None = None
    """Who did it, by the name that stands in the entry."""


EVERYTHING = Search()
