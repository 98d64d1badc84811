"""The link against a real Mosquitto on loopback: what a plant does to it."""

import asyncio
import time
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from edgemon.clock import SystemClock
from edgemon.errors import LinkDown, LinkError, LinkRefused
from edgemon.model.gateway import Broker, Protocol
from edgemon.model.outgoing import Outgoing
from edgemon.model.secret import Secret
from edgemon.mqtt.embedded import EmbeddedBroker
from edgemon.mqtt.paho_client import PahoLink
from edgemon.mqtt.port import Delivery
from tests.support.bare_client import BareClient
from tests.support.broker import Cable, Mosquitto, until
from tests.support.certificates import make_ca, make_client, make_server

pytestmark = pytest.mark.live

BUSY_S = 10.0
"""How late a busy machine may be; what is bounded would else take for ever, or the minutes of TCP."""
BOTH = pytest.mark.parametrize("protocol", list(Protocol))


def terms(broker: Mosquitto, protocol: Protocol = Protocol.V5, *, keepalive_s: int = 5, queue: int = 512) -> Broker:
    return Broker(broker.host, broker.port, protocol, client_id="edgemontest", keepalive_s=keepalive_s, queue=queue)


@asynccontextmanager
async def linked(broker: Broker, subscriptions: Sequence[str] = ("in/#",), up: bool = True) -> AsyncIterator[PahoLink]:
    link = PahoLink(broker, SystemClock(), subscriptions, chance=lambda: 0.05, will_delay_s=0)
    await link.start()
    try:
        if up:
            await until(lambda: link.status.up)
        yield link
    finally:
        await link.stop()


async def take(link: PahoLink, count: int, acknowledge: bool = True) -> list[bytes]:
    taken: list[Delivery] = []
    async with asyncio.timeout(60.0):
        while len(taken) < count:
            some = await link.receive(count - len(taken))
            if acknowledge:
                link.acknowledge(some)
            taken += some
    return [delivery.message.payload for delivery in taken]


async def send(broker: Mosquitto, payloads: Sequence[bytes], qos: int = 1) -> None:
    def work() -> None:
        with BareClient(broker.port) as hand:
            hand.publish_all([("in/a", payload) for payload in payloads], qos)

    await asyncio.to_thread(work)


def numbered(count: int, first: int = 0) -> list[bytes]:
    return [f"{number:05d}".encode() for number in range(first, first + count)]


async def says(link: PahoLink, words: str, within_s: float = 60.0) -> str:
    """Wait until the link says so; what it says instead is in the failure."""
    deadline = time.monotonic() + within_s
    while words not in link.status.detail:
        assert time.monotonic() < deadline, link.status.detail
        await asyncio.sleep(0.01)
    assert not link.status.up
    return link.status.detail


# ---- who may connect


@BOTH
async def test_user_and_password_let_in(tmp_path: Path, protocol: Protocol) -> None:
    with Mosquitto(tmp_path, users={"gateway": "correct horse"}) as broker:
        good = replace(terms(broker, protocol), username="gateway", password=Secret("correct horse"))
        async with linked(good) as link:
            await link.publish(Outgoing("in/a", b"hello", retain=False))
            assert await take(link, 1) == [b"hello"]


@BOTH
async def test_a_wrong_password_is_told_in_words_and_not_shown(tmp_path: Path, protocol: Protocol) -> None:
    with Mosquitto(tmp_path, users={"gateway": "correct horse"}) as broker:
        bad = replace(terms(broker, protocol), username="gateway", password=Secret("wrong-horse"))
        async with linked(bad, up=False) as link:
            assert "wrong-horse" not in await says(link, "password")


async def test_tls_lets_in_with_the_right_ca(tmp_path: Path) -> None:
    ca = make_ca(tmp_path)
    with Mosquitto(tmp_path / "broker", server=make_server(tmp_path, ca)) as broker:
        async with linked(replace(terms(broker), tls=True, ca_file=ca.certificate)) as link:
            big = bytes(range(256)) * 1024  # more than a TLS record: what is decrypted and unread raises no readiness
            for _ in range(3):
                await link.publish(Outgoing("in/a", big, retain=False))
            assert await take(link, 3) == [big] * 3


