"""Captures that go, and their bytes.

A capture goes in two steps, so that a crash between them loses nothing that is kept and no space for ever: one transaction
drops its row and notes where its bytes lay; later its bytes are given back and the note is dropped. Bytes are given back only
between kept captures, as the database has them at that moment. Whoever reads beside us may still know the row: it finds zeros,
asks again, and learns that the capture is gone.

Where the file system cannot give back what lies in the middle of a file, what is kept of a segment that is mostly dropped is
written anew at the end of the newest one, and the old file goes as a whole.
"""

import fcntl
import math
import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from edgemon.errors import StoreCorrupt
from edgemon.model.retention import Kept, Worth
from edgemon.model.upstream import Source
from edgemon.store import disk
from edgemon.store.connection import transaction
from edgemon.store.outbox import lowest_needed
from edgemon.store.plan import Offer, Old, Shelf
from edgemon.store.samples import Record, unpack
from edgemon.store.segments import COPYING, Place, Segments, file_of, read_bytes

CAPTURES = 64
"""Captures offered of each worth, and dropped in one step at most. House choice."""
STRETCHES = 8
RANGES = 64
"""Places given back in one step. House choice."""
MOVED_BYTES = 4 << 20
"""Written anew in one step, where that is needed. House choice."""
MOSTLY = 0.5
"""A segment of which so much is dropped is written anew. House choice."""

_SHELF = """SELECT number, received_at, length FROM captures
    WHERE worth = ? AND received_at <= ? AND number <= ? AND number < (SELECT max(number) FROM captures)
    ORDER BY received_at LIMIT ?"""
_FIRST_UNSENT = "SELECT received_at FROM captures WHERE number > ? ORDER BY number LIMIT 1"
_OLD = "SELECT id, last FROM stretches WHERE aged = 0 AND last < ? ORDER BY last LIMIT ?"
_FREE = """INSERT INTO freed (segment, offset, length) SELECT segment, offset, length FROM captures WHERE number = ?
    ON CONFLICT DO UPDATE SET length = excluded.length"""
_BEFORE = "SELECT offset + length FROM captures WHERE segment = ? AND offset < ? ORDER BY offset DESC LIMIT 1"
_BEHIND = "SELECT offset FROM captures WHERE segment = ? AND offset > ? ORDER BY offset LIMIT 1"
_WASTE = """SELECT freed.segment FROM freed JOIN segments ON number = freed.segment
    WHERE number < (SELECT max(number) FROM segments) GROUP BY number HAVING sum(length) >= ? * end_bytes LIMIT 1"""
_END = """INSERT INTO segments (number, end_bytes) VALUES (?, ?)
    ON CONFLICT DO UPDATE SET end_bytes = excluded.end_bytes"""
_MOVE = "UPDATE captures SET segment = ?, offset = ? WHERE number = ?"


def offer(connection: sqlite3.Connection, used_bytes: int, readings_before: float) -> Offer:
    """Give what may go next."""
    needed = lowest_needed(connection, Source.CAPTURES)
    last = 2**63 - 1 if needed is None else needed
    unsent = connection.execute(_FIRST_UNSENT, (last,)).fetchone()
    before = math.inf if unsent is None else unsent[0]  # spares a walk over all that is unsent
    shelves = {}
    for worth in (Worth.NORMAL, Worth.ALERT, Worth.EVENT):
        rows = connection.execute(_SHELF, (worth, before, last, CAPTURES)).fetchall()
        kept = tuple(Kept(number, worth, received_at, length) for number, received_at, length in rows)
        shelves[worth] = Shelf(kept, len(kept) < CAPTURES)
    rows = connection.execute(_OLD, (readings_before, STRETCHES)).fetchall()
    old = Shelf(tuple(Old(*row) for row in rows), len(rows) < STRETCHES)
    (newest,) = connection.execute("SELECT coalesce(max(number), 0) FROM captures").fetchone()
    return Offer(used_bytes - pending(connection), shelves, old, newest, needed)


def pending(connection: sqlite3.Connection) -> int:
    """Give the bytes that are dropped, but not given back yet."""
    (total,) = connection.execute("SELECT coalesce(sum(length), 0) FROM freed").fetchone()
    return int(total)


def drop(connection: sqlite3.Connection, captures: Sequence[Kept]) -> None:
    """Drop rows of captures, and note where their bytes lie."""
    with transaction(connection):
        numbers = [(one.number,) for one in captures]
        connection.executemany(_FREE, numbers)
        connection.executemany("DELETE FROM captures WHERE number = ?", numbers)


