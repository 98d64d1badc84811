"""A whole store, read in pieces by commands: memory stays bounded, and no read stays open.

Each piece is one statement read to its end, as in `reader`: an open read would stop the log from being moved into the
database, and a daemon may be at work beside us. What is written meanwhile belongs to the next time.
"""

import math
import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

from edgemon.errors import StoreCorrupt
from edgemon.model.event import JournalEntry
from edgemon.model.ids import SensorId
from edgemon.model.instant import Instant
from edgemon.model.reading import Capture, Counts
from edgemon.model.search import EVERYTHING, Search
from edgemon.model.snapshot import TrendPoint
from edgemon.store.chain import CHAINED_FROM, CHAINED_ROWS, CUT, Audit, Verdict
from edgemon.store.faults import translated
from edgemon.store.migrate import connect_read_only
from edgemon.store.segments import Place, folder_of, read
from edgemon.store.trends import following, instant, points_of
from edgemon.store.wire import CAPTURE_COLUMNS, Row, capture_from_row, conditions, entry_from_row
from edgemon.units import Quantity

PIECE = 5000
"""Rows read at once. House choice."""
_LAST = "SELECT seq FROM sqlite_sequence WHERE name = 'journal'"
_CAPTURES = f"""SELECT {CAPTURE_COLUMNS}, missing_parts, segment, offset, length, checksum, number FROM captures
    WHERE number > ? AND taken_at >= ? AND taken_at < ? AND sim = ? AND spectrum = ? AND (? IS NULL OR sensor = ?)
    ORDER BY number LIMIT ?"""
_SERIES = """SELECT id, kind, owner, place, name, sim, quantity FROM series WHERE sim = ? ORDER BY kind, owner, place, name"""


@dataclass(frozen=True, slots=True)
class Series:
    """One trend: a level at a point, or what a sensor says under a name."""

    id: int
    machine: str
    """Empty for what a sensor says."""
    point: str
    sensor: str
    """Empty for a level at a point."""
    name: str
    sim: bool
    quantity: Quantity


class Stream(AbstractContextManager["Stream"]):
    """A store, opened for reading beside whoever writes; see `connect_read_only` for what it raises."""

    def __init__(self, path: Path) -> None:
        self._path = path
        with translated(path):
            self._connection: sqlite3.Connection = connect_read_only(path)

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._connection.close()

    def journal(self, search: Search = EVERYTHING, newest_first: bool = False) -> Iterator[JournalEntry]:
        """Give journal entries, oldest first unless told."""
        wanted, values = conditions(search)
        place, order, begin = ("seq < ?", "DESC", 2**63 - 1) if newest_first else ("seq > ?", "ASC", 0)
        sql = f"SELECT seq, recorded_at, body, hash FROM journal WHERE {place}{wanted} ORDER BY seq {order} LIMIT ?"
        for row in self._pieces(sql, lambda row: (row[0] if row else begin, *values)):
            yield entry_from_row(row)

    def captures(
        self,
        sensor: SensorId | None,
        since: Instant,
        until: Instant,
        sim: bool,
        with_samples: bool = False,
        spectra: bool = False,
    ) -> Iterator[Capture]:
        """Give waveforms, or spectra, in the order in which they were stored; without their samples unless asked.

        Raises
        ------
        StoreCorrupt
            Samples that are damaged, naming file and offset.
        """
        folder = folder_of(self._path)
        for row in self._pieces(_CAPTURES, lambda row: (row[-1] if row else 0, since, until, sim, spectra, sensor, sensor)):
            axes = self._samples(folder, row) if with_samples else {}
            if axes is not None:
                yield capture_from_row(row, axes)

    def series(self, sim: bool) -> tuple[Series, ...]:
        """List trends, points first."""
        return tuple(_series(row) for row in self._rows(_SERIES, (sim,)))

    def values(self, series: Series, since: Instant, until: Instant) -> Iterator[TrendPoint]:
        """Give the values of one trend in the house's unit, oldest first."""
        after = math.nextafter(since, -math.inf)
        while True:
            with translated(self._path), instant(self._connection):
                piece = following(self._connection, series.id, after, until, PIECE)
            if not len(piece):
                return
            yield from points_of(piece)
            after = float(piece.t[-1])

    def counts(self) -> Mapping[str, int]:
        """Give how many simulated captures and series there are, by the word of the export."""
        sql = "SELECT (SELECT count(*) FROM captures WHERE sim), (SELECT count(*) FROM series WHERE sim)"
        (row,) = self._rows(sql, ())
        return {"captures": row[0], "readings": row[1]}

    def verify(self, checkpoints: Mapping[int, str], progress: Callable[[int], None]) -> Verdict:
        """Look through the whole journal; `checkpoints` are hashes noted elsewhere, by seq."""
        ((begin,),) = self._rows(CHAINED_FROM, ()) or [(1,)]
        given = self._rows(_LAST, ())
        ((there,),) = self._rows("SELECT coalesce(max(seq), 0) FROM journal", ())
        last = max(given[0][0] if given else 0, there)
        while True:
            (cut,) = self._rows(CUT, ())
            audit = Audit(int(begin), checkpoints, *cut)
            for row in self._pieces(CHAINED_ROWS, lambda row: (row[0] if row else 0, last)):
                audit.look(row)
                if audit.entries % PIECE == 0:
                    progress(audit.entries)
            if self._rows(CUT, ()) == [cut]:  # else entries went by age meanwhile
                return audit.end(last)

    def _samples(self, folder: Path, row: Row) -> dict[str, Counts] | None:
        """Read the samples of a capture; None where it was dropped since its row was read."""
        place = row[-5:-1]
        while True:
            try:
                return read(folder, Place(*place[:3]), place[3])
            except StoreCorrupt:
                now = self._rows("SELECT segment, offset, length, checksum FROM captures WHERE number = ?", (row[-1],))
                if not now:
                    return None
                if now[0] == place:
                    raise
                place = now[0]

    def _pieces(self, sql: str, begin: Callable[[Row | None], tuple[object, ...]]) -> Iterator[Row]:
        """Give all rows of a statement that ends in LIMIT; `begin` gives its values, after the last row seen."""
        last: Row | None = None
        while rows := self._rows(sql, (*begin(last), PIECE)):
            yield from rows
            last = rows[-1]

    def _rows(self, sql: str, values: tuple[object, ...]) -> list[Row]:
        with translated(self._path):
            return self._connection.execute(sql, values).fetchall()


def _series(row: Row) -> Series:
    number, kind, owner, place, name, sim, quantity = row
    if kind == "point":
        return Series(number, owner, place, "", name, bool(sim), Quantity(quantity))
    return Series(number, "", "", owner, name, bool(sim), Quantity(quantity))
