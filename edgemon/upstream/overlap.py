"""What a server confirmed so lately that one that takes its place may not have it.

A database that is copied to a standby behind its back confirms a row before the standby has it. When the standby takes over,
those rows are gone. So the cursor in the store follows `overlap_s` behind what was confirmed, as long as the same server
answers; where another one does, all beyond the cursor is sent again, and whatever is there already is known by its key.
"""

from collections import deque

from edgemon.model.instant import Duration
from edgemon.model.upstream import Source


class Overlap:
    """What one upstream has confirmed beyond its cursors in the store. Time is an argument, monotonic seconds.

    Parameters
    ----------
    span_s : Duration
        How long it is held back; zero: what is confirmed is settled.
    """

    def __init__(self, span_s: Duration) -> None:
        self._span_s = span_s
        self._held: dict[Source, deque[tuple[Duration, int]]] = {}
        self._confirmed: dict[Source, int] = {}

    @property
    def confirmed(self) -> dict[Source, int]:
        """Give how far each source is confirmed, as far as that is beyond its cursor."""
        return dict(self._confirmed)

    def confirm(self, source: Source, position: int, at: Duration) -> None:
        """Note that a source is confirmed up to a position."""
        self._confirmed[source] = position
        self._held.setdefault(source, deque()).append((at, position))

    def settle(self, source: Source, at: Duration) -> int:
        """Give the position up to which a source need not be held back any more, and forget it; 0 where there is none.

        Only where the same server answered at `at`: else it is not known that it outlived what it confirmed.
        """
        held, settled = self._held.get(source, deque()), 0
        while held and at - held[0][0] >= self._span_s:
            _, settled = held.popleft()
        if not held:
            self._confirmed.pop(source, None)
        return settled

    def due(self, at: Duration) -> tuple[Source, ...]:
        """Name the sources of which something could be settled."""
        return tuple(source for source, held in self._held.items() if held and at - held[0][0] >= self._span_s)

    def forget(self) -> bool:
        """Hold nothing back: everything beyond the cursors is to be sent again; gives whether there is anything."""
        had = bool(self._confirmed)
        self._held.clear()
        self._confirmed.clear()
        return had
