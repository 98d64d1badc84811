"""PostgreSQL as upstream, asked through `psql`: what stands in the tables, in which partition, what each trouble becomes."""

import asyncio
import base64
import dataclasses
import itertools
import json
import traceback
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import AsyncExitStack
from datetime import datetime, timezone

import pytest

from edgemon.errors import LinkDown, SettingsError
from edgemon.model.instant import Instant, format_instant
from edgemon.model.secret import Secret
from edgemon.model.upstream import Server, Source, Upstream, UpstreamKind
from edgemon.upstream import postgres as door
from edgemon.upstream import sql
from edgemon.upstream.postgres import PostgresTransport
from tests.support import items as make
from tests.support.broker import Cable
from tests.support.postgres import PASSWORD, USER, Postgres

NUMBERS = itertools.count()
To = Callable[..., PostgresTransport]
pytestmark = pytest.mark.live


@pytest.fixture(scope="module")
def server() -> Iterator[Postgres]:
    with Postgres() as server:
        yield server


@pytest.fixture
def schema() -> str:
    return f"t{next(NUMBERS)}"


@pytest.fixture
async def to(server: Postgres, schema: str) -> AsyncIterator[To]:
    async with AsyncExitStack() as stack:

        def make_one(*, user: str = USER, password: str = PASSWORD, url: str = "", wait_s: float = 60.0) -> PostgresTransport:
            place = Server((url or server.url,), user, Secret(password))
            upstream = Upstream("database", UpstreamKind.POSTGRESQL, tuple(Source), place, schema)
            one = PostgresTransport(upstream, wait_s)
            stack.push_async_callback(one.close)
            return one

        yield make_one


def utc(year: int, month: int, day: int = 1) -> Instant:
    return datetime(year, month, day, tzinfo=timezone.utc).timestamp()


def months(server: Postgres, schema: str, source: Source = Source.READINGS) -> dict[str, int]:
    rows = server.sql(f"SELECT tableoid::regclass, count(*) FROM {schema}.{source} GROUP BY 1")
    return {name.partition(".")[2]: int(count) for name, count in rows}


def versions(server: Postgres, schema: str) -> list[int]:
    return [int(version) for (version,) in server.sql(f"SELECT version FROM {schema}.edgemon_schema ORDER BY 1")]


def function(server: Postgres, schema: str) -> list[str]:
    """Give what makes a month: its text, who owns it and who may call it."""
    what = "md5(prosrc), pg_get_userbyid(proowner), proacl"
    (found,) = server.sql(
        f"SELECT {what} FROM pg_proc WHERE proname = 'make_month' AND pronamespace = '{schema}'::regnamespace"
    )
    return found


async def test_plain_sql_finds_every_field_of_every_source(server: Postgres, schema: str, to: To) -> None:
    reading, own, capture, entry, finding = (
        maker(7) for maker in (make.reading, make.sensor_reading, make.capture, make.entry, make.finding)
    )
    assert await to().send((reading, own, capture, entry, finding)) == ()

    def row(columns: str, table: str) -> list[str]:
        (found,) = server.sql(f"SELECT {columns} FROM {schema}.{table}")
        return found

    at = "to_char(t AT TIME ZONE 'UTC', 'YYYY-MM-DD\"T\"HH24:MI:SS.MS\"Z\"')"
    about = row(f"{at}, site, gateway, machine, point, name, value, unit, fit, sim", "readings WHERE sensor IS NULL")
    assert about[:5] == [format_instant(reading.t), "saltmarsh", "gw-1", "hp-pump-1", "motor-de-h"]
    assert about[5:] == ["velocity_rms", "0.007", "m/s", "t", "f"]
    assert row("sensor, name, value, unit, fit", "readings WHERE machine IS NULL") == ["s-0001", "battery", "0.88", "%EL", "f"]
    document = json.loads(capture.body)
    facts = row(f"{at}, sensor, id, unit, fs, scale, axes, spectrum", "captures")
    assert facts[:4] == [format_instant(capture.t), document["sensor"], document["id"], document["u"]]
    assert [float(facts[4]), float(facts[5])] == [document["fs"], document["scale"]]
    assert facts[6:] == ["{" + ",".join(document["axes"]) + "}", "f"]
    for name, text in document["axes"].items():
        (samples,) = row(f"encode(samples[array_position(axes, '{name}')], 'hex')", "captures")
        assert bytes.fromhex(samples) == base64.b64decode(text)
    told = row(f"{at}, seq, kind, machine, event->>'change', hash", "journal")
    assert told == [format_instant(entry.t), "7", "alarm-changed", "hp-pump-1", "RAISED", f"{7:064x}"]
    named = row("seq, machine, point, capture, verdict, fault, confidence", "findings")
    assert named == ["7", "hp-pump-1", "motor-de-h", "c-7", "fault", "unbalance", "0.82"]


