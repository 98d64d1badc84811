"""What only the real store can break: atomicity, a full disk, cancellation, what it leaves open."""

import asyncio
import gc
import os
import sqlite3
import subprocess
import sys
from collections.abc import AsyncIterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from edgemon.errors import ParameterError, StoreCorrupt, StoreError, StoreFull
from edgemon.model.gateway_event import GatewayStopped
from edgemon.store import migrate
from edgemon.store.port import Commit, Saved
from edgemon.store.reader import SqliteReader
from edgemon.store.samples import pack
from edgemon.store.segments import Segments, file_of, folder_of
from edgemon.store.sqlite import SqliteStore
from edgemon.store.transaction import Writer
from tests.conformance.test_store import same_capture
from tests.store import builders as make

TABLES = (
    *("captures", "segments", "parts", "series", "trend", "point_states", "sensor_states", "speeds", "counters"),
    *("quarantine", "journal", "meta"),
)


def full_commit(number: int) -> Commit:
    """A commit that touches every table, each number with keys of its own."""
    at = make.T0 + 1000.0 * number
    return Commit(
        recorded_at=at,
        parts=(make.part(1, of=1000 + number),),
        captures=(make.capture(number),),
        measurements=(replace(make.measurement(1.0, taken_at=at), point=make.POINT._replace(point=f"p-{number}")),),  # type: ignore[arg-type]
        readings=(make.reading(1.0, name=f"r-{number}", taken_at=at),),
        quarantined=(make.quarantined(number),),
        events=(make.started(number),),
        points=(make.point_state(float(number)),),
        sensors=(make.sensor_state(float(number)),),
        speeds=(make.speed(float(number)),),
        counters={"number": number},
    )


def contents(path: Path) -> dict[str, list[tuple[object, ...]]]:
    with closing(sqlite3.connect(path)) as plain:
        return {table: plain.execute(f"SELECT * FROM {table}").fetchall() for table in TABLES}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "edgemon.sqlite"


@pytest.fixture
async def store(path: Path) -> AsyncIterator[SqliteStore]:
    made = await SqliteStore.open(path)
    yield made
    await made.close()


@pytest.mark.parametrize("table", TABLES)
async def test_a_failure_anywhere_stores_nothing_and_the_store_goes_on(
    store: SqliteStore, path: Path, tmp_path: Path, table: str
) -> None:
    await store.commit(full_commit(1))
    await store.mark_published(1)
    before, samples = contents(path), file_of(folder_of(path), 1).read_bytes()
    with closing(sqlite3.connect(path)) as plain:
        plain.execute(f"CREATE TRIGGER broken BEFORE INSERT ON {table} BEGIN SELECT RAISE(ABORT, 'broken here'); END")
    with pytest.raises(StoreError, match="broken here"):
        await store.commit(full_commit(2))
    assert contents(path) == before
    assert file_of(folder_of(path), 1).read_bytes() == samples
    with closing(sqlite3.connect(path)) as plain:
        plain.execute("DROP TRIGGER broken")
    assert [entry.seq for entry in await store.commit(full_commit(2))] == [2]
    await store.close()
    undisturbed = await SqliteStore.open(tmp_path / "undisturbed.sqlite")
    await undisturbed.commit(full_commit(1))
    await undisturbed.mark_published(1)
    await undisturbed.commit(full_commit(2))
    await undisturbed.close()
    assert contents(path) == contents(tmp_path / "undisturbed.sqlite")
    assert all(contents(path).values())
    reader = await SqliteReader.open(path)
    assert same_capture(await reader.capture(make.capture(2).key), make.capture(2))
    await reader.close()


class FaultyDisk(sqlite3.Connection):
    """Its next COMMIT fails, as when the disk does not do what fsync asks for."""

    fault = 0

    def execute(self, sql: str, *rest: object) -> sqlite3.Cursor:
        if sql == "COMMIT" and self.fault:
            error = sqlite3.OperationalError("disk I/O error")
            error.sqlite_errorcode, self.fault = self.fault, 0
            raise error
        return super().execute(sql, *rest)  # type: ignore[arg-type]


FAULTS = {"full": (sqlite3.SQLITE_FULL, 0), "unclear": (sqlite3.SQLITE_IOERR_FSYNC, 1)}


@pytest.mark.parametrize(("fault", "captures_skipped"), FAULTS.values(), ids=list(FAULTS))
def test_samples_of_a_commit_that_may_come_back_are_not_written_over(path: Path, fault: int, captures_skipped: int) -> None:
    """After a failed fsync the frames of a commit may lie in the log, and count after a crash."""
    migrate.connect(path).close()
    segments = Segments(folder_of(path))
    with closing(sqlite3.connect(path, isolation_level=None, factory=FaultyDisk)) as connection:
        writer = Writer(segments, quarantine_most=5)
        connection.fault = fault
        with pytest.raises(sqlite3.OperationalError):
            writer.write(connection, full_commit(1))
        assert not connection.in_transaction
        writer.write(connection, full_commit(2))
        rows = connection.execute("SELECT id, offset, length FROM captures").fetchall()
    segments.close()
    length = pack(make.capture(2).axes).length
    assert rows == [("c-2", captures_skipped * length, length)]


