"""What each upstream has not sent yet: cursors over what the store holds, and what was refused.

Reading has a connection of its own and never waits for the path; the few writes are queued among its commits.
"""

import logging
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

from edgemon.errors import StoreCorrupt
from edgemon.model.command import Person
from edgemon.model.instant import Instant
from edgemon.model.upstream import Depth, Item, Parked, RetryOrdered, Source
from edgemon.store.connection import BUSY_TIMEOUT_MS, Connection, opened, transaction
from edgemon.store.faults import translated
from edgemon.store.items import capture_item, journal_item, reading_item
from edgemon.store.migrate import connect_read_only
from edgemon.store.segments import Place, folder_of, read
from edgemon.store.sqlite import SqliteStore
from edgemon.store.transaction import append
from edgemon.store.wire import CAPTURE_COLUMNS, Row, capture_from_row, entry_from_row

T = TypeVar("T")
_LAST = 2**63 - 1
NOTHING: Mapping[Source, int] = MappingProxyType({})
CAPTURES_AT_ONCE = 8
"""Captures are large: so many are held in memory at most. House choice."""

_FINDING = "kind = 'diagnosis-made'"
_READINGS = """SELECT number, kind, owner, place, name, sim, quantity, t, value, fit
    FROM feed JOIN series ON series.id = feed.series WHERE number > ? ORDER BY number LIMIT ?"""
_CAPTURES = f"""SELECT {CAPTURE_COLUMNS}, missing_parts, segment, offset, length, checksum, number
    FROM captures WHERE number {{which}} ? ORDER BY number LIMIT ?"""
_ENTRIES = "SELECT seq, recorded_at, body, hash, sim FROM journal WHERE seq > ? {also} ORDER BY seq LIMIT ?"
_CURSOR = """INSERT INTO upstream_cursors (upstream, source, position) VALUES (?, ?, ?)
    ON CONFLICT DO UPDATE SET position = max(position, excluded.position)"""
_DRAIN = """DELETE FROM feed WHERE number <=
    coalesce((SELECT min(position) FROM upstream_positions WHERE source = 'readings'), 9223372036854775807)"""
_STRETCH = "SELECT position, until FROM upstream_backlog WHERE upstream = ? AND source = ? ORDER BY until LIMIT 1"
_OVERTAKEN = "INSERT INTO upstream_backlog (upstream, source, position, until) VALUES (?, ?, ?, ?)"
_CAUGHT_UP = "UPDATE upstream_backlog SET position = ? WHERE upstream = ? AND source = ? AND until = ?"
_DROP = "DELETE FROM {table} WHERE upstream = ? AND source = ?"
_PARK = """INSERT INTO upstream_parked (upstream, source, key, subject, t, sim, body, parked_at, why)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
    ON CONFLICT (upstream, key) DO UPDATE SET again = 0, why = excluded.why, parked_at = excluded.parked_at"""
_PARKED = "SELECT number, upstream, source, key, subject, t, sim, body, parked_at, why, again FROM upstream_parked"
_IS_LISTED = "again <= 1"
"""`again` is 1 for what is to be tried once more, and 1 + a turn for what was taken in that, but may not stay there."""
_TAKEN = "UPDATE upstream_parked SET again = 1 + ? WHERE upstream = ? AND key = ?"
_FORGET = "DELETE FROM upstream_parked WHERE upstream = ? AND key = ?"
_STAYS = "DELETE FROM upstream_parked WHERE upstream = ? AND again BETWEEN 2 AND 1 + ?"
_TAKE_BACK = "UPDATE upstream_parked SET again = 1 WHERE again > 1"
_TABLE = {Source.READINGS: "feed", Source.CAPTURES: "captures", Source.JOURNAL: "journal", Source.FINDINGS: "journal"}
_NUMBER = {Source.READINGS: "number", Source.CAPTURES: "number", Source.JOURNAL: "seq", Source.FINDINGS: "seq"}
_TIME = {Source.READINGS: "t", Source.CAPTURES: "received_at", Source.JOURNAL: "recorded_at", Source.FINDINGS: "recorded_at"}

log = logging.getLogger(__name__)


def lowest_needed(connection: sqlite3.Connection, source: Source) -> int | None:
    """Give the position up to which no upstream needs a source any more; None where none reads it: all may go.

    Captures beyond it (`captures.number`) are unsent.
    """
    (lowest,) = connection.execute("SELECT min(position) FROM upstream_positions WHERE source = ?", (source,)).fetchone()
    return None if lowest is None else int(lowest)


