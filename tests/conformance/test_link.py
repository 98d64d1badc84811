"""What every `Link` does, asked of the one in memory and of the real one through a real broker."""

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Protocol as Shape

import pytest

from edgemon.clock import ManualClock, SystemClock
from edgemon.errors import LinkDown, ParameterError
from edgemon.model.gateway import Broker, Protocol
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt.memory import MemoryBroker, MemoryLink
from edgemon.mqtt.paho_client import PahoLink
from edgemon.mqtt.port import Delivery, Link
from tests.support.bare_client import BareClient
from tests.support.broker import Cable, Mosquitto, until

WILL = Outgoing("root/gateway", b"offline", retain=True)
BIRTH = Outgoing("root/gateway", b"online", retain=True)


class Rig(Shape):
    """A link, its broker, and the cable between them."""

    link: Link

    async def inject(self, topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> None:
        """Publish as a sensor would."""
        ...

    async def drop(self) -> None:
        """Cut the cable; returns when the link has noticed."""
        ...

    async def restore(self) -> None:
        """Mend the cable; returns when the link is up."""
        ...

    async def retained(self, topic: str) -> bytes:
        """Wait for what a new subscriber gets."""
        ...


class MemoryRig:
    def __init__(self, subscriptions: Sequence[str]) -> None:
        self._broker = MemoryBroker()
        clock = ManualClock()
        self.memory_link = MemoryLink(clock, subscriptions, self._broker, will=WILL, birth=lambda: [BIRTH])
        self.link: Link = self.memory_link

    async def inject(self, topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> None:
        self.memory_link.inject(topic, payload, qos=qos, retain=retain)

    async def drop(self) -> None:
        self.memory_link.drop()

    async def restore(self) -> None:
        self.memory_link.restore()

    async def retained(self, topic: str) -> bytes:
        return self._broker.retained[topic].payload


class PahoRig:
    def __init__(self, link: PahoLink, cable: Cable, broker: Mosquitto, hand: BareClient) -> None:
        self.link: Link = link
        self._cable = cable
        self._broker = broker
        self._hand = hand

    async def inject(self, topic: str, payload: bytes, qos: int = 1, retain: bool = False) -> None:
        await asyncio.to_thread(self._hand.publish, topic, payload, qos, retain)

    async def drop(self) -> None:
        await self._cable.pull()
        await until(lambda: not self.link.status.up)

    async def restore(self) -> None:
        await self._cable.plug()
        await until(lambda: self.link.status.up)

    async def retained(self, topic: str) -> bytes:
        def look() -> bytes:
            with BareClient(self._broker.port, topic, "witness") as witness:
                return witness.wait_for(1)[0][1]

        return await asyncio.to_thread(look)


async def make_rig(kind: str, subscriptions: Sequence[str], folder: Path, stack: AsyncExitStack) -> Rig:
    if kind == "memory":
        return MemoryRig(subscriptions)
    broker = stack.enter_context(Mosquitto(folder))
    cable = Cable(broker.port)
    await cable.plug()
    stack.push_async_callback(cable.pull)
    hand = stack.enter_context(BareClient(broker.port))
    terms = Broker(broker.host, cable.port, Protocol(kind), client_id="edgemontest", keepalive_s=5)
    link = PahoLink(terms, SystemClock(), subscriptions, will=WILL, birth=lambda: [BIRTH], chance=lambda: 0.05, will_delay_s=0)
    stack.push_async_callback(link.stop)
    return PahoRig(link, cable, broker, hand)


@pytest.fixture(
    params=["memory", pytest.param("5", marks=pytest.mark.live), pytest.param("3.1.1", marks=pytest.mark.live)],
    ids=["memory", "mqtt-5", "mqtt-3.1.1"],
)
async def rig(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Rig]:
    async with AsyncExitStack() as stack:
        yield await make_rig(request.param, ["root/sensor/+/reading", "root/deep/#"], tmp_path, stack)


async def begin(rig: Rig) -> Link:
    await rig.link.start()
    await until(lambda: rig.link.status.up)
    return rig.link


async def take(link: Link, count: int) -> list[Delivery]:
    """Receive until there are so many; a link that gives none makes it fail in time."""
    taken: list[Delivery] = []
    async with asyncio.timeout(10.0):
        while len(taken) < count:
            taken += await link.receive(count - len(taken))
    return taken


async def barrier(link: Link) -> None:
    """Return when the broker has all we sent so far: it answers in order."""
    await link.publish(Outgoing("root/barrier", b"", retain=False))


def payloads(deliveries: Sequence[Delivery]) -> list[bytes]:
    return [delivery.message.payload for delivery in deliveries]


async def test_messages_come_whole_and_in_order(rig: Rig) -> None:
    link = await begin(rig)
    sent = [bytes([number]) * number for number in range(40)]
    for number, payload in enumerate(sent):
        await rig.inject(f"root/sensor/s-{number % 3}/reading", payload)
        if number % 10 == 9:
            got = await take(link, 10)
            assert payloads(got) == sent[number - 9 : number + 1]
            assert [delivery.message.topic for delivery in got] == [
                f"root/sensor/s-{n % 3}/reading" for n in range(number - 9, number + 1)
            ]
            assert all(delivery.qos == 1 and not delivery.message.retained for delivery in got)
            link.acknowledge(got)


async def test_only_what_is_subscribed_comes(rig: Rig) -> None:
    link = await begin(rig)
    await rig.inject("root/sensor/s-1/schedule", b"not for us")
    await rig.inject("root/sensor/s-1/deeper/reading", b"nor this")
    await rig.inject("root/deep/a/b", b"this")
    assert payloads(await take(link, 1)) == [b"this"]
    assert link.status.waiting == 0


async def test_receive_takes_no_more_than_asked(rig: Rig) -> None:
    link = await begin(rig)
    for number in range(5):
        await rig.inject("root/deep/a", bytes([number]))
    await until(lambda: link.status.waiting == 5)
    assert payloads(await link.receive(3)) == [b"\0", b"\1", b"\2"]
    assert link.status.waiting == 2
    with pytest.raises(ParameterError):
        await link.receive(0)


async def test_what_was_not_acknowledged_comes_again_and_what_was_does_not(rig: Rig) -> None:
    link = await begin(rig)
    for number in range(6):
        await rig.inject("root/deep/a", bytes([number]))
    first = await take(link, 6)
    link.acknowledge(first[:2])
    await rig.inject("root/deep/a", b"\6")
    link.acknowledge(await take(link, 1))
    await rig.inject("root/deep/a", b"\7")
    again = await take(link, 1)
    await barrier(link)

    await rig.drop()
    await rig.restore()

    second = await take(link, 5)
    assert payloads(second) == [b"\2", b"\3", b"\4", b"\5", b"\7"]
    assert {delivery.epoch for delivery in second}.isdisjoint({delivery.epoch for delivery in first + again})
    link.acknowledge(second)
    await rig.inject("root/deep/a", b"last")
    assert payloads(await take(link, 1)) == [b"last"]


async def test_an_acknowledgement_of_an_earlier_connection_is_not_sent(rig: Rig) -> None:
    link = await begin(rig)
    for number in range(3):
        await rig.inject("root/deep/a", bytes([number]))
    old = await take(link, 3)
    await rig.drop()
    link.acknowledge(old)
    await rig.restore()
    assert payloads(await take(link, 3)) == payloads(old)

    link.acknowledge(old)  # packet ids that the broker would accept for whatever has them now
    await barrier(link)
    await rig.drop()
    await rig.restore()

    assert payloads(await take(link, 3)) == payloads(old)


async def test_messages_of_qos_0_need_no_acknowledgement(rig: Rig) -> None:
    link = await begin(rig)
    await rig.inject("root/deep/a", b"once", qos=0)
    got = await take(link, 1)
    assert [delivery.qos for delivery in got] == [0]
    link.acknowledge(got)
    await rig.drop()
    await rig.restore()
    await rig.inject("root/deep/a", b"next")
    assert payloads(await take(link, 1)) == [b"next"]


async def test_messages_sent_while_the_link_is_down_come_later(rig: Rig) -> None:
    link = await begin(rig)
    await rig.drop()
    for number in range(30):
        await rig.inject("root/deep/a", bytes([number]))
    await rig.restore()
    got: list[Delivery] = []
    while len(got) < 30:
        some = await take(link, 1)
        link.acknowledge(some)
        got += some
    assert payloads(got) == [bytes([number]) for number in range(30)]


async def test_retained_messages_say_so(rig: Rig) -> None:
    await rig.inject("root/deep/a", b"old", retain=True)
    link = await begin(rig)
    (delivery,) = await take(link, 1)
    assert delivery.message.retained
    assert delivery.message.payload == b"old"


async def test_what_is_published_retained_is_kept_by_the_broker(rig: Rig) -> None:
    link = await begin(rig)
    await link.publish(Outgoing("root/state/a", b"1", retain=True))
    await link.publish(Outgoing("root/state/a", b"2", retain=True))
    assert await rig.retained("root/state/a") == b"2"


async def test_what_is_published_comes_to_subscribers_including_ourselves(rig: Rig) -> None:
    link = await begin(rig)
    await asyncio.gather(*(link.publish(Outgoing("root/deep/out", bytes([n]), retain=False)) for n in range(50)))
    got: list[Delivery] = []
    while len(got) < 50:
        some = await take(link, 1)
        link.acknowledge(some)
        got += some
    assert payloads(got) == [bytes([n]) for n in range(50)]


async def test_publishing_while_down_fails_at_once(rig: Rig) -> None:
    with pytest.raises(LinkDown):
        await rig.link.publish(Outgoing("root/state/a", b"", retain=False))
    link = await begin(rig)
    await rig.drop()
    with pytest.raises(LinkDown):
        await link.publish(Outgoing("root/state/a", b"", retain=False))
    await rig.restore()
    await link.publish(Outgoing("root/state/a", b"", retain=False))


async def test_a_topic_nobody_may_publish_on_is_the_callers_mistake(rig: Rig) -> None:
    link = await begin(rig)
    for topic in ("root/#", "root/+/a", "", "root/\0"):
        with pytest.raises(ParameterError):
            await link.publish(Outgoing(topic, b"x", retain=False))
    await link.publish(Outgoing("root/fine", b"x", retain=False))
    assert link.status.connections == 1


async def test_birth_at_every_connection_and_will_after_every_loss(rig: Rig) -> None:
    await begin(rig)
    await comes_to_be(rig, "root/gateway", b"online")
    await rig.drop()
    await comes_to_be(rig, "root/gateway", b"offline")
    await rig.restore()
    await comes_to_be(rig, "root/gateway", b"online")


async def test_stopping_in_order_says_the_same_as_dying(rig: Rig) -> None:
    link = await begin(rig)
    await comes_to_be(rig, "root/gateway", b"online")
    await link.stop()
    assert await rig.retained("root/gateway") == b"offline"
    assert not link.status.up


async def test_a_stopped_link_starts_again_with_what_it_missed(rig: Rig) -> None:
    link = await begin(rig)
    await link.stop()
    await rig.inject("root/deep/a", b"meanwhile")
    await begin(rig)
    assert payloads(await take(link, 1)) == [b"meanwhile"]


async def test_the_status_tells(rig: Rig) -> None:
    assert not rig.link.status.up
    assert rig.link.status.connections == 0
    link = await begin(rig)
    up = link.status
    assert up.detail.startswith("connected to")
    assert up.connections == 1
    await rig.drop()
    down = link.status
    assert not down.up
    assert down.detail
    assert not down.detail.startswith("connected to")
    assert down.since >= up.since
    await rig.restore()
    assert link.status.connections == 2


async def comes_to_be(rig: Rig, topic: str, payload: bytes) -> None:
    async with asyncio.timeout(10.0):
        while True:  # each look takes a moment: it connects anew
            if await rig.retained(topic) == payload:
                return
