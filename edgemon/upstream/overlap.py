"""What a server confirmed so lately that one that takes its place may not have it.

A database that is copied to a standby behind its back confirms a row before the standby has it. When the standby takes over,
those rows are gone. So the store notes as sent what was confirmed `overlap_s` ago, as long as the same server answers: its
cursors follow so far behind, and what was refused once and taken at last is kept so long. Where another server answers, all
beyond that is sent again, and whatever is there already is known by its key.
"""

from collections import defaultdict, deque

from edgemon.model.instant import Duration
from edgemon.model.upstream import Source

SHARE = 100
"""Of the span: what is confirmed within that is one entry, so that few are held however often something comes. House choice."""


class Held:
    """Ever higher positions, each held back for a span from its confirmation, or a little longer. Time is an argument.

    Parameters
    ----------
    span_s : Duration
        How long; zero: what is confirmed is settled.
    """

    def __init__(self, span_s: Duration) -> None:
        self._span_s = span_s
        self._entries: deque[tuple[Duration, Duration, int]] = deque()
        """When the first of an entry was confirmed, when the last, and the position of that."""

    def __len__(self) -> int:
        """Count the entries."""
        return len(self._entries)

    @property
    def last(self) -> int:
        """Give the highest position held back; 0 where there is none."""
        return self._entries[-1][-1] if self._entries else 0

    def add(self, position: int, at: Duration) -> None:
        """Note that all up to a position is confirmed."""
        began = at
        if self._entries and at - self._entries[-1][0] < self._span_s / SHARE:
            began, *_ = self._entries.pop()
        self._entries.append((began, at, position))

    def is_due(self, at: Duration) -> bool:
        """Say whether something could be settled."""
        return bool(self._entries) and (not self._span_s or at - self._entries[0][1] >= self._span_s)

    def settle(self, at: Duration) -> int:
        """Give the position up to which nothing need be held back any more, and forget it; 0 where there is none.

        Only where the same server answered at `at`: else it is not known that it outlived what it confirmed.
        """
        settled = 0
        while self.is_due(at):
            *_, settled = self._entries.popleft()
        return settled


class Overlap:
    """What one upstream has confirmed beyond what the store notes as sent. Time is an argument, monotonic seconds.

    Parameters
    ----------
    span_s : Duration
        How long it is held back.

    Attributes
    ----------
    retried : Held
        What was refused once and taken at last, by turns.
    """

    def __init__(self, span_s: Duration) -> None:
        self._span_s = span_s
        self._sources: defaultdict[Source, Held] = defaultdict(lambda: Held(span_s))
        self.retried = Held(span_s)

    @property
    def confirmed(self) -> dict[Source, int]:
        """Give how far each source is confirmed, as far as that is beyond its cursor."""
        return {source: held.last for source, held in self._sources.items() if held}

    def of(self, source: Source) -> Held:
        """Give what is held back of a source, by its positions in the store."""
        return self._sources[source]

    def due(self, at: Duration) -> tuple[Source, ...]:
        """Name the sources of which something could be settled."""
        return tuple(source for source, held in self._sources.items() if held.is_due(at))

    def is_due(self, at: Duration) -> bool:
        """Say whether anything could be settled."""
        return self.retried.is_due(at) or bool(self.due(at))

    def forget(self) -> bool:
        """Hold nothing back: everything beyond what is noted is to be sent again; gives whether there is anything."""
        had = bool(self.retried) or any(self._sources.values())
        self.retried = Held(self._span_s)
        self._sources.clear()
        return had
