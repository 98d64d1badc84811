"""A journal with an age: what goes, what stays, and that the chain of hashes goes on and still shows every change."""

import sqlite3
from collections.abc import AsyncIterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from edgemon.model.baseline import BaselineApproved, BaselineState
from edgemon.model.event import Event
from edgemon.model.retention import DAY_S, Retention
from edgemon.model.upstream import Source
from edgemon.store import forgetting
from edgemon.store.chain import Verdict
from edgemon.store.outbox import Outbox
from edgemon.store.port import Commit
from edgemon.store.sqlite import SqliteStore
from edgemon.store.stream import Stream
from edgemon.store.tending import Tender
from tests.store import builders as make

POLICY = Retention(journal_s=30 * DAY_S)
NOW = make.T0 + 100 * DAY_S


@pytest.fixture
async def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[SqliteStore]:
    """A hundred days, an entry a day: the 10th approves a baseline, the 20th begins an alarm that still stands."""
    monkeypatch.setattr(forgetting, "ENTRIES", 7)
    found = await SqliteStore.open(tmp_path / "store")
    for day in range(1, 101):
        at = make.T0 + day * DAY_S
        events: dict[int, Event] = {
            10: BaselineApproved(at, replace(make.baseline(), state=BaselineState.APPROVED), "m.ortega"),
            20: make.raised(at),
        }
        await found.commit(Commit(at, events=(events.get(day, make.started(day)),)))
    await found.mark_published(100)
    await found.commit(Commit(NOW, counters={"x": 1}))
    yield found
    await found.close()


async def tended(path: Path, store: SqliteStore) -> int:
    tender, gone = Tender(path, store, POLICY, {make.POINT: make.SENSOR}), 0
    for _ in range(100):
        one = await tender.tend(NOW)
        gone += one.forgotten
        if one.is_done:
            return gone
    raise AssertionError("it never ends")


def journal(path: Path) -> list[int]:
    with Stream(path) as stream:
        return [entry.seq for entry in stream.journal()]


def verdict(path: Path, checkpoints: dict[int, str] | None = None) -> Verdict:
    with Stream(path) as stream:
        return stream.verify(checkpoints or {}, lambda _: None)


async def test_old_entries_go_and_what_is_needed_stays(tmp_path: Path, store: SqliteStore) -> None:
    path = tmp_path / "store"
    with Stream(path) as stream:
        hashes = {entry.seq: entry.hash for entry in stream.journal()}
    assert await tended(path, store) == 67
    assert journal(path) == [10, 20, *range(70, 101)]
    assert [one.state for one in (await store.load()).baselines] == [BaselineState.APPROVED]
    found = verdict(path, hashes)
    assert (found.is_whole, found.cut_seq, found.unproven, found.newest_seq) == (True, 69, 2, 100)
    await store.commit(Commit(NOW, events=(make.started(0),)))
    assert verdict(path).newest_seq == 101
    assert verdict(path).is_whole


async def test_without_an_age_the_journal_is_kept(tmp_path: Path, store: SqliteStore) -> None:
    path = tmp_path / "store"
    tender = Tender(path, store, Retention(1), {})
    assert await tender.before() == make.T0 + 99 * DAY_S  # the newest start is the hundredth entry
    one = await tender.tend(NOW)
    assert one.forgotten == 0
    assert journal(path) == list(range(1, 101))


async def test_what_an_upstream_has_not_got_stays(tmp_path: Path, store: SqliteStore) -> None:
    path = tmp_path / "store"
    outbox = await Outbox.open(path, store, "saltmarsh/gw-1")
    await outbox.begin([("company", Source.JOURNAL)])
    with closing(sqlite3.connect(path)) as base, base:
        base.execute("UPDATE upstream_cursors SET position = 30")
    await tended(path, store)
    assert journal(path) == [10, 20, *range(31, 101)]
    await outbox.done("company", Source.JOURNAL, 100, (), NOW)
    await tended(path, store)
    assert journal(path) == [10, 20, *range(70, 101)]
    await outbox.close()


async def test_what_was_not_published_stays(tmp_path: Path) -> None:
    path = tmp_path / "store"
    store = await SqliteStore.open(path)
    await store.commit(Commit(make.T0, events=(make.started(0), make.started(1))))
    await tended(path, store)
    assert journal(path) == [1, 2]
    await store.close()


async def test_a_change_still_shows(tmp_path: Path, store: SqliteStore) -> None:
    path = tmp_path / "store"
    await tended(path, store)
    with closing(sqlite3.connect(path)) as base, base:
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            base.execute("DELETE FROM journal WHERE seq = 80")
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            base.execute("UPDATE journal_cut SET seq = 3")
        base.execute("DROP TRIGGER journal_keeps")
        base.execute("DELETE FROM journal WHERE seq IN (70, 71, 85)")
    assert [one.seq for one in verdict(path).breaks] == [70, 72, 85, 86]
    assert verdict(path, {69: "00" * 32}).breaks[0].seq == 69
