"""Rows of a trend become stretches, and old stretches are thinned: in small steps, behind the path."""

import math
import sqlite3
from collections.abc import Iterable

from edgemon.model.instant import Instant
from edgemon.store.chunk import Stretch, Thinned, Values, cut, decoded, encoded, merged, thinned, thinned_with, values_of
from edgemon.store.connection import transaction
from edgemon.store.plan import Old
from edgemon.store.trends import key_of

WAIT_S = 86_400.0
"""Readings wait so long as rows, for what comes late and is better. House choice."""
MOST = 2048
"""Readings of a stretch: five pages of the database, so that little of the last one is wasted. House choice."""
ROWS = 600
"""Rows folded at once."""
SERIES = 64
"""Trends looked at in one step, until one has something to fold."""

_ROWS = "SELECT t, value, fit FROM trend WHERE series = ? AND t < ? ORDER BY t LIMIT ?"
_HERE = "SELECT id, body FROM stretches WHERE id BETWEEN ? AND ? ORDER BY id DESC LIMIT 1"
_NEXT = "SELECT id FROM stretches WHERE id > ? AND id < ? ORDER BY id LIMIT 1"
_STORE = """INSERT INTO stretches (id, first, last, count, aged, body) VALUES (?, ?, ?, ?, ?, ?)
    ON CONFLICT DO UPDATE SET first = excluded.first, last = excluded.last, count = excluded.count, aged = excluded.aged,
    body = excluded.body"""
_FOLDED = """INSERT INTO meta (key, value) VALUES ('folded_until', ?)
    ON CONFLICT DO UPDATE SET value = max(value, excluded.value)"""


class Folder:
    """Goes round the trends of one store; lives on the writer's thread."""

    def __init__(self) -> None:
        self._next = 0

    def fold(self, connection: sqlite3.Connection, now: Instant) -> int:
        """Fold some rows; gives how many."""
        before = math.floor((now - WAIT_S) / WAIT_S) * WAIT_S
        for _ in range(SERIES):
            sql = "SELECT id FROM series WHERE id >= ? ORDER BY id LIMIT 1"
            row = connection.execute(sql, (self._next,)).fetchone()
            if row is None:
                self._next = 0
                return 0
            count = fold_series(connection, row[0], before)
            self._next = row[0] + (count < ROWS)
            if count:
                return count
        return 0


def fold_series(connection: sqlite3.Connection, series: int, before: Instant) -> int:
    """Fold the oldest rows of a trend that are older than a time; gives how many."""
    rows = values_of(connection.execute(_ROWS, (series, before, ROWS)).fetchall())
    if not len(rows):
        return 0
    first = key_of(series, 0.0)
    key = key_of(series, float(rows.t[0]))
    here = connection.execute(_HERE, (first, key)).fetchone()
    behind = connection.execute(_NEXT, (key, key_of(series + 1, 0.0))).fetchone()
    if behind is not None:
        rows = rows.part(rows.t < behind[0] - first)
    old = None if here is None else decoded(here[1], f"stretch {here[0]}")
    with transaction(connection):
        for number, stretch in _put(series, None if here is None else here[0], old, rows):
            connection.execute(_STORE, _row(number, stretch, False))
        connection.execute("DELETE FROM trend WHERE series = ? AND t <= ?", (series, float(rows.t[-1])))
        connection.execute(_FOLDED, (math.ceil(rows.t[-1]),))
    return len(rows)


def thin(connection: sqlite3.Connection, stretches: Iterable[Old]) -> int:
    """Thin old stretches where that makes them smaller; gives the readings that are only part of an hour now."""
    gone = 0
    with transaction(connection):
        for one in stretches:
            (body,) = connection.execute("SELECT body FROM stretches WHERE id = ?", (one.id,)).fetchone()
            stretch = decoded(body, f"stretch {one.id}")
            row = _row(one.id, thinned(stretch), True)
            if isinstance(stretch, Values) and len(row[-1]) < len(body):
                gone += len(stretch) - len(thinned(stretch))
                connection.execute(_STORE, row)
            else:
                connection.execute("UPDATE stretches SET aged = 1 WHERE id = ?", (one.id,))
    return gone


def _put(series: int, number: int | None, old: Stretch | None, rows: Values) -> list[tuple[int, Stretch]]:
    """Give the stretches that hold what one held and the rows, with their ids."""
    if isinstance(old, Thinned) and number is not None:
        end = max(math.floor(max(old.low_at.max(), old.high_at.max())), number & 0xFFFFFFFF) + 1
        late, new = rows.part(rows.t < end), rows.part(rows.t >= end)
        into: list[tuple[int, Stretch]] = [(number, thinned_with(old, late))] if len(late) else []
        return into + ([] if not len(new) else _put(series, None, None, new))
    pieces = cut(merged(old, rows) if isinstance(old, Values) else rows, MOST)
    numbers = [key_of(series, float(piece.t[0])) for piece in pieces]
    if number is not None:
        numbers[0] = number
    return list(zip(numbers, pieces, strict=True))


def _row(number: int, stretch: Stretch, aged: bool) -> tuple[int, float, float, int, bool, bytes]:
    if isinstance(stretch, Thinned):
        first, last, count = stretch.low_at.min(), max(stretch.low_at.max(), stretch.high_at.max()), stretch.count.sum()
        first = min(first, stretch.high_at.min())
        return number, float(first), float(last), int(count), True, encoded(stretch)
    return number, float(stretch.t[0]), float(stretch.t[-1]), len(stretch), aged, encoded(stretch)
