"""The one transaction of the store: everything of a `Commit`, or nothing. Runs whole on the connection's thread."""

import math
import sqlite3
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TypeAlias

from edgemon.model.event import Event, JournalEntry
from edgemon.model.ids import CaptureKey
from edgemon.model.instant import Instant
from edgemon.model.reading import Capture
from edgemon.store.chain import GENESIS, numbered
from edgemon.store.feeding import put
from edgemon.store.port import Commit
from edgemon.store.samples import pack
from edgemon.store.segments import Place, Segments
from edgemon.store.trends import unfolded
from edgemon.store.wire import (
    CAPTURE_COLUMNS,
    COLUMNS,
    Row,
    capture_row,
    part_row,
    point_state_to_json,
    sensor_state_to_json,
)
from edgemon.units import Quantity, to_si

SeriesKey: TypeAlias = tuple[str, str, str, str, bool]
"""Kind, owner, place, name, sim."""

_CAPTURE = f"""INSERT INTO captures ({CAPTURE_COLUMNS}, missing_parts, segment, offset, length, checksum)
    VALUES ({", ".join("?" * (COLUMNS + 5))})"""
_PART = f"""INSERT INTO parts ({CAPTURE_COLUMNS}, part, parts, record)
    VALUES ({", ".join("?" * (COLUMNS + 3))}) ON CONFLICT DO NOTHING"""
_POINT = """INSERT INTO point_states (machine, point, sim, body) VALUES (?, ?, ?, ?)
    ON CONFLICT DO UPDATE SET body = excluded.body"""
_SENSOR = """INSERT INTO sensor_states (sensor, sim, body) VALUES (?, ?, ?)
    ON CONFLICT DO UPDATE SET body = excluded.body"""
_SPEED = """INSERT INTO speeds (machine, sim, rpm, taken_at) VALUES (?, ?, ?, ?)
    ON CONFLICT DO UPDATE SET rpm = excluded.rpm, taken_at = excluded.taken_at"""
_COUNTER = "INSERT INTO counters (name, value) VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value"
_SETTINGS = "INSERT INTO settings (file, written) VALUES (?, ?) ON CONFLICT DO UPDATE SET written = excluded.written"
_SCHEDULE = {True: "INSERT OR IGNORE INTO schedules (topic) VALUES (?)", False: "DELETE FROM schedules WHERE topic = ?"}
_META = "INSERT INTO meta (key, value) VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value"
_JOURNAL = """INSERT INTO journal (seq, recorded_at, at, kind, machine, point, sim, body, hash)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"""
_QUARANTINE = "INSERT INTO quarantine (topic, head, size, received_at, cause, detail) VALUES (?, ?, ?, ?, ?, ?)"


