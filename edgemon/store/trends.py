"""Reading a trend where it lies: older readings in stretches, newer and late ones as rows.

The functions here read more than once; whoever calls them sees one instant within `instant`.
"""

import math
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from numpy.typing import NDArray

from edgemon.model.instant import Instant
from edgemon.model.snapshot import TrendBin, TrendBins, TrendPoint
from edgemon.store.chunk import Floats, Stretch, Values, decoded, joined, merged, readings, values_of, weighed
from edgemon.store.wire import Row

FOLDED_UNTIL = "SELECT value FROM meta WHERE key = 'folded_until'"
"""No stretch holds a reading of a later second."""
_LAST_SECOND = 2**32 - 1
_ROWS = "SELECT t, value, fit FROM trend WHERE series = ? AND t BETWEEN ? AND ? ORDER BY t {order} LIMIT ?"
_STRETCHES = """SELECT id, body FROM stretches WHERE id BETWEEN
    coalesce((SELECT max(id) FROM stretches WHERE id BETWEEN ? AND ?), ?) AND ? AND last >= ? AND first <= ?
    ORDER BY id {order}"""
_AT = "SELECT id, last, body FROM stretches WHERE id BETWEEN ? AND ? ORDER BY id DESC LIMIT 1"
_BINS = """SELECT min(CAST((t - ?) / ? AS INTEGER), ?) AS number, min(value), avg(value), max(value), count(*)
    FROM trend WHERE series = ? AND t BETWEEN ? AND ? AND fit GROUP BY number ORDER BY number"""


@contextmanager
def instant(connection: sqlite3.Connection) -> Iterator[None]:
    """See one state of the database throughout."""
    connection.execute("BEGIN")
    try:
        yield
    finally:
        connection.execute("ROLLBACK")


def key_of(series: int, t: Instant) -> int:
    """Give the id that a stretch beginning at this second has."""
    return series << 32 | max(0, min(_LAST_SECOND, math.floor(t)))


def points_of(found: Values) -> tuple[TrendPoint, ...]:
    """Give readings as the rest of the house knows them."""
    return tuple(map(TrendPoint, found.t.tolist(), found.value.tolist(), found.fit.tolist()))


def holds(connection: sqlite3.Connection, series: int, t: Instant, fit: bool) -> bool:
    """Say whether a stretch holds a reading of this time already, and one as good."""
    row = connection.execute(_AT, (key_of(series, 0.0), key_of(series, t))).fetchone()
    if row is None or t > row[1]:
        return False
    known = readings(decoded(row[2], f"stretch {row[0]}"))
    at = int(np.searchsorted(known.t, t))
    return at < len(known) and bool(known.t[at] == t and (known.fit[at] or not fit))


def unfolded(connection: sqlite3.Connection, rows: list[Row]) -> list[Row]:
    """Give those of the rows `series, t, value, fit` that no stretch holds already."""
    known = connection.execute(FOLDED_UNTIL).fetchone()
    if known is None or all(row[1] > known[0] for row in rows):
        return rows
    return [row for row in rows if row[1] > known[0] or not holds(connection, row[0], row[1], bool(row[3]))]


def values(
    connection: sqlite3.Connection, series: int, since: Instant, until: Instant, most: int, earliest: bool = False
) -> Values:
    """Give the newest (or earliest) `most` readings from `since` to `until`, oldest first."""
    order = "ASC" if earliest else "DESC"
    rows = connection.execute(_ROWS.format(order=order), (series, since, until, most)).fetchall()
    found = values_of(rows if earliest else reversed(rows))
    if len(found) == most and most:  # stretches count only where they reach beyond those
        since, until = (since, float(found.t[-1])) if earliest else (float(found.t[0]), until)
    left, pieces = most, []
    for stretch in _stretches(connection, series, since, until, order):
        some = readings(stretch)
        some = some.part((some.t >= since) & (some.t <= until))
        pieces.append(some)
        left -= len(some)
        if left <= 0:
            break
    found = merged(found, joined(pieces if earliest else pieces[::-1]))
    return found.part(slice(0, most) if earliest else slice(max(0, len(found) - most), None))


