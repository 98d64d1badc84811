"""A store that cannot be opened for writing: read where that is possible, refused where it is not for us."""

import errno
import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from edgemon.errors import StoreCorrupt, StoreError, StoreFull, StoreRefused, StoreTooNew
from edgemon.store import migrate
from edgemon.store.away import AwayStore
from edgemon.store.port import Commit, Saved
from edgemon.store.readonly import open_to_read
from edgemon.store.sqlite import SqliteStore
from tests.store import builders as make

READ_ONLY = StoreError(os.strerror(errno.EROFS), "state/edgemon.sqlite.segments", "the right to write here")
NOBODY = 65534


async def written(path: Path) -> Saved:
    store = await SqliteStore.open(path)
    await store.commit(Commit(make.T0, events=(make.started(1),), points=(make.point_state(),), captures=(make.capture(1),)))
    await store.mark_published(1)
    saved = await store.load()
    await store.close()
    return saved


async def test_what_lies_in_it_is_read_and_nothing_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    saved = await written(path)
    store = await AwayStore.open(path, StoreFull("no space", "there", "free some"))
    assert store.was_read
    assert await store.load() == saved
    assert (await store.known([make.capture(1).key, make.capture(2).key], [])).captures == {make.capture(1).key}
    assert await store.reader.capture(make.capture(1).key) is not None
    with pytest.raises(StoreFull, match="free some"):
        await store.commit(Commit(make.T0, counters={"messages": 1}))
    await store.mark_published(5)
    assert (await store.load()).published_seq == 1
    await store.close()
    await store.close()
    assert await written(path)


@pytest.mark.parametrize("name", ["none.sqlite", "nowhere/none.sqlite", "damaged.sqlite"])
async def test_what_cannot_be_read_is_taken_for_empty(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    if name == "damaged.sqlite":
        await written(path)
        path.write_bytes(b"\xa5" * 8192)
    store = await AwayStore.open(path, READ_ONLY)
    assert not store.was_read
    assert await store.load() == Saved()
    assert await store.reader.journal(10) == ()
    with pytest.raises(StoreError, match="Read-only"):
        await store.commit(Commit(make.T0, counters={"messages": 1}))
    await store.close()


async def test_a_newer_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    await written(path)
    with closing(sqlite3.connect(path, isolation_level=None)) as plain:
        plain.execute(f"PRAGMA user_version = {migrate.newest() + 1}")
    before = path.read_bytes()
    with pytest.raises(StoreTooNew):
        await AwayStore.open(path, READ_ONLY)
    assert path.read_bytes() == before


async def test_a_database_of_another_program_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    with closing(sqlite3.connect(path)) as plain:
        plain.execute("PRAGMA application_id = 1")
        plain.execute("CREATE TABLE theirs (a)")
    with pytest.raises(StoreRefused, match="another program"):
        await AwayStore.open(path, READ_ONLY)


async def test_a_file_that_never_was_a_store_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    path.write_bytes(b"[store]\npath = 'x'\n" * 20)
    with pytest.raises(StoreCorrupt, match="not a database"):
        await AwayStore.open(path, READ_ONLY)


@pytest.mark.parametrize("has_log", [False, True], ids=["after a stop", "after a crash"])
def test_a_database_is_read_where_no_index_of_its_log_can_be_made(tmp_path: Path, has_log: bool) -> None:
    """What was written before a crash lies in the log, and is read there (SQLite, Write-Ahead Logging, section 8)."""
    with TemporaryDirectory() as name:
        path = Path(name) / "some.sqlite"
        with closing(sqlite3.connect(tmp_path / path.name, isolation_level=None)) as plain:
            plain.execute("PRAGMA journal_mode = WAL")
            plain.execute("CREATE TABLE some (a)")
            plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            plain.execute("INSERT INTO some VALUES (7)")
            if has_log:
                for file in (path.name, f"{path.name}-wal"):
                    shutil.copy(tmp_path / file, name)
        if not has_log:
            shutil.copy(tmp_path / path.name, name)
        with nobody_may_write(path.parent):
            with pytest.raises(sqlite3.OperationalError), closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as plain:
                plain.execute("SELECT a FROM some").fetchone()
            with closing(open_to_read(path)) as connection:
                assert connection.execute("SELECT a FROM some").fetchall() == [(7,)]
                with pytest.raises(sqlite3.OperationalError):
                    connection.execute("INSERT INTO some VALUES (8)")


@contextmanager
def nobody_may_write(folder: Path) -> Iterator[None]:
    """Root may write everywhere, so tests that run as root step down."""
    folder.chmod(0o555)
    as_root = os.geteuid() == 0
    if as_root:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        if as_root:
            os.seteuid(0)
        folder.chmod(0o755)


async def test_it_is_not_read_so_while_a_gateway_writes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    ways: list[str] = []
    connect = sqlite3.connect

    def unable(address: str, /, **more: object) -> sqlite3.Connection:
        ways.append(address.partition("?")[2])
        return connect("file:nowhere/at-all?mode=ro", uri=True)  # SQLITE_CANTOPEN

    monkeypatch.setattr("edgemon.store.readonly.sqlite3.connect", unable)
    with pytest.raises(sqlite3.OperationalError):
        open_to_read(path)
    assert ways == ["mode=ro"]
    monkeypatch.undo()
    await store.close()
