"""Streams that several servers keep: the leader is lost in the middle of batches; a leaf at the edge outlives its hub."""

import asyncio
import contextlib
from collections.abc import Iterator
from pathlib import Path

import pytest
from nats.errors import NoRespondersError
from nats.js.api import ExternalStream, StreamConfig, StreamSource
from nats.js.errors import ServiceUnavailableError

from tests.support.broker import LOOPBACK, Cable, free_port
from tests.support.nats_server import NatsCluster, NatsServer
from tests.support.streams import ANSWER_S, STREAM, assert_once_and_in_order, deliver, items, kept, library, transport

pytestmark = pytest.mark.live


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[NatsCluster]:
    with NatsCluster(tmp_path) as three:
        yield three


async def leader_of(cluster: NatsCluster) -> NatsServer:
    """Ask a server that runs who leads the stream; there may be nobody for a moment."""
    async with asyncio.timeout(30.0), library(cluster.running.url) as js:
        while True:
            info = (await js.stream_info(STREAM)).cluster
            if info is not None and info.leader:
                return cluster.named(info.leader)
            await asyncio.sleep(0.05)


async def kill_leader(cluster: NatsCluster) -> None:
    (await leader_of(cluster)).kill()


async def until_linked(hub: NatsServer, domain: str) -> None:
    """Wait until the hub hears the leaf."""
    async with asyncio.timeout(20.0), library(hub.url, domain) as js:
        while True:
            with contextlib.suppress(NoRespondersError, ServiceUnavailableError):
                await js.account_info()
                return
            await asyncio.sleep(0.05)


async def until_count(server: NatsServer, stream: str, count: int) -> None:
    async with asyncio.timeout(90.0), library(server.url) as js:
        while (await js.stream_info(stream)).state.messages < count:
            await asyncio.sleep(0.05)


@pytest.mark.parametrize("atomic", [True, False])
async def test_a_leader_killed_in_the_middle_of_batches_loses_and_doubles_nothing(cluster: NatsCluster, atomic: bool) -> None:
    sent, failures = items(0, 3000), 0
    async with transport(*cluster.urls, answer_s=ANSWER_S) as one:  # of a leader that is gone
        await one.connect()
        async with library(cluster.urls[0]) as js:
            config = (await js.stream_info(STREAM)).config
            assert config.num_replicas == 3
            await js.update_stream(config, allow_atomic=atomic)
        await one.close()
        killing = asyncio.create_task(asyncio.sleep(0))
        for at in range(0, len(sent), 60):
            if at == 600:
                killing = asyncio.create_task(kill_leader(cluster))
            if at == 1800:
                await killing
                await asyncio.to_thread(cluster.start)
            failures += await deliver(one, sent[at : at + 60])
    assert failures > 0
    assert_once_and_in_order(await kept(cluster.urls[0]), sent)


@pytest.mark.parametrize("trouble", ["cut", pytest.param("kill", marks=pytest.mark.slow)])
async def test_what_a_leaf_takes_at_the_edge_arrives_when_the_hub_is_back(tmp_path: Path, trouble: str) -> None:
    """A hub that was killed asks its sources anew only after some 40 s (nats-server 2.15): its own wait, not ours."""
    port, sent = free_port(), items(0, 400)
    cable = Cable(port)
    await cable.plug()
    uplink = f'leafnodes {{ remotes: [{{ url: "nats://{LOOPBACK}:{cable.port}" }}] }}'
    hub = NatsServer(tmp_path / "hub", "hub", more=f'leafnodes {{ listen: "{LOOPBACK}:{port}" }}', domain="hub")
    with hub, NatsServer(tmp_path / "edge", "edge", more=uplink, domain="edge") as edge:
        async with transport(edge.url) as one:
            await deliver(one, sent[:200])
            await until_linked(hub, "edge")
            async with library(hub.url) as js:
                edge_stream = StreamSource(STREAM, external=ExternalStream("$JS.edge.API"))
                await js.add_stream(StreamConfig("COMPANY", sources=[edge_stream]))
            await until_count(hub, "COMPANY", 200)
            await cable.pull()
            if trouble == "kill":
                hub.kill()
            assert await deliver(one, sent[200:]) == 0
        if trouble == "kill":
            await asyncio.to_thread(hub.start)
        await cable.plug()
        await until_count(hub, "COMPANY", 400)
        assert_once_and_in_order(await kept(hub.url, "COMPANY"), sent)
        assert_once_and_in_order(await kept(edge.url), sent)
    await cable.pull()
