"""MQTT to a plant's or a company's broker: one message an item, QoS 1; whoever subscribes knows repeats by the key in it."""

import asyncio
from collections.abc import Sequence
from typing import Protocol

from edgemon.clock import Clock
from edgemon.errors import LinkDown, LinkRefused, LinkUnwilling
from edgemon.model.instant import Duration
from edgemon.model.outgoing import Outgoing
from edgemon.model.upstream import Item
from edgemon.upstream.port import Refused

ANSWER_WAIT_S: Duration = 30.0
"""House choice."""
_POLL_S: Duration = 0.05


class Status(Protocol):
    """How a link is."""

    @property
    def up(self) -> bool:
        """Say whether it can publish."""
        ...

    @property
    def detail(self) -> str:
        """Say why not."""
        ...


class Link(Protocol):
    """What is asked of a link to a broker; the house's own MQTT link does all of it."""

    @property
    def status(self) -> Status:
        """How it is now."""
        ...

    async def start(self) -> None:
        """Begin to connect."""
        ...

    async def stop(self) -> None:
        """Disconnect in order."""
        ...

    async def publish(self, outgoing: Outgoing) -> None:
        """Hand one message over and wait until the broker has it. Raises `LinkDown`, `LinkRefused`."""
        ...


class MqttTransport:
    """Fulfils `port.Transport` on a link.

    Parameters
    ----------
    link : Link
        Publishes with QoS 1, in the order in which it is asked.
    into : str
        First levels of the topics: `<into>/<site>/<gateway>/<what>/<machine>/<point>`, `.../<what>/<sensor>`, `.../journal`.
    clock : Clock
        Waits for the connection.
    answer_wait_s : Duration
        How long connecting may take, and the broker to acknowledge a batch.
    """

    def __init__(self, link: Link, into: str, clock: Clock, answer_wait_s: Duration = ANSWER_WAIT_S) -> None:
        self._link = link
        self._into = into
        self._clock = clock
        self._wait_s = answer_wait_s
        self._was_up = False

    @property
    def server(self) -> str:
        """The broker: what a cluster of brokers does among its members is its own affair."""
        return self._into

    async def connect(self) -> None:
        """Connect, or do nothing if connected; a link that was up and is not is told at once."""
        if self._link.status.up:
            return
        if self._was_up:
            raise LinkDown(self._link.status.detail)
        await self._link.start()
        until = self._clock.elapsed() + self._wait_s
        while not self._is_up():
            if self._clock.elapsed() > until:
                raise LinkDown(self._link.status.detail)
            await self._clock.sleep(_POLL_S)
        self._was_up = True

    async def send(self, items: Sequence[Item]) -> tuple[Refused, ...]:
        """Publish in order and wait for every PUBACK."""
        await self.connect()
        publishing = [asyncio.ensure_future(self._publish(item)) for item in items]
        try:
            async with asyncio.timeout(self._wait_s):
                said = await asyncio.gather(*publishing)
        except TimeoutError as error:
            raise LinkDown(f"the broker did not take a batch within {self._wait_s:g} s") from error
        finally:
            for one in publishing:
                one.cancel()
            await asyncio.gather(*publishing, return_exceptions=True)
        return tuple(Refused(item, why) for item, why in zip(items, said, strict=True) if why)

    async def close(self) -> None:
        """Disconnect."""
        self._was_up = False
        await self._link.stop()

    def _is_up(self) -> bool:
        return self._link.status.up

    async def _publish(self, item: Item) -> str:
        site, gateway = item.key.split("/")[:2]
        what = item.source if item.subject == item.source else f"{item.source}/{item.subject}"
        try:
            await self._link.publish(Outgoing(f"{self._into}/{site}/{gateway}/{what}", item.body, False))
        except LinkUnwilling as error:
            raise LinkDown(error.what, error.where, "rights or quota at the broker; what waits is kept") from error
        except LinkRefused as error:
            return error.what
        return ""
