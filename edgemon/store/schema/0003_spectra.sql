-- Version 3: spectra beside waveforms. A spectrum and a waveform of one sensor may share id and time.
-- form is JSON: what the lines of a spectrum stand for; NULL of a waveform. A spectrum's fs_hz is 0.

CREATE TABLE captures_2 (
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
    spectrum INTEGER NOT NULL DEFAULT 0,
    form TEXT,
    missing_parts TEXT NOT NULL, -- JSON list of numbers
    segment INTEGER NOT NULL,
    offset INTEGER NOT NULL,
    length INTEGER NOT NULL,
    checksum INTEGER NOT NULL,
    UNIQUE (sensor, taken_at, id, sim, spectrum)
) STRICT;
INSERT INTO captures_2
    SELECT number, sensor, id, taken_at, received_at, fs_hz, unit, scale, si_per_count, rpm, temperature_c, battery_pct,
        rssi_dbm, sim, 0, NULL, missing_parts, segment, offset, length, checksum
    FROM captures;
DROP TABLE captures;
ALTER TABLE captures_2 RENAME TO captures;
CREATE INDEX captures_by_time ON captures (taken_at);

CREATE TABLE parts_2 (
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
    spectrum INTEGER NOT NULL DEFAULT 0,
    form TEXT,
    record BLOB NOT NULL, -- as in a segment file
    UNIQUE (sensor, taken_at, id, sim, spectrum, part)
) STRICT;
INSERT INTO parts_2
    SELECT arrival, sensor, id, taken_at, part, parts, received_at, fs_hz, unit, scale, si_per_count, rpm, temperature_c,
        battery_pct, rssi_dbm, sim, 0, NULL, record
    FROM parts;
DROP TABLE parts;
ALTER TABLE parts_2 RENAME TO parts;
