"""What a commit costs, against the same rows written by a bare script in the same run: `python -m tests.bench.store`.

Rounds of both are interleaved and the median is given, for the disk and the other core are not ours alone.
"""

import asyncio
import os
import sqlite3
import statistics
import time
from collections.abc import Awaitable, Callable
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from edgemon.model.ids import CaptureId, MachineId, PointId, PointKey, SensorId
from edgemon.model.level import Detector, Level, Measurement
from edgemon.model.reading import Capture, Reading
from edgemon.model.upstream import Source
from edgemon.store.outbox import Outbox
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.store.wire import event_to_json, point_state_to_json
from edgemon.units import Quantity
from tests.store import builders as make

ROUNDS = 60
BATCH = 32
SAMPLES = 4096
LEVELS = 9
POINTS = 200


def captures(round_: int, shared: Capture) -> tuple[Capture, ...]:
    """Thirty-two captures of three axes, all with the same samples: they are written all the same."""
    first = round_ * BATCH
    facts = {name: getattr(shared, name) for name in Capture.__slots__ if name not in ("id", "taken_at")}
    return tuple(Capture(id=CaptureId(f"c-{k}"), taken_at=make.T0 + k, **facts) for k in range(first, first + BATCH))


def readings(round_: int, count: int) -> tuple[Reading, ...]:
    """Readings of POINTS sensors in order of arrival."""
    return tuple(
        Reading(SensorId(f"s-{k % POINTS:04d}"), "battery", "", make.T0 + round_ * count + k, 0.0, 0.5 * k, Quantity.CHARGE)
        for k in range(count)
    )


def measurements(round_: int) -> tuple[Measurement, ...]:
    """Nine levels of each of thirty-two points."""
    made = []
    for k in range(BATCH):
        point = PointKey(MachineId("m"), PointId(f"p-{(round_ * BATCH + k) % POINTS}"))
        levels = tuple(Level(f"level_{n}", float(n), Quantity.VELOCITY, Detector.RMS) for n in range(LEVELS))
        made.append(Measurement(point, make.T0 + round_ * BATCH + k, 0.0, levels))
    return tuple(made)


@dataclass(frozen=True)
class Rows:
    """Rows of a whole batch, made before the clock runs."""

    values: list[tuple[int, float, float, int]]
    states: list[tuple[str, str]]
    events: list[tuple[str]]


def value_rows(round_: int, batch: tuple[Measurement, ...]) -> list[tuple[int, float, float, int]]:
    """Give the rows of the levels, their series numbered by hand."""
    start = round_ * BATCH
    return [
        ((start + k) % POINTS * LEVELS + n, one.taken_at, level.value, 1)
        for k, one in enumerate(batch)
        for n, level in enumerate(one.levels)
    ]


class Bare:
    """The least a script can do: one table each, executemany, samples appended to a file and synced, FULL."""

    def __init__(self, folder: Path) -> None:
        self._base = sqlite3.connect(folder / "bare.sqlite", isolation_level=None)
        self._base.execute("PRAGMA journal_mode = WAL")
        self._base.execute("PRAGMA synchronous = FULL")
        self._base.execute("CREATE TABLE v (s INTEGER, t REAL, v REAL, f INTEGER, PRIMARY KEY (s, t)) WITHOUT ROWID")
        self._base.execute(
            "CREATE TABLE c (n INTEGER PRIMARY KEY, s TEXT, id TEXT, t REAL, o INTEGER, l INTEGER, UNIQUE (s, t, id))"
        )
        self._base.execute("CREATE TABLE p (n TEXT PRIMARY KEY, b TEXT)")
        self._base.execute("CREATE TABLE j (n INTEGER PRIMARY KEY AUTOINCREMENT, e TEXT)")
        self._file = os.open(folder / "bare.seg", os.O_CREAT | os.O_WRONLY | os.O_APPEND)
        self._end = 0

    def values(self, rows: list[tuple[int, float, float, int]]) -> None:
        """Insert rows that are ready."""
        self._base.execute("BEGIN IMMEDIATE")
        self._base.executemany("INSERT INTO v VALUES (?, ?, ?, ?)", rows)
        self._base.execute("COMMIT")

    def captures(self, batch: tuple[Capture, ...], rows: Rows | None = None) -> None:
        """Append samples, sync, insert a row each, and rows of other tables that are ready."""
        places = []
        for one in batch:
            data = b"".join(counts.tobytes() for counts in one.axes.values())
            os.write(self._file, data)
            places.append((one.sensor, one.id, one.taken_at, self._end, len(data)))
            self._end += len(data)
        os.fdatasync(self._file)
        self._base.execute("BEGIN IMMEDIATE")
        self._base.executemany("INSERT INTO c (s, id, t, o, l) VALUES (?, ?, ?, ?, ?)", places)
        if rows is not None:
            self._base.executemany("INSERT INTO v VALUES (?, ?, ?, ?)", rows.values)
            self._base.executemany("INSERT OR REPLACE INTO p VALUES (?, ?)", rows.states)
            self._base.executemany("INSERT INTO j (e) VALUES (?)", rows.events)
        self._base.execute("COMMIT")

    def close(self) -> None:
        """Close."""
        self._base.close()
        os.close(self._file)


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Give seconds by the wall and of CPU."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


