"""The way upstream: a task of its own for each, which sends what is stored in turns and in order; nobody waits for it."""

import asyncio
import logging
import random
from collections.abc import Callable, Sequence
from dataclasses import replace

from edgemon.clock import Clock
from edgemon.errors import EdgemonError, LinkDown
from edgemon.model.instant import Duration, Instant
from edgemon.model.upstream import Item, Source, Upstream, UpstreamView
from edgemon.store.outbox import Outbox
from edgemon.upstream import plan
from edgemon.upstream.overlap import Overlap
from edgemon.upstream.port import Refused, Transport

IDLE_S = 0.25
"""How often the store is asked for more when nothing waits. House choice."""
LOOK_S = 2.0
"""How often what waits is counted. House choice."""

log = logging.getLogger(__name__)


class Upstreams:
    """All upstreams of one daemon.

    Parameters
    ----------
    feeders : sequence of Feeder
        One for each.
    clock : Clock
        Time.
    waiting : sequence of UpstreamView
        Those that nothing is sent to in this run.
    """

    def __init__(self, feeders: Sequence["Feeder"], clock: Clock, waiting: Sequence[UpstreamView] = ()) -> None:
        self._feeders = feeders
        self._clock = clock
        self._views = (*waiting, *(feeder.first for feeder in feeders))

    def views(self) -> tuple[UpstreamView, ...]:
        """Show how each stood a moment ago."""
        return self._views

    async def run(self) -> None:
        """Send and count for ever; without upstreams there is nothing to do."""
        async with asyncio.TaskGroup() as group:
            for feeder in self._feeders:
                group.create_task(feeder.run(), name=f"upstream {feeder.first.name}")
            if self._feeders:
                group.create_task(self._look(), name="upstream views")

    async def _look(self) -> None:
        while True:
            try:
                self._views = tuple([await feeder.view() for feeder in self._feeders])
            except EdgemonError as error:  # the store tells of its troubles elsewhere
                log.debug("what waits upstream is not known: %s", error)
            await self._clock.sleep(LOOK_S)


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
        self._last_behind: Source | None = None
        self._overlap = Overlap(upstream.overlap_s)
        self._turn = 0
        """Of trying once more what was refused."""
        self._server = ""
        self._asked_at: Duration = 0.0
        self._answered_at: Duration = 0.0
        """The last answer was given between the two."""
        self._up = False
        self._detail = "not connected yet"
        self._sent = 0
        self._sent_at: Instant | None = None

    @property
    def first(self) -> UpstreamView:
        """Show it before it is known how it stands."""
        return UpstreamView(self._upstream.name, self._upstream.kind, False, self._detail)

    async def view(self) -> UpstreamView:
        """Show how it stands."""
        one = self._upstream
        depth = await self._outbox.depth(one.name, one.what, self._overlap.confirmed)
        counts = (depth.waiting, depth.oldest, depth.parked, self._sent, self._sent_at)
        return UpstreamView(one.name, one.kind, self._up, self._detail, *counts)

    async def run(self) -> None:
        """Send for ever."""
        failures = 0
        try:
            while True:
                try:
                    while True:
                        await self._transport.connect()  # a lost one is noticed with nothing to send, too
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
        """Send a batch each of what is to be tried once more, of what comes next and of what was overtaken; gives how many.

        Raises
        ------
        LinkDown
            The server is away; nothing is noted as sent that it did not confirm.
        StoreError
            And its kinds.
        """
        await self._is_another()
        sent = await self._once_more() + await self._next() + (await self._overtaken() if self._upstream.newest_first else 0)
        if self._overlap.is_due(self._clock.elapsed()):
            await self._settle(is_heard=sent > 0)
        return sent

    async def _once_more(self) -> int:
        name = self._upstream.name
        if not (again := await self._outbox.again(name, self._upstream.batch)):
            return 0
        refused = await self._send(again)
        bad = {item.key for item, _ in refused}
        taken = [item for item in again if item.key not in bad]
        if await self._is_another():
            taken = []
        elif taken and self._upstream.overlap_s:
            self._turn += 1
            self._overlap.retried.add(self._turn, self._answered_at)
        await self._outbox.retried(name, taken, refused, self._clock.now(), self._turn)
        return len(again)

    async def _next(self) -> int:
        one = self._upstream
        for source in plan.turns(one.what, self._last):
            if items := await self._outbox.ahead(one.name, source, one.batch, self._overlap.confirmed.get(source, 0)):
                self._last = source
                refused = await self._send(items)
                if not await self._is_another():
                    self._overlap.of(source).add(items[-1].position, self._answered_at)
                settled = self._overlap.of(source).settle(self._asked_at)
                await self._outbox.done(one.name, source, settled, refused, self._clock.now())
                if one.newest_first:
                    await self._overtake(source)
                return len(items)
        return 0

    async def _overtake(self, source: Source) -> None:
        """Let what comes next overtake what waits, just after a confirmation: none of that is at the far end already."""
        one = self._upstream
        if await self._outbox.overtake(one.name, source, plan.OVERTAKEN_BATCHES * one.batch):
            log.info("upstream %s: what comes now overtakes the %s that wait", one.name, source)

    async def _settle(self, is_heard: bool) -> None:
        """Note as sent what was confirmed long enough ago by a server that still answers; one not heard now is asked."""
        if not is_heard:
            await self._ask(())
        if await self._is_another():
            return
        name, at = self._upstream.name, self._asked_at
        for source in self._overlap.due(at):
            await self._outbox.done(name, source, self._overlap.of(source).settle(at), (), self._clock.now())
        if turn := self._overlap.retried.settle(at):
            await self._outbox.stays(name, turn)

    async def _is_another(self) -> bool:
        """Say whether another server answers than before; then all that is not noted as sent is sent to it once more."""
        known, answers = self._server, self._transport.server
        if known in ("", answers):
            self._server = answers
            return False
        await self._outbox.take_back(self._upstream.name)
        self._server = answers
        if self._overlap.forget():
            log.warning("upstream %s: %s answers, not %s; what it may lack is sent again", self._upstream.name, answers, known)
        return True

    async def _overtaken(self) -> int:
        one = self._upstream
        for source in plan.turns(await self._outbox.stretches(one.name), self._last_behind):
            self._last_behind = source
            items = [replace(item, late=True) for item in await self._outbox.behind(one.name, source, one.batch)]
            refused = await self._send(items) if items else []
            await self._outbox.caught_up(one.name, source, items, refused, self._clock.now())
            return len(items)
        return 0

    async def _send(self, items: Sequence[Item]) -> list[tuple[Item, str]]:
        refused = await self._ask(items)
        self._sent += len(items) - len(refused)
        self._sent_at = self._clock.now()
        for one in refused:
            log.warning("upstream %s refused %s, parked: %s", self._upstream.name, one.item.key, one.why)
        return [(one.item, one.why) for one in refused]

    async def _ask(self, items: Sequence[Item]) -> tuple[Refused, ...]:
        asked_at = self._clock.elapsed()
        refused = await self._transport.send(items)
        self._asked_at, self._answered_at = asked_at, self._clock.elapsed()
        return refused

    def _tell(self, error: Exception) -> None:
        if self._up or self._detail != str(error):
            log.warning("upstream %s: %s", self._upstream.name, error, exc_info=not isinstance(error, EdgemonError))
        self._up, self._detail = False, str(error) if isinstance(error, LinkDown) else f"{type(error).__name__}: {error}"
