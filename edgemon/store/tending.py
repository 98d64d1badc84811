"""Keeps a store within its ages and its budget, in small steps among the commits of the path."""

import math
import sqlite3
from collections import Counter
from dataclasses import replace
from pathlib import Path

from edgemon.model.instant import Instant
from edgemon.model.retention import Retention, SensorsOf, Tended, Worth
from edgemon.store import disk
from edgemon.store.connection import transaction
from edgemon.store.dropping import Reclaimer, drop, offer
from edgemon.store.folding import Folder, thin
from edgemon.store.forgetting import forget
from edgemon.store.migrate import LOG_LIMIT_BYTES
from edgemon.store.plan import Plan, Shelf, plan
from edgemon.store.segments import files_of, folder_of
from edgemon.store.sqlite import SqliteStore
from edgemon.store.weighing import Scales

OVER = 1.01
"""So much of its budget a store may take before it is tended without regard to the path. House choice."""
PAGES = 32
"""Pages given back by the database in one step. House choice."""

WEIGHED = 5
"""Pieces of weighing in one step. House choice."""
_BEFORE_THIS_RUN = """SELECT recorded_at FROM journal WHERE seq < (
    SELECT seq FROM journal WHERE kind = 'gateway-started' ORDER BY seq DESC LIMIT 1) ORDER BY seq DESC LIMIT 1"""
_PAGES = ("page_size", "page_count", "freelist_count")
_INCREMENTAL = 2
"""Source: SQLite, PRAGMA auto_vacuum."""


class Tender:
    """Tends one store. Made beside it; nothing to close.

    Parameters
    ----------
    sensors : mapping of PointKey to SensorId
        The sensor of each point.
    """

    def __init__(self, path: Path, store: SqliteStore, retention: Retention, sensors: SensorsOf) -> None:
        self._path = path
        self._folder = folder_of(path)
        self._store = store
        self._retention = retention
        self._scales = Scales(retention, sensors)
        self._reclaimer = Reclaimer(self._folder, store.segments)
        self._trends = Folder()
        self._border = -math.inf
        """Of the bytes appended: beyond it the store is over its budget by more than it may be; unknown at first."""

    @property
    def is_over(self) -> bool:
        """Say whether the store outgrew its budget since the last step, or still does; costs nothing."""
        return self._store.segments.appended > self._border

    async def before(self) -> Instant | None:
        """Give when the last run wrote into the journal last; None where there was none."""
        row = await self._store.run(lambda connection: connection.execute(_BEFORE_THIS_RUN).fetchone())
        return None if row is None else float(row[0])

    async def tend(self, now: Instant) -> Tended:
        """Take one step of everything; each waits its turn among the commits, and is bounded.

        Raises
        ------
        StoreError
            The store cannot be written, or something in it is damaged.
        """
        run = self._store.run
        folded = await run(lambda connection: self._trends.fold(connection, now))
        before = await run(self._used)
        is_reclaimed = await run(self._reclaimer.reclaim)
        is_shrunk = await run(_shrunk)
        appended = self._store.segments.appended
        after = await run(self._used)
        budget = disk.budget(self._folder, self._retention.budget_bytes, after)
        is_weighed = False
        for _ in range(WEIGHED):
            is_weighed = is_weighed or await run(self._scales.weigh)
        forgotten, is_forgotten = await run(lambda connection: self._forgotten(connection, now))
        going, thinned = await run(lambda connection: self._decided(connection, after, budget, now, is_weighed))
        most = OVER * (max(budget, after) if going.short_bytes else budget)
        self._border = appended + most - after
        return Tended(
            dropped=Counter(one.worth for one in going.captures),
            freed_bytes=max(0, before - after),
            folded=folded,
            thinned=thinned,
            forgotten=forgotten,
            used_bytes=after,
            budget_bytes=budget,
            short_bytes=going.short_bytes,
            is_done=going.is_done
            and is_weighed
            and is_reclaimed
            and is_shrunk
            and is_forgotten
            and not going.captures
            and not folded,
        )

    def _decided(
        self, connection: sqlite3.Connection, used: int, budget: int, now: Instant, is_weighed: bool
    ) -> tuple[Plan, int]:
        if not self._scales.is_learned:  # nothing goes before it is known what it is worth
            return Plan(is_done=False), 0
        offered = offer(connection, used, now - self._retention.readings_s)
        if not is_weighed:  # there may be more normal ones: until that is known nothing better goes
            some = replace(offered.captures[Worth.NORMAL], is_all=False)
            offered = replace(offered, captures={Worth.NORMAL: some}, stretches=Shelf())
        going = plan(offered, self._retention, budget, now)
        if going.captures:
            drop(connection, going.captures)
        return going, thin(connection, going.stretches) if going.stretches else 0

    def _forgotten(self, connection: sqlite3.Connection, now: Instant) -> tuple[int, bool]:
        age_s = self._retention.journal_s
        return (0, True) if age_s is None else forget(connection, now - age_s)

    def _used(self, connection: sqlite3.Connection) -> int:
        """Give what is in use: the log at its border, or each step would be paid with captures that its log displaces."""
        page, pages, free = (connection.execute(f"PRAGMA {name}").fetchone()[0] for name in _PAGES)
        samples = disk.taken(file for file in files_of(self._path) if file.suffix == ".seg")
        return int(page * (pages - free)) + LOG_LIMIT_BYTES + samples


def _shrunk(connection: sqlite3.Connection) -> bool:
    """Give some free pages back, where the file is made for it; gives whether none are left."""
    (free,) = connection.execute("PRAGMA freelist_count").fetchone()
    if not free or connection.execute("PRAGMA auto_vacuum").fetchone()[0] != _INCREMENTAL:
        return True
    with transaction(connection):
        connection.execute(f"PRAGMA incremental_vacuum({PAGES})").fetchall()
    return bool(free <= PAGES)
