"""The second connection: there only while the store fails, hears what the first one may not, acknowledges nothing of it."""

import asyncio

from edgemon.clock import ManualClock
from edgemon.daemon.watching import EPOCH, Watching, watcher
from edgemon.model.gateway import Broker
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt.memory import MemoryBroker, MemoryLink
from edgemon.mqtt.port import Delivery


def test_it_has_a_client_id_of_its_own_and_no_queue_that_outlives_it() -> None:
    own = Broker("127.0.0.1", 1883, client_id="edgemon0123456789abcdef", username="gateway")
    other = watcher(own)
    assert other.client_id != own.client_id
    assert len(other.client_id) <= 23, "what every broker must accept; MQTT 5.0 section 3.1.3.1"
    assert (other.session_expiry_s, other.username, other.port) == (0, "gateway", 1883)
    assert watcher(own) == other, "the same at every outage"


async def test_it_is_there_only_while_it_is_needed() -> None:
    broker, clock = MemoryBroker(), ManualClock()
    first = MemoryLink(clock, ("a/#",), broker)
    await first.start()
    made: list[MemoryLink] = []
    heard: list[Delivery] = []
    needed = [False]

    def make() -> MemoryLink:
        made.append(MemoryLink(clock, ("a/#",), broker, client_id="watch"))
        return made[-1]

    async def put(deliveries: list[Delivery]) -> None:
        heard.extend(deliveries)

    task = asyncio.create_task(Watching(make, put, lambda: needed[0], clock, 32).run())
    await asyncio.sleep(0)
    await clock.advance(10.0)
    broker.publish(Outgoing("a/1", b"before", retain=False))
    assert (made, heard) == ([], [])
    needed[0] = True
    await clock.advance(2.0)
    for number in range(40):
        broker.publish(Outgoing("a/1", str(number).encode(), retain=False))
    await clock.advance(1.0)
    assert [one.message.payload for one in heard] == [str(number).encode() for number in range(40)]
    assert {one.epoch for one in heard} == {EPOCH}
    first.acknowledge(heard)
    assert len(broker.unacknowledged("memory")) == 41, "what the gateway is to keep still waits in its own session"
    assert broker.unacknowledged("watch") == []
    needed[0] = False
    await clock.advance(2.0)
    assert not made[0].status.up
    broker.publish(Outgoing("a/1", b"after", retain=False))
    await clock.advance(2.0)
    assert len(heard) == 40
    needed[0] = True
    await clock.advance(2.0)
    assert len(made) == 2, "another outage, another connection"
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    assert not made[1].status.up