async def test_text_that_cannot_be_stored_is_the_callers_fault_and_stores_nothing(store: SqliteStore, path: Path) -> None:
    before = contents(path)
    poison = GatewayStopped(make.T0, "\ud800")
    with pytest.raises(ParameterError, match="cannot be stored"):
        await store.commit(replace(full_commit(1), events=(poison,)))
    assert contents(path) == before
    await store.commit(full_commit(1))


async def test_the_journal_can_only_grow(store: SqliteStore, path: Path) -> None:
    await store.commit(full_commit(1))
    with closing(sqlite3.connect(path)) as plain:
        for statement in ("DELETE FROM journal", "UPDATE journal SET at = 0"):
            with pytest.raises(sqlite3.IntegrityError, match="append-only"):
                plain.execute(statement)


async def test_numbers_of_the_journal_are_never_given_twice(store: SqliteStore, path: Path) -> None:
    await store.commit(Commit(make.T0, events=(make.started(1), make.started(2))))
    with closing(sqlite3.connect(path)) as plain, plain:  # as a later version that thins out old entries might
        plain.execute("DROP TRIGGER journal_keeps")
        plain.execute("DELETE FROM journal")
    assert (await store.load()).next_seq == 3
    assert [entry.seq for entry in await store.commit(Commit(make.T0, events=(make.started(3),)))] == [3]


async def test_a_quota_is_kept_and_the_store_usable_after_it_is_raised(path: Path) -> None:
    # SQLite, PRAGMA max_page_count: inserts beyond it give SQLITE_FULL
    store = await SqliteStore.open(path, quota_bytes=400_000)
    done = 0

    async def fill() -> None:
        nonlocal done
        while done < 10_000:
            large = replace(make.part(1, of=done + 1), axes={"x": make.counts(1, 5000)})
            await store.commit(replace(full_commit(done + 1), parts=(large,), captures=()))
            done += 1

    with pytest.raises(StoreFull, match="full") as caught:
        await fill()
    assert str(path) in str(caught.value)
    assert "free space" in str(caught.value)
    assert done > 5
    rows = contents(path)
    assert [row[0] for row in rows["journal"]] == list(range(1, done + 1))
    assert len(rows["parts"]) == done
    assert rows["counters"] == [("number", done)]
    assert len((await store.load()).parts) == done  # reading goes on
    await store.close()
    roomier = await SqliteStore.open(path, quota_bytes=800_000)
    assert [entry.seq for entry in await roomier.commit(full_commit(done + 1))] == [done + 1]
    await roomier.close()


def test_a_full_disk_is_told_and_the_store_usable_when_space_returns(tmp_path: Path) -> None:
    """A file system of 4 MiB of its own, in a mount namespace of its own; needs the right to mount."""
    allowed = subprocess.run(["unshare", "--mount", "true"], capture_output=True, check=False).returncode == 0
    if not allowed:
        pytest.skip("no right to mount a file system here: run as root to try a disk that is really full")
    script = 'mount -t tmpfs -o size=4m edgemon "$1" && exec "$2" -m tests.store.fill_disk "$1"'
    command = ["unshare", "--mount", "sh", "-c", script, "sh", str(tmp_path), sys.executable]
    ran = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    if "mount:" in ran.stderr:
        pytest.skip(f"no right to mount a file system here: {ran.stderr.strip()}")
    assert (ran.stdout.splitlines()[-1:], ran.stderr) == (["usable again"], "")


async def test_a_commit_goes_to_its_end_though_its_caller_is_cancelled(store: SqliteStore, path: Path) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")  # the commit has to wait for this lock
        task = asyncio.create_task(store.commit(full_commit(1)))
        for _ in range(5):
            await asyncio.sleep(0)
        task.cancel()
        await asyncio.sleep(0)
        task.cancel()
        await asyncio.sleep(0)
        assert not task.done()
        other.execute("ROLLBACK")
    with pytest.raises(asyncio.CancelledError):
        await task
    assert (await store.load()).counters == {"number": 1}
    assert [entry.seq for entry in await store.commit(full_commit(2))] == [2]


@pytest.mark.parametrize("ticks", range(4))
async def test_an_opening_that_is_cancelled_leaves_nothing_open(path: Path, ticks: int) -> None:
    task = asyncio.create_task(SqliteStore.open(path))
    for _ in range(ticks):
        await asyncio.sleep(0)
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task
    store = await SqliteStore.open(path)  # the lock is free
    assert await store.load() == Saved()
    await store.close()


async def test_questions_asked_at_once_wait_their_turn(store: SqliteStore) -> None:
    entries = await asyncio.gather(*(store.commit(full_commit(number)) for number in range(1, 21)))
    assert sorted(entry[0].seq for entry in entries) == list(range(1, 21))
    assert len((await store.known([make.capture(k).key for k in range(30)], [])).captures) == 20