class Reclaimer:
    """Gives bytes back; lives on the writer's thread."""

    def __init__(self, folder: Path, segments: Segments) -> None:
        self._folder = folder
        self._segments = segments
        self.can_punch = True

    def reclaim(self, connection: sqlite3.Connection) -> bool:
        """Give some bytes back; gives whether there is nothing more to give back now."""
        rows = connection.execute("SELECT segment, offset, length FROM freed LIMIT ?", (RANGES,)).fetchall()
        if not rows:
            return True
        with _nobody_copies(self._folder) as may:
            if not may:
                return True
            self._drop_empty(connection, {row[0] for row in connection.execute("SELECT DISTINCT segment FROM freed")})
            if self.can_punch:
                self._punch(connection, rows)
        return len(rows) < RANGES if self.can_punch else self._rewrite(connection)

    def _drop_empty(self, connection: sqlite3.Connection, segments: Iterable[int]) -> None:
        """Remove files that nothing points into: the file first, for a row without a file is seen again, not the reverse."""
        for segment in segments:
            is_used = connection.execute("SELECT 1 FROM captures WHERE segment = ? LIMIT 1", (segment,)).fetchone()
            if is_used or segment >= self._segments.segment:
                continue
            file_of(self._folder, segment).unlink(missing_ok=True)
            with transaction(connection):
                connection.execute("DELETE FROM freed WHERE segment = ?", (segment,))
                connection.execute("DELETE FROM segments WHERE number = ?", (segment,))

    def _punch(self, connection: sqlite3.Connection, rows: list[tuple[int, int, int]]) -> None:
        for segment in {row[0] for row in rows}:
            path = file_of(self._folder, segment)
            if not path.exists():
                continue
            file = os.open(path, os.O_RDWR | os.O_CLOEXEC)
            try:
                places = [Place(*row) for row in rows if row[0] == segment]
                if not all(disk.punch(file, *_gap(connection, place)) for place in places):
                    self.can_punch = False
                    return
                os.fdatasync(file)  # the note goes only when the hole is there for good
            finally:
                os.close(file)
        with transaction(connection):
            connection.executemany("DELETE FROM freed WHERE segment = ? AND offset = ?", [row[:2] for row in rows])

    def _rewrite(self, connection: sqlite3.Connection) -> bool:
        """Move some of what is kept of a mostly dropped segment to the newest one; gives whether there is no such segment."""
        found = connection.execute(_WASTE, (MOSTLY,)).fetchone()
        if found is None:
            return True
        (segment,) = found
        needed = lowest_needed(connection, Source.CAPTURES)
        sql = "SELECT number, offset, length, checksum FROM captures WHERE segment = ? AND number <= ? ORDER BY offset"
        rows = connection.execute(sql, (segment, 2**63 - 1 if needed is None else needed)).fetchall()
        some: list[tuple[int, int, int, int]] = []
        size = 0
        for row in rows:
            size += row[2]
            if some and size > MOVED_BYTES:
                break
            some.append(row)
        return not self._move(connection, segment, some)

    def _move(self, connection: sqlite3.Connection, segment: int, rows: list[tuple[int, int, int, int]]) -> bool:
        records = []
        for _, offset, length, checksum in rows:
            body = read_bytes(self._folder, Place(segment, offset, length))
            where = f"{file_of(self._folder, segment)} at byte {offset}"
            try:
                unpack(body, where, checksum)
            except StoreCorrupt:
                return False  # left where it is: whoever reads it is told
            records.append(Record((body,), length, checksum))
        if not records:
            return False
        places = self._segments.append(records)
        try:
            with transaction(connection):
                connection.executemany(_FREE, [(row[0],) for row in rows])
                moved = [(place.segment, place.offset, row[0]) for place, row in zip(places, rows, strict=True)]
                connection.executemany(_MOVE, moved)
                connection.execute(_END, (places[-1].segment, places[-1].offset + places[-1].length))
        finally:
            self._segments.keep(places)  # even if it failed: its rows may come back after a crash
        return True


def _gap(connection: sqlite3.Connection, place: Place) -> tuple[int, int]:
    """Give begin and end of what lies between the kept captures around a place."""
    before = connection.execute(_BEFORE, (place.segment, place.offset)).fetchone()
    behind = connection.execute(_BEHIND, (place.segment, place.offset)).fetchone()
    end = place.offset + place.length if behind is None else behind[0]
    return (0 if before is None else before[0]), end


@contextmanager
def copying(folder: Path) -> Iterator[None]:
    """Keep the store's bytes where they are while it is copied; needs only the right to read."""
    try:
        lock = os.open(folder / COPYING, os.O_RDONLY | os.O_CLOEXEC)
    except FileNotFoundError:  # no daemon that gives bytes back was here yet
        yield
        return
    try:
        fcntl.flock(lock, fcntl.LOCK_SH)
        yield
    finally:
        os.close(lock)


@contextmanager
def _nobody_copies(folder: Path) -> Iterator[bool]:
    lock = os.open(folder / COPYING, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    try:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
        else:
            yield True
    finally:
        os.close(lock)
