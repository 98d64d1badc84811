"""A store tended: what goes, in which order, that its bytes come back, and that nothing kept is ever hurt."""

import asyncio
import os
import sqlite3
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from edgemon.model.alarm import AlarmState
from edgemon.model.baseline import BaselineApproved, BaselineRetired, BaselineState
from edgemon.model.event import AlarmChanged
from edgemon.model.ids import CaptureKey, PointId, PointKey, SensorId
from edgemon.model.retention import DAY_S, Retention, Tended, Worth
from edgemon.model.upstream import Source
from edgemon.store import connection as connection_module
from edgemon.store import disk, dropping, folding, tending, weighing
from edgemon.store.backup import back_up, restore
from edgemon.store.outbox import Outbox
from edgemon.store.port import Commit
from edgemon.store.reader import SqliteReader
from edgemon.store.segments import folder_of
from edgemon.store.sqlite import SqliteStore
from edgemon.store.stream import Stream
from edgemon.store.tending import Tender
from tests.store import builders as make

NEIGHBOUR = PointKey(make.POINT.machine, PointId("motor-nde-h"))
SENSORS = {make.POINT: make.SENSOR, NEIGHBOUR: SensorId("s-0002")}
SAMPLES = 4096
LENGTH = 3 * 2 * SAMPLES
NOW = make.T0 + 300.0 * 200
ROLL = 10 * LENGTH


def cleared(at: float) -> AlarmChanged:
    return replace(make.raised(at), change="CLEARED", from_state=AlarmState.UNACK, to_state=AlarmState.RTNUN)


_OPEN: list[SqliteStore] = []


@pytest.fixture(autouse=True)
async def _closed() -> AsyncIterator[None]:
    """A store left open by a failed test would keep the process alive."""
    yield
    while _OPEN:
        await _OPEN.pop().close()


async def opened(path: Path) -> SqliteStore:
    _OPEN.append(await SqliteStore.open(path, roll_bytes=ROLL))
    return _OPEN[-1]


async def filled(path: Path, count: int = 60, events: tuple[AlarmChanged, ...] = ()) -> SqliteStore:
    """A store of captures 300 s apart, two sensors in turn, with a level each."""
    store = await opened(path)
    for k in range(1, count + 1):
        sensor = make.SENSOR if k % 2 else "s-0002"
        one = make.capture(k, sensor=sensor, samples=SAMPLES)
        await store.commit(
            Commit(one.taken_at, captures=(one,), measurements=(make.measurement(0.001 * k, taken_at=one.taken_at),))
        )
    await store.commit(Commit(NOW, events=events))
    return store


async def tended(
    path: Path, store: SqliteStore, retention: Retention, now: float = NOW, sensors: dict[PointKey, SensorId] | None = None
) -> list[Tended]:
    one, steps = Tender(path, store, retention, SENSORS if sensors is None else sensors), []
    for _ in range(500):
        steps.append(await one.tend(now))
        if steps[-1].is_done:
            return steps
    raise AssertionError("it never ends")


def numbers(path: Path) -> list[int]:
    with Stream(path) as stream:
        return [int(one.id[2:]) for one in stream.captures(None, 0.0, 9e9, False)]


def proven(path: Path) -> None:
    """Every capture that is listed can be read, and holds what was stored."""
    with Stream(path) as stream:
        for one in stream.captures(None, 0.0, 9e9, False, with_samples=True):
            wanted = make.capture(int(one.id[2:]), samples=SAMPLES).axes
            assert all(np.array_equal(one.axes[axis], wanted[axis]) for axis in wanted)


async def test_nothing_goes_within_age_and_budget(tmp_path: Path) -> None:
    path = tmp_path / "store"
    store = await filled(path)
    (last,) = (await tended(path, store, Retention()))[-1:]
    assert not last.dropped
    assert numbers(path) == list(range(1, 61))
    await store.close()


async def test_the_budget_is_held_and_the_disk_has_its_space_back(tmp_path: Path) -> None:
    path = tmp_path / "store"
    store = await filled(path)
    before = (await tended(path, store, Retention()))[-1].used_bytes
    budget = before - 30 * LENGTH
    steps = await tended(path, store, Retention(budget))
    assert steps[-1].used_bytes <= budget
    assert await store.size_bytes() <= budget
    left = numbers(path)
    assert left == list(range(61 - len(left), 61))  # the oldest went
    assert len(left) >= 28  # and hardly more than was asked for: room of whole blocks, and of the database
    assert sum(step.dropped.get(Worth.NORMAL, 0) for step in steps) == 60 - len(left)
    proven(path)
    await store.close()


