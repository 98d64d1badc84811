-- Version 6: what the settings files said at the newest start, so that the next one can tell what was changed meanwhile.
-- written is JSON: the file's keys and values as parsed. No secret stands in a settings file.

CREATE TABLE settings (
    file TEXT PRIMARY KEY,
    written TEXT NOT NULL
) STRICT;