async def timed_commit(store: SqliteStore, commit: Commit) -> tuple[float, float]:
    """Give seconds by the wall and of CPU of one commit."""
    wall, cpu = time.perf_counter(), time.process_time()
    await store.commit(commit)
    return time.perf_counter() - wall, time.process_time() - cpu


def show(title: str, each: int, ours: list[tuple[float, float]], bare: list[tuple[float, float]]) -> None:
    """Print medians per item and their ratios."""
    (wall, cpu), (bare_wall, bare_cpu) = (
        [statistics.median(column) / each * 1e6 for column in zip(*rounds, strict=True)] for rounds in (ours, bare)
    )
    print(
        f"{title:<44} wall {wall:8.2f} us, bare {bare_wall:8.2f} us, x{wall / bare_wall:.2f};"
        f"   CPU {cpu:8.2f} us, bare {bare_cpu:8.2f} us, x{cpu / bare_cpu:.2f}"
    )


async def bench_readings(folder: Path, count: int, is_read: bool = False) -> None:
    """Readings alone, where an upstream reads them also fed to it."""
    ours, theirs = [], []
    store = await SqliteStore.open(folder / "store.sqlite")
    outbox = await Outbox.open(folder / "store.sqlite", store, "saltmarsh/gw-1")
    await outbox.begin([("plant", Source.READINGS)] if is_read else [])
    with closing(Bare(folder)) as bare:
        for round_ in range(ROUNDS):
            batch = readings(round_, count)
            rows = [(k % POINTS, one.taken_at, one.value, 1) for k, one in enumerate(batch)]
            ours.append(await timed_commit(store, Commit(0.0, readings=batch)))
            theirs.append(timed(lambda rows=rows: bare.values(rows)))  # type: ignore[misc]
    await outbox.close()
    await store.close()
    show(f"reading, {count} a commit{', fed' if is_read else ''}", count, ours, theirs)


async def bench_levels(folder: Path) -> None:
    """Levels of thirty-two captures."""
    ours, theirs = [], []
    store = await SqliteStore.open(folder / "store.sqlite")
    with closing(Bare(folder)) as bare:
        for round_ in range(ROUNDS):
            batch = measurements(round_)
            rows = value_rows(round_, batch)
            ours.append(await timed_commit(store, Commit(0.0, measurements=batch)))
            theirs.append(timed(lambda rows=rows: bare.values(rows)))  # type: ignore[misc]
    await store.close()
    show(f"level, {BATCH} x {LEVELS} a commit", BATCH * LEVELS, ours, theirs)


async def bench_captures(folder: Path, samples: int, whole: bool) -> None:
    """Captures alone, or with levels, states and an event each: a whole batch of the path."""
    ours, theirs = [], []
    shared = make.capture(1, samples=samples)
    store = await SqliteStore.open(folder / "store.sqlite")
    with closing(Bare(folder)) as bare:
        for round_ in range(ROUNDS):
            batch = captures(round_, shared)
            commit, rows = Commit(0.0, captures=batch), None
            if whole:
                levels = measurements(round_)
                points = tuple(make.point_state(point=one.point) for one in levels)
                commit = Commit(0.0, captures=batch, measurements=levels, points=points, events=(make.raised(),) * BATCH)
                states = [(str(one.point), point_state_to_json(one)) for one in points]
                rows = Rows(value_rows(round_, levels), states, [(event_to_json(make.raised()),)] * BATCH)
            ours.append(await timed_commit(store, commit))
            theirs.append(timed(lambda batch=batch, rows=rows: bare.captures(batch, rows)))  # type: ignore[misc]
    await store.close()
    title = f"capture 3 x {samples}, {BATCH} a commit"
    show(f"{title}, levels, states, events" if whole else title, BATCH, ours, theirs)


async def main() -> None:
    """Run all."""
    jobs: list[Callable[[Path], Awaitable[None]]] = [
        *(partial(bench_readings, count=count) for count in (1, 32, 320, 2000)),
        partial(bench_readings, count=320, is_read=True),
        bench_levels,
        partial(bench_captures, samples=SAMPLES, whole=False),
        partial(bench_captures, samples=4 * SAMPLES, whole=False),
        partial(bench_captures, samples=SAMPLES, whole=True),
    ]
    for job in jobs:
        with TemporaryDirectory() as folder:
            await job(Path(folder))


if __name__ == "__main__":
    asyncio.run(main())
