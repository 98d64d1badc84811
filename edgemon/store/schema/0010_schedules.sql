-- Version 10: topics at which a broker keeps schedules of sensors from us; a row goes once the broker has taken that it is withdrawn.

CREATE TABLE schedules (
    topic TEXT PRIMARY KEY
) STRICT;