async def test_what_tls_refuses_is_told_in_words(tmp_path: Path) -> None:
    ca, other = make_ca(tmp_path), make_ca(tmp_path, "other")
    tls = replace(Broker("", 0), tls=True, ca_file=ca.certificate)
    with (
        Mosquitto(tmp_path / "one", server=make_server(tmp_path, ca, hosts="IP:127.0.0.1")) as secure,
        Mosquitto(tmp_path / "two") as plain,
    ):
        right = replace(tls, host=secure.host, port=secure.port, client_id="a", keepalive_s=5)
        cases = [
            (replace(right, ca_file=other.certificate), "not signed by the CA"),
            (replace(right, ca_file=None), "not signed by the CA"),
            (replace(right, host="localhost"), "for another host name"),
            (replace(right, ca_file=tmp_path / "none.pem"), "none.pem: CA file cannot be read"),
            (replace(right, ca_file=ca.key), "no usable CA certificate"),
            (replace(right, certificate_file=ca.certificate, key_file=other.key), "not a usable client certificate"),
            (replace(right, tls=False), "TLS port"),
            (replace(right, port=plain.port), "TLS port"),
        ]
        for broker, words in cases:
            async with linked(broker, up=False) as link:
                await says(link, words)


async def test_a_client_certificate_lets_in_where_one_is_asked_for(tmp_path: Path) -> None:
    ca, other = make_ca(tmp_path), make_ca(tmp_path, "other")
    client, stranger = make_client(tmp_path, ca), make_client(tmp_path, other, "stranger")
    with Mosquitto(tmp_path / "broker", server=make_server(tmp_path, ca), client_ca=ca) as broker:
        without = replace(terms(broker), tls=True, ca_file=ca.certificate)
        async with linked(without, up=False) as link:
            await says(link, "client certificate")
        async with linked(replace(without, certificate_file=stranger.certificate, key_file=stranger.key), up=False) as link:
            await says(link, "does not trust our client certificate")
        async with linked(replace(without, certificate_file=client.certificate, key_file=client.key)) as link:
            await link.publish(Outgoing("in/a", b"hello", retain=False))
            assert await take(link, 1) == [b"hello"]


async def test_a_publish_that_the_access_list_forbids_is_refused(tmp_path: Path) -> None:
    with Mosquitto(tmp_path, acl="topic read #\ntopic write allowed/#\n") as broker:
        async with linked(terms(broker)) as link:
            await link.publish(Outgoing("allowed/a", b"x", retain=False))
            with pytest.raises(LinkRefused, match=r"forbidden/a.*not authorised"):
                await link.publish(Outgoing("forbidden/a", b"x", retain=False))
            assert link.status.up


# ---- what breaks


async def test_a_broker_that_is_not_there_yet_is_waited_for(tmp_path: Path) -> None:
    broker = Mosquitto(tmp_path)
    broker.start()
    broker.stop()
    async with linked(terms(broker), up=False) as link:
        await says(link, "nothing listens there")
        with broker:
            await until(lambda: link.status.up)


@BOTH
async def test_nothing_is_lost_when_the_broker_is_killed(tmp_path: Path, protocol: Protocol) -> None:
    with Mosquitto(tmp_path, persistence=True) as broker:
        async with linked(terms(broker, protocol)) as link:
            await send(broker, numbered(30))
            assert await take(link, 10) == numbered(10)
            rest = await take(link, 20, acknowledge=False)
            for _ in range(
                2
            ):  # the broker saves between two of our packets, so the second answer means the acks are on its disk
                await link.publish(Outgoing("barrier", b"", retain=False))
            broker.kill()
            await says(link, "no link to")
            with pytest.raises(LinkDown):
                await link.publish(Outgoing("in/a", b"", retain=False))
            broker.start()
            await until(lambda: link.status.up)
            again = await take(link, 20)
            assert again == rest == numbered(20, 10)