async def test_months_are_made_as_they_come_and_wild_clocks_go_to_the_default_partition(
    server: Postgres, schema: str, to: To
) -> None:
    now = datetime.now(timezone.utc)
    first = utc(now.year, now.month)
    wild = [0.0, 1.5, utc(1999, 12), utc(now.year + 2, 1), utc(9999, 12, 31)]
    items = [make.reading(number, t=t) for number, t in enumerate([first, first - 1.0, utc(now.year - 3, 2, 28), *wild])]
    items.append(dataclasses.replace(make.reading(99), t=1e12))  # the year 33658, which no calendar of ours has
    for _ in range(2):
        assert await to().send(items) == ()
    wanted = [f"readings_{now:%Y_%m}", f"readings_{datetime.fromtimestamp(first - 1.0, timezone.utc):%Y_%m}"]
    assert months(server, schema) == {**dict.fromkeys([*wanted, f"readings_{now.year - 3}_02"], 1), "readings_default": 6}


async def test_what_lies_in_the_default_partition_moves_when_its_month_gets_one(server: Postgres, schema: str, to: To) -> None:
    transport = to()
    await transport.connect()
    t = make.NOW - 86_400.0
    row = f"'k', to_timestamp({t}), 's', 'g', false, 'velocity_rms', 1.0, 'm/s', true"
    server.sql(f"INSERT INTO {schema}.readings (key, t, site, gateway, sim, name, value, unit, fit) VALUES ({row})")
    assert months(server, schema) == {"readings_default": 1}
    await transport.send([make.reading(1, t=t)])
    (found,) = months(server, schema).items()
    assert found == (f"readings_{datetime.fromtimestamp(t, timezone.utc):%Y_%m}", 2)
    indexes = server.sql(f"SELECT indexname FROM pg_indexes WHERE schemaname = '{schema}' AND tablename = '{found[0]}'")
    assert len(indexes) == 3


async def test_a_month_that_cannot_be_made_holds_up_nothing(server: Postgres, schema: str, to: To) -> None:
    first = to(wait_s=10.0)  # for a lock, a quarter of that
    await first.connect()
    report = f"BEGIN; SELECT * FROM {schema}.readings; SELECT pg_sleep(600)"
    reader = asyncio.create_task(asyncio.to_thread(server.sql, report))
    is_reading = "FROM pg_stat_activity WHERE query ~ 'pg_sleep.600' AND wait_event = 'PgSleep'"
    async with asyncio.timeout(30.0):
        while not server.sql(f"SELECT 1 {is_reading}"):
            await asyncio.sleep(0.02)
    assert await first.send([make.reading(1)]) == ()  # a long report holds the lock that the month needs
    assert months(server, schema) == {"readings_default": 1}
    server.sql(f"SELECT pg_terminate_backend(pid) {is_reading}")
    with pytest.raises(AssertionError, match="terminating connection"):
        await reader
    assert await to().send([make.reading(2)]) == ()
    assert list(months(server, schema).values()) == [2]


async def test_gateways_that_come_at_once_make_everything_once_and_lose_nothing(server: Postgres, schema: str, to: To) -> None:
    origins = [f"saltmarsh/gw-{number}" for number in range(8)]
    times = [make.NOW - 40.0 * 86_400.0 * number for number in range(6)]

    async def one(origin: str) -> None:
        transport = to()
        items = [make.reading(number, t=t, origin=origin) for number, t in enumerate(times)]
        for _ in range(20):
            try:
                assert await transport.send(items) == ()
                return
            except LinkDown:
                await transport.close()
        raise AssertionError(f"{origin} never comes through")

    await asyncio.gather(*map(one, origins))
    assert sum(months(server, schema).values()) == 48
    assert "readings_default" not in months(server, schema)
    assert versions(server, schema) == list(sql.scripts(schema))


async def test_an_administrator_makes_the_tables_and_the_gateway_only_adds_rows(server: Postgres, schema: str, to: To) -> None:
    server.sql(f"CREATE ROLE {schema}_guest LOGIN PASSWORD '{PASSWORD}'")
    transport = to(user=f"{schema}_guest")
    with pytest.raises(LinkDown, match="have an administrator run what `edgemon upstream sql"):
        await transport.connect()
    for _ in range(2):  # again does no harm
        server.sql(sql.for_administrator(schema, f"{schema}_guest"))
    assert await transport.send(make.of_every_source()) == ()
    assert "readings_default" not in months(server, schema)
    owned = server.sql(f"SELECT count(*) FROM pg_tables WHERE schemaname = '{schema}' AND tableowner <> 'postgres'")
    assert owned == [["0"]]
    server.sql(f"REVOKE INSERT ON {schema}.readings FROM {schema}_guest")
    with pytest.raises(LinkDown, match="permission denied"):
        await transport.send([make.reading(99)])


