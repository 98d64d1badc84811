"""One upstream's own task: what is stored goes out, in turns and in order; nobody waits for it."""

import logging
import random
from collections.abc import Callable

from edgemon.clock import Clock
from edgemon.errors import EdgemonError, LinkDown
from edgemon.model.instant import Instant
from edgemon.model.upstream import Source, Upstream, UpstreamView
from edgemon.store.outbox import Outbox
from edgemon.upstream import plan
from edgemon.upstream.port import Transport

IDLE_S = 0.25
"""How often the store is asked for more when nothing waits. House choice."""

log = logging.getLogger(__name__)


class Feeder:
    """Sends what one upstream wants; `run` ends only when cancelled."""

    def __init__(
        self,
        upstream: Upstream,
        outbox: Outbox,
        transport: Transport,
        clock: Clock,
        chance: Callable[[], float] = random.random,
    ) -> None:
        self._upstream = upstream
        self._outbox = outbox
        self._transport = transport
        self._clock = clock
        self._chance = chance
        self._last: Source | None = None
        self._up = False
        self._detail = "not connected yet"
        self._sent = 0
        self._sent_at: Instant | None = None

    async def view(self) -> UpstreamView:
        """Show how it stands."""
        one, depth = self._upstream, await self._outbox.depth(self._upstream.name, self._upstream.what)
        counts = (depth.waiting, depth.oldest, depth.parked, self._sent, self._sent_at)
        return UpstreamView(one.name, one.kind, self._up, self._detail, *counts)

    async def run(self) -> None:
        """Send for ever."""
        failures = 0
        try:
            while True:
                try:
                    await self._transport.connect()
                    while True:
                        began = self._clock.elapsed()
                        sent = await self.step()
                        failures, self._up, self._detail = 0, True, "connected"
                        pause = plan.rest(sent, self._clock.elapsed() - began, self._upstream.per_second)
                        await self._clock.sleep(pause if sent else IDLE_S)
                except Exception as error:  # nothing here may end an upstream for good, or touch another
                    failures += 1
                    self._tell(error)
                    await self._transport.close()
                    await self._clock.sleep(plan.back_off(failures, self._chance()))
        finally:
            await self._transport.close()

    async def step(self) -> int:
        """Send one batch; gives how many items it had. Raises `LinkDown`, `StoreError` and its kinds."""
        name = self._upstream.name
        if again := await self._outbox.again(name, self._upstream.batch):
            refused = await self._transport.send(again)
            bad = {one.item.key for one in refused}
            taken = [item for item in again if item.key not in bad]
            await self._outbox.retried(name, taken, [(one.item, one.why) for one in refused], self._clock.now())
            return self._count(len(again))
        for source in plan.turns(self._upstream.what, self._last):
            if items := await self._outbox.ahead(name, source, self._upstream.batch):
                self._last = source
                refused = await self._transport.send(items)
                said = [(one.item, one.why) for one in refused]
                await self._outbox.done(name, source, items[-1].position, said, self._clock.now())
                return self._count(len(items))
        return 0

    def _count(self, sent: int) -> int:
        self._sent += sent
        self._sent_at = self._clock.now()
        return sent

    def _tell(self, error: Exception) -> None:
        if self._up or self._detail != str(error):
            log.warning("upstream %s: %s", self._upstream.name, error, exc_info=not isinstance(error, EdgemonError))
        self._up, self._detail = False, str(error) if isinstance(error, LinkDown) else f"{type(error).__name__}: {error}"
