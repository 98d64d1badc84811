"""What can still be read of a damaged database, row by row into a new one.

A damaged page of a table stops every read that comes upon it. So a table is read forwards until that happens, backwards from
its end, and between the two in halves, until what cannot be read is a few rows. Whether a row that can be read is as it was
written, SQLite cannot say; what the house reads by itself (states, events, samples in a row) is read once here, and left out
where that fails, and of the journal the chain of hashes tells.
"""

import json
import os
import sqlite3
from collections.abc import Callable, Generator, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from heapq import heappop, heappush
from pathlib import Path
from typing import Any

from edgemon.errors import StoreCorrupt
from edgemon.model.instant import Instant
from edgemon.store.chunk import decoded
from edgemon.store.migrate import scripts
from edgemon.store.samples import HEADER, is_record, unpack
from edgemon.store.segments import file_of, folder_of
from edgemon.store.wire import Row, event_from_json, point_state_from_json, sensor_state_from_json

TRIES = 3000
"""How often what cannot be read is halved, for each table or trend: some seconds at most. House choice."""
_FINEST = 1e-3
"""Share of what could not be read of a trend below which it is not halved any more."""
_AT_MOST = 100_000
"""Rows without sense that are told apart."""
_LOWEST, _HIGHEST = -(2.0**33), 2.0**33
"""Times of any trend, s."""
_DAY_S = 86_400.0
_SIDES = 11
"""The step that fills in what older rows do not say: a new file has taken it already when it gets them."""
_ELSEWHERE = frozenset({"segments"})
"""Made anew from the files that are there."""


@dataclass(frozen=True, slots=True)
class Saved:
    """What became of one table."""

    table: str
    rows: int
    places: int
    """Places that could not be read."""
    unfit: int
    """Rows that could be read and make no sense."""

    def __str__(self) -> str:
        """Say it in words."""
        lost = [f"{self.places} places unreadable"] if self.places else []
        lost += [f"{self.unfit} rows make no sense"] if self.unfit else []
        return f"{self.table}: {self.rows} rows" + (f", {', '.join(lost)}" if lost else "")


class Scan:
    """All rows of a table, or of one stretch of it, that can be read.

    Parameters
    ----------
    source : sqlite3.Connection
        The damaged database, text as SQLite gives it.
    select : str
        `SELECT key, ... FROM ... WHERE {between}`, rows in the order of the key to be asked for.
    values : tuple
        Of the other conditions, which come first.
    bounds : (float, float)
        Where the key lies at all.
    likely : (float, float), optional
        Where to look where neither end can be read.
    """

    def __init__(
        self,
        source: sqlite3.Connection,
        select: str,
        values: tuple[Any, ...],
        bounds: tuple[float, float],
        likely: tuple[float, float] | None = None,
    ) -> None:
        self._likely = likely or bounds
        self._source = source
        self._select = select
        self._values = values
        self._bounds = bounds
        self._is_whole = isinstance(bounds[0], int)
        self._finest = 1.0
        self._last: float | str | None = None
        self.places = 0

    def rows(self) -> Iterator[Row]:
        """Give them, each without its key; some twice."""
        low: float | str
        high: float | str
        low, high = self._bounds
        if (yield from self._read(low, high, "ASC")):
            return
        after = self._last
        if (yield from self._read(low if after is None else after, high, "DESC")):
            return
        low = self._likely[0] if after is None else after
        high = self._likely[1] if self._last is None else self._last
        if isinstance(low, str) or isinstance(high, str):  # a small table: its two ends are all that is read
            self.places += 1
            return
        self._finest = 1.0 if self._is_whole else _FINEST * (high - low)
        yield from self._halves(low, high)

    def _halves(self, low: float, high: float) -> Iterator[Row]:
        """Read what lies between two unreadable places; the longest stretch that cannot be read is halved first."""
        waiting, unread = [(low - high, low, high)], []
        for _ in range(TRIES):
            if not waiting:
                break
            _, low, high = heappop(waiting)
            if (yield from self._read(low, high, "ASC")):
                continue
            low = low if self._last is None else float(self._last)
            middle = low + (high - low) / 2
            if self._is_whole:
                low, high, middle = int(low), int(high), int(middle)
            if high - low <= self._finest or not low < middle < high:
                unread.append((low, high))
                continue
            heappush(waiting, (low - middle, low, middle))
            heappush(waiting, (middle - high, middle, high))
        unread += [(low, high) for _, low, high in waiting]
        ends = [high for _, high in sorted(unread)]
        self.places = sum(low > end for (low, _), end in zip(sorted(unread)[1:], ends, strict=False)) + bool(unread)

    def _read(self, low: float | str, high: float | str, order: str) -> Generator[Row, None, bool]:
        """Read a stretch; says whether it could be read to its end, and notes the last key read."""
        self._last = None
        try:
            for key, *row in self._source.execute(f"{self._select} ORDER BY 1 {order}", (*self._values, low, high)):
                yield tuple(row)
                self._last = key
        except sqlite3.DatabaseError:
            return False
        return True


