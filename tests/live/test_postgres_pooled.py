"""A database behind a real PgBouncer that gives each transaction another connection: keys counted, nothing left for others."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Iterator

import pytest

from edgemon.errors import LinkDown
from edgemon.model.secret import Secret
from edgemon.model.upstream import Item, Server, Source, Upstream, UpstreamKind
from edgemon.upstream.postgres import PostgresTransport
from tests.support import items as make
from tests.support.pgbouncer import PgBouncer, find_pgbouncer
from tests.support.postgres import PASSWORD, USER, Postgres, Standby

pytestmark = [pytest.mark.live, pytest.mark.slow]
SENDERS = 4
ROUNDS = 20
BATCH = 10


@pytest.fixture
def server() -> Iterator[Postgres]:
    find_pgbouncer()
    with Postgres() as one:
        yield one


@pytest.fixture
def pooler(server: Postgres) -> Iterator[PgBouncer]:
    with PgBouncer(server) as one:
        yield one


@contextlib.asynccontextmanager
async def transport(to: PgBouncer | Postgres, pooled: bool = True, wait_s: float = 60.0) -> AsyncIterator[PostgresTransport]:
    place = Server((to.url,), USER, Secret(PASSWORD))
    one = PostgresTransport(Upstream("hist", UpstreamKind.POSTGRESQL, tuple(Source), place, "edgemon", pooled=pooled), wait_s)
    try:
        yield one
    finally:
        await one.close()


def keys(server: Postgres, table: Source) -> list[str]:
    return [key for (key,) in server.sql(f"SELECT key FROM edgemon.{table} ORDER BY key")]


async def test_many_gateways_through_few_connections_keep_everything_once(server: Postgres, pooler: PgBouncer) -> None:
    server.sql(f"ALTER ROLE {USER} SET synchronous_commit = off")

    async def send(number: int) -> list[Item]:
        origin, sent = f"saltmarsh/gw-{number}", list[Item]()
        async with transport(pooler) as one:
            for round_ in range(ROUNDS):
                batch = [make.reading(round_ * BATCH + at, origin=origin) for at in range(BATCH)]
                assert await one.send(batch) == ()
                assert await one.send(batch) == ()
                sent += batch
        return sent

    every = await asyncio.gather(*(send(number) for number in range(SENDERS)))
    assert keys(server, Source.READINGS) == sorted(item.key for some in every for item in some)
    async with transport(pooler) as one:
        captures = [make.capture(number) for number in range(6)]
        assert await one.send([*captures, make.entry(1)]) == ()
        server.sql("ALTER TABLE edgemon.readings ADD CONSTRAINT calm CHECK (value < 0.5) NOT VALID")
        (refused,) = await one.send([make.reading(499), make.reading(500)])
        assert "calm" in refused.why
        left = [await one._connection.fetchval("SHOW synchronous_commit") for _ in range(6)]
        assert left == ["off"] * 6  # others find nothing of ours on their connection
    assert keys(server, Source.CAPTURES) == sorted(item.key for item in captures)


async def test_without_being_told_of_the_pooler_it_says_what_to_set(pooler: PgBouncer) -> None:
    async with transport(pooler, pooled=False) as one:
        with pytest.raises(LinkDown, match="pooled = true"):
            await one.send([make.reading(1)])


async def test_a_pooler_that_goes_over_to_another_server_is_noticed_without_a_new_connection(
    server: Postgres, pooler: PgBouncer
) -> None:
    sent = [make.reading(number) for number in range(4)]
    with Standby(server) as standby:
        async with transport(pooler) as one:
            assert await one.send(sent[:2]) == ()
            before = one.server
            await asyncio.to_thread(standby.until_caught_up)
            server.kill()
            await asyncio.to_thread(standby.promote)
            pooler.lead_to(standby)
            async with asyncio.timeout(60.0):
                while True:
                    with contextlib.suppress(LinkDown):
                        assert await one.send(sent[2:]) == ()
                        break
                    await asyncio.sleep(0.1)
            assert (before[-2], one.server[-2]) == ("1", "2")
        assert keys(standby, Source.READINGS) == sorted(item.key for item in sent)


async def test_a_standby_that_confirms_nothing_keeps_a_pooled_role_out_that_would_not_wait_for_it(server: Postgres) -> None:
    async with transport(server, pooled=False) as one:
        await one.connect()  # makes the tables
    server.sql(f"ALTER ROLE {USER} SET synchronous_commit = off")
    server.sql("ALTER SYSTEM SET synchronous_standby_names = '*'")
    server.sql("SELECT pg_reload_conf()")
    async with asyncio.timeout(60.0):
        while server.sql("SHOW synchronous_standby_names") != [["*"]]:
            await asyncio.sleep(0.05)
    with PgBouncer(server) as pooler:
        async with transport(pooler, wait_s=5.0) as one:
            with pytest.raises(LinkDown, match="standby does not confirm"):
                await one.connect()
