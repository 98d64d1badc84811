"""The store in one SQLite file and a folder of segments."""

import sqlite3
from collections.abc import Callable, Collection
from contextlib import suppress
from pathlib import Path
from typing import TypeVar

from edgemon.errors import StoreError
from edgemon.model.alarm import MachineSpeed
from edgemon.model.event import DiagnosisMade, JournalEntry
from edgemon.model.ids import CaptureKey, MachineId, ReadingKey
from edgemon.store.connection import Connection, opened
from edgemon.store.disk import taken
from edgemon.store.faults import translated
from edgemon.store.migrate import connect, refuse_newer
from edgemon.store.port import Commit, Known, Saved
from edgemon.store.samples import unpack
from edgemon.store.segments import ROLL_BYTES, Segments, files_of, folder_of
from edgemon.store.transaction import Writer, has_capture, next_seq
from edgemon.store.trends import holds
from edgemon.store.wire import (
    BASELINES,
    CAPTURE_COLUMNS,
    COLUMNS,
    PROOFS,
    baselines_of,
    entry_from_row,
    part_from_row,
    point_state_from_json,
    proof_of,
    sensor_state_from_json,
)

T = TypeVar("T")
QUARANTINE_MOST = 1000
"""Rejected messages kept where the caller says nothing. House choice."""

_SERIES = "SELECT id FROM series WHERE kind = 'sensor' AND owner = ? AND place = '' AND name = ? AND sim = ?"
_PART = "SELECT 1 FROM parts WHERE sensor = ? AND id = ? AND taken_at = ? AND sim = ? AND spectrum = ? AND part = ?"
_DIAGNOSES = """SELECT seq, recorded_at, body FROM journal WHERE seq IN
    (SELECT max(seq) FROM journal WHERE kind = 'diagnosis-made' GROUP BY machine, point, sim)"""
_PARTS = f"SELECT {CAPTURE_COLUMNS}, part, parts, record FROM parts ORDER BY arrival"