def salvage(source: sqlite3.Connection, target: sqlite3.Connection, path: Path, now: Instant) -> tuple[Saved, ...]:
    """Copy every row that can be read and makes sense.

    Parameters
    ----------
    source, target : sqlite3.Connection
        The damaged database, and a new one of the newest version, in a transaction.
    path : Path
        Where the damaged one lies; its samples beside it.
    now : Instant
        Where it cannot be read how far the journal was numbered, it goes on from this many: seconds pass faster than entries.
    """
    tables = [name for (name,) in target.execute("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY rootpage")]
    told = []
    with _quiet(target):
        for table in tables:
            if not table.startswith("sqlite_") and table not in _ELSEWHERE:
                told.append(_table(source, target, table, _sense(table, path)))
        _segments(target, path)
        _numbers(source, target, now)
        _sides(source, target)
    return tuple(told)


@contextmanager
def _quiet(target: sqlite3.Connection) -> Iterator[None]:
    """Let triggers rest meanwhile: nothing follows from a row that is only taken over."""
    triggers = target.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        target.execute(f"DROP TRIGGER {name}")
    yield
    for _, sql in triggers:
        target.execute(sql)


def _table(
    source: sqlite3.Connection, target: sqlite3.Connection, table: str, makes_sense: Callable[[Mapping[str, Any]], bool]
) -> Saved:
    try:
        there = {name for _, name, *_ in source.execute(f"PRAGMA table_info({table})")}
    except sqlite3.DatabaseError:
        there = set()
    columns = [name for _, name, *_ in target.execute(f"PRAGMA table_info({table})") if name in there]
    if not columns:
        return Saved(table, 0, 0, 0)
    how = "REPLACE" if table in ("meta", "journal_cut") else "IGNORE"
    insert = f"INSERT OR {how} INTO {table} ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})"
    scans = list(_scans(source, target, table, columns))
    before = target.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
    unfit: set[Row] = set()
    for scan in scans:
        for row in scan.rows():
            try:
                if makes_sense(dict(zip(columns, row, strict=True))):
                    target.execute(insert, row)
                elif len(unfit) < _AT_MOST:
                    unfit.add(row)
            except sqlite3.Error:
                unfit.add(row)
    rows = target.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
    return Saved(table, rows if how == "REPLACE" else rows - before, sum(scan.places for scan in scans), len(unfit))


def _scans(source: sqlite3.Connection, target: sqlite3.Connection, table: str, columns: list[str]) -> Iterator[Scan]:
    wanted = ", ".join(columns)
    if table == "trend":  # by its key: series, t
        first, last = target.execute("SELECT min(taken_at), max(taken_at) FROM captures").fetchone()
        likely = None if first is None else (first - _DAY_S, last + _DAY_S)
        for (series,) in target.execute("SELECT id FROM series ORDER BY id").fetchall():
            select = f"SELECT t, {wanted} FROM trend WHERE series = ? AND t >= ? AND t <= ?"
            yield Scan(source, select, (series,), (_LOWEST, _HIGHEST), likely)
        return
    try:
        target.execute(f"SELECT rowid FROM {table} LIMIT 0")
    except sqlite3.OperationalError:  # no row numbers: small tables, read by the first column of their key
        key = next(name for _, name, _, _, _, place in target.execute(f"PRAGMA table_info({table})") if place == 1)
        yield Scan(source, f"SELECT {key}, {wanted} FROM {table} WHERE ? <= ?", (), (0, 1))
        return
    yield Scan(source, f"SELECT rowid, {wanted} FROM {table} WHERE rowid >= ? AND rowid <= ?", (), _bounds(source, table))


