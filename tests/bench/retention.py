"""Ninety days of one trend out of many readings: stretches against the plain clustered table; tending's cost and overshoot.

`python -m tests.bench.retention [READINGS]`: ten million unless told. The floor is the table `trend` itself, clustered by trend
and time, in a file of its own: what the store had before stretches. Both are filled the same way, by trend.
"""

import asyncio
import gc
import os
import sqlite3
import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from edgemon.model.ids import CaptureId, PointId
from edgemon.model.retention import DAY_S, Retention
from edgemon.store import tending
from edgemon.store.chunk import Values, cut, thinned
from edgemon.store.disk import taken
from edgemon.store.folding import MOST, _row
from edgemon.store.migrate import connect, connect_read_only
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.store.tending import Tender
from edgemon.store.trends import bins, key_of, values
from tests.bench import overshoot
from tests.store import builders as make

BEGIN, EVERY_S = 1_700_000_000.0, 300.0
EACH = 100_000
"""Readings of a trend: 347 days at one in five minutes."""
ROUNDS = 15
COLUMNS = 160
WORK = {
    "Tender.tend.<locals>.<lambda>": "fold, or drop and thin",
    "Tender._used": "measure",
    "Reclaimer.reclaim": "give back",
    "_shrunk": "give pages back",
    "Scales.weigh": "weigh",
}


def one_trend(seed: int, short: bool) -> Values:
    """Times in milliseconds with jitter, values with noise in every bit (of 64, or of 32)."""
    draw = np.random.default_rng(seed)
    t = np.round(BEGIN + EVERY_S * np.arange(EACH) + draw.uniform(0.0, 2.0, EACH), 3)
    value = 2e-3 * np.exp(0.1 * draw.standard_normal(EACH))
    return Values(t, value.astype(np.float32).astype(np.float64) if short else value, np.ones(EACH, np.bool_))


def fill(path: Path, count: int, layout: str) -> float:
    """Fill a file; gives readings a second."""
    base = connect(path)
    base.execute("PRAGMA synchronous = OFF")
    done = 0.0
    for series in range(1, count + 1):
        trend = one_trend(series, layout == "short")
        made = time.perf_counter()
        base.execute("BEGIN")
        if layout == "rows":
            rows = zip(trend.t.tolist(), trend.value.tolist(), strict=True)
            base.executemany(f"INSERT INTO trend VALUES ({series}, ?, ?, 1)", rows)
        else:
            pieces = cut(trend, MOST)
            stretches = [thinned(piece) if layout == "thinned" else piece for piece in pieces]
            rows_of = [
                _row(key_of(series, float(piece.t[0])), one, False) for piece, one in zip(pieces, stretches, strict=True)
            ]
            base.executemany("INSERT INTO stretches VALUES (?, ?, ?, ?, ?, ?)", rows_of)
        base.execute("COMMIT")
        done += time.perf_counter() - made
    base.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    base.close()
    return count * EACH / done


def cold(path: Path) -> None:
    """Have the system forget what it holds of a file."""
    file = os.open(path, os.O_RDONLY)
    os.fdatasync(file)
    os.posix_fadvise(file, 0, 0, os.POSIX_FADV_DONTNEED)
    os.close(file)


def timed(path: Path, count: int, look: Callable[[sqlite3.Connection, int], object], is_cold: bool) -> float:
    """Give the median milliseconds of one look at one trend after another."""
    took = []
    draw = np.random.default_rng(5)
    base = connect_read_only(path)
    for _ in range(ROUNDS):
        series = int(draw.integers(1, count + 1))
        if is_cold:
            base.close()
            cold(path)
            base = connect_read_only(path)
        else:
            look(base, series)
        began = time.perf_counter()
        look(base, series)
        took.append(time.perf_counter() - began)
    base.close()
    return statistics.median(took) * 1e3


def ninety_days(base: sqlite3.Connection, series: int) -> object:
    """All readings of the newest ninety days."""
    until = BEGIN + EVERY_S * EACH
    return values(base, series, until - 90 * DAY_S, until, 10**6)


def columns(base: sqlite3.Connection, series: int) -> object:
    """The same cut into what a screen shows."""
    until = BEGIN + EVERY_S * EACH
    return bins(base, series, until - 90 * DAY_S, until, COLUMNS)


