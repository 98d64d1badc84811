"""Three gateways into one cluster of streams: its leader is lost, one gateway's disk is replaced; counted by key at the end."""

import asyncio
import contextlib
import shutil
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest

from edgemon.clock import SystemClock
from edgemon.daemon.upstream import Feeder
from edgemon.model.upstream import Server, Source, Upstream, UpstreamKind
from edgemon.store.outbox import Outbox
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.upstream.jetstream import NatsTransport
from tests.store import builders as make
from tests.support.nats_server import NatsCluster
from tests.support.streams import ANSWER_S, STREAM, Kept, kept, library

pytestmark = pytest.mark.live
WHAT = (Source.READINGS, Source.CAPTURES, Source.JOURNAL)
LEVELS = ("velocity_rms", "temperature")
ROUNDS = 240
REDELIVERED = 6


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[NatsCluster]:
    with NatsCluster(tmp_path / "cluster") as three:
        yield three


class Life:
    """A gateway from its first start to the loss of its disk."""

    def __init__(self, gateway: str, store: SqliteStore, outbox: Outbox) -> None:
        self.gateway = gateway
        self.entries = 0
        self._store = store
        self._outbox = outbox

    async def keep(self, number: int) -> set[str]:
        """Store what comes at an instant; gives the keys but of the journal, built by hand."""
        at = make.T0 + number
        capture = (make.capture(number),) if number % 20 == 0 else ()
        measured = make.measurement(0.001 * number, taken_at=at)
        await self._store.commit(Commit(at, captures=capture, measurements=(measured,), events=(make.started(number),)))
        self.entries += 1
        keys = {f"saltmarsh/{self.gateway}/reading/point/hp-pump-1/motor-de-h/{level}/{at!r}" for level in LEVELS}
        return keys | {f"saltmarsh/{self.gateway}/capture/{one.sensor}/{one.id}/{one.taken_at!r}" for one in capture}

    async def waiting(self) -> int:
        return (await self._outbox.depth("company", WHAT)).waiting

    async def until_sent(self) -> None:
        async with asyncio.timeout(60.0):
            while await self.waiting():
                await asyncio.sleep(0.05)


def made(folder: Path) -> Path:
    folder.mkdir()
    return folder


@contextlib.asynccontextmanager
async def life(gateway: str, folder: Path, cluster: NatsCluster) -> AsyncIterator[Life]:
    """Start a gateway's store and what feeds the cluster from it; at the end it is cut off, whatever it is doing."""
    path = made(folder) / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    outbox = await Outbox.open(path, store, f"saltmarsh/{gateway}")
    await outbox.begin([("company", source) for source in WHAT])
    upstream = Upstream("company", UpstreamKind.NATS, WHAT, Server(cluster.urls), STREAM, batch=40)
    feeder = Feeder(upstream, outbox, NatsTransport(upstream, ANSWER_S), SystemClock(), lambda: 0.2)
    running = asyncio.create_task(feeder.run())
    try:
        yield Life(gateway, store, outbox)
    finally:
        running.cancel()
        await asyncio.wait([running])
        await outbox.close()
        await store.close()


async def lose_the_leader(cluster: NatsCluster) -> None:
    async with library(cluster.running.url) as js:
        info = (await js.stream_info(STREAM)).cluster
    assert info is not None
    assert info.leader is not None
    cluster.named(info.leader).kill()


def assert_all_there(found: list[Kept], keys: set[str], entries: int) -> None:
    journal = [one.id for one in found if one.subject.endswith(".journal")]
    others = [one.id for one in found if not one.subject.endswith(".journal")]
    assert len(others) == len(set(others)) == len(keys)
    assert set(others) == keys
    assert len(journal) == len(set(journal)) == entries


async def test_three_gateways_and_a_site_where_everything_goes_wrong(tmp_path: Path, cluster: NatsCluster) -> None:
    keys: set[str] = set()
    async with contextlib.AsyncExitStack() as stack:
        one, two = [await stack.enter_async_context(life(f"gw-{n}", tmp_path / f"gw-{n}", cluster)) for n in (1, 2)]
        async with life("gw-3", tmp_path / "gw-3", cluster) as first:
            for number in range(ROUNDS // 2):
                keys |= await one.keep(number) | await two.keep(number) | await first.keep(number)
                await asyncio.sleep(0.01)
                if number == ROUNDS // 4:
                    await asyncio.gather(*(gateway.until_sent() for gateway in (one, two, first)))
                    await lose_the_leader(cluster)
            await first.until_sent()
        shutil.rmtree(tmp_path / "gw-3")
        fresh = await stack.enter_async_context(life("gw-3", tmp_path / "gw-3", cluster))
        await asyncio.to_thread(cluster.start)
        for number in range(
            ROUNDS // 2 - REDELIVERED, ROUNDS
        ):  # the broker gives some once more: the lost disk acknowledged them
            keys |= await fresh.keep(number)
            if number >= ROUNDS // 2:
                keys |= await one.keep(number) | await two.keep(number)
            if number == 3 * ROUNDS // 4:
                await lose_the_leader(cluster)
            await asyncio.sleep(0.01)
        await asyncio.gather(*(gateway.until_sent() for gateway in (one, two, fresh)))
        entries = sum(gateway.entries for gateway in (one, two, first, fresh))
        assert_all_there(await kept(cluster.running.url), keys, entries)