async def test_tables_of_the_first_version_get_the_function_of_the_second_and_its_rights_stay(
    server: Postgres, schema: str, to: To
) -> None:
    scripts = sql.scripts(schema)
    server.sql(f"SET ROLE {USER}; CREATE SCHEMA {schema}; {scripts[1]}")
    server.sql(f"GRANT EXECUTE ON FUNCTION {schema}.make_month(text, timestamptz) TO pg_monitor")
    assert versions(server, schema) == [1]
    text, *owner_and_rights = function(server, schema)
    assert await to().send(make.of_every_source()) == ()
    assert versions(server, schema) == [1, 2]
    new, *others = function(server, schema)
    assert (new != text, others) == (True, owner_and_rights)
    server.sql(f"CREATE SCHEMA {schema}_new; {''.join(sql.scripts(f'{schema}_new').values())}")
    assert function(server, f"{schema}_new")[0] == new
    again = to()
    await again.connect()
    assert versions(server, schema) == [1, 2]


async def test_tables_of_the_first_version_that_an_administrator_made_are_filled_until_that_one_comes(
    server: Postgres, schema: str, to: To, caplog: pytest.LogCaptureFixture
) -> None:
    guest = f"{schema}_guest"
    server.sql(f"CREATE ROLE {guest} LOGIN PASSWORD '{PASSWORD}'")
    script = sql.for_administrator(schema, guest)
    assert script.index("edgemon_schema (version) VALUES (1)") < script.index("VALUES (2)")
    server.sql(script.replace(sql.scripts(schema)[2], ""))
    assert versions(server, schema) == [1]
    assert await to(user=guest).send(make.of_every_source()) == ()
    assert "the tables are of version 1, not of 2, and are filled as they are: " in caplog.text
    assert "`edgemon upstream sql" in caplog.text
    server.sql(script)
    caplog.clear()
    assert await to(user=guest).send([make.reading(99)]) == ()
    assert (versions(server, schema), caplog.text) == ([1, 2], "")


async def test_tables_partitioned_in_another_way_are_filled_as_they_are(server: Postgres, schema: str, to: To) -> None:
    script = sql.for_administrator(schema, USER)
    plain = script.replace(") PARTITION BY RANGE (t);", ");")
    plain = "\n".join(line for line in plain.splitlines() if "PARTITION OF" not in line)
    server.sql(plain)
    items = make.of_every_source()
    for _ in range(2):
        assert await to().send(items) == ()
    assert server.sql(f"SELECT count(*) FROM {schema}.readings") == [["10"]]
    server.sql(f"ALTER TABLE {schema}.readings DROP CONSTRAINT readings_pkey")
    with pytest.raises(LinkDown, match=r"PRIMARY KEY \(key, t\)"):  # better none than two
        await to().send(items)


@pytest.mark.parametrize(
    ("state", "is_row"),
    [
        ("P0001", True),
        ("23514", False),
        ("53100", False),
        ("57P01", False),
        ("40P01", False),
        ("40001", False),
        ("58030", False),
    ],
)
async def test_troubles_of_the_server_refuse_nothing(server: Postgres, schema: str, to: To, state: str, is_row: bool) -> None:
    transport = to()
    await transport.connect()
    server.sql(
        f"""CREATE FUNCTION {schema}.trouble() RETURNS trigger LANGUAGE plpgsql AS
            $$BEGIN IF NEW.value > 0.0045 THEN RAISE EXCEPTION 'made up' USING ERRCODE = '{state}'; END IF; RETURN NEW; END$$;
        CREATE TRIGGER trouble BEFORE INSERT ON {schema}.readings FOR EACH ROW EXECUTE FUNCTION {schema}.trouble();"""
    )
    items = [make.reading(number) for number in range(10)]
    if state == "P0001":  # a trigger that does not want it
        assert [(one.item, one.why) for one in await transport.send(items)] == [(item, "made up") for item in items[5:]]
        assert sum(months(server, schema).values()) == 5
        return
    with pytest.raises(LinkDown, match="made up"):
        await transport.send(items)
    server.sql(f"DROP TRIGGER trouble ON {schema}.readings")
    assert await transport.send(items) == ()
    assert sum(months(server, schema).values()) == 10


