"""Backups of a store at work, put back and looked at; and every way in which one can be no good."""

import asyncio
import hashlib
import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from edgemon.cli.main import main
from edgemon.errors import StoreCorrupt, StoreError, StoreTooNew
from edgemon.store.backup import DATABASE, MANIFEST, back_up, check, prove, restore
from edgemon.store.migrate import newest
from edgemon.store.segments import folder_of
from edgemon.store.sqlite import SqliteStore
from tests.store import builders as make
from tests.store.test_sqlite import contents, full_commit
from tests.support.daemon import plant_toml

NOW = make.T0 + 1e6


def quietly(_: int) -> None:
    """Tell nobody how far it is."""


async def filled(path: Path, commits: int) -> None:
    store = await SqliteStore.open(path)
    for number in range(1, commits + 1):
        await store.commit(full_commit(number))
    await store.close()


async def test_a_copy_taken_at_work_is_of_one_instant_and_whole(tmp_path: Path) -> None:
    path = tmp_path / "plant.sqlite"
    store = await SqliteStore.open(path)
    written = 0
    stop = asyncio.Event()

    async def write() -> None:
        nonlocal written
        while not stop.is_set():
            written += 1
            await store.commit(full_commit(written))

    writing = asyncio.create_task(write())
    try:
        while written < 2:
            await asyncio.sleep(0.001)
        for number in range(5):
            before = written
            manifest = await asyncio.to_thread(back_up, path, tmp_path / f"b-{number}", NOW, quietly)
            # a commit is in it whole or not at all: each adds one capture and one entry
            assert before - 1 <= manifest.captures <= written
            assert manifest.journal_seq == manifest.captures
            copy = contents(tmp_path / f"b-{number}" / DATABASE)
            assert len(copy["captures"]) == len(copy["journal"]) == len(copy["quarantine"]) == manifest.captures
            assert sorted(one.name for one in (tmp_path / f"b-{number}").iterdir()) == [
                DATABASE,
                f"{DATABASE}.segments",
                MANIFEST,
            ]
    finally:
        stop.set()
        await writing
        await store.close()
    assert written > 5


async def test_what_is_restored_is_what_was_there(tmp_path: Path) -> None:
    path = tmp_path / "plant.sqlite"
    await filled(path, 7)
    before = contents(path)
    manifest = back_up(path, tmp_path / "backup", NOW, quietly)
    path.unlink()
    shutil.rmtree(folder_of(path))
    assert restore(tmp_path / "backup", path, "", quietly) == manifest
    assert contents(path) == before
    verdict, captures = prove(path)
    assert (verdict.newest_hash, captures) == (manifest.journal_hash, 7)
    store = await SqliteStore.open(path)  # and it goes on from there
    await store.commit(full_commit(8))
    await store.close()
    assert prove(path)[1] == 8


async def test_a_store_that_is_there_is_kept_under_another_name(tmp_path: Path) -> None:
    path = tmp_path / "plant.sqlite"
    await filled(path, 2)
    back_up(path, tmp_path / "backup", NOW, quietly)
    store = await SqliteStore.open(path)
    await store.commit(full_commit(3))
    with pytest.raises(StoreError, match="there is a store already"):
        restore(tmp_path / "backup", path, "", quietly)
    with pytest.raises(StoreError, match="a daemon has this store open"):
        restore(tmp_path / "backup", path, ".before", quietly)
    await store.close()
    restore(tmp_path / "backup", path, ".before", quietly)
    assert prove(path)[1] == 2
    aside = path.with_name(path.name + ".before")
    assert len(contents(aside)["captures"]) == 3
    assert folder_of(path).with_name(folder_of(path).name + ".before").is_dir()


async def test_nothing_is_overwritten_by_a_backup(tmp_path: Path) -> None:
    await filled(tmp_path / "s", 1)
    (tmp_path / "there").mkdir()
    with pytest.raises(StoreError, match="there is something already"):
        back_up(tmp_path / "s", tmp_path / "there", NOW, quietly)