class Outbox:
    """The upstreams' side of one store. Made by `open`.

    Parameters
    ----------
    origin : str
        `site/gateway`, the beginning of every key.
    """

    def __init__(self, path: Path, reading: Connection, store: SqliteStore, origin: str) -> None:
        self._path = path
        self._reading = reading
        self._store = store
        self._origin = origin

    @classmethod
    async def open(cls, path: Path, store: SqliteStore, origin: str) -> "Outbox":
        """Open beside the store that writes; StoreError if that fails."""
        reading = Connection(lambda: connect_read_only(path))
        with translated(path):
            await opened(reading)
        return cls(path, reading, store, origin)

    async def close(self) -> None:
        """Close; twice does no harm."""
        if not self._reading.is_closed:
            with translated(self._path):
                await self._reading.close()

    async def begin(self, wanted: Iterable[tuple[str, Source]]) -> tuple[str, ...]:
        """Give every upstream a cursor for each source; gives what is no longer wanted, whose cursors are dropped.

        A new cursor stands at the end: what is stored from now on is sent. Nobody knows of turns of an earlier run any more.
        """
        pairs = set(wanted)

        def work(connection: sqlite3.Connection) -> tuple[str, ...]:
            known = {
                (name, Source(source)) for name, source in connection.execute("SELECT upstream, source FROM upstream_cursors")
            }
            gone, new = known - pairs, pairs - known
            with transaction(connection):
                connection.execute(_TAKE_BACK)
                if not gone and not new:
                    return ()
                for table in ("upstream_cursors", "upstream_backlog"):
                    connection.executemany(_DROP.format(table=table), list(gone))
                connection.executemany(_CURSOR, [(name, source, _end(connection, source)) for name, source in new])
                connection.execute(_DRAIN)
            return tuple(sorted(f"{name} ({source})" for name, source in gone))

        return await self._store.run(work)

    async def ahead(self, upstream: str, source: Source, most: int, after: int = 0) -> tuple[Item, ...]:
        """Give what comes next of a source, in order, from its cursor on, or from `after` where that is further."""
        return await self._ask(
            lambda connection: self._ahead(connection, max(after, _position(connection, upstream, source)), source, most)
        )

    async def overtake(self, upstream: str, source: Source, waiting: int) -> bool:
        """Go on with what comes next, and leave what waits for `behind`, if it is more than `waiting`; gives whether it is."""

        def work(connection: sqlite3.Connection) -> bool:
            position, end = _position(connection, upstream, source), _end(connection, source)
            if end - position <= waiting:
                return False
            with transaction(connection):
                connection.execute(_OVERTAKEN, (upstream, source, position, end))
                connection.execute(_CURSOR, (upstream, source, end))
            return True

        return await self._store.run(work)

    async def behind(self, upstream: str, source: Source, most: int) -> tuple[Item, ...]:
        """Give what comes next of what was overtaken, in order."""

        def look(connection: sqlite3.Connection) -> tuple[Item, ...]:
            stretch = connection.execute(_STRETCH, (upstream, source)).fetchone()
            if stretch is None:
                return ()
            items = self._ahead(connection, stretch[0], source, most)
            return tuple(item for item in items if item.position <= stretch[1])

        return await self._ask(look)

    async def caught_up(
        self, upstream: str, source: Source, items: Sequence[Item], refused: Sequence[tuple[Item, str]], now: Instant
    ) -> None:
        """Note that these, of what was overtaken, are sent; none: nothing is left of the oldest stretch."""

        def work(connection: sqlite3.Connection) -> None:
            stretch = connection.execute(_STRETCH, (upstream, source)).fetchone()
            if stretch is None:
                return
            with transaction(connection):
                position = items[-1].position if items else stretch[1]
                connection.execute(_CAUGHT_UP, (position, upstream, source, stretch[1]))
                connection.execute("DELETE FROM upstream_backlog WHERE position >= until")
                connection.executemany(_PARK, [_park_row(upstream, item, why, now) for item, why in refused])
                if source is Source.READINGS:
                    connection.execute(_DRAIN)

        await self._store.run(work)

    async def stretches(self, upstream: str) -> tuple[Source, ...]:
        """Name the sources of which something was overtaken."""
        sql = "SELECT DISTINCT source FROM upstream_backlog WHERE upstream = ?"
        rows = await self._ask(lambda connection: connection.execute(sql, (upstream,)).fetchall())
        return tuple(Source(row[0]) for row in rows)

    async def again(self, upstream: str, most: int) -> tuple[Item, ...]:
        """Give parked items that are to be tried once more."""
        sql = f"{_PARKED} WHERE upstream = ? AND again = 1 ORDER BY number LIMIT ?"
        rows = await self._ask(lambda connection: connection.execute(sql, (upstream, most)).fetchall())
        return tuple(_parked(row).item for row in rows)

    async def done(
        self, upstream: str, source: Source, position: int, refused: Sequence[tuple[Item, str]], now: Instant
    ) -> None:
        """Move a cursor, and park what was refused, durably and at once."""

        def work(connection: sqlite3.Connection) -> None:
            with transaction(connection):
                connection.execute(_CURSOR, (upstream, source, position))
                connection.executemany(_PARK, [_park_row(upstream, item, why, now) for item, why in refused])
                if source is Source.READINGS:
                    connection.execute(_DRAIN)

        await self._store.run(work)

    async def retried(
        self, upstream: str, taken: Sequence[Item], refused: Sequence[tuple[Item, str]], now: Instant, turn: int = 0
    ) -> None:
        """Note which parked items were taken at last; those refused once more stay.

        They are forgotten at once, or, with a turn from 1 on, when it `stays`; until then `take_back` has them tried again.
        """

        def work(connection: sqlite3.Connection) -> None:
            with transaction(connection):
                if turn:
                    connection.executemany(_TAKEN, [(turn, upstream, item.key) for item in taken])
                else:
                    connection.executemany(_FORGET, [(upstream, item.key) for item in taken])
                connection.executemany(_PARK, [_park_row(upstream, item, why, now) for item, why in refused])

        await self._store.run(work)

    async def stays(self, upstream: str, turn: int) -> None:
        """Forget what was taken up to a turn."""
        await self._write(_STAYS, upstream, turn)

    async def take_back(self, upstream: str) -> None:
        """Have everything tried once more that was taken and has not been forgotten yet."""
        await self._write(f"{_TAKE_BACK} AND upstream = ?", upstream)

    async def depth(self, upstream: str, sources: Sequence[Source], confirmed: Mapping[Source, int] = NOTHING) -> Depth:
        """Say how much waits; `confirmed` is how far a source is beyond its cursor."""
        return await self._ask(lambda connection: depth_of(connection, upstream, sources, confirmed))

    async def _write(self, sql: str, *values: str | int) -> None:
        def work(connection: sqlite3.Connection) -> None:
            with transaction(connection):
                connection.execute(sql, values)

        await self._store.run(work)

    def _ahead(self, connection: sqlite3.Connection, position: int, source: Source, most: int) -> tuple[Item, ...]:
        if source is Source.READINGS:
            return tuple(reading_item(row, self._origin) for row in connection.execute(_READINGS, (position, most)).fetchall())
        if source is Source.CAPTURES:
            rows = connection.execute(_CAPTURES.format(which=">"), (position, min(most, CAPTURES_AT_ONCE))).fetchall()
            return tuple(item for row in rows if (item := self._capture(connection, row)) is not None)
        sql = _ENTRIES.format(also=f"AND {_FINDING}" if source is Source.FINDINGS else "")
        rows = connection.execute(sql, (position, most)).fetchall()
        return tuple(journal_item(source, entry_from_row(row), self._origin, bool(row[4])) for row in rows)

    def _capture(self, connection: sqlite3.Connection, row: Row | None) -> Item | None:
        """Make the item of a capture; damaged samples are left out and said to be: nothing else may wait for them."""
        while row is not None:
            try:
                axes = read(folder_of(self._path), Place(*row[-5:-2]), row[-2])
                return capture_item(row[-1], capture_from_row(row, axes), self._origin)
            except StoreCorrupt as error:  # dropped or moved since the row was read?
                before, row = row, connection.execute(_CAPTURES.format(which="="), (row[-1], 1)).fetchone()
                if row == before:
                    log.warning("a capture goes upstream without its samples: %s", error)
                    return capture_item(row[-1], capture_from_row(row, {}), self._origin, str(error))
        return None

    async def _ask(self, work: Callable[[sqlite3.Connection], T]) -> T:
        with translated(self._path):
            return await self._reading.run(work)


