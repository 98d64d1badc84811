"""Ids that a stream has forgotten: where that doubles nothing, and where only the key in each message tells, counted by key."""

import contextlib
import json
import sqlite3
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from nats.errors import TimeoutError as NothingMore
from nats.js.api import RetentionPolicy, StreamConfig

from edgemon.clock import SystemClock
from edgemon.daemon.upstream import Feeder
from edgemon.errors import LinkDown
from edgemon.model.upstream import Item, Server, Source, Upstream, UpstreamKind
from edgemon.store.outbox import Outbox
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.upstream.jetstream import NatsTransport
from tests.store import builders as make
from tests.support.broker import LOOPBACK, Cable
from tests.support.nats_server import NatsServer
from tests.support.streams import ANSWER_S, STREAM, a_cable, a_server, deliver, forget_ids, items, kept, library, transport

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

    async def step_unheard(self, cable: Cable) -> None:
        """Send something that the stream keeps and nobody confirms."""
        cable.answers = False
        with pytest.raises(LinkDown):
            await self.feeder.step()
        await self._transport.close()
        cable.answers = True


@contextlib.asynccontextmanager
async def newest_first(folder: Path, port: int) -> AsyncIterator[Line]:
    path = folder / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    outbox = await Outbox.open(path, store, "saltmarsh/gw-1")
    await outbox.begin([("company", Source.JOURNAL)])
    place = Server((f"nats://{LOOPBACK}:{port}",))
    upstream = Upstream("company", UpstreamKind.NATS, (Source.JOURNAL,), place, STREAM, batch=4, newest_first=True)
    far = NatsTransport(upstream, ANSWER_S)
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
        await line.step_unheard(cable)  # the first of what waits, in its old order
        assert len(await kept(server.url)) == 8
        await forget_ids(server)
        await line.write(1)
        assert await line.feeder.step() == 8
        assert len(await kept(server.url)) == 12
        await line.step_unheard(cable)  # some of what was overtaken
        assert len(await kept(server.url)) == 16
        await forget_ids(server)
        await line.write(1)
        await line.feeder.step()  # one that overtakes, and those unheard once more
        assert len(await kept(server.url)) == 17
        await line.write(30)  # a second outage before the first is caught up
        await line.step_unheard(cable)
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
        async with library(server.url) as js:
            queue = await js.pull_subscribe(f"{STREAM}.>", durable="customer", stream=STREAM)
            with contextlib.suppress(NothingMore):
                while True:
                    for one in await queue.fetch(100, timeout=1.0):
                        key = (one.headers or {})["Nats-Msg-Id"]
                        self.taken.append(key)
                        self.table.execute("INSERT INTO readings VALUES (?, ?) ON CONFLICT (key) DO NOTHING", (key, one.data))
                        await one.ack_sync()

    def close(self) -> list[str]:
        found = [str(key) for (key,) in self.table.execute("SELECT key FROM readings")]
        self.table.close()
        return found


async def unheard(cable: Cable, sent: list[Item]) -> None:
    """Send what the stream keeps and nobody confirms."""
    async with transport(f"nats://{LOOPBACK}:{cable.port}") as one:
        await deliver(one, sent[:20])
        cable.answers = False
        with pytest.raises(LinkDown):
            await one.send(sent[20:])
    cable.answers = True


@pytest.mark.parametrize("is_forgotten", [False, True])
async def test_a_work_queue_gives_twice_what_was_unconfirmed_for_longer_than_its_window(
    server: NatsServer, cable: Cable, is_forgotten: bool
) -> None:
    async with library(server.url) as js:
        config = StreamConfig(STREAM, subjects=[f"{STREAM}.>"], retention=RetentionPolicy.WORK_QUEUE, allow_atomic=True)
        await js.add_stream(config)
    sent, customer = items(0, 40, points=20), Customer()
    await unheard(cable, sent)
    await customer.take_all(server)
    if is_forgotten:
        await forget_ids(server)
    async with transport(server.url) as one:
        await deliver(one, sent[20:])
    await customer.take_all(server)
    twice = len(customer.taken) - len(set(customer.taken))
    assert sorted(customer.close()) == sorted(item.key for item in sent)
    assert twice == (20 if is_forgotten else 0)