async def test_captures_of_machines_in_alert_and_around_events_go_last(tmp_path: Path) -> None:
    path = tmp_path / "store"
    onset, end = make.T0 + 300.0 * 11, make.T0 + 300.0 * 30
    store = await filled(path, events=(make.raised(onset), cleared(end)))
    policy = Retention(around_s=600.0)
    used = (await tended(path, store, policy))[-1].used_bytes
    policy = replace(policy, budget_bytes=used - 36 * LENGTH)
    await tended(path, store, policy)
    left = set(numbers(path))
    assert {9, 11, 13} <= left  # of its point, within ten minutes of the onset
    around, alert = {9, 11, 13}, {*range(11, 31)}
    gone = {*range(1, 61)} - left
    assert gone == {k for k in range(1, 61) if k in gone and k not in alert and k not in around}
    await tended(path, store, replace(policy, budget_bytes=1))
    assert numbers(path) == [60]  # the newest stays, its number must not be given again
    await store.close()


async def test_by_age_each_kind_goes_in_its_time(tmp_path: Path) -> None:
    path = tmp_path / "store"
    onset = make.T0 + 300.0 * 31
    store = await filled(path, events=(make.raised(onset), cleared(make.T0 + 300.0 * 40)))
    policy = Retention(None, normal_s=10 * DAY_S, alert_s=20 * DAY_S, event_s=30 * DAY_S, around_s=600.0)
    await tended(path, store, policy, NOW + 15 * DAY_S)
    assert numbers(path) == [29, *range(31, 41), 60]
    await tended(path, store, policy, NOW + 25 * DAY_S)
    assert numbers(path) == [29, 31, 33, 60]
    await tended(path, store, policy, NOW + 35 * DAY_S)
    assert numbers(path) == [60]
    await store.close()


async def test_an_onset_found_later_saves_what_was_thought_normal(tmp_path: Path) -> None:
    path = tmp_path / "store"
    store = await filled(path)
    policy = Retention(None, normal_s=DAY_S, alert_s=DAY_S, around_s=600.0)
    await tended(path, store, policy)
    with closing(sqlite3.connect(path)) as base:
        assert base.execute("SELECT DISTINCT worth FROM captures").fetchall() == [(Worth.NORMAL,)]
    await store.commit(Commit(NOW, events=(make.raised(make.T0 + 300.0 * 5),)))
    await tended(path, store, policy, NOW + 9 * DAY_S)
    assert numbers(path) == [3, 5, 7, 60]
    await store.close()


async def test_what_a_baseline_rests_on_stays_until_it_is_retired(tmp_path: Path) -> None:
    path = tmp_path / "store"
    store = await filled(path)
    one = replace(make.baseline(), first_at=make.T0 + 300.0 * 3, last_at=make.T0 + 300.0 * 9, state=BaselineState.APPROVED)
    await store.commit(Commit(NOW, events=(BaselineApproved(NOW, one, "m.ortega"),)))
    tight = Retention(1)
    await tended(path, store, tight)
    assert numbers(path) == [3, 5, 7, 9, 60]
    with closing(sqlite3.connect(path)) as base, base:  # weighed anew by a new run, which heard of the baseline before
        base.execute("UPDATE captures SET worth = NULL")
    await tended(path, store, tight)
    assert numbers(path) == [3, 5, 7, 9, 60]
    retired = BaselineRetired(NOW, replace(one, state=BaselineState.RETIRED), "m.ortega")
    await store.commit(Commit(NOW, events=(retired,)))
    await tended(path, store, tight)
    assert numbers(path) == [60]
    await store.close()


async def test_what_is_unsent_stays_and_is_said(tmp_path: Path) -> None:
    path = tmp_path / "store"
    store = await filled(path, count=0)
    outbox = await Outbox.open(path, store, "saltmarsh/gw-1")
    await outbox.begin([("company", Source.CAPTURES)])
    for k in range(1, 31):
        await store.commit(Commit(NOW, captures=(make.capture(k, samples=SAMPLES),)))
    await outbox.done("company", Source.CAPTURES, 10, (), NOW)
    steps = await tended(path, store, Retention(1, normal_s=0.0), NOW + DAY_S)
    assert numbers(path) == list(range(11, 31))
    assert steps[-1].short_bytes > 19 * LENGTH
    await outbox.done("company", Source.CAPTURES, 30, (), NOW)
    await tended(path, store, Retention(1))
    assert numbers(path) == [30]
    await outbox.close()
    await store.close()


async def test_without_holes_what_is_kept_is_written_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(disk, "punch", lambda *_: False)
    path = tmp_path / "store"
    onset = make.T0 + 300.0 * 21
    store = await filled(path, events=(make.raised(onset), cleared(onset + 1.0)))
    policy = Retention(None, normal_s=DAY_S, around_s=600.0)
    await tended(path, store, policy, NOW + 9 * DAY_S)
    assert numbers(path) == [19, 21, 23, 60]
    proven(path)
    assert len(list(folder_of(path).glob("*.seg"))) <= 2
    await store.close()
    store = await opened(path)
    assert not store.remark
    proven(path)
    await store.close()