async def test_closing_twice_at_once_closes_once(path: Path) -> None:
    store = await SqliteStore.open(path)
    await store.mark_published(4)
    commit = asyncio.create_task(store.commit(full_commit(1)))
    await asyncio.wait_for(asyncio.gather(commit, store.close(), store.close()), timeout=10.0)
    again = await SqliteStore.open(path)
    assert (await again.load()).published_seq == 4
    await again.close()


async def test_no_file_stays_open(path: Path, tmp_path: Path) -> None:
    damaged = tmp_path / "damaged.sqlite"
    damaged.write_bytes(b"x" * 5000)

    async def once() -> None:
        store = await SqliteStore.open(path, roll_bytes=500)
        reader = await SqliteReader.open(path)
        for number in range(4):
            await store.commit(full_commit(number))
            await reader.capture(make.capture(number).key)
        await reader.close()
        await store.close()
        with pytest.raises(StoreCorrupt):
            await SqliteStore.open(damaged)
        with pytest.raises(StoreError):
            await SqliteReader.open(damaged)

    await once()
    gc.collect()
    before = sorted(os.listdir("/proc/self/fd"))  # noqa: PTH208 - names only
    for _ in range(3):
        await once()
    gc.collect()
    assert sorted(os.listdir("/proc/self/fd")) == before  # noqa: PTH208


HYGIENE = """
import asyncio, sys
from pathlib import Path
from edgemon.errors import StoreError
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore

async def good(path):
    store = await SqliteStore.open(path)
    await store.commit(Commit(1.0, counters={"a": 1}))
    await store.close()

async def bad(path):
    try:
        await SqliteStore.open(path)
    except StoreError as error:
        assert "not a database" in str(error)

folder = Path(sys.argv[1])
(folder / "bad.sqlite").write_bytes(b"x" * 500)
for _ in range(20):
    asyncio.run(good(folder / "good.sqlite"))
    asyncio.run(bad(folder / "bad.sqlite"))
"""


def test_an_event_loop_that_ends_at_once_finds_no_thread_of_ours(tmp_path: Path) -> None:
    command = [sys.executable, "-W", "error", "-X", "dev", "-c", HYGIENE, str(tmp_path)]
    ran = subprocess.run(command, capture_output=True, text=True, check=False, timeout=60)
    assert (ran.returncode, ran.stdout, ran.stderr) == (0, "", "")


async def test_a_damaged_capture_is_named_and_the_others_are_read(store: SqliteStore, path: Path) -> None:
    await store.commit(Commit(make.T0, captures=(make.capture(1), make.capture(2))))
    file = file_of(folder_of(path), 1)
    with file.open("r+b") as opened:
        opened.seek(60)
        opened.write(b"\xff\x00\xff")
    reader = await SqliteReader.open(path)
    with pytest.raises(StoreCorrupt, match=r"000001\.seg at byte 0"):
        await reader.capture(make.capture(1).key)
    assert same_capture(await reader.capture(make.capture(2).key), make.capture(2))
    await reader.close()


async def test_segments_lost_are_told_and_monitoring_goes_on(path: Path) -> None:
    store = await SqliteStore.open(path)
    await store.commit(full_commit(1))
    await store.close()
    file_of(folder_of(path), 1).unlink()
    store = await SqliteStore.open(path)
    assert "000001.seg" in store.remark
    await store.commit(full_commit(2))
    reader = await SqliteReader.open(path)
    with pytest.raises(StoreCorrupt, match=r"000001\.seg"):
        await reader.capture(make.capture(1).key)
    assert same_capture(await reader.capture(make.capture(2).key), make.capture(2))
    await reader.close()
    await store.close()


async def test_a_reader_sees_a_commit_at_once_and_can_change_nothing(store: SqliteStore, path: Path) -> None:
    reader = await SqliteReader.open(path)
    await store.commit(full_commit(1))
    assert len(await reader.journal(10)) == 1
    for statement in ("DELETE FROM trend", "CREATE TABLE more (a)"):
        with pytest.raises(StoreError, match="readonly"):
            await reader._rows(statement, ())
    await reader.close()
    with pytest.raises(StoreError, match="closed"):
        await reader.journal(1)


async def test_a_reader_does_not_wait_for_the_writer(store: SqliteStore, path: Path) -> None:
    # SQLite, Write-Ahead Logging: readers do not block writers and a writer does not block readers
    await store.commit(full_commit(1))
    reader = await SqliteReader.open(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        other.execute("UPDATE counters SET value = 7")
        assert len(await asyncio.wait_for(reader.journal(10), timeout=2.0)) == 1
        other.execute("ROLLBACK")
    await reader.close()


async def test_a_capture_may_have_empty_axes_or_none(store: SqliteStore, path: Path) -> None:
    empty = replace(make.capture(1), axes={"x": np.zeros(0, np.int16)})
    none = replace(make.capture(2), axes={})
    await store.commit(Commit(make.T0, captures=(empty, none)))
    reader = await SqliteReader.open(path)
    assert same_capture(await reader.capture(empty.key), empty)
    assert same_capture(await reader.capture(none.key), none)
    await reader.close()
