"""What every transport upstream does, asked of the one in memory and of real servers: counted by key at the far end.

Another transport is a `Rig` in `RIGS`. Its `kept` gives what a reader there makes of it who knows repeats by their keys.
"""

import asyncio
import dataclasses
import itertools
from collections import defaultdict
from collections.abc import AsyncIterator, Awaitable, Callable, Coroutine, Iterator, Sequence
from contextlib import AsyncExitStack
from pathlib import Path
from typing import Protocol, TypeAlias

import pytest
from nats.js.errors import NotFoundError

from edgemon.clock import SystemClock
from edgemon.errors import LinkDown
from edgemon.model.gateway import Broker
from edgemon.model.secret import Secret
from edgemon.model.upstream import Item, Server, Source, Upstream, UpstreamKind
from edgemon.mqtt.paho_client import PahoLink
from edgemon.upstream.jetstream import NatsTransport
from edgemon.upstream.memory import MemoryTransport
from edgemon.upstream.mqtt import MqttTransport
from edgemon.upstream.port import Transport
from edgemon.upstream.postgres import PostgresTransport
from tests.support import items as make
from tests.support.bare_client import BareClient
from tests.support.broker import LOOPBACK, Cable, Mosquitto
from tests.support.daemon import Observer
from tests.support.nats_server import NatsServer
from tests.support.postgres import DATABASE, PASSWORD, USER, Postgres
from tests.support.streams import kept

ANSWER_WAIT_S = 2.0
MAX_PACKET = 65_536
NUMBERS = itertools.count()
Trouble: TypeAlias = Callable[[], Coroutine[object, object, None]]


class Rig(Protocol):
    """A transport, its server, and the cable between them."""

    transport: Transport

    async def kept(self) -> list[str]:
        """Give the keys at the far end in order of arrival, each once; whether each is there once only is checked."""
        ...

    def unwanted(self, item: Item) -> Item:
        """Give an item of the same key that this server does not take, now or later."""
        ...

    async def kill(self) -> None:
        """End the server at once, with no goodbye."""
        ...

    async def start(self) -> None:
        """Start it again, with what it had on its disk."""
        ...

    async def freeze(self) -> None:
        """Let it answer nothing."""
        ...

    async def thaw(self) -> None:
        """Let it go on."""
        ...

    async def cut(self) -> None:
        """Cut connections, and let none through."""
        ...

    async def mend(self) -> None:
        """Let them through, and answers too."""
        ...

    async def lose_answers(self) -> None:
        """From now on the server hears everything and is not heard."""
        ...


class MemoryRig:
    def __init__(self) -> None:
        self.memory = MemoryTransport()
        self.transport: Transport = self.memory

    async def kept(self) -> list[str]:
        return list(dict.fromkeys(item.key for item in self.memory.taken))

    def unwanted(self, item: Item) -> Item:
        self.memory.refusing.add(item.key)
        return item

    async def kill(self) -> None:
        self.memory.down = True

    async def start(self) -> None:
        self.memory.down, self.memory.deaf = False, 0

    async def lose_answers(self) -> None:
        self.memory.deaf = 1_000_000

    freeze = cut = kill
    thaw = mend = start


class ServerRig:
    """A process, and a cable to it."""

    def __init__(self, server: Mosquitto | Postgres | NatsServer, cable: Cable) -> None:
        self._process = server
        self._cable = cable

    async def kill(self) -> None:
        await asyncio.to_thread(self._process.kill)

    async def start(self) -> None:
        await asyncio.to_thread(self._process.start)

    async def freeze(self) -> None:
        self._process.freeze()

    async def thaw(self) -> None:
        self._process.thaw()

    async def cut(self) -> None:
        await self._cable.pull()

    async def mend(self) -> None:
        self._cable.answers = True
        await self._cable.plug()

    async def lose_answers(self) -> None:
        self._cable.answers = False


class PostgresRig(ServerRig):
    def __init__(self, server: Postgres, cable: Cable, schema: str) -> None:
        super().__init__(server, cable)
        self._server = server
        self._schema = schema
        place = Server((f"postgresql://{server.host}:{cable.port}/{DATABASE}",), USER, Secret(PASSWORD))
        upstream = Upstream("database", UpstreamKind.POSTGRESQL, tuple(Source), place, schema)
        self.transport: Transport = PostgresTransport(upstream, ANSWER_WAIT_S)

    async def kept(self) -> list[str]:
        if not self._server.sql(f"SELECT to_regclass('{self._schema}.findings')")[0][0]:
            return []
        # the place in a table that only grows is the order of arrival
        tables = " UNION ALL ".join(f"SELECT key, tableoid, ctid FROM {self._schema}.{source}" for source in Source)
        rows = await asyncio.to_thread(self._server.sql, f"SELECT key FROM ({tables}) AS all_of_them ORDER BY tableoid, ctid")
        keys = [key for (key,) in rows]
        assert len(keys) == len(set(keys))
        return keys

    def unwanted(self, item: Item) -> Item:
        return make.changed(item, site="salt\0marsh")  # no text of PostgreSQL has this character


