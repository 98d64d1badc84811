"""Ninety days of one trend out of a hundred million readings, laid down as a gateway lays them down over a year.

`python -m tests.bench.trend [READINGS] [--keep FILE]`: a hundred million unless told; half an hour and 1.1 GB, in EDGEMON_BENCH
(or where temporary files go). A thousand trends or fewer, of a value every five minutes with noise in all 64 bits. Every two
days their values are put in as a commit puts them and folded by the store's own code in its own pieces, so that each stretch
is written again and again and lies scattered as it does in a real file: `tests.bench.retention` writes each once, in order.
The floor is the plain SELECT of the bodies of the same stretches.
"""

import os
import sqlite3
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from edgemon.model.retention import DAY_S
from edgemon.store.feeding import put
from edgemon.store.folding import Folder
from edgemon.store.migrate import connect, connect_read_only
from edgemon.store.trends import bins, key_of, values
from tests.bench.retention import COLUMNS, EACH, EVERY_S, cold

BEGIN = 1_700_006_400.0
"""A midnight."""
AT_ONCE = int(2 * DAY_S / EVERY_S)
UNTIL = BEGIN + EVERY_S * EACH
ROUNDS = 41
NINETY = int(90 * DAY_S / EVERY_S)
_BODIES = "SELECT body FROM stretches WHERE id BETWEEN ? AND ? AND last >= ? ORDER BY id"


def drawn(series: int, turn: int) -> tuple[list[float], list[float]]:
    """Two days of one trend: times in milliseconds with jitter, values with noise in every bit."""
    draw = np.random.default_rng([series, turn])
    count = min(AT_ONCE, EACH - AT_ONCE * turn)
    t = np.round(BEGIN + EVERY_S * (AT_ONCE * turn + np.arange(count)) + draw.uniform(0.0, 2.0, count), 3)
    return t.tolist(), (2e-3 * np.exp(0.1 * draw.standard_normal(count))).tolist()


def live(path: Path, trends: int) -> None:
    """Fill a file, two days after two days."""
    base, folder, began = connect(path), Folder(), time.perf_counter()
    base.execute("PRAGMA synchronous = OFF")
    turns = -(-EACH // AT_ONCE)
    for turn in range(turns):
        base.execute("BEGIN")
        for series in range(1, trends + 1):
            t, value = drawn(series, turn)
            if turn == 0:
                about = (series, f"machine-{series}")
                base.execute("INSERT INTO series VALUES (?, 'point', ?, 'de-h', 'velocity_rms', 0, 'velocity')", about)
            put(base, [(series, *one, 1) for one in zip(t, value, strict=True)])
        base.execute("COMMIT")
        now, left = BEGIN + AT_ONCE * EVERY_S * (turn + 2), trends * len(t)
        while left:
            left -= folder.fold(base, now)
        if turn % 10 == 9:
            print(f"    {2 * turn + 2} days in {time.perf_counter() - began:.0f} s", flush=True)
    base.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    base.close()


def bodies(base: sqlite3.Connection, series: int) -> None:
    """The floor: what ninety days take, not looked at."""
    since = UNTIL - 90 * DAY_S
    base.execute(_BODIES, (key_of(series, since - 8 * DAY_S), key_of(series, UNTIL), since)).fetchall()


def each(base: sqlite3.Connection, series: int) -> None:
    """All readings of ninety days, and all of them are there."""
    found = values(base, series, UNTIL - 90 * DAY_S, UNTIL, 10**6)
    if len(found) != NINETY:
        raise ValueError(f"{len(found)} readings in trend {series}, {NINETY} went in")


def columns(base: sqlite3.Connection, series: int) -> None:
    """The same cut into what a screen shows."""
    bins(base, series, UNTIL - 90 * DAY_S, UNTIL, COLUMNS)


LOOKS: dict[str, Callable[[sqlite3.Connection, int], None]] = {
    "bodies alone": bodies,
    f"90 days, {NINETY} readings": each,
    f"90 days in {COLUMNS} columns": columns,
}


def look(path: Path, trends: int, is_cold: bool) -> None:
    """Look at one trend after another, all looks in turns; print medians, best tenths, and over the floor."""
    took: dict[str, list[float]] = {name: [] for name in LOOKS}
    draw = np.random.default_rng(5)
    for _ in range(ROUNDS):
        for name, work in LOOKS.items():
            series = int(draw.integers(1, trends + 1))
            if is_cold:
                cold(path)
            base = connect_read_only(path)
            if not is_cold:
                work(base, series)
            began = time.perf_counter()
            work(base, series)
            took[name].append((time.perf_counter() - began) * 1e3)
            base.close()
    floor = float(np.median(took["bodies alone"]))
    for name, some in took.items():
        median, best = np.median(some), np.quantile(some, 0.1)
        print(f"    {name:28} {'cold' if is_cold else 'warm'} {median:6.2f} ms, best tenth {best:6.2f}; x{median / floor:.2f}")


def main() -> None:
    """Fill, unless a filled file is named, and look."""
    words = sys.argv[1:]
    kept = Path(words[words.index("--keep") + 1]) if "--keep" in words else None
    trends = max(1, int(float(words[0]) if words and words[0] != "--keep" else 1e8) // EACH)
    with TemporaryDirectory(dir=os.environ.get("EDGEMON_BENCH")) as folder:
        path = kept or Path(folder) / "lived.sqlite"
        if not path.exists():
            live(path, trends)
        size = path.stat().st_size / (trends * EACH)
        load = os.getloadavg()[0]
        print(f"{trends} trends of {EACH} readings, {size:.2f} B a reading; SQLite {sqlite3.sqlite_version}; load {load:.1f}")
        look(path, trends, is_cold=True)
        look(path, trends, is_cold=False)


if __name__ == "__main__":
    main()