async def test_a_backup_made_meanwhile_is_whole_and_nothing_is_given_back_until_it_is_done(tmp_path: Path) -> None:
    path = tmp_path / "store"
    store = await filled(path)
    with dropping.copying(folder_of(path)):
        sizes = disk.taken(folder_of(path).glob("*.seg"))
        await tended(path, store, Retention(1))
        assert numbers(path) == [60]
        assert disk.taken(folder_of(path).glob("*.seg")) == sizes
    await tended(path, store, Retention(1))
    assert disk.taken(folder_of(path).glob("*.seg")) < sizes / 10
    await asyncio.to_thread(back_up, path, tmp_path / "copy", NOW, lambda _: None)
    restore(tmp_path / "copy", tmp_path / "again" / "store", "", lambda _: None)
    assert numbers(tmp_path / "again" / "store") == [60]
    assert disk.taken(folder_of(tmp_path / "again" / "store").glob("*.seg")) < sizes / 10  # holes stay holes
    await store.close()


async def test_a_reader_that_knew_a_capture_learns_that_it_is_gone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "store"
    store = await filled(path)
    await tended(path, store, Retention())
    with Stream(path) as stream:
        every = stream.captures(None, 0.0, 9e9, False, with_samples=True)
        assert next(every).id == "c-1"  # it knows all rows now
        await tended(path, store, Retention(1))
        assert [one.id for one in every] == ["c-60"]
    reader = await SqliteReader.open(path)
    assert await reader.capture(CaptureKey(make.SENSOR, make.capture(1).id, make.capture(1).taken_at)) is None
    await reader.close()
    await store.close()


class Killed(BaseException):
    """Stands for nothing: the process is gone."""


@contextmanager
def killed_at(number: int) -> Iterator[None]:
    """Let the process die at the n-th thing that reaches the disk, before or after it. Only in a child."""
    left = [number]

    def step() -> None:
        left[0] -= 1
        if left[0] == 0:
            os._exit(9)

    def around(work: Callable[..., Any]) -> Callable[..., Any]:
        def both(*given: Any, **named: Any) -> Any:
            step()
            result = work(*given, **named)
            step()
            return result

        return both

    transaction = connection_module.transaction

    @contextmanager
    def watched(connection: sqlite3.Connection) -> Iterator[None]:
        with transaction(connection):
            yield
            step()
        step()

    for module in (dropping, folding, tending, weighing):
        module.transaction = watched  # type: ignore[attr-defined]
    disk.punch = around(disk.punch)
    Path.unlink = around(Path.unlink)  # type: ignore[method-assign]
    os.fdatasync = around(os.fdatasync)
    yield


def in_child(work: Callable[[], None]) -> int:
    """Run in a process of its own; gives its exit code."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            work()
            code = 0
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


@pytest.mark.slow
@pytest.mark.parametrize("punches", [True, False], ids=["holes", "anew"])
def test_killed_at_any_step_nothing_kept_is_lost_and_the_end_is_the_same(tmp_path: Path, punches: bool) -> None:
    onset = make.T0 + 300.0 * 21
    policy = Retention(None, normal_s=DAY_S, readings_s=2 * DAY_S, around_s=600.0)
    kept, now = {19, 21, 23, 60}, NOW + 9 * DAY_S

    def fill(path: Path) -> None:
        async def work() -> None:
            await (await filled(path, events=(make.raised(onset), cleared(onset + 1.0)))).close()

        asyncio.run(work())

    def tend(path: Path, at: int) -> int:
        def work() -> None:
            async def all_steps() -> None:
                if not punches:
                    disk.punch = lambda *_: False
                store = await SqliteStore.open(path, roll_bytes=ROLL)
                with killed_at(at):
                    await tended(path, store, policy, now)
                    await store.close()

            asyncio.run(all_steps())

        return in_child(work)

    at = 0
    while True:
        at += 1
        path = tmp_path / f"{at}" / "store"
        assert in_child(lambda path=path: fill(path)) == 0  # type: ignore[misc]
        code = tend(path, at)
        assert code in (0, 9)
        assert kept <= set(numbers(path))
        proven(path)
        assert tend(path, 10**9) == 0
        assert set(numbers(path)) == kept
        proven(path)
        with closing(sqlite3.connect(path)) as base:
            waste = base.execute("SELECT coalesce(sum(length), 0) FROM freed").fetchone()[0]
            assert base.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert waste <= (0 if punches else 5 * LENGTH)
        with Stream(path) as stream:
            (series,) = (one for one in stream.series(False) if one.name == "velocity_rms")
            values = [one.value for one in stream.values(series, 0.0, 9e9)]
        assert min(values) == 0.001
        assert max(values) == pytest.approx(0.06)
        if code == 0:
            assert at > 20
            return
