"""TLS to a real PostgreSQL: certificate and name are checked, ours is shown, and nothing goes in the clear instead."""

import asyncio
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import pytest

from edgemon.errors import LinkDown
from edgemon.model.secret import Secret
from edgemon.model.upstream import Server, Source, Upstream, UpstreamKind
from edgemon.upstream.postgres import PostgresTransport
from tests.support import items as make
from tests.support.certificates import Pair, make_ca, make_client, make_server
from tests.support.postgres import PASSWORD, USER, Postgres

pytestmark = pytest.mark.live


@dataclass
class House:
    server: Postgres
    ca: Pair
    stranger: Pair
    ours: Pair


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    folder: Path = tmp_path_factory.mktemp("certificates")
    ca, stranger = make_ca(folder), make_ca(folder, "stranger")
    with Postgres(server=make_server(folder, ca, hosts="IP:127.0.0.1"), client_ca=ca) as server:
        server.sql("CREATE ROLE certified LOGIN")
        server.sql("GRANT CREATE ON DATABASE plant TO certified")
        yield House(server, ca, stranger, make_client(folder, ca, "certified"))


def transport(place: Server, into: str = "edgemon") -> PostgresTransport:
    return PostgresTransport(Upstream("database", UpstreamKind.POSTGRESQL, (Source.READINGS,), place, into), 60.0)


def sockets() -> set[Path]:
    found = set()
    for one in Path("/proc/self/fd").iterdir():
        with suppress(FileNotFoundError):  # what lists them is one of them
            found.add(one.readlink())
    return {one for one in found if "socket" in str(one)}


async def test_a_password_and_a_certificate_let_in_through_tls_alone(house: House) -> None:
    by_password = Server((house.server.url,), USER, Secret(PASSWORD), tls=True, ca_file=house.ca.certificate)
    shown = Server((house.server.url,), "certified", None, True, house.ca.certificate, house.ours.certificate, house.ours.key)
    for place, into in ((by_password, "a"), (shown, "b")):
        one = transport(place, into)
        assert await one.send([make.reading(1)]) == ()
        seen = house.server.sql(
            "SELECT ssl FROM pg_stat_ssl JOIN pg_stat_activity USING (pid) WHERE application_name ~ 'edgemon'"
        )
        assert seen == [["t"]]
        await one.close()


async def test_a_server_that_is_not_the_one_meant_gets_no_password(house: House) -> None:
    port, secret = house.server.port, Secret(PASSWORD)
    for place, words in (
        (Server((house.server.url,), USER, secret, True, house.stranger.certificate), "not signed by the CA given"),
        (Server((f"postgresql://localhost:{port}/plant",), USER, secret, True, house.ca.certificate), "another host name"),
        (Server((house.server.url,), USER, secret, True, Path("/no/such.pem")), "CA file cannot be read"),
        (Server((house.server.url,), "certified", None, True, house.ca.certificate), "certificate"),
    ):
        before = sockets()
        with pytest.raises(LinkDown, match=words):
            await transport(place).connect()
        for _ in range(5):
            await asyncio.sleep(0)
        assert sockets() == before  # whoever ends now leaves nothing open, however long the server takes for its goodbye
    assert "password" not in house.server.log


async def test_where_no_tls_is_spoken_nothing_goes_in_the_clear(house: House) -> None:
    with Postgres() as plain:
        place = Server((plain.url,), USER, Secret(PASSWORD), tls=True, ca_file=house.ca.certificate)
        with pytest.raises(LinkDown, match="speaks no TLS"):
            await transport(place).connect()
        secure = Server((plain.url, house.server.url), USER, Secret(PASSWORD), True, house.ca.certificate)
        other = transport(secure)
        assert await other.send([make.reading(2)]) == ()  # any of the addresses will do
        await other.close()


async def test_a_server_that_ends_in_the_middle_of_the_exchange_is_not_said_to_speak_no_tls(house: House) -> None:
    async def end(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        assert len(await reader.readexactly(8)) == 8  # SSLRequest; PostgreSQL documentation, 55.7
        writer.close()

    async with await asyncio.start_server(end, "127.0.0.1", 0) as listener:
        url = f"postgresql://127.0.0.1:{listener.sockets[0].getsockname()[1]}/plant"
        with pytest.raises(LinkDown, match="the database closed the connection"):
            await transport(Server((url,), USER, Secret(PASSWORD), True, house.ca.certificate)).connect()
