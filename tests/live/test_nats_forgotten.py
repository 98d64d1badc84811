"""Ids that a stream has forgotten: where that doubles nothing, and where only the key in each message tells, counted by key."""

import asyncio
import contextlib
import json
import sqlite3
from collections.abc import AsyncIterator, Sequence
from pathlib import Path

import pytest
from nats.aio.msg import Msg
from nats.js.api import ConsumerConfig, RetentionPolicy, StreamConfig

from edgemon.clock import SystemClock
from edgemon.daemon.upstream import Feeder
from edgemon.model.upstream import Server, Source, Upstream, UpstreamKind
from edgemon.store.outbox import Outbox
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.upstream.jetstream import NatsTransport
from tests.store import builders as make
from tests.support.broker import LOOPBACK, Cable
from tests.support.nats_server import NatsServer
from tests.support.streams import (
    PATIENT_S,
    STREAM,
    a_cable,
    a_server,
    deliver,
    forget_ids,
    items,
    kept,
    library,
    transport,
    unheard,
)

pytestmark = pytest.mark.live
server, cable = pytest.fixture(a_server), pytest.fixture(a_cable)


class Line:
    """A store whose journal goes to the stream, the newest first."""

    def __init__(self, store: SqliteStore, feeder: Feeder, transport: NatsTransport) -> None:
        self.feeder = feeder
        self._store = store
        self._transport = transport
        self._written = 0

    async def write(self, count: int) -> None:
        events = tuple(make.started(self._written + number) for number in range(count))
        await self._store.commit(Commit(make.T0, events=events))
        self._written += count

    async def step_unheard(self, server: NatsServer, cable: Cable, count: int) -> None:
        """Send something that the stream keeps, which has so many messages then, and nobody confirms."""
        await unheard(server, cable, self.feeder.step(), count)
        await self._transport.close()


@contextlib.asynccontextmanager
async def newest_first(folder: Path, port: int) -> AsyncIterator[Line]:
    path = folder / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    outbox = await Outbox.open(path, store, "saltmarsh/gw-1")
    await outbox.begin([("company", Source.JOURNAL)])
    place = Server((f"nats://{LOOPBACK}:{port}",))
    upstream = Upstream("company", UpstreamKind.NATS, (Source.JOURNAL,), place, STREAM, batch=4, newest_first=True)
    far = NatsTransport(upstream, PATIENT_S)
    try:
        yield Line(store, Feeder(upstream, outbox, far, SystemClock()), far)
    finally:
        await far.close()
        await outbox.close()
        await store.close()


async def test_the_newest_overtakes_and_no_lost_confirmation_doubles_anything(
    tmp_path: Path, server: NatsServer, cable: Cable
) -> None:
    async with newest_first(tmp_path, cable.port) as line:
        await line.write(4)
        await line.feeder.step()
        await line.write(60)
        await line.step_unheard(server, cable, 8)  # the first of what waits, in its old order
        assert len(await kept(server.url)) == 8
        await forget_ids(server)
        await line.write(1)
        assert await line.feeder.step() == 8
        assert len(await kept(server.url)) == 12
        await line.step_unheard(server, cable, 16)  # some of what was overtaken
        assert len(await kept(server.url)) == 16
        await forget_ids(server)
        await line.write(1)
        await line.feeder.step()  # one that overtakes, and those unheard once more
        assert len(await kept(server.url)) == 17
        await line.write(30)  # a second outage before the first is caught up
        await line.step_unheard(server, cable, 21)
        assert len(await kept(server.url)) == 21
        await forget_ids(server)
        while await line.feeder.step():
            pass
        assert (await line.feeder.view()).waiting == 0
    found = await kept(server.url)
    entries = [json.loads(one.body)["entry"]["seq"] for one in found]
    assert sorted(entries) == list(range(1, 97))
    by_subject: dict[str, list[int]] = {}
    for one, seq in zip(found, entries, strict=True):
        by_subject.setdefault(one.subject, []).append(seq)
    assert set(by_subject) == {f"{STREAM}.saltmarsh.gw-1.journal", f"{STREAM}.saltmarsh.gw-1.journal.%late"}
    assert all(seqs == sorted(seqs) for seqs in by_subject.values())


class Customer:
    """Takes messages out of a work queue into a table that has each key once, as the settings file advises."""

    def __init__(self) -> None:
        self.table = sqlite3.connect(":memory:")
        self.table.execute("CREATE TABLE readings (key TEXT PRIMARY KEY, body BLOB)")
        self.taken: list[str] = []

    async def take_all(self, server: NatsServer) -> None:
        """Take until the queue is empty."""
        slow = ConsumerConfig(ack_wait=10.0 * PATIENT_S)  # nothing is given twice because it was taken slowly
        async with asyncio.timeout(PATIENT_S), library(server.url) as js:
            queue = await js.pull_subscribe(f"{STREAM}.>", durable="customer", stream=STREAM, config=slow)
            while (await js.stream_info(STREAM)).state.messages:
                with contextlib.suppress(TimeoutError):  # the library's own is one, and it raises the plain one, too
                    await self._take(await queue.fetch(100, timeout=1.0))

    async def _take(self, messages: Sequence[Msg]) -> None:
        for one in messages:
            key = (one.headers or {})["Nats-Msg-Id"]
            self.taken.append(key)
            self.table.execute("INSERT INTO readings VALUES (?, ?) ON CONFLICT (key) DO NOTHING", (key, one.data))
            await one.ack_sync(timeout=PATIENT_S)

    def close(self) -> list[str]:
        found = [str(key) for (key,) in self.table.execute("SELECT key FROM readings")]
        self.table.close()
        return found


@pytest.mark.parametrize("is_forgotten", [False, True])
async def test_a_work_queue_gives_twice_what_was_unconfirmed_for_longer_than_its_window(
    server: NatsServer, cable: Cable, is_forgotten: bool
) -> None:
    async with library(server.url) as js:
        config = StreamConfig(STREAM, subjects=[f"{STREAM}.>"], retention=RetentionPolicy.WORK_QUEUE, allow_atomic=True)
        await js.add_stream(config)
    sent, customer = items(0, 40, points=20), Customer()
    async with transport(f"nats://{LOOPBACK}:{cable.port}") as one:
        await deliver(one, sent[:20])
        await unheard(server, cable, one.send(sent[20:]), len(sent))
    await customer.take_all(server)
    if is_forgotten:
        await forget_ids(server)
    async with transport(server.url) as one:
        await deliver(one, sent[20:])
    await customer.take_all(server)
    twice = len(customer.taken) - len(set(customer.taken))
    assert sorted(customer.close()) == sorted(item.key for item in sent)
    assert twice == (20 if is_forgotten else 0)
