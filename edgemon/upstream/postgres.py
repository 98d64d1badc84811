"""A PostgreSQL database as upstream, through asyncpg (`edgemon[postgresql]`): real columns, a partition a month, each key once.

A batch of one source is one statement, which PostgreSQL takes as a whole or not at all. Where it refuses a row, the batch is
halved until that row stands alone, so the others are taken. Everything else that goes wrong is the link's and is tried again:
nothing is refused because the server is full, read-only, restarted, or lacks a table or a right.

Several addresses are the servers of one database, of which one may be written to: that one is looked for. Each says by its
timeline whether a standby has taken over, which may lack what was confirmed lately (`upstream/overlap.py`); one whose timeline
is older than one seen before is a former primary that was left behind, and is not written to.

Through a pooler that changes connections between transactions: see `upstream/postgres_session.py`.
"""

import asyncio
import logging
import math
import ssl
from collections.abc import Awaitable, Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, TypeVar
from urllib.parse import unquote, urlsplit

from edgemon import tls
from edgemon.errors import LinkDown, LinkRefused, SettingsError
from edgemon.model.instant import Duration
from edgemon.model.text import clean
from edgemon.model.upstream import Item, Source, Upstream
from edgemon.upstream import sql, sqlstate
from edgemon.upstream.port import Refused
from edgemon.upstream.postgres_session import COMMIT_WAITS, TIMELINE, Sessions
from edgemon.upstream.rows import Month, Row, month_of, row_of

try:
    import asyncpg
except ImportError:  # an extra: whoever has no such upstream does without
    asyncpg = None

T = TypeVar("T")
ANSWER_WAIT_S: Duration = 20.0
"""A server that answers nothing for so long is as good as none. House choice."""
SLOWEST_BYTES_PER_S = 32_000.0
"""A line that is slower is no line: large batches get so much more time. House choice."""
CLOSE_WAIT_S: Duration = 2.0
ASK_AGAIN = 1000
"""Batches until a month without a partition is asked for anew. House choice."""
MONTHS_KEPT = 1000
_LONGEST_WORDS = 300
_NO_TLS = "rejected SSL upgrade"
"""asyncpg's words where a server says that it speaks no TLS; any other end of that exchange is a plain ConnectionError, too."""
_TABLES = "edgemon_schema"
_STATE = f"""SELECT pg_is_in_recovery() OR current_setting('transaction_read_only') = 'on' AS read_only,
    {TIMELINE} AS timeline, current_setting('synchronous_standby_names') <> '' AS is_followed,
    to_regnamespace($1) IS NOT NULL AS has_schema, to_regclass($2) IS NOT NULL AS has_tables,
    {COMMIT_WAITS.format(is_local="$3::bool")} AS set"""
_STANDBY_WAIT = "SyncRepWaitForLSN"
"""Where a server warns from when it stops waiting for its standby: then a row is committed, but on that server alone."""
_ALONE = "the database's standby does not confirm"
_ALONE_HINT = "see to the standby, or to synchronous_standby_names; nothing is lost here meanwhile"
_FOLLOW = "SELECT pg_logical_emit_message(true, 'edgemon', '')"
"""Writes nothing but a mark into the log, whose commit waits until the standby has that, and all before it."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a database is, out of its URL."""

    host: str
    port: int
    database: str

    def __str__(self) -> str:
        """Give it as a URL again."""
        return f"postgresql://{self.host}:{self.port}/{self.database}"