def whole(base: sqlite3.Connection, series: int) -> object:
    """All there is, cut."""
    return bins(base, series, BEGIN, BEGIN + EVERY_S * EACH, COLUMNS)


def read_trends(folder: Path, count: int) -> None:
    """Fill one layout after the other and read it."""
    looks = {"90 days, each reading": ninety_days, f"90 days in {COLUMNS} columns": columns, "347 days in columns": whole}
    floor: dict[tuple[str, bool], float] = {}
    sizes: dict[str, float] = {}
    for layout in ("rows", "lossless", "short", "thinned"):
        path = folder / layout
        rate = fill(path, count, layout)
        sizes[layout] = taken([path]) / (count * EACH)
        print(f"{layout:9} {sizes[layout]:6.2f} B a reading, x{sizes[layout] / sizes['rows']:.2f}; filled {rate / 1e3:.0f} k/s")
        for name, look in looks.items():
            for is_cold in (True, False):
                took = timed(path, count, look, is_cold)
                floor.setdefault((name, is_cold), took)
                print(f"    {name:24} {'cold' if is_cold else 'warm'} {took:8.2f} ms, x{took / floor[name, is_cold]:.2f}")
        path.unlink()


async def tend(folder: Path) -> None:
    """Captures and readings of some days; then the longest step of tending, against a commit of one capture."""
    path = folder / "tended"
    store = await SqliteStore.open(path)
    shared = make.capture(1, samples=4096).axes
    commits, now = [], make.T0
    facts = {
        name: getattr(make.capture(1), name)
        for name in type(make.capture(1)).__slots__
        if name not in ("id", "taken_at", "axes", "received_at")
    }
    for k in range(3000):
        at = make.T0 + 60.0 * k
        one = type(make.capture(1))(id=CaptureId(f"c-{k}"), taken_at=at, received_at=at, axes=shared, **facts)
        levels = tuple(
            make.measurement(0.001 * k, taken_at=at + n, point=make.POINT._replace(point=PointId(f"p{n}"))) for n in range(10)
        )
        began = time.perf_counter()
        await store.commit(Commit(at, captures=(one,), measurements=levels))
        commits.append(time.perf_counter() - began)
        now = at
    longest: dict[str, float] = {}
    run = store.run

    async def watched(work: Callable[[sqlite3.Connection], object]) -> object:
        def both(connection: sqlite3.Connection) -> object:
            began = time.perf_counter()
            try:
                return work(connection)
            finally:
                name = WORK.get(getattr(work, "__qualname__", ""), "?")
                longest[name] = max(longest.get(name, 0.0), time.perf_counter() - began)

        return await run(both)

    store.run = watched  # type: ignore[method-assign,assignment]
    one_tender, steps, began, dropped = (
        Tender(path, store, Retention(40 << 20), {make.POINT: make.SENSOR}),
        0,
        time.perf_counter(),
        0,
    )
    while True:
        gc.collect()
        tended = await one_tender.tend(now + 2 * DAY_S)
        steps, dropped = steps + 1, dropped + sum(tended.dropped.values())
        if tended.is_done:
            break
    median = statistics.median(commits) * 1e3
    print(f"commit of a capture of 3 x 4096 and ten points: median {median:.2f} ms")
    took_s, megabytes = time.perf_counter() - began, tended.used_bytes / 1e6
    print(f"tending: {steps} steps in {took_s:.1f} s, {dropped} captures dropped; now {megabytes:.0f} MB")
    for name, took in longest.items():
        print(f"    longest {name:22} {took * 1e3:6.1f} ms, x{took * 1e3 / median:.1f} of that commit")
    await store.close()


def main() -> None:
    """Run all."""
    count = max(1, int(float(sys.argv[1]) if len(sys.argv) > 1 else 1e7) // EACH)
    print(f"{count} trends of {EACH} readings; SQLite {sqlite3.sqlite_version}; pages of {tending.PAGES} given back a step")
    with TemporaryDirectory(dir=os.environ.get("EDGEMON_BENCH")) as folder:
        asyncio.run(tend(Path(folder)))
        read_trends(Path(folder), count)
        overshoot.report(Path(folder))


if __name__ == "__main__":
    main()
