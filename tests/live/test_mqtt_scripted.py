"""The link against brokers that misbehave: bytes written here by hand from the MQTT 3.1.1 and 5.0 standards."""

import asyncio
import contextlib
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager

import pytest

from edgemon.clock import SystemClock
from edgemon.errors import LinkDown, LinkRefused, ParameterError
from edgemon.model.gateway import Broker, Protocol
from edgemon.model.outgoing import Outgoing
from edgemon.model.secret import Secret
from edgemon.mqtt import paho_connection
from edgemon.mqtt.embedded import EmbeddedBroker, stop_listening
from edgemon.mqtt.paho_client import PahoLink
from tests.support.broker import until

pytestmark = pytest.mark.live

CONNECT, PUBLISH, PUBACK, SUBSCRIBE, DISCONNECT = 1, 3, 4, 8, 14
ACCEPTED_311 = bytes.fromhex("20 02 00 00")
ACCEPTED_5 = bytes.fromhex("20 03 00 00 00")

Script = Callable[["Talk"], Awaitable[None]]


class Talk:
    """One connection, seen from the broker."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader = reader
        self._writer = writer

    async def packet(self) -> tuple[int, bytes]:
        """Read one packet: its type, and what follows the fixed header."""
        first = (await self._reader.readexactly(1))[0]
        size = shift = 0
        while True:
            byte = (await self._reader.readexactly(1))[0]
            size |= (byte & 127) << shift
            shift += 7
            if byte < 128:
                return first >> 4, await self._reader.readexactly(size)

    async def expect(self, kind: int) -> bytes:
        """Read up to a packet of this type."""
        while True:
            got, body = await self.packet()
            if got == kind:
                return body

    async def send(self, data: bytes) -> None:
        """Write bytes."""
        self._writer.write(data)
        await self._writer.drain()

    async def idle(self) -> None:
        """Read and say nothing until the client goes."""
        while await self._reader.read(4096):
            pass


@asynccontextmanager
async def scripted(script: Script) -> AsyncIterator[int]:
    """Serve a script to every connection; gives the port."""
    tasks: set[asyncio.Task[None]] = set()
    writers: list[asyncio.StreamWriter] = []

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        tasks.add(task)
        writers.append(writer)
        with contextlib.suppress(OSError, asyncio.IncompleteReadError, asyncio.CancelledError):
            await script(Talk(reader, writer))
        writer.close()
        tasks.discard(task)

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        await stop_listening(server)
        for _ in range(5):  # a connection accepted last is served only some turns of the loop later
            await asyncio.sleep(0)
        for task in list(tasks):
            task.cancel()
        if tasks:
            await asyncio.wait(list(tasks))
        for writer in writers:
            writer.transport.abort()  # bytes that nobody reads would keep it open
        await asyncio.sleep(0)


@asynccontextmanager
async def linked(
    port: int, protocol: Protocol = Protocol.V5, subscriptions: tuple[str, ...] = ("in/#",)
) -> AsyncIterator[PahoLink]:
    broker = Broker(
        "127.0.0.1", port, protocol, client_id="edgemontest", keepalive_s=5, password=Secret("hidden"), username="u"
    )
    link = PahoLink(broker, SystemClock(), subscriptions, chance=lambda: 0.05)
    await link.start()
    try:
        yield link
    finally:
        await link.stop()


async def says(link: PahoLink, words: str) -> None:
    deadline = time.monotonic() + 60.0
    while words not in link.status.detail:
        assert time.monotonic() < deadline, link.status.detail
        await asyncio.sleep(0.01)
    assert "hidden" not in link.status.detail


async def test_a_broker_of_the_older_version_is_spoken_to_in_it() -> None:
    """MQTT 3.1.1 section 3.2.2.3: return code 1, unacceptable protocol version; level 4 is 3.1.1, level 5 is 5.0."""
    levels: list[int] = []

    async def script(talk: Talk) -> None:
        body = await talk.expect(CONNECT)
        levels.append(body[6])
        if body[6] != 4:
            await talk.send(bytes.fromhex("20 02 00 01"))
            return
        await talk.send(ACCEPTED_311)
        mid = (await talk.expect(SUBSCRIBE))[:2]
        await talk.send(b"\x90\x03" + mid + b"\x01")
        await talk.idle()

    async with scripted(script) as port, linked(port) as link:
        await until(lambda: link.status.up)
        assert "with MQTT 3.1.1" in link.status.detail
        assert levels == [5, 4]


@pytest.mark.parametrize(
    ("answer", "words"),
    [
        ("20 03 00 86 00", "wrong user name or password"),
        ("20 03 00 85 00", "refuses the client id"),
        ("20 03 00 89 00", "busy"),
        ("20 03 00 8a 00", "banned"),
        ("20 02 00 84", "what came is not MQTT 5"),
        ("ff ff ff ff ff ff", "what came is not MQTT 5"),
        ("20 01 00", "what came is not MQTT 5"),
        ("00 00", "what came is not MQTT 5"),
        ("20 03", "closed the connection without an answer"),
        ("", "closed the connection without an answer"),
    ],
)
async def test_whatever_answers_the_link_lives_and_says_why(answer: str, words: str) -> None:
    """Refusals of MQTT 5.0 section 3.2.2.2, and bytes that are no MQTT."""
    connections = 0

    async def script(talk: Talk) -> None:
        nonlocal connections
        connections += 1
        await talk.expect(CONNECT)
        await talk.send(bytes.fromhex(answer))

    async with scripted(script) as port, linked(port) as link:
        await says(link, words)
        await until(lambda: connections >= 2)


async def test_a_refused_subscription_is_a_link_that_is_down() -> None:
    """MQTT 5.0 section 3.9.3: 0x87, not authorised, for the second of two filters."""

    async def script(talk: Talk) -> None:
        await talk.expect(CONNECT)
        await talk.send(ACCEPTED_5)
        mid = (await talk.expect(SUBSCRIBE))[:2]
        await talk.send(b"\x90\x05" + mid + b"\x00\x01\x87")
        await talk.idle()

    async with scripted(script) as port, linked(port, subscriptions=("in/#", "other/#")) as link:
        await says(link, "the subscription to other/# is refused: not authorised")
        with pytest.raises(LinkDown):
            await link.publish(Outgoing("a", b"", retain=False))


async def test_a_session_taken_over_is_told() -> None:
    """MQTT 5.0 section 3.14.2.1: DISCONNECT with 0x8E."""

    async def script(talk: Talk) -> None:
        await talk.expect(CONNECT)
        await talk.send(ACCEPTED_5)
        await talk.send(bytes.fromhex("e0 01 8e"))

    async with scripted(script) as port, linked(port, subscriptions=()) as link:
        await says(link, "another client connected with the same client id")


async def test_the_brokers_limits_are_kept() -> None:
    """MQTT 5.0 section 3.2.2.3: Receive Maximum 2 (0x21) and Maximum Packet Size 100 (0x27)."""
    held: list[bytes] = []
    most = 0

    async def script(talk: Talk) -> None:
        nonlocal most
        await talk.expect(CONNECT)
        await talk.send(bytes.fromhex("20 0b 00 00 08 21 00 02 27 00 00 00 64"))
        for _ in range(5):
            while len(held) < 2:
                body = await talk.expect(PUBLISH)
                size = int.from_bytes(body[:2], "big")
                held.append(body[2 + size : 4 + size])
                most = max(most, len(held))
            with contextlib.suppress(TimeoutError):  # were there a third, it would come now
                async with asyncio.timeout(0.05):
                    await talk.expect(PUBLISH)
                    most = 3
            while held:
                await talk.send(b"\x40\x02" + held.pop(0))
        await talk.idle()

    async with scripted(script) as port, linked(port, subscriptions=()) as link:
        await until(lambda: link.status.up)
        with pytest.raises(LinkRefused, match="100"):
            await link.publish(Outgoing("out/a", bytes(100), retain=False))
        await asyncio.gather(*(link.publish(Outgoing("out/a", b"x", retain=False)) for _ in range(10)))
        assert most == 2
        assert link.status.connections == 1


async def test_a_broker_that_never_answers_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(paho_connection, "CONNECT_WAIT_S", 0.2)

    async def script(talk: Talk) -> None:
        await talk.idle()

    async with scripted(script) as port, linked(port) as link:
        await says(link, "did not answer")


async def test_a_publish_that_is_never_acknowledged_ends() -> None:
    async def script(talk: Talk) -> None:
        await talk.expect(CONNECT)
        await talk.send(ACCEPTED_5)
        while True:
            kind, _ = await talk.packet()
            if kind == 12:
                await talk.send(b"\xd0\x00")  # it answers pings all right

    async with scripted(script) as port:
        broker = Broker("127.0.0.1", port, client_id="edgemontest", keepalive_s=1)
        link = PahoLink(broker, SystemClock(), (), chance=lambda: 0.05)
        await link.start()
        await until(lambda: link.status.up)
        with pytest.raises(LinkDown, match="not acknowledged in time"):
            await link.publish(Outgoing("out/a", b"", retain=False))
        await link.stop()


async def test_a_birth_that_fails_does_not_cost_the_link(caplog: pytest.LogCaptureFixture) -> None:
    async def script(talk: Talk) -> None:
        await talk.expect(CONNECT)
        await talk.send(ACCEPTED_5)
        await talk.idle()

    def birth() -> list[Outgoing]:
        raise KeyError("nothing to say")

    async with scripted(script) as port:
        broker = Broker("127.0.0.1", port, client_id="edgemontest", keepalive_s=5)
        link = PahoLink(broker, SystemClock(), (), birth=birth, chance=lambda: 0.05)
        await link.start()
        await until(lambda: link.status.up)
        await until(lambda: any("not announced" in record.message for record in caplog.records))
        assert link.status.up
        await link.stop()


async def test_a_topic_that_is_no_text_is_handed_on_to_be_rejected() -> None:
    """A conforming broker drops such a publisher (MQTT 5.0 section 1.5.4); the message must not block the queue even so."""

    async def script(talk: Talk) -> None:
        await talk.expect(CONNECT)
        await talk.send(ACCEPTED_5)
        await talk.send(bytes.fromhex("32 08 00 02 c3 28 00 07 00 78"))
        assert (await talk.expect(PUBACK))[:2] == b"\x00\x07"
        await talk.send(bytes.fromhex("32 07 00 01 61 00 08 00 79"))
        await talk.idle()

    async with scripted(script) as port, linked(port, subscriptions=()) as link:
        async with asyncio.timeout(60):
            (bad,) = await link.receive(10)
            assert bad.message.topic == "\N{REPLACEMENT CHARACTER}"
            assert bad.message.payload == b"x"
            link.acknowledge([bad])
            assert (await link.receive(10))[0].message.topic == "a"


async def test_stopping_while_connecting_leaves_nothing_behind() -> None:
    async def script(talk: Talk) -> None:
        await talk.idle()

    async with scripted(script) as port:
        for _ in range(5):
            async with linked(port):
                await asyncio.sleep(0)


async def test_the_embedded_broker_says_nothing_to_mqtt_5_and_the_link_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(paho_connection, "CONNECT_WAIT_S", 0.3)
    broker = EmbeddedBroker()
    await broker.start()
    async with linked(broker.port, Protocol.V5) as link:
        await says(link, "3.1.1 only")
    await broker.stop()


def test_a_link_needs_a_client_id_and_a_host() -> None:
    with pytest.raises(ParameterError, match="client id"):
        PahoLink(Broker("127.0.0.1", 1), SystemClock(), ())
    with pytest.raises(ParameterError, match="host"):
        PahoLink(Broker("", 0, client_id="a"), SystemClock(), ())


async def test_with_a_client_library_nobody_looked_into_the_link_works_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(paho_connection, "_KNOWN_PAHO", ("0.0.",))

    async def script(talk: Talk) -> None:
        await talk.expect(CONNECT)
        await talk.send(ACCEPTED_5 + bytes.fromhex("32 07 00 01 61 00 08 00 79") * 20)
        await talk.idle()

    async with scripted(script) as port, linked(port, subscriptions=()) as link:
        got = 0
        async with asyncio.timeout(60):
            while got < 20:
                got += len(await link.receive(100))
