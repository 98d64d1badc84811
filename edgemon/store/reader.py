"""Reading the store beside its writer: short reads on a connection that cannot write."""

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from edgemon.errors import StoreCorrupt
from edgemon.model.baseline import Baseline
from edgemon.model.event import JournalEntry
from edgemon.model.ids import CaptureKey, PointKey, SensorId
from edgemon.model.instant import Instant
from edgemon.model.message import Quarantined
from edgemon.model.reading import Capture
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.snapshot import TrendBins, TrendPoint
from edgemon.store.chunk import Values, values_of
from edgemon.store.connection import Connection, opened
from edgemon.store.faults import translated
from edgemon.store.migrate import connect_read_only
from edgemon.store.segments import Place, folder_of, read
from edgemon.store.transaction import SeriesKey
from edgemon.store.trends import bins_of, instant, points_of, values
from edgemon.store.wire import (
    BASELINES,
    CAPTURE_COLUMNS,
    PROOFS,
    Row,
    baselines_of,
    capture_from_row,
    conditions,
    entry_from_row,
)

T = TypeVar("T")
_SERIES = "SELECT id FROM series WHERE kind = ? AND owner = ? AND place = ? AND name = ? AND sim = ?"
_CAPTURE = f"""SELECT {CAPTURE_COLUMNS}, missing_parts, segment, offset, length, checksum
    FROM captures WHERE sensor = ? AND id = ? AND taken_at = ? AND sim = ? AND spectrum = ?"""
_OF_EACH_ALARM = "GROUP BY machine, point, sim, json_extract(body, '$.alarm[2]')"
_STANDING = f"""SELECT seq, recorded_at, body, hash FROM journal WHERE seq IN (
    SELECT max(seq) FROM journal WHERE kind = 'alarm-changed' AND recorded_at < ? {_OF_EACH_ALARM}
    UNION SELECT max(seq) FROM journal WHERE kind = 'alarm-changed' AND recorded_at < ?
        AND json_extract(body, '$.from_state') NOT IN ('UNACK', 'ACKED') {_OF_EACH_ALARM}
    ) ORDER BY seq"""
_QUARANTINE = "SELECT topic, head, size, received_at, cause, detail FROM quarantine ORDER BY arrival DESC LIMIT ?"


