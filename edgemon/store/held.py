"""What a start asks of a store, and whether something is a repeat: read on any connection, one that writes or not."""

import sqlite3
from collections.abc import Collection
from pathlib import Path

from edgemon.model.alarm import MachineSpeed
from edgemon.model.collection import still_on
from edgemon.model.event import DiagnosisMade
from edgemon.model.ids import CaptureKey, MachineId, ReadingKey
from edgemon.model.signoff import newest_signs
from edgemon.store.port import Known, Saved
from edgemon.store.samples import unpack
from edgemon.store.transaction import has_capture, next_seq
from edgemon.store.trends import holds
from edgemon.store.wire import (
    BASELINES,
    CAPTURE_COLUMNS,
    COLLECTIONS,
    COLUMNS,
    PROOFS,
    SIGNS,
    baselines_of,
    entry_from_row,
    part_from_row,
    point_state_from_json,
    proof_of,
    sensor_state_from_json,
)

_SERIES = "SELECT id FROM series WHERE kind = 'sensor' AND owner = ? AND place = '' AND name = ? AND sim = ?"
_PART = "SELECT 1 FROM parts WHERE sensor = ? AND id = ? AND taken_at = ? AND sim = ? AND spectrum = ? AND part = ?"
_DIAGNOSES = """SELECT seq, recorded_at, body FROM journal WHERE seq IN
    (SELECT max(seq) FROM journal WHERE kind = 'diagnosis-made' GROUP BY machine, point, sim)"""
_PARTS = f"SELECT {CAPTURE_COLUMNS}, part, parts, record FROM parts ORDER BY arrival"


def saved_in(connection: sqlite3.Connection, path: Path) -> Saved:
    """Read what the last run left behind; StoreCorrupt names the file and what of it cannot be read."""
    points = connection.execute("SELECT body, machine, point FROM point_states ORDER BY machine, point, sim")
    sensors = connection.execute("SELECT body, sensor FROM sensor_states ORDER BY sensor, sim")
    speeds = connection.execute("SELECT machine, rpm, taken_at, sim FROM speeds ORDER BY machine, sim")
    diagnoses = connection.execute(_DIAGNOSES).fetchall()
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
        published_in(connection),
        dict(connection.execute("SELECT file, written FROM settings ORDER BY file").fetchall()),
        proof_of(connection.execute(f"{PROOFS} ORDER BY seq DESC LIMIT 1")),
        still_on(entry_from_row(row).event for row in connection.execute(COLLECTIONS)),
        frozenset(topic for (topic,) in connection.execute("SELECT topic FROM schedules")),
        newest_signs(entry_from_row(row).event for row in connection.execute(SIGNS)),
    )


def published_in(connection: sqlite3.Connection) -> int:
    """Give the journal entry up to which it is known to be published."""
    row = connection.execute("SELECT value FROM meta WHERE key = 'published_seq'").fetchone()
    return 0 if row is None else int(row[0])


def known_in(
    connection: sqlite3.Connection,
    captures: Collection[CaptureKey],
    readings: Collection[ReadingKey],
    parts: Collection[tuple[CaptureKey, int]],
) -> Known:
    """Say which keys are stored already; a part only while its capture waits for others."""
    return Known(
        frozenset(key for key in captures if has_capture(connection, key)),
        frozenset(key for key in readings if _has_reading(connection, key)),
        frozenset((key, part) for key, part in parts if connection.execute(_PART, (*key, part)).fetchone()),
    )


def _has_reading(connection: sqlite3.Connection, key: ReadingKey) -> bool:
    series = connection.execute(_SERIES, (key.sensor, key.name, key.sim)).fetchone()
    if series is None:
        return False
    row = connection.execute("SELECT 1 FROM trend WHERE series = ? AND t = ?", (series[0], key.taken_at)).fetchone()
    return row is not None or holds(connection, series[0], key.taken_at, True)
