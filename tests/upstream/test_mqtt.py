"""The transport over MQTT on a link of the test's own: order, what a refusal becomes, what a lost link becomes."""

from dataclasses import dataclass, field

import pytest

from edgemon.clock import SystemClock
from edgemon.errors import LinkDown, LinkRefused, LinkUnwilling
from edgemon.model.outgoing import Outgoing
from edgemon.model.upstream import Item, Source
from edgemon.upstream.mqtt import MqttTransport


@dataclass
class State:
    up: bool
    detail: str


@dataclass
class Link:
    """Takes what it is told to take."""

    errors: dict[str, Exception] = field(default_factory=dict)
    comes_up: bool = True
    status: State = field(default_factory=lambda: State(False, "no route to the broker"))
    taken: list[Outgoing] = field(default_factory=list)

    async def start(self) -> None:
        self.status = State(self.comes_up, self.status.detail)

    async def stop(self) -> None:
        self.status = State(False, "stopped")

    async def publish(self, outgoing: Outgoing) -> None:
        if outgoing.topic in self.errors:
            raise self.errors[outgoing.topic]
        self.taken.append(outgoing)


def item(subject: str, source: Source = Source.READINGS) -> Item:
    return Item(source, 1, f"saltmarsh/gateway-1/{source}/{subject}", subject, 0.0, False, b"{}")


ROOT = "plants/saltmarsh/gateway-1"
ITEMS = (item("hp-pump-1/motor-de-h"), item("s-0001", Source.CAPTURES), item("journal", Source.JOURNAL))
TOPICS = [f"{ROOT}/readings/hp-pump-1/motor-de-h", f"{ROOT}/captures/s-0001", f"{ROOT}/journal"]


async def test_items_are_published_in_order_each_on_its_topic() -> None:
    link = Link()
    transport = MqttTransport(link, "plants", SystemClock())
    await transport.connect()
    assert await transport.send(ITEMS) == ()
    assert [one.topic for one in link.taken] == TOPICS
    assert not any(one.retain for one in link.taken)


async def test_what_is_never_taken_stands_aside() -> None:
    link = Link({TOPICS[1]: LinkRefused("the packet is larger than the broker accepts")})
    refused = await MqttTransport(link, "plants", SystemClock()).send(ITEMS)
    assert [(one.item, one.why) for one in refused] == [(ITEMS[1], "the packet is larger than the broker accepts")]
    assert [one.topic for one in link.taken] == [TOPICS[0], TOPICS[2]]


@pytest.mark.parametrize("error", [LinkDown("gone"), LinkUnwilling("not authorised")])
async def test_what_may_be_taken_later_holds_all_back(error: Exception) -> None:
    with pytest.raises(LinkDown, match=str(error)):
        await MqttTransport(Link({TOPICS[1]: error}), "plants", SystemClock()).send(ITEMS)


async def test_a_link_that_does_not_come_up_says_why() -> None:
    with pytest.raises(LinkDown, match="no route"):
        await MqttTransport(Link(comes_up=False), "plants", SystemClock(), 0.1).connect()


async def test_a_link_that_was_up_and_is_lost_is_told_at_once_and_made_anew_after_it_was_let_go() -> None:
    link = Link()
    transport = MqttTransport(link, "plants", SystemClock())
    await transport.connect()
    link.status = State(False, "the broker closed the connection")
    with pytest.raises(LinkDown, match="closed"):
        await transport.send(ITEMS)
    await transport.close()
    await transport.send(ITEMS)
    assert len(link.taken) == len(ITEMS)