def depth_of(
    connection: sqlite3.Connection, upstream: str, sources: Sequence[Source], confirmed: Mapping[Source, int] = NOTHING
) -> Depth:
    """Say how much of some sources waits for an upstream."""
    waiting, oldest = 0, None
    for source in sources:
        stretches = connection.execute(
            "SELECT position, until FROM upstream_backlog WHERE upstream = ? AND source = ?", (upstream, source)
        ).fetchall()
        begin = max(_position(connection, upstream, source), confirmed.get(source, 0))
        for position, until in (*stretches, (begin, _LAST)):
            some, first = _stretch_of(connection, source, position, until)
            waiting += some
            if first is not None:
                oldest = first if oldest is None else min(oldest, first)
    sql = f"SELECT count(*) FROM upstream_parked WHERE upstream = ? AND {_IS_LISTED}"
    (parked,) = connection.execute(sql, (upstream,)).fetchone()
    return Depth(waiting, oldest, parked)


def _stretch_of(connection: sqlite3.Connection, source: Source, position: int, until: int) -> tuple[int, Instant | None]:
    """Count a stretch and give the time of its first; journal and feed have no gaps, so their ends tell."""
    table, number, time = _TABLE[source], _NUMBER[source], _TIME[source]
    where = f"FROM {table} WHERE {number} > ? AND {number} <= ?" + (f" AND {_FINDING}" if source is Source.FINDINGS else "")
    has_gaps = source in (Source.FINDINGS, Source.CAPTURES)
    count = "count(*)" if has_gaps else f"coalesce(max({number}), {position}) - {position}"
    (some,) = connection.execute(f"SELECT {count} {where}", (position, until)).fetchone()
    first = connection.execute(f"SELECT {time} {where} ORDER BY {number} LIMIT 1", (position, until)).fetchone()
    return some, None if first is None else first[0]


