-- Version 1. Never edited once released: the next change is 0002_*.sql.
-- Times are UTC seconds since 1970-01-01, values are in the house's unit of their quantity, sim is 1 for simulated data.

PRAGMA application_id = 1162102597; -- 'EDGE': tells this file from a database of another program

CREATE TABLE meta (
    key TEXT PRIMARY KEY,
    value INTEGER NOT NULL
) STRICT;

CREATE TABLE counters (
    name TEXT PRIMARY KEY,
    value INTEGER NOT NULL
) STRICT;

-- Sample files beside the database: bytes past end_bytes were never committed.
CREATE TABLE segments (
    number INTEGER PRIMARY KEY,
    end_bytes INTEGER NOT NULL
) STRICT;

CREATE TABLE captures (
    number INTEGER PRIMARY KEY,
    sensor TEXT NOT NULL,
    id TEXT NOT NULL,
    taken_at REAL NOT NULL,
    received_at REAL NOT NULL,
    fs_hz REAL NOT NULL,
    unit TEXT NOT NULL,
    scale REAL NOT NULL,
    si_per_count REAL NOT NULL,
    rpm REAL,
    temperature_c REAL,
    battery_pct REAL,
    rssi_dbm REAL,
    sim INTEGER NOT NULL,
    missing_parts TEXT NOT NULL, -- JSON list of numbers
    segment INTEGER NOT NULL,
    offset INTEGER NOT NULL,
    length INTEGER NOT NULL,
    checksum INTEGER NOT NULL,
    UNIQUE (sensor, taken_at, id, sim)
) STRICT;
CREATE INDEX captures_by_time ON captures (taken_at);

-- Parts of captures that are not whole yet, in the order in which they came.
CREATE TABLE parts (
    arrival INTEGER PRIMARY KEY,
    sensor TEXT NOT NULL,
    id TEXT NOT NULL,
    taken_at REAL NOT NULL,
    part INTEGER NOT NULL,
    parts INTEGER NOT NULL,
    received_at REAL NOT NULL,
    fs_hz REAL NOT NULL,
    unit TEXT NOT NULL,
    scale REAL NOT NULL,
    si_per_count REAL NOT NULL,
    rpm REAL,
    temperature_c REAL,
    battery_pct REAL,
    rssi_dbm REAL,
    sim INTEGER NOT NULL,
    record BLOB NOT NULL, -- as in a segment file
    UNIQUE (sensor, taken_at, id, sim, part)
) STRICT;

-- What a trend belongs to: (machine, point, level) or (sensor, '', name with its axis).
-- Level 'rpm' of a point is the shaft speed at its measurements, Hz.
CREATE TABLE series (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('point', 'sensor')),
    owner TEXT NOT NULL,
    place TEXT NOT NULL,
    name TEXT NOT NULL,
    sim INTEGER NOT NULL,
    quantity TEXT NOT NULL,
    UNIQUE (kind, owner, place, name, sim)
) STRICT;

CREATE TABLE trend (
    series INTEGER NOT NULL,
    t REAL NOT NULL,
    value REAL NOT NULL,
    fit INTEGER NOT NULL,
    PRIMARY KEY (series, t)
) WITHOUT ROWID, STRICT;

CREATE TABLE point_states (
    number INTEGER PRIMARY KEY,
    machine TEXT NOT NULL,
    point TEXT NOT NULL,
    sim INTEGER NOT NULL,
    body TEXT NOT NULL, -- JSON
    UNIQUE (machine, point, sim)
) STRICT;

CREATE TABLE sensor_states (
    number INTEGER PRIMARY KEY,
    sensor TEXT NOT NULL,
    sim INTEGER NOT NULL,
    body TEXT NOT NULL, -- JSON
    UNIQUE (sensor, sim)
) STRICT;

CREATE TABLE speeds (
    machine TEXT NOT NULL,
    sim INTEGER NOT NULL,
    rpm REAL NOT NULL,
    taken_at REAL NOT NULL,
    PRIMARY KEY (machine, sim)
) WITHOUT ROWID, STRICT;

CREATE TABLE journal (
    seq INTEGER PRIMARY KEY AUTOINCREMENT,
    recorded_at REAL NOT NULL,
    at REAL NOT NULL,
    kind TEXT NOT NULL,
    machine TEXT,
    point TEXT,
    sim INTEGER NOT NULL,
    body TEXT NOT NULL -- JSON, with its kind
) STRICT;
CREATE INDEX diagnoses ON journal (machine, point, sim, seq) WHERE kind = 'diagnosis-made';
CREATE INDEX baselines ON journal (kind) WHERE kind IN ('baseline-proposed', 'baseline-approved', 'baseline-retired');
CREATE TRIGGER journal_keeps BEFORE DELETE ON journal
BEGIN
    SELECT RAISE(ABORT, 'the journal is append-only');
END;
CREATE TRIGGER journal_stands BEFORE UPDATE ON journal
BEGIN
    SELECT RAISE(ABORT, 'the journal is append-only');
END;

CREATE TABLE quarantine (
    arrival INTEGER PRIMARY KEY,
    topic TEXT NOT NULL,
    head BLOB NOT NULL,
    size INTEGER NOT NULL,
    received_at REAL NOT NULL,
    cause TEXT NOT NULL,
    detail TEXT NOT NULL
) STRICT;
