"""The MQTT link: makes one connection after the other, until stopped."""

import asyncio
import logging
import random
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any

from edgemon.clock import Clock
from edgemon.errors import LinkDown, LinkError, ParameterError
from edgemon.model.gateway import Broker, Protocol
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt import plan
from edgemon.mqtt.inbox import Inbox
from edgemon.mqtt.paho_connection import Connection
from edgemon.mqtt.paho_setup import Terms, address
from edgemon.mqtt.port import Delivery, LinkStatus

_log = logging.getLogger(__name__)

WILL_DELAY_S = 5
"""The broker tells of our death only if we are not back by then (MQTT 5); a first reconnect takes a second or two."""


def no_birth() -> Sequence[Outgoing]:
    """Publish nothing on connecting."""
    return ()


class PahoLink:
    """A link to a real broker; implements `Link`.

    Parameters
    ----------
    broker : Broker
        Where and how; `client_id` must be set, and the same at every start, or the broker's queue for us is lost.
    clock : Clock
        Time.
    subscriptions : sequence of str
        Topic filters, each subscribed with QoS 1 at every connection.
    will : Outgoing, optional
        What the broker publishes if the link dies; published by ourselves when the link is stopped in order.
    birth : callable
        Gives what to publish after every connection.
    chance : callable
        Random numbers from 0 to 1 for the waits.
    will_delay_s : int
        How long the broker waits with the will (MQTT 5), seconds.

    Raises
    ------
    ParameterError
        No client id, or no host.
    """

    def __init__(
        self,
        broker: Broker,
        clock: Clock,
        subscriptions: Sequence[str],
        will: Outgoing | None = None,
        birth: Callable[[], Sequence[Outgoing]] = no_birth,
        *,
        chance: Callable[[], float] = random.random,
        will_delay_s: int = WILL_DELAY_S,
    ) -> None:
        if not broker.client_id:
            raise ParameterError("the link needs a client id", "broker.client_id")
        if not broker.host:
            raise ParameterError("the link needs a host; give the embedded broker's address", "broker.host")
        self._terms = Terms(broker, broker.protocol, tuple(subscriptions), will, will_delay_s)
        self._clock = clock
        self._birth = birth
        self._chance = chance
        self._inbox = Inbox(broker.queue)
        self._connection: Connection | None = None
        self._epoch = 0
        self._connections = 0
        self._failures = 0
        self._lasted_s: list[float] = []
        self._stopping = False
        self._task: asyncio.Task[None] | None = None
        self._leaving: asyncio.Task[None] | None = None
        self._status = LinkStatus(False, "not started", clock.now(), 0, 0)

    @property
    def status(self) -> LinkStatus:
        """How the link is now."""
        return replace(self._status, waiting=len(self._inbox), connections=self._connections)

    async def start(self) -> None:
        """Begin to connect; returns at once."""
        if self._task is None:
            self._stopping = False
            self._task = asyncio.create_task(self._run(), name="mqtt link")

    async def stop(self) -> None:
        """Publish the will and what is under way (briefly), disconnect in order."""
        self._stopping = True
        if self._connection is not None and self._status.up:
            farewell = asyncio.create_task(self._farewell(), name="mqtt farewell")
            await asyncio.wait([farewell])
        if self._task is not None:
            self._task.cancel()
            await asyncio.wait([self._task])
            self._task = None
        self._tell(False, "stopped")

    async def receive(self, at_most: int) -> list[Delivery]:
        """Wait for a message, then take all that have come, up to `at_most`."""
        taken = await self._inbox.take(at_most)
        if self._connection is not None and self._inbox.is_low:
            self._connection.resume()
        return taken

    def acknowledge(self, deliveries: Sequence[Delivery]) -> None:
        """Acknowledge to the broker; deliveries of an earlier connection are left to come again."""
        connection = self._connection
        if connection is None:
            return
        for delivery in deliveries:
            if delivery.qos > 0 and delivery.epoch == connection.epoch:
                connection.acknowledge(delivery.packet_id, delivery.qos)

    async def renew(self, why: str) -> None:
        """End this connection in order and make another: what is not acknowledged comes again."""
        connection = self._connection
        if connection is not None and self._status.up:
            self._leaving = asyncio.create_task(connection.leave(why), name="mqtt renewal")

    async def publish(self, outgoing: Outgoing) -> None:
        """Hand to the broker and wait until it has it (QoS 1).

        Raises
        ------
        LinkDown
            The link is or goes down; the broker may have it all the same.
        LinkRefused
            The broker does not take this message; it will not take it later either.
        ParameterError
            Not a topic.
        """
        connection = self._connection
        if connection is None or not self._status.up:
            raise LinkDown(self._status.detail)
        await connection.publish(outgoing)

    # ---- the one task

    async def _run(self) -> None:
        while True:
            began = self._clock.elapsed()
            try:
                why = await self._connect_once()
            except Exception as error:
                # Nothing here may end the link for good.
                _log.exception("the MQTT link to %s failed in a way not foreseen", address(self._terms.broker))
                why = f"failed: {type(error).__name__}"
            lasted_s = self._clock.elapsed() - began
            if self._stopping:
                return
            self._tell(False, f"no link to {address(self._terms.broker)}: {self._explain(why)}")
            self._failures = plan.failures_after(self._failures, lasted_s)
            await self._clock.sleep(plan.reconnect_delay(self._failures, self._chance()))

    async def _connect_once(self) -> str:
        self._epoch += 1
        # Set before it is up: what is redelivered comes, and may be acknowledged, before the subscriptions are confirmed.
        self._connection = connection = Connection(self._terms, self._epoch, self._inbox, self._clock)
        ticking = asyncio.create_task(self._tick(connection), name="mqtt ticks")
        try:
            await connection.open()
            either: list[asyncio.Future[Any]] = [connection.ready, connection.over]
            await asyncio.wait(either, return_when=asyncio.FIRST_COMPLETED)
            if not connection.over.done():
                await self._serve(connection)
        finally:
            self._connection = None
            ticking.cancel()
            connection.end("stopped")
        if connection.unsupported and self._terms.protocol is Protocol.V5:
            _log.warning("%s does not speak MQTT 5; using 3.1.1 from now on", address(self._terms.broker))
            self._terms = replace(self._terms, protocol=Protocol.V311)
        return connection.over.result()

    async def _serve(self, connection: Connection) -> None:
        began = self._clock.elapsed()
        self._connections += 1
        self._tell(True, f"connected to {address(self._terms.broker)} with MQTT {self._terms.protocol}")
        try:
            for outgoing in self._birth():
                await connection.publish(outgoing)
        except Exception as error:
            # The link is worth keeping even if nobody hears of it.
            _log.warning("not announced on connecting: %s", error, exc_info=not isinstance(error, LinkError))
        await asyncio.wait([connection.over])
        self._lasted_s = [*self._lasted_s, self._clock.elapsed() - began][-plan.FIGHT :]

    async def _tick(self, connection: Connection) -> None:
        while True:
            await self._clock.sleep(min(1.0, self._terms.broker.keepalive_s / 4))
            connection.tick()

    async def _farewell(self) -> None:
        connection = self._connection
        if connection is None:
            return
        if self._terms.will is not None:
            with suppress(LinkError):
                await connection.publish(self._terms.will)
        await connection.leave()

    # ---- telling

    def _explain(self, why: str) -> str:
        if plan.is_fight(self._lasted_s) and "client id" not in why:
            return f"{why}; again and again, so perhaps another client uses the client id {self._terms.broker.client_id}"
        return why

    def _tell(self, up: bool, detail: str) -> None:
        if (up, detail) == (self._status.up, self._status.detail):
            return
        _log.log(logging.INFO if up or self._stopping else logging.WARNING, "%s", detail)
        since = self._status.since if up == self._status.up else self._clock.now()
        self._status = LinkStatus(up, detail, since, 0, 0)