class SqliteReader:
    """Read-only questions; see `port.Reader`. Made by `open`. Times since and until belong to what is asked for.

    Each question is one statement read to its end: an open read would stop the log from being moved into the database.
    """

    def __init__(self, path: Path, connection: Connection) -> None:
        self._path = path
        self._connection = connection

    @classmethod
    async def open(cls, path: Path) -> "SqliteReader":
        """Open a store that is there; StoreError if it is not."""
        connection = Connection(lambda: connect_read_only(path))
        with translated(path):
            await opened(connection)
        return cls(path, connection)

    async def journal(
        self, limit: int, before: int | None = None, after: int | None = None, search: Search = EVERYTHING
    ) -> tuple[JournalEntry, ...]:
        """Give journal entries: the newest first, or with `after` the oldest first after that number."""
        order = "DESC" if after is None else "ASC"
        below = before if before is not None else 2**63 - 1
        wanted, values = conditions(search)
        sql = f"SELECT seq, recorded_at, body, hash FROM journal WHERE seq < ? AND seq > ?{wanted} ORDER BY seq {order} LIMIT ?"
        rows = await self._rows(sql, (below, after or 0, *values, limit))
        return tuple(entry_from_row(row) for row in rows)

    async def standing(self, at: Instant) -> tuple[JournalEntry, ...]:
        """Give, of each alarm, what tells whether it stood at a time and since when, oldest first."""
        return tuple(entry_from_row(row) for row in await self._rows(_STANDING, (at, at)))

    async def trend(
        self,
        point: PointKey,
        level: str,
        since: Instant,
        until: Instant,
        sim: bool = False,
        most: int = 2000,
        earliest: bool = False,
    ) -> tuple[TrendPoint, ...]:
        """Give the values of a level in the house's unit, oldest first; the newest (or earliest) `most` of them."""
        return await self._values(("point", *point, level, sim), since, until, most, earliest)

    async def trend_bins(
        self, point: PointKey, level: str, since: Instant | None, until: Instant, columns: int, sim: bool = False
    ) -> TrendBins:
        """Cut a level's fit values into stretches, in the house's unit; `since` None: from its first value on."""

        def look(connection: sqlite3.Connection) -> TrendBins:
            with instant(connection):
                series = _series(connection, ("point", *point, level, sim))
                return bins_of(connection, series, since, until, columns)

        return await self.run(look)

    async def baselines(self) -> tuple[Baseline, ...]:
        """Give the newest baseline of each point and level, in whatever state it is."""
        return baselines_of(await self._rows(BASELINES, ()))

    async def proofs(self) -> tuple[JournalEntry, ...]:
        """Give the entries that announce a proof or end one, oldest first."""
        return tuple(entry_from_row(row) for row in await self._rows(f"{PROOFS} ORDER BY seq", ()))

    async def readings(
        self, sensor: SensorId, name: str, since: Instant, until: Instant, sim: bool = False, most: int = 2000
    ) -> tuple[TrendPoint, ...]:
        """Give what a sensor said under a name, oldest first; the newest `most` of them."""
        return await self._values(("sensor", sensor, "", name, sim), since, until, most)

    async def capture(self, key: CaptureKey) -> Capture | None:
        """Give a stored capture; StoreCorrupt if its samples are damaged, naming file and offset."""
        folder = folder_of(self._path)
        return await self.run(lambda connection: _capture(connection, folder, key))

    async def captures(
        self,
        sensor: SensorId | None,
        since: Instant,
        until: Instant,
        sim: bool | None = None,
        most: int = 1000,
        spectra: bool | None = False,
    ) -> tuple[CaptureKey, ...]:
        """List stored waveforms, with `spectra` spectra instead (None: both), newest first."""
        wanted = {"sensor": sensor, "sim": sim, "spectrum": spectra}
        given = {column: value for column, value in wanted.items() if value is not None}
        where = " AND ".join(["taken_at BETWEEN ? AND ?", *(f"{column} = ?" for column in given)])
        columns, order = "sensor, id, taken_at, sim, spectrum", "taken_at DESC, number DESC"
        sql = f"SELECT {columns} FROM captures WHERE {where} ORDER BY {order} LIMIT ?"
        rows = await self._rows(sql, (since, until, *given.values(), most))
        return tuple(CaptureKey(name, one, at, bool(is_sim), bool(lines)) for name, one, at, is_sim, lines in rows)

    async def quarantined(self, limit: int) -> tuple[Quarantined, ...]:
        """Give rejected messages, newest first."""
        return tuple(Quarantined(*row) for row in await self._rows(_QUARANTINE, (limit,)))

    async def close(self) -> None:
        """Close; twice does no harm."""
        if not self._connection.is_closed:
            with translated(self._path):
                await self._connection.close()

    async def _values(
        self, name: SeriesKey, since: Instant, until: Instant, most: int, earliest: bool = False
    ) -> tuple[TrendPoint, ...]:
        def look(connection: sqlite3.Connection) -> Values:
            with instant(connection):
                series = _series(connection, name)
                return values_of(()) if series is None else values(connection, series, since, until, most, earliest)

        return points_of(await self.run(look))

    async def _rows(self, sql: str, values: tuple[object, ...]) -> list[Row]:
        return await self.run(lambda connection: connection.execute(sql, values).fetchall())

    async def run(self, work: Callable[[sqlite3.Connection], T]) -> T:
        """Ask something that only reads; for the neighbours in this folder."""
        with translated(self._path):
            return await self._connection.run(work)


def _series(connection: sqlite3.Connection, name: SeriesKey) -> int | None:
    row = connection.execute(_SERIES, name).fetchone()
    return None if row is None else int(row[0])


def _capture(connection: sqlite3.Connection, folder: Path, key: CaptureKey) -> Capture | None:
    row = connection.execute(_CAPTURE, key).fetchone()
    while row is not None:
        try:
            return capture_from_row(row, read(folder, Place(*row[-4:-1]), row[-1]))
        except StoreCorrupt:  # dropped or moved since the row was read?
            before, row = row, connection.execute(_CAPTURE, key).fetchone()
            if row == before:
                raise
    return None
