"""Tends the store beside the path: one small step a second, at once again while there is more to do."""

import logging
from collections import Counter
from collections.abc import Callable

from edgemon.clock import Clock
from edgemon.daemon.trusted import Trusted
from edgemon.errors import StoreError
from edgemon.model.instant import Duration
from edgemon.model.retention import KeepView, Tended, Worth
from edgemon.store.tending import Tender

EVERY_S = 1.0
AGAIN_S = 0.05
"""Between two steps while there is more to do: the path has the rest of the time."""
RETRY_S = 10.0
PATIENCE = 5
"""So many steps in a row are left to a path that is at work; then one is taken all the same."""
IMPATIENCE = 3
"""The same while there is more to do: a path at work for hours must not outgrow the disk."""
LOOK_S = 0.125
"""Between two looks whether the store outgrows its budget: then the disk comes first, and nothing is waited for."""
AT_ONCE_S = 0.005
TOLD_EVERY_S = 600.0
"""What went is told in the log so often at most. House choice."""

log = logging.getLogger(__name__)


class Tending:
    """Has a store tended, and remembers what went since the start.

    Parameters
    ----------
    is_idle : callable
        Says whether the path has nothing to do.
    """

    def __init__(self, tender: Tender, clock: Clock, is_idle: Callable[[], bool]) -> None:
        self._tender = tender
        self._clock = clock
        self._is_idle = is_idle
        self._dropped: Counter[Worth] = Counter()
        self._thinned = self._forgotten = 0
        self._freed = 0
        self._newest = Tended()
        self._untold: Counter[str] = Counter()
        self._told_at = -TOLD_EVERY_S
        self._is_short = self._is_failing = False

    def view(self) -> KeepView:
        """Show budget, and what went since the start."""
        dropped = {worth.word: self._dropped[worth] for worth in Worth if worth is not Worth.BASELINE}
        budget, short = self._newest.budget_bytes, self._newest.short_bytes
        return KeepView(budget, short, dropped, self._thinned, self._forgotten, self._freed)

    async def run(self) -> None:
        """Tend for ever; a store that fails is tried again."""
        waited, wait_s = 0, EVERY_S
        trusted: Trusted | None = None
        while True:
            await self._rest(wait_s)
            if not self._tender.is_over and not self._is_idle() and waited < (IMPATIENCE if wait_s == AGAIN_S else PATIENCE):
                waited += 1
                continue
            waited = 0
            try:
                trusted = trusted or Trusted(await self._tender.before())
                tended = await self._tender.tend(trusted.time(self._clock.now(), self._clock.elapsed()))
            except StoreError as error:
                if not self._is_failing:
                    log.error("the store cannot be tended: %s", error)
                self._is_failing, wait_s = True, RETRY_S
            else:
                self._is_failing, wait_s = False, EVERY_S if tended.is_done else AGAIN_S
                self._took(tended)

    async def _rest(self, wait_s: Duration) -> None:
        """Wait, but not while the store outgrows its budget."""
        until = self._clock.elapsed() + (AT_ONCE_S if self._tender.is_over and not self._is_failing else wait_s)
        while (left := until - self._clock.elapsed()) > 0.0:
            await self._clock.sleep(min(left, LOOK_S))
            if self._tender.is_over and not self._is_failing:
                return

    def _took(self, tended: Tended) -> None:
        self._newest = tended
        self._dropped.update(tended.dropped)
        self._thinned += tended.thinned
        self._forgotten += tended.forgotten
        self._freed += tended.freed_bytes
        self._untold.update({f"captures ({worth.word})": count for worth, count in tended.dropped.items()})
        self._untold.update({"readings thinned": tended.thinned, "journal entries": tended.forgotten})
        if +self._untold and tended.is_done and self._clock.elapsed() - self._told_at >= TOLD_EVERY_S:
            what = ", ".join(f"{count} {word}" for word, count in sorted((+self._untold).items()))
            log.info("went by age or for want of room: %s; store %.1f MB of %.1f MB", what, *self._megabytes(tended))
            self._untold.clear()
            self._told_at = self._clock.elapsed()
        if (tended.short_bytes > 0) is not self._is_short:
            self._is_short = tended.short_bytes > 0
            if self._is_short:
                text = "the store is %.1f MB beyond its budget and nothing in it may go: kept for upstreams, or the journal"
                log.warning(text, tended.short_bytes / 1e6)

    @staticmethod
    def _megabytes(tended: Tended) -> tuple[float, float]:
        return tended.used_bytes / 1e6, tended.budget_bytes / 1e6
