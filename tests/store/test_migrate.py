"""What may be opened, what must be refused, and that what is refused is left as it was."""

import dataclasses
import hashlib
import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from edgemon.errors import StoreCorrupt, StoreError, StoreTooNew
from edgemon.store import migrate
from edgemon.store.port import Commit, Saved
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore
from edgemon.store.stream import Stream
from tests.store import builders as make

COMMIT = Commit(make.T0, events=tuple(make.started(k) for k in range(400)), captures=(make.capture(1),))
NOBODY = 65534
ROOT = Path(__file__).parents[1]


def digests(folder: Path) -> dict[str, str]:
    """Every file but the log's index, which is only memory shared among connections (SQLite, WAL-mode File Format)."""
    files = [file for file in folder.rglob("*") if file.is_file() and not file.name.endswith("-shm")]
    return {str(file): hashlib.sha256(file.read_bytes()).hexdigest() for file in files}


async def written(path: Path) -> None:
    store = await SqliteStore.open(path)
    await store.commit(COMMIT)
    await store.close()


async def test_a_new_file_gets_the_schema_and_the_settings_it_needs(tmp_path: Path) -> None:
    path = tmp_path / "state" / "deeper" / "edgemon.sqlite"
    await written(path)
    with closing(sqlite3.connect(path)) as plain:
        pragma = {
            name: plain.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("user_version", "application_id", "journal_mode", "auto_vacuum", "quick_check")
        }
        tables = plain.execute("SELECT name, strict FROM pragma_table_list WHERE schema = 'main' AND type = 'table'").fetchall()
    assert pragma == {
        "user_version": migrate.newest(),
        "application_id": 0x45444745,
        "journal_mode": "wal",
        "auto_vacuum": 2,  # 2 is incremental; SQLite, PRAGMA auto_vacuum
        "quick_check": "ok",
    }
    assert {name for name, strict in tables if not strict} <= {"sqlite_schema", "sqlite_sequence"}