class PostgresTransport:
    """Fulfils `port.Transport`.

    Parameters
    ----------
    upstream : Upstream
        `into` is the schema; its tables are made where they are missing.
    answer_wait_s : Duration
        How long anything may take, besides the time that a large batch needs on a slow line.

    Raises
    ------
    SettingsError
        The library is not installed.
    """

    def __init__(self, upstream: Upstream, answer_wait_s: Duration = ANSWER_WAIT_S) -> None:
        if asyncpg is None:
            where, hint = f"upstream[{upstream.name}].url", "pip install 'edgemon[postgresql]'"
            raise SettingsError("the library asyncpg is not installed", where, hint)
        self._upstream = upstream
        self._schema = upstream.into
        self._wait_s = answer_wait_s
        self._connection: Any = None
        self._place = ""
        self._first = 0
        self._timeline = 0
        self._sessions = Sessions(f"edgemon {upstream.name}", answer_wait_s, upstream.pooled)
        self._is_alone = False
        """The server gave up waiting for its standby."""
        self._batches = 0
        self._months: dict[tuple[Source, Month], float] = {}
        """From which batch on a month is asked for (again)."""

    @property
    def server(self) -> str:
        """Say which server answered last, and since which take-over it leads."""
        timeline = self._sessions.timeline or self._timeline
        return f"{self._place} (timeline {timeline})" if timeline else ""

    async def connect(self) -> None:
        """Connect, and see to the tables, or do nothing if connected."""
        if self._connection is not None and not self._connection.is_closed():
            return
        await self.close()
        terms, troubles = await self._terms(), []
        urls = self._upstream.server.urls
        for at in (*range(self._first, len(urls)), *range(self._first)):
            place = _place_of(urls[at])
            try:
                self._connection = await self._open(place, terms)
            except LinkDown as down:
                troubles.append(down)
            else:
                self._place, self._first, self._months = str(place), at, {}
                return
        raise troubles[0] if len(troubles) == 1 else LinkDown("; ".join(map(str, troubles)))

    async def send(self, items: Sequence[Item]) -> tuple[Refused, ...]:
        """Insert what is not there yet; what the server refuses is given back with its reason."""
        await self.connect()
        refused: list[Refused] = []
        try:
            if not items:
                await self._within(self._ask("SELECT 1"))
            for source, some in groupby(items, key=lambda item: item.source):
                refused += await self._take(source, list(some))
        except BaseException as error:
            self._drop()
            if isinstance(error, _failures()):
                raise _down(error, self._place, self._upstream.server.tls) from error
            raise
        return tuple(refused)

    async def close(self) -> None:
        """Say goodbye if the server listens; let go in any case."""
        connection, self._connection = self._connection, None
        if connection is None:
            return
        try:
            async with asyncio.timeout(CLOSE_WAIT_S):
                await connection.close()
        except _failures():
            connection.terminate()

    def _drop(self) -> None:
        connection, self._connection = self._connection, None
        if connection is not None:
            connection.terminate()

    async def _terms(self) -> ssl.SSLContext | bool:
        server = self._upstream.server
        if not server.tls:
            return False
        try:
            return await asyncio.to_thread(tls.make_context, server)
        except LinkRefused as refused:  # a file that is wrong now may be right later
            raise LinkDown(refused.what, refused.where, refused.hint) from refused

    async def _open(self, place: Place, terms: ssl.SSLContext | bool) -> Any:
        server, connection = self._upstream.server, None
        try:
            connection = await asyncpg.connect(
                host=place.host,
                port=place.port,
                database=place.database,
                user=server.username or sql.DEFAULT_ROLE,
                password=lambda: str(server.password or ""),  # never what lies about in the environment
                ssl=terms,
                timeout=self._wait_s,
                **self._sessions.terms(),
            )
            connection.add_log_listener(self._hear)
            await self._prepare(connection)
        except BaseException as error:
            if connection is not None:
                connection.terminate()
            if isinstance(error, LinkDown):
                raise LinkDown(error.what, str(place), error.hint) from error
            if isinstance(error, _failures()):
                raise _down(error, str(place), server.tls) from error
            raise
        return connection

    async def _prepare(self, connection: Any) -> None:
        state, version = await self._within(self._look(connection))
        if state["read_only"]:
            raise asyncpg.ReadOnlySQLTransactionError("the database is read-only")
        self._lead(int(state["timeline"], 16))
        if state["is_followed"]:  # what an earlier connection left half done is there, but its standby may lack it
            try:
                await self._followed(self._within(self._follow(connection)))
            except TimeoutError as error:
                raise LinkDown(_ALONE, "", _ALONE_HINT) from error
        pending = {number: script for number, script in sql.scripts(self._schema).items() if number > version}
        try:
            if pending:
                await self._within(self._make(connection, pending.values(), state["has_schema"]))
        except asyncpg.InsufficientPrivilegeError as error:
            if version < sql.WRITABLE:
                raise
            what = "the tables are of version %d, not of %d, and are filled as they are: %s; %s"
            log.warning(f"upstream %s: {what}", self._upstream.name, version, max(pending), _words(error), sqlstate.RUN_SQL)

    async def _follow(self, connection: Any) -> None:
        async with self._sessions.begun(connection):  # through a pooler only that has its commit wait
            await connection.execute(_FOLLOW)

    def _lead(self, timeline: int) -> None:
        if timeline < self._timeline and len(self._upstream.server.urls) > 1:
            what = f"is of timeline {timeline}, but the database had come to {self._timeline}: a former primary, left behind?"
            raise LinkDown(what, "", "make it a standby of the new one; if it is meant to be the database, restart the gateway")
        self._timeline = timeline

    async def _look(self, connection: Any) -> tuple[Any, int]:
        """Give how the server stands, and of which version the tables are; 0: there are none."""
        schema, found = sql.quoted(self._schema), None
        async with self._sessions.begun(connection):
            state = await connection.fetchrow(_STATE, schema, f"{schema}.{_TABLES}", self._sessions.is_pooled)
            if state["has_tables"]:
                found = await connection.fetchval(f"SELECT max(version) FROM {schema}.{_TABLES}")
        return state, found or 0

    async def _make(self, connection: Any, scripts: Iterable[str], has_schema: bool) -> None:
        # gateways that come at once take turns; each script does no harm twice
        async with connection.transaction(), self._sessions.begun(connection):
            await connection.execute("SELECT pg_advisory_xact_lock(hashtext('edgemon'), hashtext($1))", self._schema)
            if not has_schema:  # where it is there, the right to make one is not needed
                await connection.execute(f"CREATE SCHEMA IF NOT EXISTS {sql.quoted(self._schema)}")
            for script in scripts:
                await connection.execute(script)

    async def _take(self, source: Source, items: Sequence[Item]) -> list[Refused]:
        refused, rows, taken = [], [], []
        for item in items:
            try:
                rows.append(row_of(item))
                taken.append(item)
            except ValueError as error:
                refused.append(Refused(item, clean(str(error), _LONGEST_WORDS)))
        await self._see_to_months(source, taken)
        self._batches += 1
        return refused + await self._insert(source, taken, rows)

    async def _insert(self, source: Source, items: Sequence[Item], rows: Sequence[Row]) -> list[Refused]:
        if not rows:  # that a batch is done says that the server answered
            await self._within(self._ask("SELECT 1"))
            return []
        try:
            await self._within(self._run(source, rows), sum(len(item.body) for item in items))
        except asyncpg.PostgresError as error:
            if not sqlstate.is_of_the_row(_state_of(error), error.constraint_name):
                raise
            if len(rows) == 1:
                return [Refused(items[0], _words(error))]
        else:
            return []
        middle = len(rows) // 2
        first = await self._insert(source, items[:middle], rows[:middle])
        return first + await self._insert(source, items[middle:], rows[middle:])

    async def _run(self, source: Source, rows: Sequence[Row]) -> None:
        await self._followed(self._put(source, rows))

    async def _put(self, source: Source, rows: Sequence[Row]) -> None:
        async with self._sessions.begun(self._connection):
            if source is Source.CAPTURES:  # one transaction, too
                await self._connection.executemany(sql.insert_one(source, self._schema), rows)
            else:
                await self._connection.execute(sql.insert(source, self._schema), *map(list, zip(*rows, strict=True)))

    async def _ask(self, question: str, *arguments: object) -> Any:
        async with self._sessions.begun(self._connection):
            return await self._connection.fetchval(question, *arguments)

    async def _followed(self, work: Awaitable[object]) -> None:
        """Have something committed; `LinkDown` where the server commits it without the standby that it should wait for."""
        self._is_alone = False
        await work
        if self._is_alone:
            raise LinkDown(_ALONE, self._place, _ALONE_HINT)

    def _hear(self, _: Any, message: Any) -> None:
        self._is_alone |= getattr(message, "server_source_function", "") == _STANDBY_WAIT

    async def _see_to_months(self, source: Source, items: Sequence[Item]) -> None:
        """Have partitions made; a month that gets none now is no trouble: its rows go to the default partition."""
        wanted = {month: item.t for item in items if (month := month_of(item.t)) is not None}
        for month, t in wanted.items():
            if self._months.get((source, month), 0.0) > self._batches:
                continue
            if len(self._months) >= MONTHS_KEPT:
                self._months.clear()
            self._months[source, month] = self._batches + ASK_AGAIN
            try:
                if await self._within(self._ask(sql.make_month(self._schema), source.value, t)):
                    self._months[source, month] = math.inf
            except asyncpg.PostgresError as error:
                if not sqlstate.is_of_the_month(_state_of(error)):
                    raise
                what = "rows of %s of %04d-%02d go to the default partition for now: %s"
                log.warning(f"upstream %s: {what}", self._upstream.name, source, *month, _words(error))

    async def _within(self, work: Awaitable[T], size: int = 0) -> T:
        async with asyncio.timeout(self._wait_s + size / SLOWEST_BYTES_PER_S):
            return await work


def _place_of(url: str) -> Place:
    parts = urlsplit(url)
    return Place(parts.hostname or "", parts.port or 5432, unquote(parts.path.strip("/")))


def _failures() -> tuple[type[Exception], ...]:
    """Give what asyncpg and the socket raise; a bug of ours is not among it."""
    driver = (asyncpg.PostgresError, asyncpg.InterfaceError, asyncpg.InternalClientError)
    return (OSError, TimeoutError, UnicodeError, *driver)


def _state_of(error: Exception) -> str:
    return str(getattr(error, "sqlstate", None) or "")


def _words(error: Exception) -> str:
    return clean(str(error).partition("\n")[0], _LONGEST_WORDS)


def _down(error: BaseException, place: str, is_secure: bool) -> LinkDown:
    """Say for people what ended a connection; in what a server says there is no password of ours."""
    if isinstance(error, TimeoutError | OSError | UnicodeError):
        if is_secure and _NO_TLS in str(error):
            return LinkDown("the database speaks no TLS, or not at this port", place)
        return LinkDown(tls.trouble_words(error, peer="database"), place)
    assert isinstance(error, Exception)
    return LinkDown(_words(error), place, sqlstate.hint_of(_state_of(error)))
