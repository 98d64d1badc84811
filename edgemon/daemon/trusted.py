"""The time that ages count to; pure."""

from edgemon.model.instant import Duration, Instant
from edgemon.model.retention import DAY_S


class Trusted:
    """UTC as far as ages may trust it: nothing is old because a clock was set wrong.

    A jump forward by more than a day, or a start more than two days after the last run ended, counts only once it has stood
    for a day.

    Parameters
    ----------
    before : Instant, optional
        When the last run wrote last; None where there was none.
    """

    def __init__(self, before: Instant | None) -> None:
        self._before = before
        self._offset: float | None = None
        self._jumped_at: Duration | None = None

    def time(self, now: Instant, elapsed: Duration) -> Instant:
        """Give the time that ages count to; `elapsed` is that of a clock that nobody sets."""
        offset = now - elapsed
        if self._offset is None:
            self._offset = offset if self._before is None else min(offset, self._before + DAY_S - elapsed)
        if offset <= self._offset + DAY_S:
            self._offset, self._jumped_at = offset, None
        elif self._jumped_at is None:
            self._jumped_at = elapsed
        elif elapsed - self._jumped_at >= DAY_S:
            self._offset, self._jumped_at = offset, None
        return self._offset + elapsed
