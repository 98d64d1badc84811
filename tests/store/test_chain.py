"""The chain of the journal: recomputed by a second program, broken in every way, and begun on a file of an older version."""

import hashlib
import json
import shutil
import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing
from pathlib import Path

import pytest

from edgemon.errors import StoreError
from edgemon.store.chain import Verdict
from edgemon.store.memory import MemoryStore
from edgemon.store.port import Commit
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore
from edgemon.store.stream import Stream
from tests.store import builders as make

OLD = Path(__file__).parents[1] / "data" / "databases" / "version-1"
"""Written by the program before the chain was there: three journal entries, one capture."""
EVENTS = (make.started(0), make.raised(), make.started(-1), make.raised(make.T0 + 5.0, 0.0049))


async def written(path: Path, commits: int = 3) -> list[str]:
    """Write a journal of four entries a commit, over two runs; gives the hashes."""
    hashes: list[str] = []
    for k in range(commits):
        store = await SqliteStore.open(path)
        hashes += [entry.hash for entry in await store.commit(Commit(make.T0 + k, events=EVENTS))]
        await store.close()
    return hashes


def verified(path: Path, checkpoints: Mapping[int, str] | None = None) -> Verdict:
    with Stream(path) as stream:
        return stream.verify(checkpoints or {}, lambda _: None)


def tampered(path: Path, *steps: str) -> None:
    """Do what a person with the right to write the file can do."""
    with closing(sqlite3.connect(path)) as plain, plain:
        plain.execute("DROP TRIGGER journal_keeps")
        plain.execute("DROP TRIGGER journal_stands")
        for step in steps:
            plain.execute(step)


def by_hand(path: Path, first: int = 1) -> list[str]:
    """The hashes as the module's text describes them, computed anew: SHA-256 of FIPS 180-4 by hashlib, text by hand."""
    with closing(sqlite3.connect(path)) as plain:
        sql = "SELECT seq, recorded_at, at, kind, machine, point, sim, body FROM journal WHERE seq >= ? ORDER BY seq"
        rows = plain.execute(sql, (first,)).fetchall()
    before, found = b"\x00" * 32, []
    for seq, recorded_at, at, kind, machine, point, sim, body in rows:
        quoted = ["null" if word is None else json.dumps(word) for word in (kind, machine, point)]
        text = f"[{seq},{recorded_at!r},{at!r},{','.join(quoted)},{sim},{json.dumps(body)}]"
        before = hashlib.sha256(before + text.encode()).digest()
        found.append(before.hex())
    return found