def parked_in(path: Path, upstream: str | None = None) -> tuple[Parked, ...]:
    """List what was refused, oldest first, beside a daemon that may be at work; see `connect_read_only` for what it raises."""
    with translated(path):
        connection = connect_read_only(path)
        try:
            sql = f"{_PARKED} WHERE (? IS NULL OR upstream = ?) AND {_IS_LISTED} ORDER BY number"
            return tuple(_parked(row) for row in connection.execute(sql, (upstream, upstream)).fetchall())
        finally:
            connection.close()


def try_again(path: Path, person: Person, now: Instant, upstream: str | None = None) -> int:
    """Have parked items tried once more, by a daemon at work or at its next start; gives how many, and journals who told so.

    A daemon at work publishes that entry with the next one of its own.

    Raises
    ------
    StoreError
        There is no store of this version, or it may not be written.
    """
    with translated(path):
        connect_read_only(path).close()  # says whether it is there and ours
        connection = sqlite3.connect(path, isolation_level=None, timeout=BUSY_TIMEOUT_MS / 1000)
        try:
            connection.execute("PRAGMA synchronous = FULL")  # as the daemon's: what people did is durable
            with transaction(connection):
                sql = f"UPDATE upstream_parked SET again = 1 WHERE (? IS NULL OR upstream = ?) AND {_IS_LISTED}"
                count = connection.execute(sql, (upstream, upstream)).rowcount
                if count:
                    append(connection, now, (RetryOrdered(now, count, person.name, person.station, upstream or ""),))
            return count
        finally:
            connection.close()


def _position(connection: sqlite3.Connection, upstream: str, source: Source) -> int:
    sql = "SELECT position FROM upstream_cursors WHERE upstream = ? AND source = ?"
    row = connection.execute(sql, (upstream, source)).fetchone()
    return 0 if row is None else int(row[0])


def _end(connection: sqlite3.Connection, source: Source) -> int:
    if source is Source.CAPTURES:
        return int(connection.execute("SELECT coalesce(max(number), 0) FROM captures").fetchone()[0])
    row = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = ?", (_TABLE[source],)).fetchone()
    return 0 if row is None else int(row[0])


def _park_row(upstream: str, item: Item, why: str, now: Instant) -> Row:
    return (upstream, item.source, item.key, item.subject, item.t, item.sim, item.body, now, why)


def _parked(row: Row) -> Parked:
    number, upstream, source, key, subject, t, sim, body, parked_at, why, again = row
    return Parked(number, upstream, Item(Source(source), 0, key, subject, t, bool(sim), body), parked_at, why, bool(again))
