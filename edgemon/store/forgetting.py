"""The journal's own age: its oldest entries go, in small steps, and the chain goes on from the last one that went.

What is still needed stays: entries of baselines and sign-offs (the journal alone is what a restart goes by), the newest
diagnosis of each point, what an alarm that is still active began with, and whatever was not published or sent upstream yet.
"""

import sqlite3

from edgemon.model.instant import Instant
from edgemon.model.upstream import Source
from edgemon.store.chain import CUT
from edgemon.store.connection import transaction
from edgemon.store.outbox import lowest_needed

ENTRIES = 500
"""Entries looked at in one step. House choice."""

_META = "SELECT coalesce((SELECT value FROM meta WHERE key = ?), 0)"
_OLDEST = "SELECT seq FROM journal WHERE seq > ? ORDER BY seq LIMIT 1"
_YOUNG = "SELECT min(seq) FROM journal WHERE seq > ? AND seq <= ? AND recorded_at >= ?"
_DELETE = """DELETE FROM journal WHERE seq > ? AND seq <= ?
    AND kind NOT IN ('baseline-proposed', 'baseline-approved', 'baseline-retired', 'point-signed-off', 'sign-off-withdrawn')
    AND NOT (kind = 'diagnosis-made' AND NOT EXISTS (SELECT 1 FROM journal AS later WHERE later.kind = 'diagnosis-made'
        AND later.machine = journal.machine AND later.point = journal.point AND later.sim = journal.sim
        AND later.seq > journal.seq))
    AND NOT (kind = 'alarm-changed' AND EXISTS (SELECT 1 FROM spells WHERE spells.until IS NULL
        AND spells.machine = journal.machine AND spells.point = journal.point AND spells.sim = journal.sim
        AND spells.level = json_extract(journal.body, '$.alarm[2]') AND spells.since <= journal.at))"""


def forget(connection: sqlite3.Connection, before: Instant) -> tuple[int, bool]:
    """Have entries recorded before a time go; gives how many went, and whether there are no more of them."""
    (cut, _) = connection.execute(CUT).fetchone()
    oldest = connection.execute(_OLDEST, (cut,)).fetchone()
    if oldest is None:
        return 0, True
    end = min(oldest[0] + ENTRIES - 1, _border(connection))
    (young,) = connection.execute(_YOUNG, (cut, end, before)).fetchone()
    end = end if young is None else min(end, young - 1)
    last = connection.execute("SELECT max(seq) FROM journal WHERE seq > ? AND seq <= ?", (cut, end)).fetchone()[0]
    if last is None:
        return 0, True
    with transaction(connection):
        sql = "UPDATE journal_cut SET seq = ?, hash = (SELECT hash FROM journal WHERE journal.seq = ?)"
        connection.execute(sql, (last, last))
        gone = connection.execute(_DELETE, (cut, last)).rowcount
    return gone, young is not None


def _border(connection: sqlite3.Connection) -> int:
    """Give the newest entry that nobody waits for; never the newest one of all, for the chain goes on from it."""
    (newest,) = connection.execute("SELECT coalesce(max(seq), 0) FROM journal").fetchone()
    borders = [newest - 1]
    borders += [connection.execute(_META, (key,)).fetchone()[0] for key in ("published_seq", "spells_seq")]
    borders += [needed for source in Source if (needed := _needed(connection, source)) is not None]
    return int(min(borders))


def _needed(connection: sqlite3.Connection, source: Source) -> int | None:
    return lowest_needed(connection, source) if source in (Source.JOURNAL, Source.FINDINGS) else None
