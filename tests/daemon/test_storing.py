"""The way to a real store: a quota, errors of the sample file's write and sync, a disk that stalls. All is counted.

The errors are SQLite's own (PRAGMA max_page_count) or raised where the kernel raises them: pwritev(2), fdatasync(2).
"""

import asyncio
import errno
import os
import subprocess
import sys
import threading
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import pytest

from edgemon.daemon import storing as module
from edgemon.daemon.storing import Keeps
from edgemon.engine.analyse import Questions
from edgemon.errors import StoreError, StoreFull, StoreSlow
from edgemon.store.ballast import Ballast
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from tests.daemon.bench import Bench
from tests.store import builders as make


@pytest.fixture
async def bench(tmp_path: Path) -> AsyncIterator[Bench]:
    path = tmp_path / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    made = Bench(path, store, Ballast(path, 1 << 20))
    await made.storing.begin({})
    yield made
    await store.close()


async def limit(bench: Bench, more: int) -> None:
    """Let the database grow by so many pages only; SQLite says SQLITE_FULL beyond."""

    def set_limit(connection: object) -> None:
        pages = connection.execute("PRAGMA page_count").fetchone()[0]  # type: ignore[attr-defined]
        connection.execute(f"PRAGMA max_page_count = {pages + more}")  # type: ignore[attr-defined]

    await bench.store.run(set_limit)


async def test_a_full_database_and_space_that_comes_back(bench: Bench) -> None:
    assert await bench.give()
    await limit(bench, 2)
    for _ in range(80):
        await bench.give()
    assert not bench.is_well()
    assert isinstance(bench.storing.error, StoreFull)
    await bench.attempt()
    assert not bench.is_well(), "there is no room yet"
    await limit(bench, 100_000)
    await bench.attempt()
    assert bench.is_well()
    assert bench.storing.unwritten == ()
    await bench.redeliver()
    await bench.check()


def failing(call: Callable[..., object], number: int, when: list[bool]) -> Callable[..., object]:
    def made(*arguments: object) -> object:
        if when[0]:
            raise OSError(number, os.strerror(number))
        return call(*arguments)

    return made


@pytest.mark.parametrize("call", ["pwritev", "fdatasync"])
@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO, errno.EROFS])
async def test_errors_of_the_sample_file(bench: Bench, monkeypatch: pytest.MonkeyPatch, call: str, number: int) -> None:
    is_ill = [False]
    monkeypatch.setattr(os, call, failing(getattr(os, call), number, is_ill))
    for step in range(20):
        is_ill[0] = step in range(5, 15)
        assert await bench.give() is (step < 5), step
        if step == 7:
            assert bench.storing.keeps is Keeps.STATES
            await bench.attempt()
            assert bench.storing.keeps is Keeps.STATES, "what takes space still fails"
            saved = (await bench.store.load()).points
            assert saved == (make.point_state(0.001 * bench.given),), "alarm states are written meanwhile"
    await bench.attempt()
    assert bench.is_well()
    await bench.redeliver()
    assert await bench.give()
    await bench.check()


async def test_a_database_that_does_not_sync(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing can be written: everything waits in memory, the events in order."""
    failing_run = bench.store.commit

    async def dead(commit: Commit) -> object:
        raise StoreError("disk I/O error [SQLITE_IOERR_FSYNC]", str(bench.path))

    assert await bench.give()
    monkeypatch.setattr(bench.store, "commit", dead)
    for _ in range(30):
        assert not await bench.give()
    assert bench.storing.keeps is Keeps.NOTHING
    assert len(bench.storing.unwritten) == 30
    await bench.attempt()
    assert bench.storing.keeps is Keeps.NOTHING
    monkeypatch.setattr(bench.store, "commit", failing_run)
    await bench.attempt()
    assert bench.is_well()
    late, _ = bench.storing.told()
    assert late == 30
    await bench.redeliver()
    await bench.check()


@pytest.mark.parametrize("ends_well", [True, False])
async def test_a_disk_that_stalls_holds_nothing_up_and_doubles_nothing(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, ends_well: bool
) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", 0.1)
    goes_on, sync, is_stalling = threading.Event(), os.fdatasync, [False]

    def stalls(file: int) -> None:
        if is_stalling[0]:
            goes_on.wait(30.0)
            if not ends_well:
                raise OSError(errno.EIO, os.strerror(errno.EIO))
        sync(file)

    monkeypatch.setattr(os, "fdatasync", stalls)
    assert await bench.give()
    is_stalling[0] = True
    for _ in range(10):
        async with asyncio.timeout(2.0):
            assert not await bench.give()
    assert isinstance(bench.storing.error, StoreSlow)
    assert bench.storing.keeps is Keeps.NOTHING
    async with asyncio.timeout(2.0):
        known, judged = await bench.storing.standing(Questions((make.capture(5).key,)), {}, lambda key: 0.0)
    assert known.captures, "judged already: not judged again when it comes by another way"
    assert not judged.captures
    is_stalling[0] = False
    goes_on.set()
    await bench.store.size_bytes()  # behind what was under way
    await asyncio.sleep(0)
    await bench.attempt()
    assert bench.is_well()
    await bench.redeliver()
    assert await bench.give()
    await bench.check()


async def test_a_store_that_fails_again_at_once_is_tried_less_often(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    is_ill = [True]
    monkeypatch.setattr(os, "fdatasync", failing(os.fdatasync, errno.EIO, is_ill))
    waits = []
    for _ in range(8):
        is_ill[0] = True
        await bench.give()
        is_ill[0] = False
        waited = 0.0
        while not bench.is_well():
            await bench.storing.attempt((), {})
            await bench.clock.advance(1.0)
            waited += 1.0
        waits.append(waited)
    assert waits == sorted(waits)
    assert waits[0] <= 1.0
    assert 30.0 <= waits[-1] <= 62.0


def test_a_disk_that_is_really_full_leaves_the_ballast_to_journal_and_states(tmp_path: Path) -> None:
    """A file system of 8 MiB of its own, in a mount namespace of its own; needs the right to mount."""
    if subprocess.run(["unshare", "--mount", "true"], capture_output=True, check=False).returncode:
        pytest.skip("no right to mount a file system here: run as root to try a disk that is really full")
    script = 'mount -t tmpfs -o size=8m edgemon "$1" && exec "$2" -m tests.daemon.full_disk "$1"'
    command = ["unshare", "--mount", "sh", "-c", script, "sh", str(tmp_path), sys.executable]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    if "mount:" in ran.stderr:
        pytest.skip(f"no right to mount a file system here: {ran.stderr.strip()}")
    assert ran.returncode == 0, ran.stderr
    assert "in the ballast" in ran.stdout