@dataclass(slots=True)
class Writer:
    """What the one writer remembers between two transactions.

    Parameters
    ----------
    segments : Segments
        Where the samples go.
    quarantine_most : int
        Rejected messages kept; the oldest are dropped.
    """

    segments: Segments
    quarantine_most: int
    series: dict[SeriesKey, int] = field(default_factory=dict)
    published_seq: int = 0
    written_seq: int = 0
    """What of `published_seq` the database knows."""

    def write(self, connection: sqlite3.Connection, commit: Commit) -> tuple[JournalEntry, ...]:
        """Store a commit durably, or nothing of it.

        Captures and readings that are stored already are left as they are.
        """
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        fresh: dict[SeriesKey, int] = {}
        published = self.published_seq
        connection.execute("BEGIN IMMEDIATE")
        try:
            places = self._captures(connection, commit.captures)
            self._trend(connection, commit, fresh)
            self._parts(connection, commit)
            self._states(connection, commit)
            entries = append(connection, commit.recorded_at, commit.events)
            self._published(connection, published)
        except BaseException:
            self._undo(connection)
            raise
        self._seal(connection, places)
        self.series |= fresh
        self.written_seq = published
        return entries

    def write_published(self, connection: sqlite3.Connection) -> None:
        """Write down how far the journal was published, if that is not known yet."""
        self._published(connection, self.published_seq)
        self.written_seq = self.published_seq

    def _published(self, connection: sqlite3.Connection, seq: int) -> None:
        if seq > self.written_seq:
            connection.execute(_META, ("published_seq", seq))

    def _seal(self, connection: sqlite3.Connection, places: list[Place]) -> None:
        try:
            connection.execute("COMMIT")
        except sqlite3.Error as error:
            if getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_FULL:
                self._undo(connection)
            else:  # its frames may lie in the log and come back after a crash: leave the samples they point at
                _roll_back(connection)
                self.segments.keep(places)
            raise
        self.segments.keep(places)

    def _undo(self, connection: sqlite3.Connection) -> None:
        _roll_back(connection)
        with suppress(OSError):  # the bytes are overwritten by the next commit anyway
            self.segments.forget()

    def _captures(self, connection: sqlite3.Connection, captures: tuple[Capture, ...]) -> list[Place]:
        new: dict[CaptureKey, Capture] = {}
        for capture in captures:
            key = capture.key
            if key not in new and not has_capture(connection, key):
                new[key] = capture
        if not new:
            return []
        records = [pack(capture.axes) for capture in new.values()]
        places = self.segments.append(records)
        connection.executemany(
            _CAPTURE,
            [
                (*capture_row(capture), place.segment, place.offset, place.length, record.checksum)
                for capture, place, record in zip(new.values(), places, records, strict=True)
            ],
        )
        end = (places[-1].segment, places[-1].offset + places[-1].length)
        sql = "INSERT INTO segments (number, end_bytes) VALUES (?, ?) ON CONFLICT DO UPDATE SET end_bytes = excluded.end_bytes"
        connection.execute(sql, end)
        return places

    def _parts(self, connection: sqlite3.Connection, commit: Commit) -> None:
        if commit.parts:
            connection.executemany(_PART, [part_row(part, pack(part.axes).joined()) for part in commit.parts])
        if commit.captures and connection.execute("SELECT EXISTS (SELECT 1 FROM parts)").fetchone()[0]:
            sql = "DELETE FROM parts WHERE sensor = ? AND id = ? AND taken_at = ? AND sim = ? AND spectrum = ?"
            connection.executemany(sql, [capture.key for capture in commit.captures])

    def _trend(self, connection: sqlite3.Connection, commit: Commit, fresh: dict[SeriesKey, int]) -> None:
        """Store values; one that is not finite has no place in a trend, and SQLite would make NULL of it."""
        rows: list[Row] = []
        for measurement in commit.measurements:
            machine, point = measurement.point
            fit = measurement.verdict.is_fit
            for level in measurement.levels:
                if math.isfinite(level.value):
                    key = ("point", machine, point, level.name, measurement.sim)
                    series = self._series(connection, key, level.quantity, fresh)
                    rows.append((series, measurement.taken_at, level.value, fit))
            if measurement.rpm is not None and math.isfinite(measurement.rpm):
                key = ("point", machine, point, "rpm", measurement.sim)
                series = self._series(connection, key, Quantity.FREQUENCY, fresh)
                rows.append((series, measurement.taken_at, to_si(measurement.rpm, "r/min"), True))
        for reading in commit.readings:
            if math.isfinite(reading.value):
                name = reading.key.name
                series = self._series(connection, ("sensor", reading.sensor, "", name, reading.sim), reading.quantity, fresh)
                rows.append((series, reading.taken_at, reading.value, True))
        put(connection, unfolded(connection, rows))

    def _series(self, connection: sqlite3.Connection, key: SeriesKey, quantity: str, fresh: dict[SeriesKey, int]) -> int:
        known = self.series.get(key) or fresh.get(key)
        if known is None:
            where = "WHERE kind = ? AND owner = ? AND place = ? AND name = ? AND sim = ?"
            row = connection.execute(f"SELECT id FROM series {where}", key).fetchone()
            if row is None:
                sql = "INSERT INTO series (kind, owner, place, name, sim, quantity) VALUES (?, ?, ?, ?, ?, ?) RETURNING id"
                row = connection.execute(sql, (*key, quantity)).fetchone()
            known = fresh[key] = int(row[0])
        return known

    def _states(self, connection: sqlite3.Connection, commit: Commit) -> None:
        _many(connection, _POINT, [(*state.point, state.sim, point_state_to_json(state)) for state in commit.points])
        _many(connection, _SENSOR, [(state.sensor, state.sim, sensor_state_to_json(state)) for state in commit.sensors])
        _many(connection, _SPEED, [(speed.machine, speed.sim, speed.rpm, speed.taken_at) for speed in commit.speeds])
        _many(connection, _COUNTER, commit.counters.items())
        _many(connection, _SETTINGS, commit.settings.items())
        for topic, is_ours in commit.schedules.items():
            connection.execute(_SCHEDULE[is_ours], (topic,))
        if commit.quarantined:
            rows = [(one.topic, one.head, one.size, one.received_at, one.cause, one.detail) for one in commit.quarantined]
            connection.executemany(_QUARANTINE, rows)
            sql = "DELETE FROM quarantine WHERE arrival <= (SELECT max(arrival) FROM quarantine) - ?"
            connection.execute(sql, (self.quarantine_most,))


def append(connection: sqlite3.Connection, now: Instant, events: Sequence[Event]) -> tuple[JournalEntry, ...]:
    """Write into the journal within a transaction, chained to whatever entry stands last."""
    if not events:
        return ()
    newest = connection.execute("SELECT hash FROM journal ORDER BY seq DESC LIMIT 1").fetchone()
    previous = GENESIS if newest is None or newest[0] is None else newest[0]
    entries, rows = numbered(next_seq(connection), previous, now, events)
    connection.executemany(_JOURNAL, rows)
    return entries


def next_seq(connection: sqlite3.Connection) -> int:
    """Give the number of the next journal entry; never one given before. Source: SQLite, Autoincrement."""
    row = connection.execute("SELECT seq FROM sqlite_sequence WHERE name = 'journal'").fetchone()
    return 1 if row is None else int(row[0]) + 1


def has_capture(connection: sqlite3.Connection, key: CaptureKey) -> bool:
    """Say whether a capture is stored, whole or closed."""
    sql = "SELECT 1 FROM captures WHERE sensor = ? AND id = ? AND taken_at = ? AND sim = ? AND spectrum = ?"
    return connection.execute(sql, key).fetchone() is not None


def _many(connection: sqlite3.Connection, sql: str, rows: Iterable[Row]) -> None:
    if rows:
        connection.executemany(sql, rows)


def _roll_back(connection: sqlite3.Connection) -> None:
    if connection.in_transaction:
        with suppress(sqlite3.Error):  # tried again before the next transaction
            connection.execute("ROLLBACK")