async def test_a_frozen_broker_is_noticed_within_two_keepalives_and_taken_back_when_it_thaws(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker:
        async with linked(terms(broker, keepalive_s=2)) as link:
            broker.freeze()
            began = time.monotonic()
            under_way = asyncio.create_task(link.publish(Outgoing("in/a", b"", retain=False)))
            await says(link, "nothing heard from the broker")
            assert time.monotonic() - began <= 2 * 2 + BUSY_S
            with pytest.raises(LinkDown):
                await under_way
            broker.thaw()
            await until(lambda: link.status.up)


@BOTH
async def test_a_receiver_that_does_not_take_holds_a_bounded_queue_and_the_link(tmp_path: Path, protocol: Protocol) -> None:
    """Longer than two keepalives without reading: neither memory nor the connection is lost, nor a message."""
    with Mosquitto(tmp_path, max_inflight=0) as broker:
        async with linked(terms(broker, protocol, keepalive_s=2, queue=50)) as link:
            await send(broker, numbered(3000))
            began, most = time.monotonic(), 0
            while time.monotonic() - began < 5.0:
                most = max(most, link.status.waiting)
                await asyncio.sleep(0.05)
            assert 0 < most <= 50
            assert link.status.up
            assert await take(link, 3000) == numbered(3000)
            assert link.status.connections == 1


async def test_messages_of_qos_0_beyond_the_queue_wait_in_the_socket(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker:
        async with linked(terms(broker, queue=20)) as link:
            await send(broker, numbered(500), qos=0)
            await until(lambda: link.status.waiting == 20)
            assert await take(link, 500) == numbered(500)


@BOTH
async def test_a_backlog_larger_than_the_queue_does_not_keep_the_link_down(tmp_path: Path, protocol: Protocol) -> None:
    """Whatever the broker sends at once when a session is resumed, publishing works before all of it is taken."""
    with Mosquitto(tmp_path, max_inflight=0) as broker:
        small = terms(broker, protocol, queue=50)
        async with linked(small):
            pass
        await send(broker, numbered(1000))
        async with linked(small) as link:
            await until(lambda: link.status.waiting > 20)
            assert link.status.waiting <= 50
            assert await take(link, 1000) == numbered(1000)
            assert link.status.connections == 1


async def test_a_publish_that_keeps_us_from_receiving_ends_and_the_link_does_not(tmp_path: Path) -> None:
    """Its acknowledgement lies behind messages that nobody takes."""
    with Mosquitto(tmp_path, max_inflight=0) as broker:
        async with linked(terms(broker, Protocol.V311, keepalive_s=2, queue=10)) as link:
            await send(broker, numbered(300))
            await until(lambda: link.status.waiting == 10)
            async with asyncio.timeout(60):
                with pytest.raises(LinkDown, match="waits to be received"):
                    await link.publish(Outgoing("in/a", b"more", retain=False))
            assert link.status.up
            assert (await take(link, 300))[-1] == numbered(300)[-1]
            assert link.status.connections == 1


@BOTH
async def test_what_a_dead_process_left_comes_to_its_successor(tmp_path: Path, protocol: Protocol) -> None:
    with Mosquitto(tmp_path) as broker:
        cable = Cable(broker.port)
        await cable.plug()
        async with linked(replace(terms(broker, protocol), port=cable.port)) as first:
            await send(broker, numbered(10))
            assert await take(first, 3) == numbered(3)
            assert await take(first, 7, acknowledge=False) == numbered(7, 3)
            await first.publish(Outgoing("barrier", b"", retain=False))
            await cable.pull()
        await send(broker, numbered(100, 10))
        async with linked(terms(broker, protocol)) as second:
            assert await take(second, 107) == numbered(107, 3)


async def test_publishes_under_way_when_the_link_goes_down_all_end(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker:
        async with linked(terms(broker), ()) as link:
            broker.freeze()
            many = [asyncio.create_task(link.publish(Outgoing(f"out/{n}", b"x", retain=False))) for n in range(1000)]
            await asyncio.sleep(0)
            broker.kill()
            async with asyncio.timeout(60):
                results = await asyncio.gather(*many, return_exceptions=True)
            assert all(isinstance(result, LinkDown) for result in results)
            broker.start()
            await until(lambda: link.status.up)
            await asyncio.gather(*(link.publish(Outgoing(f"out/{n}", b"x", retain=False)) for n in range(1000)))


@BOTH
async def test_two_clients_with_one_id_are_told_of_each_other(tmp_path: Path, protocol: Protocol) -> None:
    with Mosquitto(tmp_path) as broker:
        one_id = terms(broker, protocol)
        async with linked(one_id, up=False) as one, linked(one_id, up=False) as other:
            await until(lambda: any("another client uses the client id edgemontest" in k.status.detail for k in (one, other)))


async def test_stopping_is_quick_whatever_the_state(tmp_path: Path) -> None:
    with Mosquitto(tmp_path) as broker:
        async with linked(terms(broker)) as link:
            broker.freeze()
            under_way = asyncio.create_task(link.publish(Outgoing("out/a", b"", retain=False)))
            await asyncio.sleep(0)
            began = time.monotonic()
            await link.stop()
            assert time.monotonic() - began < 6.0 + BUSY_S
            with pytest.raises(LinkError):
                await under_way


# ---- the embedded broker


async def test_the_embedded_broker_carries_messages_both_ways(caplog: pytest.LogCaptureFixture) -> None:
    broker = EmbeddedBroker()
    await broker.start()
    try:
        embedded = broker.address(Broker("", 0, client_id="edgemontest", keepalive_s=5))
        async with linked(embedded) as link:
            with await asyncio.to_thread(BareClient, broker.port, "out/#") as hand:
                await asyncio.to_thread(hand.publish_all, [("in/a", payload) for payload in numbered(200)])
                assert await take(link, 200) == numbered(200)
                await link.publish(Outgoing("out/state", b"fine", retain=True))
                await asyncio.to_thread(hand.wait_for, 1)
            with await asyncio.to_thread(BareClient, broker.port, "out/#", "late") as late:
                assert (await asyncio.to_thread(late.wait_for, 1))[0] == ("out/state", b"fine", True)
    finally:
        await broker.stop()
    assert [record for record in caplog.records if record.levelname == "ERROR"] == []


async def test_the_embedded_broker_is_quiet_about_clients_that_vanish(caplog: pytest.LogCaptureFixture) -> None:
    broker = EmbeddedBroker()
    await broker.start()
    cable = Cable(broker.port)
    await cable.plug()
    embedded = replace(broker.address(Broker("", 0, client_id="edgemontest", keepalive_s=5)), port=cable.port)
    async with linked(embedded) as link:
        with await asyncio.to_thread(BareClient, broker.port) as hand:
            await asyncio.to_thread(hand.publish_all, [("in/a", payload) for payload in numbered(50)])
            await until(lambda: link.status.waiting == 50)
            await cable.pull()  # with nothing acknowledged
            await cable.plug()
            await until(lambda: link.status.connections == 2 and link.status.up)
            await asyncio.to_thread(hand.publish, "in/a", b"after")
            assert (await take(link, 51))[-1] == b"after"
        await cable.pull()
    await broker.stop()
    assert [record for record in caplog.records if record.levelname == "ERROR"] == []


async def test_an_embedded_broker_whose_port_is_taken_says_so() -> None:
    first = EmbeddedBroker()
    await first.start()
    second = EmbeddedBroker(first.port)
    try:
        with pytest.raises(LinkRefused, match="cannot listen"):
            await second.start()
    finally:
        await first.stop()
    await first.start()
    await first.stop()
    assert first.port == 0
