"""Hears the sensors on a second connection while the store fails, for without acknowledging the first one gets nothing more.

A broker sends only so much that is not acknowledged. So while nothing can be kept, a second client, whose session ends with its
connection, subscribes to the same topics; what it hears is judged and shown, and what the gateway is to keep still waits in the
gateway's own session.
"""

import asyncio
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import replace

from edgemon.clock import Clock
from edgemon.model.gateway import Broker
from edgemon.model.instant import Duration
from edgemon.mqtt.plan import client_id
from edgemon.mqtt.port import Delivery, Link

EPOCH = -1
"""Of deliveries heard so: no connection of the gateway's own has it, so they are never acknowledged there."""
PATIENCE_S: Duration = 1.0
"""A store that fails for less is not worth a connection."""


def watcher(broker: Broker) -> Broker:
    """Give the same broker for a client that only watches: an id of its own, and no queue that outlives its connection."""
    return replace(broker, client_id=client_id("watch", broker.client_id), session_expiry_s=0)


class Watching:
    """The second connection, while it is needed.

    Parameters
    ----------
    make : callable
        Makes the link, not started.
    put : callable
        Takes what was heard.
    is_needed : callable
        Asked every second.
    """

    def __init__(
        self,
        make: Callable[[], Link],
        put: Callable[[list[Delivery]], Awaitable[None]],
        is_needed: Callable[[], bool],
        clock: Clock,
        at_most: int,
    ) -> None:
        self._make = make
        self._put = put
        self._is_needed = is_needed
        self._clock = clock
        self._at_most = at_most

    async def run(self) -> None:
        """Watch whenever it is needed, for ever."""
        while True:
            await self._clock.sleep(PATIENCE_S)
            if not self._is_needed():
                continue
            link = self._make()
            await link.start()
            hearing = asyncio.create_task(self._hear(link), name="watching")
            try:
                while self._is_needed() and not hearing.done():
                    await self._clock.sleep(PATIENCE_S)
            finally:
                hearing.cancel()
                with suppress(asyncio.CancelledError):
                    await hearing
                await link.stop()

    async def _hear(self, link: Link) -> None:
        while True:
            heard = await link.receive(self._at_most)
            link.acknowledge(heard)
            await self._put([replace(one, epoch=EPOCH) for one in heard])
