"""Kill the writer at any instant: what it was told is stored is there, once and whole; nothing else is half there.

What a kill cannot show is a power failure: for that the store relies on `synchronous = FULL` (SQLite, PRAGMA synchronous:
a commit is durable when it returns) and on fdatasync(2) of the samples before it.
"""

import os
import random
import signal
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from edgemon.store.reader import SqliteReader
from edgemon.store.segments import file_of, folder_of
from edgemon.store.sqlite import SqliteStore
from tests.conformance.test_store import same_capture
from tests.crash.store_writer import CAPTURES, CHILD_READY, ROLL_BYTES, batch

pytestmark = pytest.mark.slow

KILLS = 15
LONGEST_S = 0.15
"""A kill comes at a random instant up to so long after the child began to commit."""


def run_and_kill(path: Path, after_s: float) -> list[int]:
    """Let a child commit until it is killed; gives the numbers of the batches it was told are stored."""
    child = subprocess.Popen([sys.executable, "-m", "tests.crash.store_writer", str(path)], stdout=subprocess.PIPE, text=True)
    assert child.stdout is not None
    with child.stdout as lines:
        assert lines.readline() == CHILD_READY
        killer = threading.Timer(after_s, os.kill, (child.pid, signal.SIGKILL))
        killer.start()
        told = [int(line) for line in lines if line.endswith("\n")]
    killer.join()
    assert child.wait() == -signal.SIGKILL
    return told


async def check(path: Path, told: list[int]) -> int:
    """Compare what is stored with what must be; gives the number of batches stored."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as plain:
        assert plain.execute("PRAGMA quick_check").fetchone() == ("ok",)
        assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    store = await SqliteStore.open(path, roll_bytes=ROLL_BYTES)
    saved = await store.load()
    stored = saved.counters.get("batches", 0)
    with closing(sqlite3.connect(path)) as plain:
        ends = plain.execute("SELECT number, end_bytes FROM segments ORDER BY number").fetchall()
    await store.close()
    assert store.remark == ""
    assert told == list(range(told[0], told[0] + len(told))) if told else True
    assert stored - (told[-1] if told else stored) in (0, 1)  # the one under way may be stored and not yet told
    reader = await SqliteReader.open(path)
    numbers = [entry.event.plant for entry in await reader.journal(100_000, after=0)]  # type: ignore[union-attr]
    assert numbers == [f"plant {k}" for k in range(1, stored + 1)]
    wanted = [capture for k in range(1, stored + 1) for capture in batch(k).captures]
    keys = await reader.captures(None, 0.0, 4e9, most=1_000_000)
    assert sorted(keys) == sorted(capture.key for capture in wanted)
    assert len(keys) == stored * CAPTURES
    for capture in wanted[-40:]:
        assert same_capture(await reader.capture(capture.key), capture)
    values = await reader.trend(batch(1).measurements[0].point, "velocity_rms", 0.0, 4e9, most=1_000_000)
    assert np.array_equal([value.value for value in values], np.arange(1.0, stored + 1.0))
    await reader.close()
    assert file_of(folder_of(path), ends[-1][0]).stat().st_size == ends[-1][1] if ends else True
    return stored


async def test_nothing_told_is_lost_and_nothing_is_there_twice(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    chance = random.Random(20)
    stored = 0
    for _ in range(KILLS):
        told = run_and_kill(path, chance.uniform(0.0, LONGEST_S))
        assert told[:1] in ([], [stored + 1])
        stored = await check(path, told)
    assert stored > KILLS


def test_the_child_says_nothing_before_it_is_stored(tmp_path: Path) -> None:
    """The test above could not fail if the child printed first: here it may not commit, and so must print nothing."""
    path = tmp_path / "edgemon.sqlite"
    run_and_kill(path, 0.0)
    with closing(sqlite3.connect(path)) as plain, plain:
        plain.execute("CREATE TRIGGER broken BEFORE INSERT ON journal BEGIN SELECT RAISE(ABORT, 'broken here'); END")
    child = [sys.executable, "-m", "tests.crash.store_writer", str(path)]
    ran = subprocess.run(child, capture_output=True, text=True, check=False, timeout=30)
    assert ran.returncode == 1
    assert ran.stdout == CHILD_READY
    assert "broken here" in ran.stderr