def _bounds(source: sqlite3.Connection, table: str) -> tuple[int, int]:
    """Give the row numbers between which a table lies; where its end cannot be read, as far as the file could reach."""
    found = []
    for which, otherwise in (("min", 0), ("max", _bytes(source) // 8)):
        try:
            (number,) = source.execute(f"SELECT {which}(rowid) FROM {table}").fetchone()
        except sqlite3.DatabaseError:
            number = otherwise
        found.append(0 if number is None else int(number))
    return found[0], max(found)


def _bytes(source: sqlite3.Connection) -> int:
    (pages,), (size,) = source.execute("PRAGMA page_count").fetchone(), source.execute("PRAGMA page_size").fetchone()
    return int(pages * size)


def _sense(table: str, path: Path) -> Callable[[Mapping[str, Any]], bool]:
    """Give what a row must pass."""
    sizes = {int(file.stem): file.stat().st_size for file in folder_of(path).glob("*.seg") if file.stem.isdigit()}
    tests: dict[str, Callable[[Mapping[str, Any]], object]] = {
        "point_states": lambda row: point_state_from_json(row["body"], table),
        "sensor_states": lambda row: sensor_state_from_json(row["body"], table),
        "journal": lambda row: event_from_json(row["body"], table),
        "settings": lambda row: json.loads(row["written"]),
        "stretches": lambda row: decoded(row["body"], table),
        "parts": lambda row: unpack(row["record"], table),
        "captures": lambda row: _is_there(row, folder_of(path), sizes),
    }
    test = tests.get(table)

    def makes_sense(row: Mapping[str, Any]) -> bool:
        try:
            return test is None or test(row) is not False
        except (StoreCorrupt, TypeError, ValueError):
            return False

    return makes_sense


def _is_there(row: Mapping[str, Any], folder: Path, sizes: Mapping[int, int]) -> bool:
    """Say whether the samples of a capture begin where its row says, and end within their file."""
    if not 0 <= row["offset"] < row["offset"] + row["length"] <= sizes.get(row["segment"], 0):
        return False
    with file_of(folder, row["segment"]).open("rb") as file:
        return is_record(os.pread(file.fileno(), HEADER.size, row["offset"]), row["length"])


def _segments(target: sqlite3.Connection, path: Path) -> None:
    """Count the sample files as they are, so that none is cut off and the next capture goes behind what there is."""
    for file in sorted(folder_of(path).glob("*.seg")):
        if file.stem.isdigit() and file == file_of(folder_of(path), int(file.stem)):
            sql = "INSERT OR REPLACE INTO segments (number, end_bytes) VALUES (?, ?)"
            target.execute(sql, (int(file.stem), file.stat().st_size))


def _sides(source: sqlite3.Connection, target: sqlite3.Connection) -> None:
    try:
        (version,) = source.execute("PRAGMA user_version").fetchone()
    except sqlite3.DatabaseError:
        return
    if version < _SIDES:
        target.execute(scripts()[_SIDES].read_text())


def _numbers(source: sqlite3.Connection, target: sqlite3.Connection, now: Instant) -> None:
    """Give no number of the journal, or of what waits for an upstream, a second time."""
    try:
        given = source.execute("SELECT name, seq FROM sqlite_sequence").fetchall()
    except sqlite3.DatabaseError:
        given = [("journal", int(now))]
    given += target.execute("SELECT 'journal', value FROM meta WHERE key = 'published_seq'").fetchall()
    for name, seq in given:
        _raise(target, name, seq)


def _raise(target: sqlite3.Connection, name: str, seq: object) -> None:
    known = dict(target.execute("SELECT name, seq FROM sqlite_sequence").fetchall())
    if isinstance(seq, int) and seq > known.get(name, -1):
        sql = "UPDATE sqlite_sequence SET seq = ? WHERE name = ?"
        if name not in known:
            sql = "INSERT INTO sqlite_sequence (seq, name) VALUES (?, ?)"
        target.execute(sql, (seq, name))
