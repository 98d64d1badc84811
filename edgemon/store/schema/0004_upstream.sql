-- Version 4: the way upstream. Journal and captures are sent from where they lie. A trend is thinned in time and has no order of
-- arrival, so its values wait in a feed, only while somebody reads it, until everybody has them.

CREATE TABLE upstream_cursors (
    upstream TEXT NOT NULL,
    source TEXT NOT NULL CHECK (source IN ('readings', 'captures', 'journal', 'findings')),
    position INTEGER NOT NULL, -- everything up to here is sent or parked
    PRIMARY KEY (upstream, source)
) WITHOUT ROWID, STRICT;

-- Stretches that newer items overtook: what lies after position, up to and with until, is still to be sent.
CREATE TABLE upstream_backlog (
    upstream TEXT NOT NULL,
    source TEXT NOT NULL,
    until INTEGER NOT NULL,
    position INTEGER NOT NULL, -- last: SQLite 3.40 takes columns after the key of such a table for NULL when it checks a file
    PRIMARY KEY (upstream, source, until)
) WITHOUT ROWID, STRICT;

CREATE VIEW upstream_positions AS
    SELECT upstream, source, position FROM upstream_cursors UNION ALL SELECT upstream, source, position FROM upstream_backlog;

-- Items that a server refused one by one.
CREATE TABLE upstream_parked (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    upstream TEXT NOT NULL,
    source TEXT NOT NULL,
    key TEXT NOT NULL,
    subject TEXT NOT NULL,
    t REAL NOT NULL,
    sim INTEGER NOT NULL,
    body BLOB NOT NULL,
    parked_at REAL NOT NULL,
    why TEXT NOT NULL,
    again INTEGER NOT NULL DEFAULT 0, -- 1: to be tried once more
    UNIQUE (upstream, key)
) STRICT;

CREATE TABLE feed (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    series INTEGER NOT NULL,
    t REAL NOT NULL,
    value REAL NOT NULL,
    fit INTEGER NOT NULL
) STRICT;
CREATE TRIGGER trend_feeds AFTER INSERT ON trend WHEN EXISTS (SELECT 1 FROM upstream_cursors WHERE source = 'readings')
BEGIN
    INSERT INTO feed (series, t, value, fit) VALUES (NEW.series, NEW.t, NEW.value, NEW.fit);
END;
CREATE TRIGGER trend_feeds_better AFTER UPDATE ON trend WHEN NEW.fit > OLD.fit
    AND EXISTS (SELECT 1 FROM upstream_cursors WHERE source = 'readings')
BEGIN
    INSERT INTO feed (series, t, value, fit) VALUES (NEW.series, NEW.t, NEW.value, NEW.fit);
END;