async def test_each_entry_carries_the_hash_that_the_text_describes(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    hashes = await written(path)
    assert hashes == by_hand(path)
    assert len(set(hashes)) == 12
    reader = await SqliteReader.open(path)
    assert [entry.hash for entry in await reader.journal(100, after=0)] == hashes
    await reader.close()


async def test_the_store_in_memory_chains_alike(tmp_path: Path) -> None:
    memory = MemoryStore()
    entries = [entry for k in range(3) for entry in await memory.commit(Commit(make.T0 + k, events=EVENTS))]
    assert [entry.hash for entry in entries] == await written(tmp_path / "edgemon.sqlite")


async def test_a_whole_journal_is_whole_while_the_daemon_has_it_open(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    hashes = await written(path)
    store = await SqliteStore.open(path)
    (newest,) = await store.commit(Commit(make.T0 + 9, events=(make.started(9),)))
    verdict = verified(path, {12: hashes[-1], 13: newest.hash})
    await store.close()
    assert (verdict.is_whole, verdict.entries, verdict.unchained, verdict.breaks) == (True, 13, 0, ())
    assert (verdict.newest_seq, verdict.newest_hash) == (13, newest.hash)


SWAP = (
    "CREATE TEMP TABLE kept AS SELECT * FROM journal WHERE seq IN (5, 6)",
    "DELETE FROM journal WHERE seq IN (5, 6)",
    """INSERT INTO journal SELECT 11 - seq, recorded_at, at, kind, machine, point, sim, body, hash FROM kept""",
)
NEW = """INSERT INTO journal (seq, recorded_at, at, kind, machine, point, sim, body, hash)
    SELECT 13, recorded_at, at, kind, machine, point, sim, body, hash FROM journal WHERE seq = 12"""
WAYS: dict[str, tuple[tuple[str, ...], int, str]] = {
    "document changed": (("UPDATE journal SET body = replace(body, '0.0046', '0.0036') WHERE seq = 6",), 6, "does not fit"),
    "one letter of a name": (('UPDATE journal SET body = replace(body, \'"by": ""\', \'"by": "x"\') WHERE seq = 2',), 2, "fit"),
    "time changed": (("UPDATE journal SET recorded_at = recorded_at + 0.001 WHERE seq = 1",), 1, "does not fit"),
    "kind changed": (("UPDATE journal SET kind = 'gateway-stopped' WHERE seq = 5",), 5, "does not fit"),
    "made real": (("UPDATE journal SET sim = 1 - sim WHERE seq = 4",), 4, "does not fit"),
    "one taken out": (("DELETE FROM journal WHERE seq = 7",), 7, "is missing"),
    "several taken out": (("DELETE FROM journal WHERE seq BETWEEN 7 AND 9",), 7, "all up to 9 are missing"),
    "the first taken out": (("DELETE FROM journal WHERE seq < 3",), 1, "all up to 2 are missing"),
    "one put in at the end": ((NEW,), 13, "does not fit"),
    "two exchanged": (SWAP, 5, "exchanged"),
    "hash taken away": (("UPDATE journal SET hash = NULL WHERE seq = 3",), 3, "carries no hash"),
    "hash replaced": (("UPDATE journal SET hash = zeroblob(32) WHERE seq = 3",), 3, "does not fit"),
    "end cut off": (("DELETE FROM journal WHERE seq > 10",), 11, "all up to 12 are missing at the end"),
    "a number made text": (("CREATE TABLE x (a)", "UPDATE journal SET machine = 5 WHERE seq = 2"), 2, "does not fit"),
}


@pytest.mark.parametrize(("steps", "seq", "says"), WAYS.values(), ids=WAYS.keys())
async def test_what_was_changed_is_named_with_its_number(tmp_path: Path, steps: tuple[str, ...], seq: int, says: str) -> None:
    path = tmp_path / "edgemon.sqlite"
    await written(path)
    tampered(path, *steps)
    verdict = verified(path)
    assert not verdict.is_whole
    assert verdict.breaks[0].seq == seq
    assert says in verdict.breaks[0].what


async def test_one_change_is_one_break_and_what_comes_after_is_still_looked_at(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    await written(path)
    tampered(path, "UPDATE journal SET at = at + 1 WHERE seq IN (3, 8)")
    assert [one.seq for one in verified(path).breaks] == [3, 8]


async def test_only_so_many_breaks_are_told_one_by_one(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    await written(path, 10)
    tampered(path, "UPDATE journal SET at = at + 1")
    verdict = verified(path)
    assert (len(verdict.breaks), verdict.break_count) == (20, 40)


async def test_an_end_cut_off_with_all_its_traces_shows_against_a_checkpoint_only(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    hashes = await written(path)
    tampered(path, "DELETE FROM journal WHERE seq > 10", "UPDATE sqlite_sequence SET seq = 10 WHERE name = 'journal'")
    assert verified(path).is_whole
    assert verified(path, {10: hashes[9].upper()}).is_whole
    verdict = verified(path, {12: hashes[11]})
    assert [(one.seq, "noted elsewhere" in one.what) for one in verdict.breaks] == [(12, True)]


async def test_a_journal_written_anew_shows_against_a_checkpoint(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    hashes = await written(path)
    forged = tmp_path / "forged.sqlite"
    store = await SqliteStore.open(forged)
    for k in range(4):
        await store.commit(Commit(make.T0 + k, events=(make.started(1), *EVENTS[1:])))
    await store.close()
    assert verified(forged).is_whole
    verdict = verified(forged, {12: hashes[11]})
    assert [one.seq for one in verdict.breaks] == [12]
    assert "written anew" in verdict.breaks[0].what


async def test_a_commit_that_fails_leaves_the_chain_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "edgemon.sqlite"
    await written(path)
    store = await SqliteStore.open(path, quota_bytes=path.stat().st_size)
    with pytest.raises(StoreError):
        await store.commit(Commit(make.T0, events=EVENTS * 4000))
    await store.close()
    await written(path, 1)
    assert verified(path).is_whole


async def test_an_old_file_goes_on_and_its_chain_begins_with_the_next_entry(tmp_path: Path) -> None:
    shutil.copytree(OLD, tmp_path, dirs_exist_ok=True)
    path = tmp_path / "edgemon.sqlite"
    with pytest.raises(StoreError, match="older version wrote this store: it has version 1"):
        Stream(path)
    store = await SqliteStore.open(path)
    saved = await store.load()
    assert (saved.next_seq, saved.published_seq, saved.counters) == (4, 2, {"messages": 7})
    assert saved.points == (make.point_state(),)
    new = await store.commit(Commit(make.T0 + 90.0, events=EVENTS))
    await store.close()
    assert [entry.hash for entry in new] == by_hand(path, first=4)
    reader = await SqliteReader.open(path)
    entries = await reader.journal(10, after=0)
    assert [(entry.seq, bool(entry.hash)) for entry in entries] == [(k, k > 3) for k in range(1, 8)]
    assert entries[1].event == make.raised()
    assert await reader.capture(make.capture(1).key) is not None
    await reader.close()
    verdict = verified(path)
    assert (verdict.is_whole, verdict.entries, verdict.unchained, verdict.chained_from) == (True, 7, 3, 4)
    assert (verdict.newest_seq, verdict.newest_hash) == (7, new[-1].hash)
    tampered(path, "DELETE FROM journal WHERE seq = 2", "UPDATE journal SET at = at + 1 WHERE seq = 4")
    assert [one.seq for one in verified(path).breaks] == [2, 4]


async def test_an_old_file_with_nothing_new_in_it_is_whole_and_has_no_checkpoint(tmp_path: Path) -> None:
    shutil.copytree(OLD, tmp_path, dirs_exist_ok=True)
    store = await SqliteStore.open(tmp_path / "edgemon.sqlite")
    await store.close()
    verdict = verified(tmp_path / "edgemon.sqlite")
    assert (verdict.is_whole, verdict.entries, verdict.unchained, verdict.newest_hash) == (True, 3, 3, "")


async def test_an_empty_journal_is_whole(tmp_path: Path) -> None:
    store = await SqliteStore.open(tmp_path / "edgemon.sqlite")
    await store.close()
    told: list[int] = []
    with Stream(tmp_path / "edgemon.sqlite") as stream:
        show: Callable[[int], None] = told.append
        verdict = stream.verify({}, show)
    assert (verdict.is_whole, verdict.entries, verdict.newest_seq, told) == (True, 0, 0, [])