async def test_an_empty_file_is_a_new_one(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    path.touch()
    store = await SqliteStore.open(path)
    assert await store.load() == Saved()
    await store.close()


async def test_a_file_made_but_not_yet_filled_when_power_failed_is_a_new_one(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    with closing(sqlite3.connect(path)) as plain:
        plain.execute("PRAGMA auto_vacuum = INCREMENTAL")
        plain.execute("PRAGMA journal_mode = WAL")
    await written(path)


@pytest.mark.parametrize("in_log", [False, True], ids=["in the file", "still in the log"])
async def test_a_newer_file_is_refused_and_left_byte_for_byte_alone(tmp_path: Path, in_log: bool) -> None:
    path = tmp_path / "edgemon.sqlite"
    await written(path)
    plain = sqlite3.connect(path, isolation_level=None)
    newer = migrate.newest() + 1
    plain.execute(f"PRAGMA user_version = {newer}")
    if not in_log:
        plain.close()
    before = digests(tmp_path)
    assert (path.read_bytes()[60:64] == newer.to_bytes(4, "big")) is not in_log
    with pytest.raises(StoreTooNew, match=f"version {newer}, this program knows {newer - 1}") as caught:
        await SqliteStore.open(path)
    assert str(path) in str(caught.value)
    assert digests(tmp_path) == before
    plain.close()


@pytest.mark.parametrize(
    "content", [b"[store]\npath = 'x'\n", b"SQLite format 3\x00", b"\x00" * 8192], ids=["text", "short", "zeros"]
)
async def test_what_is_no_database_is_refused_and_left_alone(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "edgemon.sqlite"
    path.write_bytes(content)
    with pytest.raises(StoreCorrupt, match="not a database") as caught:
        await SqliteStore.open(path)
    assert str(path) in str(caught.value)
    assert path.read_bytes() == content


async def test_a_database_of_another_program_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    with closing(sqlite3.connect(path)) as plain:
        plain.execute("CREATE TABLE theirs (a)")
    with pytest.raises(StoreError, match="another program"):
        await SqliteStore.open(path)


@pytest.mark.parametrize("kept", [0.3, 0.6, 0.9])
async def test_a_truncated_file_is_refused(tmp_path: Path, kept: float) -> None:
    path = tmp_path / "edgemon.sqlite"
    await written(path)
    os.truncate(path, int(path.stat().st_size * kept))
    with pytest.raises(StoreCorrupt) as caught:
        await SqliteStore.open(path)
    assert str(path) in str(caught.value)


async def test_a_damaged_page_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    await written(path)
    with path.open("r+b") as file:
        file.seek(-4096, os.SEEK_END)
        file.write(b"\xa5" * 4096)
    with pytest.raises(StoreCorrupt, match=r"damaged|malformed"):
        await SqliteStore.open(path)


async def test_a_state_edited_by_hand_is_named(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    store = await SqliteStore.open(path)
    await store.commit(Commit(make.T0, points=(make.point_state(),)))
    with closing(sqlite3.connect(path)) as plain, plain:
        plain.execute("""UPDATE point_states SET body = '{"point": 1}'""")
    with pytest.raises(StoreCorrupt, match="state of point hp-pump-1/motor-de-h"):
        await store.load()
    await store.close()


@pytest.fixture
def closed_folder() -> Iterator[Path]:
    """A folder in which nobody may write; root may everywhere, so tests that run as root step down."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o555)
        as_root = os.geteuid() == 0
        if as_root:
            os.seteuid(NOBODY)
        yield folder
        if as_root:
            os.seteuid(0)
        folder.chmod(0o755)


async def test_a_folder_that_may_not_be_written_is_named(closed_folder: Path) -> None:
    with pytest.raises(StoreError, match="right to write") as caught:
        await SqliteStore.open(closed_folder / "edgemon.sqlite")
    assert str(closed_folder) in str(caught.value)


async def test_a_folder_in_place_of_the_file_is_named(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    path.mkdir()
    with pytest.raises(StoreError, match=str(path)):
        await SqliteStore.open(path)


async def test_a_file_in_place_of_a_folder_is_named(tmp_path: Path) -> None:
    (tmp_path / "state").touch()
    with pytest.raises(StoreError, match=str(tmp_path)):
        await SqliteStore.open(tmp_path / "state" / "edgemon.sqlite")


async def test_a_second_gateway_is_refused_and_the_first_goes_on(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    first = await SqliteStore.open(path)
    with pytest.raises(StoreError, match="another gateway"):
        await SqliteStore.open(path)
    await first.commit(COMMIT)
    await first.close()
    await written(path)


async def test_a_reader_needs_a_store(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no store here"):
        await SqliteReader.open(tmp_path / "none.sqlite")
    assert digests(tmp_path) == {}


def test_the_steps_are_numbered_without_a_gap() -> None:
    assert list(migrate.scripts()) == list(range(1, migrate.newest() + 1))
    assert len(list(migrate.SCHEMA.glob("*.sql"))) == migrate.newest()  # no number twice: only one of the two would be run


def test_steps_are_taken_all_or_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    steps = tmp_path / "schema"
    steps.mkdir()
    (steps / "0001_first.sql").write_text((migrate.SCHEMA / "0001_first.sql").read_text())
    monkeypatch.setattr(migrate, "SCHEMA", steps)
    path = tmp_path / "edgemon.sqlite"
    migrate.connect(path).close()
    (steps / "0002_more.sql").write_text("CREATE TABLE more (a INTEGER) STRICT;")
    (steps / "0003_wrong.sql").write_text("CREATE TABLE half (a INTEGER) STRICT;\nCREATE TABLE more (a INTEGER) STRICT;")
    with pytest.raises(sqlite3.OperationalError, match="already exists"):
        migrate.connect(path)
    (steps / "0003_wrong.sql").write_text("CREATE TABLE half (a INTEGER) STRICT;")
    with closing(migrate.connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone()[0] == 3


@pytest.fixture
def version_1(tmp_path: Path) -> Path:
    """A store that version 1 of the schema wrote: two captures, two parts that wait, a state, a trend."""
    for source in (ROOT / "data" / "databases" / "version-1-parts").rglob("*"):
        target = tmp_path / source.relative_to(ROOT / "data" / "databases" / "version-1-parts")
        target.mkdir(exist_ok=True) if source.is_dir() else target.write_bytes(source.read_bytes())
    return tmp_path / "edgemon.sqlite"


async def test_a_file_of_version_1_keeps_everything_and_takes_spectra(version_1: Path) -> None:
    store = await SqliteStore.open(version_1)
    reader = await SqliteReader.open(version_1)
    saved = await store.load()
    assert [(part.id, part.number, part.form) for part in saved.parts] == [("c-9", 1, None), ("c-9", 3, None)]
    assert np.array_equal(saved.parts[1].axes["x"], make.part(3, of=9).axes["x"])
    assert saved.points == (make.point_state(),)
    old = (make.capture(1), make.capture(2, sim=True, missing_parts=(3,)))
    for capture in old:
        assert capture.key in (await store.known([capture.key], [])).captures
        found = await reader.capture(capture.key)
        assert found is not None
        assert (found.key, found.missing_parts, found.form) == (capture.key, capture.missing_parts, None)
        assert all(np.array_equal(found.axes[axis], capture.axes[axis]) for axis in capture.axes)
    trend = await reader.trend(make.POINT, "velocity_rms", 0.0, 4e9)
    assert [value.value for value in trend] == [0.002]
    await store.commit(Commit(make.T0, captures=(make.spectrum(1),)))
    assert await reader.captures(None, 0.0, 4e9) == (old[1].key, old[0].key)
    assert await reader.captures(None, 0.0, 4e9, spectra=True) == (make.spectrum(1).key,)
    with Stream(version_1) as stream:
        assert [one.key for one in stream.captures(None, 0.0, 4e9, False, with_samples=True)] == [old[0].key]
        (lines,) = stream.captures(None, 0.0, 4e9, False, with_samples=True, spectra=True)
        assert lines.form == make.FORM
        assert np.array_equal(lines.axes["y"], make.spectrum(1).axes["y"])
    await store.commit(Commit(make.T0, captures=(dataclasses.replace(make.capture(9), missing_parts=(2,)),)))
    assert (await store.load()).parts == ()
    await reader.close()
    await store.close()
    with closing(sqlite3.connect(version_1)) as plain:
        assert plain.execute("PRAGMA user_version").fetchone()[0] == migrate.newest()
        assert plain.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
