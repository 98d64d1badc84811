"""The store in one SQLite file and a folder of segments."""

import sqlite3
from collections.abc import Callable, Collection
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from edgemon.errors import StoreError
from edgemon.model.event import JournalEntry
from edgemon.model.ids import CaptureKey, ReadingKey
from edgemon.store.connection import Connection, opened
from edgemon.store.disk import taken
from edgemon.store.faults import translated
from edgemon.store.held import known_in, published_in, saved_in
from edgemon.store.migrate import connect, refuse_newer
from edgemon.store.port import Commit, Known, Saved
from edgemon.store.segments import ROLL_BYTES, Segments, files_of, folder_of
from edgemon.store.transaction import Writer

T = TypeVar("T")
QUARANTINE_MOST = 1000
"""Rejected messages kept where the caller says nothing. House choice."""


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

        def load(connection: sqlite3.Connection) -> Saved:
            return replace(saved_in(connection, self._path), published_seq=self._writer.published_seq)

        return await self._run(load)

    async def known(
        self,
        captures: Collection[CaptureKey],
        readings: Collection[ReadingKey],
        parts: Collection[tuple[CaptureKey, int]] = (),
    ) -> Known:
        """Say which keys are stored already; a part only while its capture waits for others."""
        return await self._run(lambda connection: known_in(connection, captures, readings, parts))

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
            published = published_in(connection)
        except BaseException:
            connection.close()
            raise
    except BaseException:
        segments.close()
        raise
    return connection, Writer(segments, quarantine_most, published_seq=published, written_seq=published)