def following(connection: sqlite3.Connection, series: int, after: Instant, until: Instant, most: int) -> Values:
    """Give the next piece of readings after a time and before another; empty where there are none any more."""
    first, end = math.nextafter(after, math.inf), math.nextafter(until, -math.inf)
    if first > end:
        return values_of(())
    for stretch in _stretches(connection, series, first, end, "ASC"):
        some = readings(stretch)
        some = some.part((some.t >= first) & (some.t <= end))
        if len(some):
            rows = connection.execute(_ROWS.format(order="ASC"), (series, first, float(some.t[-1]), most)).fetchall()
            if len(rows) == most:
                some = some.part(some.t <= rows[-1][0])
            return merged(values_of(rows), some)
    return values_of(connection.execute(_ROWS.format(order="ASC"), (series, first, end, most)).fetchall())


def first_of(connection: sqlite3.Connection, series: int) -> Instant | None:
    """Give the time of the first reading; None where there is none."""
    row = connection.execute("SELECT min(t) FROM trend WHERE series = ?", (series,)).fetchone()
    sql = "SELECT first FROM stretches WHERE id BETWEEN ? AND ? ORDER BY id LIMIT 1"
    stretch = connection.execute(sql, (key_of(series, 0.0), key_of(series, _LAST_SECOND))).fetchone()
    return min((one[0] for one in (row, stretch) if one is not None and one[0] is not None), default=None)


def bins(connection: sqlite3.Connection, series: int, begin: Instant, until: Instant, columns: int) -> tuple[TrendBin, ...]:
    """Cut the fit readings into columns of like length."""
    step = (until - begin) / columns
    rows = connection.execute(_BINS, (begin, step, columns - 1, series, begin, until)).fetchall()
    pieces = [weighed(stretch) for stretch in _stretches(connection, series, begin, until, "ASC")]
    if not pieces:
        return tuple(TrendBin(*row) for row in rows)
    t, value, weight = (np.concatenate(column) for column in zip(*pieces, strict=True))
    wanted = (t >= begin) & (t <= until)
    t, value, weight = t[wanted], value[wanted], weight[wanted]
    number = np.minimum(((t - begin) / step).astype(np.int64), columns - 1)
    hot = np.array(rows, np.float64).reshape(-1, 5)
    at = hot[:, 0].astype(np.int64)
    low, high = _extremes(number, value, columns)
    total: Floats = np.bincount(number, value * weight, columns).astype(np.float64)
    count: Floats = np.bincount(number, weight, columns).astype(np.float64)
    low[at], high[at] = np.minimum(low[at], hot[:, 1]), np.maximum(high[at], hot[:, 3])
    total[at] += hot[:, 2] * hot[:, 4]
    count[at] += hot[:, 4]
    used = np.flatnonzero(count > 0)
    mean = np.clip(total[used] / count[used], low[used], high[used])
    columns_of = (
        used.tolist(),
        low[used].tolist(),
        mean.tolist(),
        high[used].tolist(),
        np.rint(count[used]).astype(int).tolist(),
    )
    return tuple(TrendBin(*one) for one in zip(*columns_of, strict=True))


def _extremes(number: NDArray[np.int64], value: Floats, columns: int) -> tuple[Floats, Floats]:
    low, high = np.full(columns, np.inf), np.full(columns, -np.inf)
    if (number[1:] < number[:-1]).any():
        order = np.argsort(number, kind="stable")
        number, value = number[order], value[order]
    begin = np.flatnonzero(np.diff(number, prepend=-1))
    if len(begin):
        low[number[begin]] = np.minimum.reduceat(value, begin)
        high[number[begin]] = np.maximum.reduceat(value, begin)
    return low, high


def bins_of(
    connection: sqlite3.Connection, series: int | None, since: Instant | None, until: Instant, columns: int
) -> TrendBins:
    """Give the columns of a trend; `since` None: from its first reading on."""
    first = since
    if series is not None and since is None:
        first = first_of(connection, series)
    begin = until if first is None else min(first, until)
    if begin >= until:
        return TrendBins(begin, until, columns, ())
    return TrendBins(begin, until, columns, () if series is None else bins(connection, series, begin, until, columns))


def _stretches(connection: sqlite3.Connection, series: int, since: Instant, until: Instant, order: str) -> Iterator[Stretch]:
    first = key_of(series, 0.0)
    bounds = (first, key_of(series, since), first, key_of(series, until), since, until)
    for number, body in connection.execute(_STRETCHES.format(order=order), bounds):
        yield decoded(body, f"stretch {number}")