class NatsRig(ServerRig):
    def __init__(self, server: NatsServer, cable: Cable, stream: str) -> None:
        super().__init__(server, cable)
        self._url = server.url
        self._stream = stream
        place = Server((f"nats://{LOOPBACK}:{cable.port}",))
        upstream = Upstream("streams", UpstreamKind.NATS, tuple(Source), place, stream)
        self.transport: Transport = NatsTransport(upstream, ANSWER_WAIT_S)

    async def kept(self) -> list[str]:
        try:
            keys = [one.id for one in await kept(self._url, self._stream)]
        except NotFoundError:
            return []
        assert len(keys) == len(set(keys))
        return keys

    def unwanted(self, item: Item) -> Item:
        return dataclasses.replace(item, subject="x" * 3000)  # no subject may be as long


class MqttRig(ServerRig):
    """A broker, and one who subscribes there and knows repeats by their keys.

    Mosquitto acknowledges what it writes down up to a second later, so a killed one may have lost what it acknowledged;
    here it is ended in order.
    """

    def __init__(self, server: Mosquitto, cable: Cable, far: Observer, client_id: str) -> None:
        super().__init__(server, cable)
        self._server, self._far = server, far
        clock = SystemClock()
        link = PahoLink(Broker(LOOPBACK, cable.port, client_id=client_id, keepalive_s=1, session_expiry_s=0), clock, ())
        self._into = f"up/{client_id}"
        self.transport: Transport = MqttTransport(link, self._into, clock, ANSWER_WAIT_S)

    async def kept(self) -> list[str]:
        mark = f"{next(NUMBERS)}".encode()
        await asyncio.to_thread(self._mark, mark)  # what was acknowledged before comes before it
        while not any(one.topic.endswith("/mark") and one.payload == mark for one in self._far.heard):
            await asyncio.sleep(0.01)
        return list(dict.fromkeys(one.document["key"] for one in self._far.heard if not one.topic.endswith("/mark")))

    def _mark(self, mark: bytes) -> None:
        with BareClient(self._server.port, client_id=f"marker{next(NUMBERS)}") as client:
            client.publish(f"{self._into}/mark", mark)

    def unwanted(self, item: Item) -> Item:
        return dataclasses.replace(item, body=b" " * MAX_PACKET)

    async def kill(self) -> None:
        await asyncio.to_thread(self._server.stop)