@pytest.mark.parametrize("harm", ["flip", "cut", "gone"])
@pytest.mark.parametrize("which", [DATABASE, f"{DATABASE}.segments/000001.seg", MANIFEST])
async def test_a_damaged_backup_is_refused_by_the_name_of_its_file(tmp_path: Path, which: str, harm: str) -> None:
    path = tmp_path / "s"
    await filled(path, 3)
    back_up(path, tmp_path / "backup", NOW, quietly)
    victim = tmp_path / "backup" / which
    content = bytearray(victim.read_bytes())
    if harm == "flip":
        content[len(content) // 3] ^= 0x41
        victim.write_bytes(content)
    elif harm == "cut":
        victim.write_bytes(content[: len(content) // 2])
    else:
        victim.unlink()
    target = tmp_path / "other"
    with pytest.raises(StoreCorrupt) as refused:
        restore(tmp_path / "backup", target, "", quietly)
    assert victim.name in str(refused.value) or which == MANIFEST
    assert not target.exists()


async def test_a_manifest_cannot_lead_outside(tmp_path: Path) -> None:
    await filled(tmp_path / "s", 1)
    back_up(tmp_path / "s", tmp_path / "backup", NOW, quietly)
    listed = tmp_path / "backup" / MANIFEST
    found = json.loads(listed.read_text())
    found["files"][0]["name"] = "../../etc/passwd"
    listed.write_text(json.dumps(found))
    with pytest.raises(StoreCorrupt, match="outside"):
        check(tmp_path / "backup")


async def test_a_newer_backup_is_left_alone(tmp_path: Path) -> None:
    await filled(tmp_path / "s", 1)
    back_up(tmp_path / "s", tmp_path / "backup", NOW, quietly)
    database = tmp_path / "backup" / DATABASE
    with closing(sqlite3.connect(database)) as plain:
        plain.execute(f"PRAGMA user_version = {newest() + 1}")
    listed = tmp_path / "backup" / MANIFEST
    found = json.loads(listed.read_text())
    for file in found["files"]:
        if file["name"] == DATABASE:
            file["sha256"] = hashlib.sha256(database.read_bytes()).hexdigest()
    listed.write_text(json.dumps(found))
    with pytest.raises(StoreTooNew):
        restore(tmp_path / "backup", tmp_path / "other", "", quietly)


@pytest.mark.parametrize("table", ["journal", "captures"])
async def test_a_store_that_is_damaged_itself_makes_no_backup(tmp_path: Path, table: str) -> None:
    path = tmp_path / "s"
    await filled(path, 3)
    if table == "journal":
        with closing(sqlite3.connect(path)) as plain:
            triggers = plain.execute(
                "SELECT name FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = 'journal'"
            ).fetchall()
            for (name,) in triggers:  # whoever may write the file may drop them
                plain.execute(f"DROP TRIGGER {name}")
            plain.execute("UPDATE journal SET body = replace(body, 'a', 'b') WHERE seq = 2")
            plain.commit()
    else:
        segment = folder_of(path) / "000001.seg"
        content = bytearray(segment.read_bytes())
        content[len(content) // 2] ^= 0xFF
        segment.write_bytes(content)
    with pytest.raises(StoreCorrupt):
        back_up(path, tmp_path / "backup", NOW, quietly)
    assert not (tmp_path / "backup").exists()


async def test_both_commands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "plant.toml").write_text(plant_toml(1))
    (tmp_path / "gateway.toml").write_text('[store]\npath = "s/plant.sqlite"\n')
    (tmp_path / "s").mkdir()
    await filled(tmp_path / "s" / "plant.sqlite", 2)
    at = ["--config", str(tmp_path)]
    backup = str(tmp_path / "backup")
    assert await asyncio.to_thread(main, ["backup", *at, backup]) == 0
    assert "2 captures" in capsys.readouterr().out
    assert await asyncio.to_thread(main, ["backup", *at, backup]) == 1
    assert await asyncio.to_thread(main, ["restore", *at, backup]) == 1
    assert "--replace" in capsys.readouterr().err
    assert await asyncio.to_thread(main, ["restore", *at, backup, "--replace"]) == 0
    assert len(list((tmp_path / "s").glob("plant.sqlite.before-*"))) == 1