class SqliteStore:
    """The one writer; see `port.Store`. Made by `open`.

    Captures and readings that are stored already are left as they are when they are committed again.
    """

    def __init__(self, path: Path, connection: Connection, writer: Writer) -> None:
        self._path = path
        self._connection = connection
        self._writer = writer

    @classmethod
    async def open(
        cls,
        path: Path,
        *,
        quarantine_most: int = QUARANTINE_MOST,
        roll_bytes: int = ROLL_BYTES,
        quota_bytes: int | None = None,
    ) -> "SqliteStore":
        """Open or make the store; folders are made, too.

        Parameters
        ----------
        path : Path
            The database; samples lie beside it, in `<path>.segments`.
        quarantine_most : int
            Rejected messages kept; the oldest are dropped.
        roll_bytes : int
            Size at which a segment is full.
        quota_bytes : int, optional
            Most that the database itself may take; beyond it a commit raises StoreFull.

        Raises
        ------
        StoreError
            Not allowed, in use by another gateway, or the database of another program.
        StoreCorrupt
            Damaged, or not a database.
        StoreTooNew
            Written by a newer version; left as it is.
        """
        made: list[Writer] = []

        def connector() -> sqlite3.Connection:
            connection, writer = _begin(path, quarantine_most, roll_bytes, quota_bytes)
            made.append(writer)
            return connection

        connection = Connection(connector)
        try:
            with translated(path):
                await opened(connection)
        except BaseException:
            for writer in made:
                writer.segments.close()
            raise
        return cls(path, connection, made[0])

    @property
    def remark(self) -> str:
        """What was found damaged at the opening without stopping it; empty if nothing was."""
        return self._writer.segments.remark

    @property
    def segments(self) -> Segments:
        """Where samples go; for the neighbours in this folder, on the connection's thread."""
        return self._writer.segments

    async def load(self) -> Saved:
        """Read what the last run left behind."""
        return await self._run(self._load)

    async def known(
        self,
        captures: Collection[CaptureKey],
        readings: Collection[ReadingKey],
        parts: Collection[tuple[CaptureKey, int]] = (),
    ) -> Known:
        """Say which keys are stored already; a part only while its capture waits for others."""

        def look(connection: sqlite3.Connection) -> Known:
            return Known(
                frozenset(key for key in captures if has_capture(connection, key)),
                frozenset(key for key in readings if _has_reading(connection, key)),
                frozenset((key, part) for key, part in parts if connection.execute(_PART, (*key, part)).fetchone()),
            )

        return await self._run(look)

    async def commit(self, commit: Commit) -> tuple[JournalEntry, ...]:
        """Store everything durably, or nothing."""
        return await self._run(lambda connection: self._writer.write(connection, commit))

    async def mark_published(self, seq: int) -> None:
        """Remember how far the journal was published; written with the next commit, or at the end."""
        self._writer.published_seq = max(self._writer.published_seq, seq)

    async def size_bytes(self) -> int:
        """Give what database, log and samples take on disk."""

        def measure(_: sqlite3.Connection) -> int:
            return taken(files_of(self._path))

        return await self._run(measure)

    async def close(self) -> None:
        """Write down what is left, close, let go of the lock; once is enough, twice does no harm."""
        if self._connection.is_closed:
            return
        try:
            with suppress(StoreError):  # published entries are published again, that is all
                await self._run(self._writer.write_published)
        finally:
            try:
                with translated(self._path):
                    await self._connection.close()
            finally:
                self._writer.segments.close()

    async def run(self, work: Callable[[sqlite3.Connection], T]) -> T:
        """Run a piece of work of its own transaction among the commits; for the neighbours in this folder."""
        return await self._run(work)

    async def _run(self, work: Callable[[sqlite3.Connection], T]) -> T:
        with translated(self._path):
            return await self._connection.run(work)

    def _load(self, connection: sqlite3.Connection) -> Saved:
        points = connection.execute("SELECT body, machine, point FROM point_states ORDER BY machine, point, sim")
        sensors = connection.execute("SELECT body, sensor FROM sensor_states ORDER BY sensor, sim")
        speeds = connection.execute("SELECT machine, rpm, taken_at, sim FROM speeds ORDER BY machine, sim")
        diagnoses = connection.execute(_DIAGNOSES).fetchall()
        path = self._path
        return Saved(
            tuple(point_state_from_json(row[0], f"{path}, state of point {row[1]}/{row[2]}") for row in points),
            tuple(sensor_state_from_json(row[0], f"{path}, state of sensor {row[1]}") for row in sensors),
            tuple(MachineSpeed(MachineId(row[0]), row[1], row[2], bool(row[3])) for row in speeds),
            tuple(
                part_from_row(row, unpack(row[-1], f"{path}, part {row[COLUMNS]} of capture {row[1]} of {row[0]}"))
                for row in connection.execute(_PARTS)
            ),
            dict(connection.execute("SELECT name, value FROM counters ORDER BY name").fetchall()),
            tuple(made for row in diagnoses if isinstance(made := entry_from_row(row).event, DiagnosisMade)),
            baselines_of(connection.execute(BASELINES)),
            next_seq(connection),
            self._writer.published_seq,
            dict(connection.execute("SELECT file, written FROM settings ORDER BY file").fetchall()),
            proof_of(connection.execute(f"{PROOFS} ORDER BY seq DESC LIMIT 1")),
        )


def _has_reading(connection: sqlite3.Connection, key: ReadingKey) -> bool:
    series = connection.execute(_SERIES, (key.sensor, key.name, key.sim)).fetchone()
    if series is None:
        return False
    row = connection.execute("SELECT 1 FROM trend WHERE series = ? AND t = ?", (series[0], key.taken_at)).fetchone()
    return row is not None or holds(connection, series[0], key.taken_at, True)


def _begin(path: Path, quarantine_most: int, roll_bytes: int, quota_bytes: int | None) -> tuple[sqlite3.Connection, Writer]:
    """Lock, open and check; runs on the connection's thread."""
    refuse_newer(path)  # before a lock is laid beside it
    path.parent.mkdir(parents=True, exist_ok=True)
    segments = Segments(folder_of(path), roll_bytes)
    try:
        connection = connect(path)
        try:
            segments.resume(connection)
            if quota_bytes is not None:
                page_bytes = connection.execute("PRAGMA page_size").fetchone()[0]
                connection.execute(f"PRAGMA max_page_count = {max(1, quota_bytes // page_bytes)}")
            row = connection.execute("SELECT value FROM meta WHERE key = 'published_seq'").fetchone()
            published = 0 if row is None else int(row[0])
        except BaseException:
            connection.close()
            raise
    except BaseException:
        segments.close()
        raise
    return connection, Writer(segments, quarantine_most, published_seq=published, written_seq=published)
