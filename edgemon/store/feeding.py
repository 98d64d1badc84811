"""Values into the trends, and those that are new or better into the feed of the upstreams, where one of them reads it."""

import sqlite3
from itertools import chain

from edgemon.store.wire import Row

_VALUE = """INSERT INTO trend (series, t, value, fit) VALUES (?, ?, ?, ?)
    ON CONFLICT DO UPDATE SET value = excluded.value, fit = excluded.fit WHERE excluded.fit > fit"""
_IS_READ = "SELECT EXISTS (SELECT 1 FROM upstream_cursors WHERE source = 'readings')"
_FEED = "INSERT INTO feed (series, t, value, fit) VALUES "
_ONE = "(?, ?, ?, ?)"
AT_ONCE = 32
"""Rows of one statement: each statement writes down the number given last. House choice."""


def put(connection: sqlite3.Connection, rows: list[Row]) -> None:
    """Store rows `series, t, value, fit` within a transaction; what is there stays, unless the new one is fit at last."""
    if not rows:
        return
    if not connection.execute(_IS_READ).fetchone()[0]:
        connection.executemany(_VALUE, rows)
        return
    before = connection.total_changes
    connection.execute("SAVEPOINT values_of_trends")
    connection.executemany(_VALUE, rows)
    if connection.total_changes - before < len(rows):  # which of them are not new? One by one, then
        connection.execute("ROLLBACK TO values_of_trends")
        rows = [row for row in rows if connection.execute(_VALUE, row).rowcount]
    connection.execute("RELEASE values_of_trends")
    _feed(connection, rows)


def _feed(connection: sqlite3.Connection, rows: list[Row]) -> None:
    whole = len(rows) // AT_ONCE * AT_ONCE
    together = (tuple(chain.from_iterable(rows[first : first + AT_ONCE])) for first in range(0, whole, AT_ONCE))
    connection.executemany(_FEED + ", ".join([_ONE] * AT_ONCE), together)
    connection.executemany(_FEED + _ONE, rows[whole:])
