"""A database with a real streaming standby that takes over: what that costs, with and without an overlap, counted by key."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest

from edgemon.errors import LinkDown
from edgemon.model.secret import Secret
from edgemon.model.upstream import Item, Server, Source, Upstream, UpstreamKind
from edgemon.upstream.postgres import PostgresTransport
from tests.support import items as make
from tests.support.bare_client import BareClient
from tests.support.broker import Mosquitto
from tests.support.daemon import DaemonProcess, gateway_toml, plant_toml, wait_until
from tests.support.held import held
from tests.support.measuring import measure
from tests.support.postgres import PASSWORD, USER, Postgres, Standby

pytestmark = [pytest.mark.live, pytest.mark.slow]
TABLES = ("readings", "captures", "journal")
UPSTREAM = """[gateway]
id = "gateway-1"
[[upstream]]
name = "historian"
url = ["{first}", "{second}"]
what = ["readings", "captures", "journal"]
username = "{user}"
password_file = "password"
{more}
"""


@pytest.fixture
def primary() -> Iterator[Postgres]:
    with Postgres() as one:
        yield one


@pytest.fixture
def standby(primary: Postgres) -> Iterator[Standby]:
    with Standby(primary) as one:
        yield one


@contextlib.asynccontextmanager
async def transport(*servers: Postgres, wait_s: float = 60.0) -> AsyncIterator[PostgresTransport]:
    place = Server(tuple(one.url for one in servers), USER, Secret(PASSWORD))
    one = PostgresTransport(Upstream("historian", UpstreamKind.POSTGRESQL, tuple(Source), place, "edgemon"), wait_s)
    try:
        yield one
    finally:
        await one.close()


def keys(server: Postgres) -> list[str]:
    return [key for (key,) in server.sql("SELECT key FROM edgemon.readings ORDER BY key")]


def of(items: list[Item]) -> list[str]:
    return sorted(item.key for item in items)


async def test_the_server_that_can_be_written_to_is_found_whichever_it_is_and_a_former_primary_is_left_alone(
    primary: Postgres, standby: Standby
) -> None:
    items = [make.reading(number) for number in range(6)]
    async with transport(standby, primary) as one:
        assert await one.send(items[:3]) == ()
        assert one.server == f"{primary.url} (timeline 1)"
        await asyncio.to_thread(standby.until_caught_up)
        primary.kill()
        with pytest.raises(LinkDown):
            await one.send(items[3:])
        with pytest.raises(LinkDown, match="read-only"):
            await one.connect()
        await asyncio.to_thread(standby.promote)
        assert await one.send(items[3:]) == ()
        assert one.server == f"{standby.url} (timeline 2)"
        assert keys(standby) == of(items)
        await asyncio.to_thread(primary.start)  # and believes that it still leads
        standby.kill()
        with pytest.raises(LinkDown):
            await one.send(items)
        with pytest.raises(LinkDown, match="former primary"):
            await one.send(items)
        assert keys(primary) == of(items[:3])


async def send_until_it_fails(one: PostgresTransport, items: list[Item]) -> None:
    """Send ever more: a server goes by a changed setting a moment after it is told."""
    for number in range(1, 1000):
        items.append(make.reading(number))
        await one.send(items[-1:])


async def test_a_commit_that_its_standby_does_not_confirm_is_no_confirmation(primary: Postgres, standby: Standby) -> None:
    items = [make.reading(0)]
    async with transport(primary, standby, wait_s=5.0) as one:
        assert await one.send(items) == ()
        standby.kill()
        primary.sql("ALTER SYSTEM SET synchronous_standby_names = '*'")
        primary.sql("SELECT pg_reload_conf()")
        with pytest.raises(LinkDown, match=r"no answer in time|standby does not confirm"):
            await send_until_it_fails(one, items)
        with pytest.raises(LinkDown, match="standby does not confirm"):
            await one.send(items)
        one._wait_s = 60.0
        waiting = asyncio.create_task(one.send(items))
        free = "SELECT count(pg_cancel_backend(pid)) FROM pg_stat_activity WHERE wait_event = 'SyncRep'"
        async with asyncio.timeout(60.0):
            while not waiting.done():  # a person sees what hangs, and cancels it: the server warns, and commits
                await asyncio.to_thread(primary.sql, free)
                await asyncio.sleep(0.05)
        with pytest.raises(LinkDown, match="standby does not confirm"):
            await waiting
        assert keys(primary) == of(items)  # there, and of no use if this server dies now
        one._wait_s = 5.0
        with pytest.raises(LinkDown, match="standby does not confirm"):
            await one.send(items)
        await asyncio.to_thread(standby.start)
        async with asyncio.timeout(60.0):
            while True:
                with contextlib.suppress(LinkDown):
                    assert await one.send(items) == ()
                    break
                await asyncio.sleep(0.05)
        primary.kill()
        await asyncio.to_thread(standby.promote)
        assert keys(standby) == of(items)


def counted(server: Postgres) -> list[int]:
    counts = (f"SELECT count(DISTINCT key) FROM edgemon.{table}" for table in TABLES)
    return [int(count) for (count,) in server.sql(" UNION ALL ".join(counts))]


@pytest.mark.parametrize(("more", "is_lost"), [("", False), ("overlap_s = 0", True)])
def test_a_standby_that_lags_takes_over_and_an_overlap_makes_up_for_what_it_never_had(
    tmp_path: Path, primary: Postgres, standby: Standby, more: str, is_lost: bool
) -> None:
    (tmp_path / "em").mkdir()
    (tmp_path / "em" / "password").write_text(PASSWORD)
    (tmp_path / "em" / "password").chmod(0o600)
    text = UPSTREAM.format(first=primary.url, second=standby.url, user=USER, more=more)
    with (
        Mosquitto(tmp_path / "plant") as broker,
        DaemonProcess(tmp_path / "em", plant_toml(2), text + gateway_toml(broker.url)) as daemon,
        BareClient(broker.port) as sensor,
    ):

        def all_at(server: Postgres) -> None:
            wait_until(lambda: counted(server) == held(daemon.store), 45.0, lambda: (counted(server), held(daemon.store)))
            wait_until(lambda: daemon.snapshot().gateway.upstreams[0].waiting == 0)

        measure(sensor, 0, 6, daemon)
        all_at(primary)
        standby.until_caught_up()
        standby.stop()
        measure(sensor, 6, 12, daemon)
        all_at(primary)  # confirmed, and at the primary alone
        primary.kill()
        standby.start()
        standby.promote()
        measure(sensor, 12, 15, daemon)
        if is_lost:
            wait_until(lambda: counted(standby)[1] == 9)
            wait_until(lambda: daemon.snapshot().gateway.upstreams[0].waiting == 0)
            assert (counted(standby)[1], held(daemon.store)[1]) == (9, 15)
        else:
            all_at(standby)
            assert "what it may lack is sent again" in daemon.log
        for words in ("Traceback", "CRITICAL", "never retrieved", PASSWORD):
            assert words not in daemon.log