async def test_bad_rows_of_every_kind_are_refused_with_their_reason(server: Postgres, schema: str, to: To) -> None:
    transport = to()
    await transport.connect()
    server.sql(f"ALTER TABLE {schema}.readings ADD CONSTRAINT sane CHECK (value < 1000.0)")
    entry = make.entry(1)
    fields = json.loads(entry.body)["entry"]
    bad = {
        "0x00": make.changed(make.reading(1), unit="m\0/s"),
        "check constraint": make.changed(make.reading(2), value=1e6),
        "null value": make.changed(make.reading(3), name=None),
        "invalid input": make.changed(make.reading(4), value="much"),
        "surrogates": make.changed(make.reading(5), name="\ud800"),
        "timestamp": dataclasses.replace(make.reading(6), t=1e18),
        "index row": make.changed(make.reading(7), name="".join(chr(0x4E00 + k * k % 20_000) for k in range(20_000))),
        "Unicode escape": make.changed(entry, entry=fields | {"reason": "salt\0marsh"}),
        "not as expected": make.changed(make.capture(1), axes=None),
    }
    good = (make.reading(9), make.entry(9), make.capture(9))
    found = {one.item.key: one.why for one in await transport.send([*bad.values(), *good])}
    assert set(found) == {item.key for item in bad.values()}
    for words, item in bad.items():
        assert words in found[item.key], found[item.key]
    assert [sum(months(server, schema, source).values()) for source in Source] == [1, 1, 1, 0]


async def test_a_batch_of_which_nothing_can_be_a_row_is_no_proof_that_a_frozen_server_is_there(schema: str) -> None:
    bad = make.changed(make.capture(1), axes=None)
    with Postgres() as server:
        upstream = Upstream(
            "database", UpstreamKind.POSTGRESQL, tuple(Source), Server((server.url,), USER, Secret(PASSWORD)), schema
        )
        one = PostgresTransport(upstream, 60.0)
        assert [refused.item for refused in await one.send([bad])] == [bad]
        one._wait_s = 1.0
        server.freeze()
        with pytest.raises(LinkDown, match="no answer in time"):
            await one.send([bad])
        server.thaw()
        await one.close()


async def test_who_may_not_come_in_is_told_why_and_no_password_is_told(server: Postgres, to: To) -> None:
    secret = "brine-and-copper-9"
    for transport, words in (
        (to(password=secret), "password authentication failed"),
        (to(user="nobody-here", password=secret), "password authentication failed"),
        (to(password=secret, url=server.url.replace("/plant", "/elsewhere")), "password authentication failed"),
        (to(url=server.url.replace("/plant", "/elsewhere")), "CREATE DATABASE"),
        (to(url="postgresql://127.0.0.1:1/plant", password=secret), "is the database running"),
        (to(url="postgresql://no-such-host.invalid/plant", password=secret), "host name is not known"),
    ):
        with pytest.raises(LinkDown, match=words) as told:
            await transport.connect()
        text = "".join(traceback.format_exception(told.value)) + repr(transport) + repr(vars(transport))
        assert secret not in text


async def test_a_read_only_database_and_one_without_room_are_waited_for(server: Postgres, schema: str, to: To) -> None:
    server.sql(f"ALTER ROLE {USER} SET default_transaction_read_only = on")
    try:
        with pytest.raises(LinkDown, match="read-only"):
            await to().connect()
    finally:
        server.sql(f"ALTER ROLE {USER} RESET default_transaction_read_only")
    server.sql(f"ALTER ROLE {USER} CONNECTION LIMIT 0")
    try:
        with pytest.raises(LinkDown, match="too many connections"):
            await to().connect()
    finally:
        server.sql(f"ALTER ROLE {USER} CONNECTION LIMIT -1")
    transport = to()
    assert await transport.send([make.reading(1)]) == ()
    server.sql("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE application_name = 'edgemon database'")
    with pytest.raises(LinkDown):
        await transport.send([make.reading(2)])
    assert await transport.send([make.reading(2)]) == ()


async def test_a_large_batch_has_the_time_that_a_slow_line_needs(server: Postgres, schema: str, to: To) -> None:
    cable = Cable(server.port)
    await cable.plug()
    try:
        transport = to(url=server.url.replace(str(server.port), str(cable.port)))
        assert await transport.send([make.capture(2)]) == ()  # tables and the month are there
        transport._wait_s, cable.bytes_per_s = 1.0, 60_000.0
        large = make.capture(1, samples=20_000)  # two seconds on this line
        assert await transport.send([large]) == ()
        assert [large.key] in server.sql(f"SELECT key FROM {schema}.captures")
    finally:
        await cable.pull()


async def test_what_is_confirmed_is_on_the_disk_whatever_the_role_is_set_to(server: Postgres, to: To) -> None:
    server.sql(f"ALTER ROLE {USER} SET synchronous_commit = off")
    try:
        transport = to()
        await transport.connect()
        assert await transport._connection.fetchval("SHOW synchronous_commit") == "on"
    finally:
        server.sql(f"ALTER ROLE {USER} RESET synchronous_commit")


def test_without_its_library_it_says_what_to_install(to: To, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(door, "asyncpg", None)
    with pytest.raises(SettingsError, match=r"pip install 'edgemon\[postgresql\]'"):
        to()
