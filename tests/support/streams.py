"""Both ends of a stream in tests: items into it as a feeder sends them, and what a customer of the stream reads."""

import asyncio
import contextlib
import itertools
from collections.abc import AsyncIterator, Coroutine, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import nats
import pytest
from nats.js import JetStreamContext
from nats.js.api import AckPolicy, ConsumerConfig
from nats.js.errors import ServiceUnavailableError

from edgemon.errors import LinkDown
from edgemon.model.secret import Secret
from edgemon.model.upstream import Item, Server, Source, Upstream, UpstreamKind
from edgemon.upstream.jetstream import NatsTransport
from edgemon.upstream.jetstream_wire import subject_of
from tests.support.broker import Cable
from tests.support.certificates import Pair
from tests.support.nats_server import NatsServer

STREAM = "EDGEMON"
ANSWER_S = 2.0
"""For tests that wait it out."""
PATIENT_S = 60.0
"""A busy machine is slow, and a cluster that lost a server may be without a leader for a while."""
CANARY = f"{STREAM}.canary"
NUMBERS = itertools.count()


@dataclass(frozen=True)
class Kept:
    """One message in a stream."""

    sequence: int
    subject: str
    id: str
    part: str
    body: bytes


async def kept(url: str, stream: str = STREAM) -> list[Kept]:
    """Read a whole stream, in its order; anew where its servers choose a leader meanwhile."""
    loop = asyncio.get_running_loop()
    until = loop.time() + PATIENT_S
    while True:
        try:
            return await _read(url, stream)
        except (ServiceUnavailableError, TimeoutError):
            if loop.time() > until:
                raise
            await asyncio.sleep(0.2)


async def _read(url: str, stream: str) -> list[Kept]:
    async with library(url) as js:
        count = (await js.stream_info(stream)).state.messages
        found: list[Kept] = []
        config = ConsumerConfig(filter_subject=">", inactive_threshold=30.0, ack_policy=AckPolicy.NONE, mem_storage=True)
        consumer = await js.pull_subscribe("", stream=stream, config=config)
        while len(found) < count:
            messages = await consumer.fetch(min(500, count - len(found)), timeout=5.0)
            for one in messages:
                headers, at = one.headers or {}, one.metadata.sequence.stream
                found.append(Kept(at, one.subject, headers.get("Nats-Msg-Id", ""), headers.get("Edgemon-Part", ""), one.data))
        return found


def assert_once_and_in_order(found: Sequence[Kept], sent: Sequence[Item], stream: str = STREAM) -> None:
    """Check that a stream holds exactly the items sent, each once, in order within each subject."""
    wanted: dict[str, list[str]] = {}
    for item in sent:
        wanted.setdefault(subject_of(stream, item), []).append(item.key)
    is_there: dict[str, list[str]] = {}
    for one in found:
        is_there.setdefault(one.subject, []).append(one.id)
    assert len(found) == len(sent)
    assert is_there == wanted


@contextlib.asynccontextmanager
async def library(url: str, domain: str | None = None) -> AsyncIterator[JetStreamContext]:
    """Speak to a server, or to another's JetStream through it, by the library's own interface."""
    client = await nats.connect(url)
    try:
        yield client.jetstream(domain=domain)
    finally:
        await client.close()


async def forget_ids(server: NatsServer) -> None:
    """Have the stream forget the ids it knows, as time would; the oldest go first, so all are gone when the newest is."""
    newest = {"Nats-Msg-Id": f"canary-{next(NUMBERS)}"}
    async with asyncio.timeout(PATIENT_S), library(server.url) as js:
        config = (await js.stream_info(STREAM)).config
        await js.publish(CANARY, headers=newest, timeout=PATIENT_S)
        for window in itertools.cycle((0.1, 0.2)):  # it looks once for each change, on a busy machine before it goes by it
            await js.update_stream(config, duplicate_window=window)
            await asyncio.sleep(0.3)
            if not (await js.publish(CANARY, headers=newest, timeout=PATIENT_S)).duplicate:
                break
        await js.update_stream(config, duplicate_window=config.duplicate_window)
        await js.purge_stream(STREAM, subject=CANARY)


async def unheard(server: NatsServer, cable: Cable, sending: Coroutine[Any, Any, object], count: int) -> None:
    """Send something through the cable that is cut when the stream has so many messages, before it could confirm them."""
    cable.answers = False
    task = asyncio.create_task(sending)
    async with asyncio.timeout(PATIENT_S), library(server.url) as js:
        while (await js.stream_info(STREAM)).state.messages < count:
            assert not task.done()
            await asyncio.sleep(0.02)
    await cable.pull()
    with pytest.raises(LinkDown):
        await task
    cable.answers = True
    await cable.plug()


def a_server(tmp_path: Path) -> Iterator[NatsServer]:
    """Run a server for one test: a fixture where a test file says so."""
    with NatsServer(tmp_path / "server") as one:
        yield one


async def a_cable(server: NatsServer) -> AsyncIterator[Cable]:
    """Lay a cable to the fixture `server`."""
    one = Cable(server.port)
    await one.plug()
    yield one
    await one.pull()


def item(number: int, point: str = "de", body: bytes = b"{}", gateway: str = "gw-1") -> Item:
    """One reading."""
    key = f"saltmarsh/{gateway}/reading/point/pump/{point}/velocity/{number}"
    return Item(Source.READINGS, number, key, f"pump/{point}", 1.7e9 + number, False, body)


def items(first: int, count: int, points: int = 5) -> list[Item]:
    """Readings of several points in turns."""
    return [item(number, f"p{number % points}") for number in range(first, first + count)]


@contextlib.asynccontextmanager
async def transport(
    *urls: str,
    login: tuple[str, str] | None = None,
    ca: Pair | None = None,
    own: Pair | None = None,
    answer_s: float = PATIENT_S,
) -> AsyncIterator[NatsTransport]:
    """Make a transport into the stream, and close it at the end."""
    user, password = (None, None) if login is None else (login[0], Secret(login[1]))
    files: list[Path | None] = [None if ca is None else ca.certificate]
    files += [None, None] if own is None else [own.certificate, own.key]
    server = Server(urls, user, password, urls[0].startswith("tls:"), *files)
    one = NatsTransport(Upstream("streams", UpstreamKind.NATS, tuple(Source), server, STREAM), answer_s)
    try:
        yield one
    finally:
        await one.close()


async def deliver(one: NatsTransport, batch: Sequence[Item], within_s: float = PATIENT_S) -> int:
    """Send until it is taken, as a feeder does; gives how many times it failed."""
    failures = 0
    async with asyncio.timeout(within_s):
        while True:
            try:
                assert await one.send(batch) == ()
                return failures
            except LinkDown:
                failures += 1
                await one.close()
                await asyncio.sleep(0.05)
