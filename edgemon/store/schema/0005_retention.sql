-- Version 5: what is kept, and how. Trends are folded into stretches, captures are weighed before they go, freed bytes of segment
-- files are remembered until they are given back, and the journal may end at the bottom.

-- Stretches of a trend, see store/chunk.py; readings of its range that are not in it wait in `trend`.
-- id is series << 32 | first whole second of its range; the range ends where the next one of the series begins.
CREATE TABLE stretches (
    id INTEGER PRIMARY KEY,
    first REAL NOT NULL,
    last REAL NOT NULL,
    count INTEGER NOT NULL, -- readings it stands for
    aged INTEGER NOT NULL, -- 1: thinned, or not smaller for it
    body BLOB NOT NULL
) STRICT;
CREATE INDEX stretches_to_thin ON stretches (last) WHERE aged = 0;

-- Times in which an alarm of a machine was active, made from the journal up to meta.spells_seq.
CREATE TABLE spells (
    number INTEGER PRIMARY KEY,
    machine TEXT NOT NULL,
    point TEXT NOT NULL,
    level TEXT NOT NULL,
    sim INTEGER NOT NULL,
    since REAL NOT NULL,
    until REAL -- NULL: still active
) STRICT;
CREATE INDEX spells_of ON spells (machine, since);
CREATE INDEX spells_open ON spells (machine, point, level, sim) WHERE until IS NULL;

-- 0 of a normal machine, 1 of one in alert, 2 around the onset of an alarm, 3 a baseline rests on it; NULL: to be weighed.
ALTER TABLE captures ADD COLUMN worth INTEGER;
CREATE INDEX captures_to_weigh ON captures (number) WHERE worth IS NULL;
CREATE INDEX captures_by_worth ON captures (worth, received_at) WHERE worth IS NOT NULL;
CREATE INDEX captures_by_place ON captures (segment, offset);

-- Where dropped captures lay, until the disk has its space back.
CREATE TABLE freed (
    segment INTEGER NOT NULL,
    offset INTEGER NOT NULL,
    length INTEGER NOT NULL,
    PRIMARY KEY (segment, offset)
) WITHOUT ROWID, STRICT;

-- The newest entry that the journal no longer holds, with its hash: the chain goes on from it.
CREATE TABLE journal_cut (
    only INTEGER PRIMARY KEY CHECK (only = 1),
    seq INTEGER NOT NULL,
    hash BLOB
) STRICT;
INSERT INTO journal_cut (only, seq) VALUES (1, 0);
DROP TRIGGER journal_keeps;
CREATE TRIGGER journal_keeps BEFORE DELETE ON journal WHEN OLD.seq > (SELECT seq FROM journal_cut)
BEGIN
    SELECT RAISE(ABORT, 'the journal is append-only');
END;
CREATE TRIGGER journal_cut_rises BEFORE UPDATE ON journal_cut WHEN NEW.seq < OLD.seq
BEGIN
    SELECT RAISE(ABORT, 'the journal is append-only');
END;
