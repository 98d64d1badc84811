-- The journal is chained: each entry carries a hash over itself and the hash before it (store/chain.py).
-- Entries that were there before have none: the chain begins with the first entry after this step.

ALTER TABLE journal ADD COLUMN hash BLOB CHECK (hash IS NULL OR length(hash) = 32);

INSERT INTO meta (key, value)
    SELECT 'journal_chained_from', 1 + coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'journal'), 0);