@pytest.fixture(scope="module")
def mosquitto(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    folder = tmp_path_factory.mktemp("company")
    with Mosquitto(folder, persistence=True, autosave=False, max_packet=MAX_PACKET, quiet=True) as server:
        yield server


@pytest.fixture(scope="module")
def postgres() -> Iterator[Postgres]:
    with Postgres() as server:
        yield server


@pytest.fixture(scope="module")
def nats_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[NatsServer]:
    with NatsServer(tmp_path_factory.mktemp("nats")) as server:
        yield server


async def memory_rig(request: pytest.FixtureRequest, folder: Path, stack: AsyncExitStack) -> Rig:
    return MemoryRig()


async def postgres_rig(request: pytest.FixtureRequest, folder: Path, stack: AsyncExitStack) -> Rig:
    server: Postgres = request.getfixturevalue("postgres")
    cable = Cable(server.port)
    await cable.plug()
    stack.push_async_callback(cable.pull)
    rig = PostgresRig(server, cable, f"s{next(NUMBERS)}")
    stack.push_async_callback(rig.transport.close)
    return rig


async def nats_rig(request: pytest.FixtureRequest, folder: Path, stack: AsyncExitStack) -> Rig:
    server: NatsServer = request.getfixturevalue("nats_server")
    cable = Cable(server.port)
    await cable.plug()
    stack.push_async_callback(cable.pull)
    rig = NatsRig(server, cable, f"s{next(NUMBERS)}")
    stack.push_async_callback(rig.transport.close)
    return rig


async def mqtt_rig(request: pytest.FixtureRequest, folder: Path, stack: AsyncExitStack) -> Rig:
    server: Mosquitto = request.getfixturevalue("mosquitto")
    cable, name = Cable(server.port), f"gateway{next(NUMBERS)}"
    await cable.plug()
    stack.push_async_callback(cable.pull)
    far = stack.enter_context(await asyncio.to_thread(Observer, server.port, f"up/{name}/#", f"reader-{name}"))
    rig = MqttRig(server, cable, far, name)
    stack.push_async_callback(rig.transport.close)
    return rig


RIGS: dict[str, Callable[[pytest.FixtureRequest, Path, AsyncExitStack], Awaitable[Rig]]] = {
    "memory": memory_rig,
    "mqtt": mqtt_rig,
    "postgresql": postgres_rig,
    "nats": nats_rig,
}


@pytest.fixture(params=[pytest.param(name, marks=[pytest.mark.live] if name != "memory" else []) for name in RIGS])
async def rig(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Rig]:
    async with AsyncExitStack() as stack:
        yield await RIGS[request.param](request, tmp_path, stack)


async def deliver(rig: Rig, batches: Sequence[Sequence[Item]], trouble: Trouble | None = None) -> int:
    """Send as the daemon does, again after every failure until all is taken; gives how often it failed.

    Trouble begins three times, and while it lasts the sending goes on.
    """
    failures, under_way = 0, asyncio.create_task(asyncio.sleep(0))
    async with asyncio.timeout(60.0):
        for number, batch in enumerate(batches):
            if trouble is not None and number in (len(batches) // 10, len(batches) // 3, len(batches) // 2):
                await under_way
                under_way = asyncio.create_task(trouble())
            while True:
                await asyncio.sleep(0)
                try:
                    assert await rig.transport.send(batch) == ()
                    break
                except LinkDown:
                    failures += 1
                    await rig.transport.close()
                    await asyncio.sleep(0.02)
        await under_way
    return failures


async def until_kept(rig: Rig, count: int) -> None:
    async with asyncio.timeout(20.0):
        while len(await rig.kept()) < count:
            await asyncio.sleep(0.01)


def keys(batches: Sequence[Sequence[Item]]) -> list[str]:
    return [item.key for batch in batches for item in batch]


async def test_every_source_is_taken_and_the_same_again_leaves_one_each(rig: Rig) -> None:
    await rig.transport.connect()
    await rig.transport.connect()
    items = make.of_every_source()
    for batch in (items, items, items[3:], items[:8] + items[:8]):
        assert await rig.transport.send(batch) == ()
    kept = await rig.kept()
    assert len(kept) == 25
    assert set(kept) == {item.key for item in items}
    assert await rig.transport.send(()) == ()


async def test_what_is_about_one_thing_comes_in_order(rig: Rig) -> None:
    batches = list(make.batches(20, 50))
    assert await deliver(rig, batches) == 0
    wanted, found = defaultdict(list), defaultdict(list)
    for item in (item for batch in batches for item in batch):
        wanted[item.subject].append(item.key)
    of_key = {item.key: item.subject for batch in batches for item in batch}
    for key in await rig.kept():
        found[of_key[key]].append(key)
    assert found == wanted


@pytest.mark.parametrize("bad", [{0}, {199}, {0, 1, 17, 100, 101, 199}, set(range(200))], ids=["first", "last", "six", "all"])
async def test_refused_items_stand_aside_and_the_rest_is_taken(rig: Rig, bad: set[int]) -> None:
    (items,) = make.batches(1, 200)
    sent = tuple(rig.unwanted(item) if number in bad else item for number, item in enumerate(items))
    for _ in range(2):  # refused now and later
        refused = await rig.transport.send(sent)
        assert {one.item.key for one in refused} == {items[number].key for number in bad}
        assert all(one.why and one.item in sent for one in refused)
    assert await rig.kept() == [item.key for number, item in enumerate(items) if number not in bad]


async def test_nothing_is_lost_or_doubled_when_the_server_is_killed_in_the_middle(rig: Rig) -> None:
    batches = list(make.batches(300, 20))

    async def trouble() -> None:
        await rig.kill()
        await asyncio.sleep(0.05)
        await rig.start()

    assert await deliver(rig, batches, trouble) >= 1  # a cut between two batches may go unnoticed
    assert await rig.kept() == keys(batches)


async def test_a_server_that_does_not_answer_is_noticed_and_gets_everything_once_when_it_does(rig: Rig) -> None:
    before, during = make.batches(2, 100)
    await rig.transport.send(before)
    await rig.freeze()
    for _ in range(2):  # one connection that is there, one that is not made
        async with asyncio.timeout(2.0 * ANSWER_WAIT_S + 1.0):
            with pytest.raises(LinkDown):
                await rig.transport.send(during)
            await rig.transport.close()
    await rig.thaw()
    await deliver(rig, [during])
    assert await rig.kept() == keys([before, during])


async def test_nothing_is_lost_or_doubled_over_cut_connections(rig: Rig) -> None:
    batches = list(make.batches(300, 20))

    async def trouble() -> None:
        await rig.cut()
        await asyncio.sleep(0.05)
        await rig.mend()

    assert await deliver(rig, batches, trouble) >= 1  # a cut between two batches may go unnoticed
    assert await rig.kept() == keys(batches)


async def test_an_answer_that_is_lost_after_the_server_took_the_batch_doubles_nothing(rig: Rig) -> None:
    first, second = make.batches(2, 100)
    await rig.transport.send(first)
    await rig.lose_answers()
    with pytest.raises(LinkDown):
        await rig.transport.send(second)
    await until_kept(rig, 101)  # some or all of it is there, and nobody was told
    await rig.transport.close()
    await rig.cut()
    await rig.mend()
    assert await deliver(rig, [second]) == 0
    assert await rig.kept() == keys([first, second])


async def test_a_transport_that_was_let_go_connects_anew(rig: Rig) -> None:
    await rig.transport.close()
    first, second = make.batches(2, 10)
    await rig.transport.send(first)
    await rig.transport.close()
    await rig.transport.close()
    await rig.transport.send(second)
    assert await rig.kept() == keys([first, second])
