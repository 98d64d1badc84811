"""What the broker in memory does beyond what every link does (`tests/conformance/test_link.py`)."""

import pytest

from edgemon.clock import ManualClock
from edgemon.errors import LinkRefused
from edgemon.model.outgoing import Outgoing
from edgemon.mqtt.memory import MemoryBroker, MemoryLink


async def test_it_shows_what_was_published_and_what_is_retained() -> None:
    link = MemoryLink(ManualClock())
    await link.start()
    await link.publish(Outgoing("a", b"1", retain=True))
    await link.publish(Outgoing("a", b"2", retain=False))
    assert link.published == [Outgoing("a", b"1", True), Outgoing("a", b"2", False)]
    assert link.retained == {"a": b"1"}


async def test_an_empty_retained_message_takes_the_old_one_away() -> None:
    """MQTT 5.0 section 3.3.1.3."""
    link = MemoryLink(ManualClock())
    await link.start()
    await link.publish(Outgoing("a", b"1", retain=True))
    await link.publish(Outgoing("a", b"", retain=True))
    assert link.retained == {}


async def test_two_links_of_one_broker_hear_each_other() -> None:
    broker = MemoryBroker()
    one, other = (MemoryLink(ManualClock(), ["to/#"], broker, client_id=name) for name in ("one", "other"))
    await one.start()
    await other.start()
    await one.publish(Outgoing("to/all", b"x", retain=False))
    for link in (one, other):
        (delivery,) = await link.receive(10)
        assert delivery.message.payload == b"x"
        assert broker.unacknowledged("one") or link is other
        link.acknowledge([delivery])
    assert broker.unacknowledged("one") == broker.unacknowledged("other") == []


async def test_a_second_link_with_the_same_id_takes_the_session() -> None:
    broker = MemoryBroker()
    one, other = (MemoryLink(ManualClock(), ["a"], broker, client_id="same") for _ in range(2))
    await one.start()
    one.inject("a", b"x")
    await other.start()
    assert not one.status.up
    assert "same client id" in one.status.detail
    assert [delivery.message.payload for delivery in await other.receive(10)] == [b"x"]


async def test_messages_are_stamped_with_the_clock_given() -> None:
    clock = ManualClock(1000.0)
    link = MemoryLink(clock, ["a"])
    await link.start()
    await clock.advance(5.0)
    link.inject("a", b"x")
    (delivery,) = await link.receive(1)
    assert delivery.message.received_at == 1005.0


async def test_a_broker_that_forgot_its_sessions_sends_nothing_again() -> None:
    link = MemoryLink(ManualClock(), ["a"])
    await link.start()
    link.inject("a", b"x")
    await link.receive(1)
    link.drop()
    link.broker.forget_sessions()
    link.restore()
    assert link.status.waiting == 0


async def test_it_refuses_while_told_to() -> None:
    link = MemoryLink(ManualClock())
    await link.start()
    link.refuse_publish = "quota"
    with pytest.raises(LinkRefused, match="a: quota"):
        await link.publish(Outgoing("a", b"", retain=False))
    link.refuse_publish = None
    await link.publish(Outgoing("a", b"", retain=False))
    assert len(link.published) == 1
