"""One suite for every store: what `edgemon/store/port.py` promises, with the same assertions."""

import dataclasses
import math
from collections.abc import AsyncIterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Protocol

import numpy as np
import pytest
import scipy.stats

from edgemon.errors import StoreError
from edgemon.model.alarm import AlarmState
from edgemon.model.baseline import BaselineApproved, BaselineProposed, BaselineState
from edgemon.model.event import JournalEntry
from edgemon.model.ids import CaptureId, CaptureKey, MachineId, PointId, PointKey, ReadingKey
from edgemon.model.reading import Capture, CapturePart
from edgemon.model.search import Search
from edgemon.model.snapshot import TrendPoint
from edgemon.store.memory import MemoryStore
from edgemon.store.port import Commit, Known, Reader, Saved, Store
from edgemon.store.reader import SqliteReader
from edgemon.store.sqlite import SqliteStore
from tests.store import builders as make

EVER = (0.0, 4e9)
QUARANTINE_MOST = 5


class Bench(Protocol):
    """A store on the bench, with a reader beside it, that can be switched off and on again."""

    store: Store
    reader: Reader

    async def restart(self) -> None: ...

    async def close(self) -> None: ...


class MemoryBench:
    def __init__(self) -> None:
        self._memory = MemoryStore(QUARANTINE_MOST)
        self.store: Store = self._memory
        self.reader: Reader = self._memory

    async def restart(self) -> None:
        await self._memory.close()
        self._memory = MemoryStore(QUARANTINE_MOST, before=self._memory)
        self.store, self.reader = self._memory, self._memory

    async def close(self) -> None:
        await self._memory.close()


class SqliteBench:
    store: Store
    reader: Reader

    def __init__(self, path: Path) -> None:
        self._path = path

    async def start(self) -> "SqliteBench":
        self.store = await SqliteStore.open(self._path, quarantine_most=QUARANTINE_MOST, roll_bytes=2000)
        self.reader = await SqliteReader.open(self._path)
        return self

    async def restart(self) -> None:
        await self.close()
        await self.start()

    async def close(self) -> None:
        await self.reader.close()
        await self.store.close()


@pytest.fixture(params=["memory", "sqlite"])
async def bench(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Bench]:
    made: Bench = MemoryBench() if request.param == "memory" else await SqliteBench(tmp_path / "edgemon.sqlite").start()
    yield made
    await made.close()


def commit(**parts: object) -> Commit:
    return Commit(recorded_at=make.T0 + 9.0, **parts)  # type: ignore[arg-type]


def same_capture(one: Capture | CapturePart | None, other: Capture | CapturePart) -> bool:
    """Compare every field; the arrays by value and type."""
    if one is None or type(one) is not type(other):
        return False
    fields = [name for name in type(one).__slots__ if name != "axes"]
    plain = all(getattr(one, name) == getattr(other, name) for name in fields)
    axes = list(one.axes) == list(other.axes) and all(one.axes[a].dtype == np.int16 for a in one.axes)
    return plain and axes and all(np.array_equal(one.axes[a], other.axes[a]) for a in one.axes)


def values(points: Sequence[TrendPoint]) -> list[float]:
    return [point.value for point in points]


async def test_a_new_store_remembers_nothing(bench: Bench) -> None:
    assert await bench.store.load() == Saved()
    assert await bench.reader.journal(10) == ()
    assert await bench.reader.captures(None, *EVER) == ()
    assert await bench.reader.trend(make.POINT, "velocity_rms", *EVER) == ()
    assert await bench.reader.quarantined(10) == ()
    assert await bench.store.commit(commit()) == ()


async def test_everything_of_a_commit_is_there_after_a_restart(bench: Bench) -> None:
    whole = make.capture(2)
    entries = await bench.store.commit(
        commit(
            parts=(make.part(2), make.part(1)),
            captures=(whole,),
            measurements=(make.measurement(0.003),),
            readings=(make.reading(88.0),),
            quarantined=(make.quarantined(1),),
            events=(make.started(), make.raised()),
            points=(make.point_state(),),
            sensors=(make.sensor_state(),),
            speeds=(make.speed(),),
            counters={"messages": 12, "rejected": 1},
        )
    )
    await bench.store.mark_published(2)
    await bench.restart()
    saved = await bench.store.load()
    assert saved.points == (make.point_state(),)
    assert saved.sensors == (make.sensor_state(),)
    assert saved.speeds == (make.speed(),)
    assert saved.counters == {"messages": 12, "rejected": 1}
    assert (saved.next_seq, saved.published_seq) == (3, 2)
    assert [p.number for p in saved.parts] == [2, 1]
    assert all(same_capture(p, make.part(p.number)) for p in saved.parts)
    assert same_capture(await bench.reader.capture(whole.key), whole)
    assert await bench.reader.journal(10) == entries[::-1]
    assert values(await bench.reader.trend(make.POINT, "velocity_rms", *EVER)) == [0.003]
    assert values(await bench.reader.readings(make.SENSOR, "battery", *EVER)) == [88.0]
    assert await bench.reader.quarantined(10) == (make.quarantined(1),)
    assert await bench.store.size_bytes() > 0


async def test_the_journal_numbers_events_in_order_from_one(bench: Bench) -> None:
    first = await bench.store.commit(commit(events=(make.started(1), make.raised())))
    second = await bench.store.commit(commit(events=(make.started(2),)))
    assert [entry.seq for entry in (*first, *second)] == [1, 2, 3]
    assert first[1] == JournalEntry(2, make.T0 + 9.0, make.raised())
    assert (await bench.store.load()).next_seq == 4
    await bench.restart()
    assert [entry.seq for entry in await bench.store.commit(commit(events=(make.started(3),)))] == [4]


async def test_the_journal_is_searched(bench: Bench) -> None:
    ack = replace(make.raised(), change="ACK", by="operator on shift")
    for k, event in enumerate((make.started(), make.raised(), ack, make.started(1))):
        await bench.store.commit(Commit(make.T0 + k, events=(event,)))

    async def found(search: Search, **more: int) -> list[int]:
        return [entry.seq for entry in await bench.reader.journal(10, search=search, **more)]

    assert await found(Search(kinds=("alarm-changed",))) == [3, 2]
    assert await found(Search(kinds=("alarm-changed", "gateway-started")), after=1) == [2, 3, 4]
    assert await found(Search(machine="hp-pump-1", person="operator on shift")) == [3]
    assert await found(Search(person="nobody")) == []
    assert await found(Search(person="")) == [2]
    assert await found(Search(since=make.T0 + 1.0, until=make.T0 + 3.0)) == [3, 2]
    assert await found(Search(machine="hp-pump-1"), before=3) == [2]


async def test_what_stood_at_a_time_is_told_by_the_last_changes_before(bench: Bench) -> None:
    unack, acked, norm = AlarmState.UNACK, AlarmState.ACKED, AlarmState.NORM
    other = make.ALARM._replace(level="temperature")
    steps = (
        make.raised(),
        replace(make.raised(), change="CLEARED", from_state=unack, to_state=norm),
        make.raised(),
        replace(make.raised(), change="ACK", from_state=unack, to_state=acked),
        replace(make.raised(), alarm=other),
        replace(make.raised(), change="LEVEL_UP", from_state=acked, to_state=unack),
        make.started(),
        replace(make.raised(), change="CLEARED", from_state=unack, to_state=norm),
    )
    for k, event in enumerate(steps):
        await bench.store.commit(Commit(make.T0 + k, events=(event,)))
    assert [entry.seq for entry in await bench.reader.standing(make.T0 + 7.0)] == [3, 5, 6]
    assert [entry.seq for entry in await bench.reader.standing(make.T0 + 8.0)] == [3, 5, 8]
    assert await bench.reader.standing(make.T0) == ()


async def test_the_journal_is_read_from_either_end(bench: Bench) -> None:
    entries = await bench.store.commit(commit(events=tuple(make.started(k) for k in range(6))))
    assert await bench.reader.journal(2) == (entries[5], entries[4])
    assert await bench.reader.journal(2, before=3) == (entries[1], entries[0])
    assert await bench.reader.journal(2, after=3) == (entries[3], entries[4])
    assert await bench.reader.journal(9, before=5, after=2) == (entries[2], entries[3])
    assert await bench.reader.journal(9, after=0) == entries
    assert await bench.reader.journal(9, after=6) == ()


async def test_known_names_exactly_what_is_stored(bench: Bench) -> None:
    stored, other = make.capture(1), make.capture(5)
    await bench.store.commit(commit(captures=(stored,), readings=(make.reading(1.0, axis="x"),), parts=(make.part(2, of=3),)))
    waiting = make.part(2, of=3).key
    here = ReadingKey(make.SENSOR, "x/battery", make.T0)
    known = await bench.store.known(
        [stored.key, other.key, stored.key._replace(taken_at=1.0), stored.key._replace(id=CaptureId("c-9"))],
        [here, here._replace(name="battery"), here._replace(taken_at=1.0)],
        [(waiting, 2), (waiting, 1), (stored.key, 1)],
    )
    assert known == Known(frozenset({stored.key}), frozenset({here}), frozenset({(waiting, 2)}))
    assert await bench.store.known([], []) == Known()


async def test_a_capture_that_comes_again_changes_nothing(bench: Bench) -> None:
    first = make.capture(1)
    again = make.capture(1, samples=32)
    await bench.store.commit(commit(captures=(first, again)))
    await bench.store.commit(commit(captures=(again, make.capture(2))))
    assert same_capture(await bench.reader.capture(first.key), first)
    assert same_capture(await bench.reader.capture(make.capture(2).key), make.capture(2))
    assert len(await bench.reader.captures(None, *EVER)) == 2


async def test_the_same_id_at_another_time_is_another_capture(bench: Bench) -> None:
    one, two = make.capture(1), make.capture(1, taken_at=make.T0 + 1e6, samples=16)
    await bench.store.commit(commit(captures=(one, two)))
    assert same_capture(await bench.reader.capture(one.key), one)
    assert same_capture(await bench.reader.capture(two.key), two)


async def test_a_reading_that_comes_again_keeps_its_first_value(bench: Bench) -> None:
    await bench.store.commit(commit(readings=(make.reading(1.0), make.reading(2.0))))
    await bench.store.commit(commit(readings=(make.reading(3.0),)))
    assert values(await bench.reader.readings(make.SENSOR, "battery", *EVER)) == [1.0]


async def test_a_fit_value_replaces_an_unfit_one_of_the_same_time_and_not_the_other_way_round(bench: Bench) -> None:
    await bench.store.commit(commit(measurements=(make.measurement(9.0, fit=False), make.measurement(0.003))))
    await bench.store.commit(commit(measurements=(make.measurement(8.0, fit=False), make.measurement(0.004))))
    assert await bench.reader.trend(make.POINT, "velocity_rms", *EVER) == (TrendPoint(make.T0, 0.003, True),)


async def test_a_trend_in_stretches_loses_no_extreme_and_leaves_gaps_out(bench: Bench) -> None:
    rng = np.random.default_rng(7)
    told = rng.gamma(4.0, 0.001, 400)
    times = np.sort(rng.uniform(0.0, 1000.0, 400))
    times[(times > 300.0) & (times < 480.0)] = 299.0 - np.arange(np.count_nonzero((times > 300.0) & (times < 480.0))) * 1e-3
    made = tuple(make.measurement(float(v), taken_at=make.T0 + float(t)) for t, v in zip(times, told, strict=True))
    unfit = make.measurement(9.0, taken_at=make.T0 + 500.0, fit=False)
    await bench.store.commit(commit(measurements=(*made, unfit)))
    found = await bench.reader.trend_bins(make.POINT, "velocity_rms", make.T0, make.T0 + 1000.0, 20)
    edges = make.T0 + np.linspace(0.0, 1000.0, 21)
    at = make.T0 + times
    for name in ("min", "mean", "max", "count"):  # scipy as the second way
        theirs = scipy.stats.binned_statistic(at, told, name, edges).statistic
        ours = np.full(20, 0.0 if name == "count" else np.nan)
        for one in found.bins:
            ours[one.number] = {"min": one.low, "mean": one.mean, "max": one.high, "count": one.count}[name]
        np.testing.assert_allclose(ours, theirs, rtol=1e-12)
    assert not {one.number for one in found.bins} & {6, 7, 8}  # nobody said anything then
    whole = await bench.reader.trend_bins(make.POINT, "velocity_rms", None, make.T0 + 1000.0, 1)
    assert whole.since == pytest.approx(at.min())
    (one,) = whole.bins
    assert (one.low, one.high, one.count) == (told.min(), told.max(), 400)


async def test_a_trend_of_what_was_never_heard_or_lies_ahead_is_empty(bench: Bench) -> None:
    await bench.store.commit(commit(measurements=(make.measurement(0.003),)))
    assert (await bench.reader.trend_bins(make.POINT, "kurtosis", None, make.T0, 10)).bins == ()
    assert (await bench.reader.trend_bins(make.POINT, "velocity_rms", make.T0 + 5.0, make.T0, 10)).bins == ()
    assert (await bench.reader.trend_bins(make.POINT, "velocity_rms", None, make.T0 + 1.0, 10, sim=True)).bins == ()


async def test_a_value_that_is_not_a_number_stays_out_of_the_trend_and_holds_nothing_up(bench: Bench) -> None:
    odd = tuple(make.measurement(value, taken_at=make.T0 + k) for k, value in enumerate((math.nan, math.inf, 0.002)))
    await bench.store.commit(commit(measurements=odd, readings=(make.reading(math.nan),), events=(make.started(),)))
    assert values(await bench.reader.trend(make.POINT, "velocity_rms", *EVER)) == [0.002]
    assert await bench.reader.readings(make.SENSOR, "battery", *EVER) == ()


async def test_parts_wait_in_order_and_go_when_their_capture_is_whole(bench: Bench) -> None:
    await bench.store.commit(commit(parts=(make.part(3), make.part(1, of=7))))
    await bench.store.commit(commit(parts=(make.part(1), make.part(3))))
    assert [(p.id, p.number) for p in (await bench.store.load()).parts] == [("c-1", 3), ("c-7", 1), ("c-1", 1)]
    await bench.store.commit(commit(parts=(make.part(2),), captures=(make.capture(1, missing_parts=(4, 5)),)))
    left = (await bench.store.load()).parts
    assert [(p.id, p.number) for p in left] == [("c-7", 1)]
    stored = await bench.reader.capture(make.capture(1).key)
    assert stored is not None
    assert stored.missing_parts == (4, 5)


async def test_the_newest_state_replaces_the_one_before_and_simulated_ones_stand_apart(bench: Bench) -> None:
    other = PointKey(MachineId("booster-2"), PointId("fan"))
    await bench.store.commit(
        commit(
            points=(make.point_state(1.0), make.point_state(2.0), make.point_state(7.0, sim=True)),
            sensors=(make.sensor_state(50.0), make.sensor_state(10.0, sim=True)),
            speeds=(make.speed(1000.0), make.speed(500.0, sim=True)),
            counters={"a": 1, "b": 2},
        )
    )
    await bench.store.commit(
        commit(
            points=(make.point_state(3.0), make.point_state(4.0, point=other)),
            sensors=(make.sensor_state(49.0),),
            speeds=(make.speed(1500.0),),
            counters={"a": 5},
        )
    )
    saved = await bench.store.load()
    assert saved.points == (make.point_state(4.0, point=other), make.point_state(3.0), make.point_state(7.0, sim=True))
    assert saved.sensors == (make.sensor_state(49.0), make.sensor_state(10.0, sim=True))
    assert saved.speeds == (make.speed(1500.0), make.speed(500.0, sim=True))
    assert saved.counters == {"a": 5, "b": 2}


async def test_a_trend_is_cut_by_time_and_keeps_the_newest(bench: Bench) -> None:
    late_first = [make.measurement(float(k), taken_at=make.T0 + k, fit=k != 4) for k in (5, 1, 4, 2, 3)]
    await bench.store.commit(commit(measurements=tuple(late_first)))
    trend = bench.reader.trend
    assert values(await trend(make.POINT, "velocity_rms", *EVER)) == [1.0, 2.0, 3.0, 4.0, 5.0]
    assert [point.fit for point in await trend(make.POINT, "velocity_rms", *EVER)] == [True, True, True, False, True]
    assert values(await trend(make.POINT, "velocity_rms", make.T0 + 2, make.T0 + 4)) == [2.0, 3.0, 4.0]
    assert values(await trend(make.POINT, "velocity_rms", *EVER, most=2)) == [4.0, 5.0]
    assert await trend(make.POINT, "no-such-level", *EVER) == ()
    assert len(await trend(make.POINT, "temperature", *EVER)) == 5


async def test_simulated_data_never_shows_in_the_history_of_the_plant(bench: Bench) -> None:
    await bench.store.commit(
        commit(
            captures=(make.capture(1), make.capture(2, sim=True)),
            measurements=(make.measurement(1.0), make.measurement(2.0, sim=True)),
            readings=(make.reading(3.0), make.reading(4.0, sim=True)),
        )
    )
    reader = bench.reader
    for sim, level, value, number in ((False, 1.0, 3.0, 1), (True, 2.0, 4.0, 2)):
        assert values(await reader.trend(make.POINT, "velocity_rms", *EVER, sim=sim)) == [level]
        assert values(await reader.readings(make.SENSOR, "battery", *EVER, sim=sim)) == [value]
        assert await reader.captures(make.SENSOR, *EVER, sim=sim) == (make.capture(number).key._replace(sim=sim),)
    assert len(await reader.captures(make.SENSOR, *EVER)) == 2
    simulated = await reader.capture(make.capture(2, sim=True).key)
    assert simulated is not None
    assert simulated.sim
    assert await reader.capture(make.capture(2).key) is None


@pytest.mark.parametrize("sim_first", [False, True])
async def test_a_simulated_twin_of_a_capture_reading_or_part_is_another_one(bench: Bench, sim_first: bool) -> None:
    for sim in (sim_first, not sim_first):
        whole, value = make.capture(1, sim=sim), make.reading(3.0 + sim, sim=sim)
        waiting = dataclasses.replace(make.part(2, of=3), sim=sim)
        asked = ([whole.key], [value.key], [(waiting.key, 2)])
        assert await bench.store.known(*asked) == Known()
        await bench.store.commit(commit(captures=(whole,), readings=(value,), parts=(waiting,)))
        assert await bench.store.known(*asked) == Known(
            frozenset({whole.key}), frozenset({value.key}), frozenset({(waiting.key, 2)})
        )
    for sim in (False, True):
        assert same_capture(await bench.reader.capture(make.capture(1, sim=sim).key), make.capture(1, sim=sim))
        assert values(await bench.reader.readings(make.SENSOR, "battery", *EVER, sim=sim)) == [3.0 + sim]
    await bench.store.commit(commit(captures=(make.capture(3, sim=True),)))
    assert [part.sim for part in (await bench.store.load()).parts] == [False]


async def test_the_earliest_values_can_be_asked_for_and_the_speed_they_were_taken_at(bench: Bench) -> None:
    taken = [make.measurement(float(k), taken_at=make.T0 + k) for k in (2, 1, 3)]
    with_speed = (*taken[:2], dataclasses.replace(taken[2], rpm=2970.0))
    await bench.store.commit(commit(measurements=with_speed))
    trend = bench.reader.trend
    assert values(await trend(make.POINT, "velocity_rms", *EVER, most=2, earliest=True)) == [1.0, 2.0]
    assert values(await trend(make.POINT, "velocity_rms", make.T0 + 2, 4e9, most=1, earliest=True)) == [2.0]
    speeds = await trend(make.POINT, "rpm", *EVER)
    # 2970 r/min is 49.5 revolutions a second
    assert [(one.t, one.fit) for one in speeds] == [(make.T0 + 3, True)]
    assert values(speeds) == pytest.approx([49.5])


async def test_the_newest_baseline_of_each_level_comes_back_and_the_journal_keeps_the_rest(bench: Bench) -> None:
    first, other, simulated = make.baseline(), make.baseline("envelope_rms"), make.baseline(sim=True)
    proposed = tuple(BaselineProposed(make.T0, one, "mm/s") for one in (first, other, simulated))
    approved = dataclasses.replace(first, state=BaselineState.APPROVED, approved_by="engineer", approved_at=make.T0 + 70.0)
    assert (await bench.store.load()).baselines == await bench.reader.baselines() == ()
    await bench.store.commit(commit(events=proposed))
    await bench.store.commit(commit(events=(make.started(), BaselineApproved(make.T0 + 70.0, approved, "mm/s", 0.0019))))
    await bench.restart()
    kept = (await bench.store.load()).baselines
    assert sorted(kept, key=str) == sorted((approved, other, simulated), key=str)
    assert await bench.reader.baselines() == kept
    events = [entry.event for entry in await bench.reader.journal(10)]
    assert [event for event in events if isinstance(event, BaselineProposed)] == list(proposed[::-1])


async def test_what_the_settings_said_is_kept_file_by_file(bench: Bench) -> None:
    assert (await bench.store.load()).settings == {}
    await bench.store.commit(Commit(make.T0, settings={"plant.toml": '{"a": 1}', "gateway.toml": "{}"}))
    await bench.store.commit(commit(events=(make.started(),)))
    await bench.store.commit(Commit(make.T0 + 1.0, settings={"plant.toml": '{"a": 2}'}))
    await bench.restart()
    assert (await bench.store.load()).settings == {"plant.toml": '{"a": 2}', "gateway.toml": "{}"}


async def test_topics_of_schedules_are_kept_until_they_are_withdrawn(bench: Bench) -> None:
    assert (await bench.store.load()).schedules == frozenset()
    await bench.store.commit(Commit(make.T0, schedules={"a/schedule": True, "b/schedule": True}))
    await bench.store.commit(Commit(make.T0, schedules={"a/schedule": True, "b/schedule": False, "c/schedule": False}))
    await bench.restart()
    assert (await bench.store.load()).schedules == {"a/schedule"}


async def test_captures_are_listed_newest_first(bench: Bench) -> None:
    stored = [make.capture(k) for k in (3, 1, 2)] + [make.capture(9, sensor="s-0002")]
    await bench.store.commit(commit(captures=tuple(stored)))
    reader = bench.reader
    assert [key.id for key in await reader.captures(None, *EVER)] == ["c-9", "c-3", "c-2", "c-1"]
    assert [key.id for key in await reader.captures(make.SENSOR, *EVER, most=2)] == ["c-3", "c-2"]
    middle = make.capture(2).taken_at
    assert [key.id for key in await reader.captures(None, middle, middle)] == ["c-2"]
    assert await reader.capture(CaptureKey(make.SENSOR, CaptureId("none"), 1.0)) is None


async def test_a_spectrum_is_kept_beside_a_waveform_of_the_same_name_and_time(bench: Bench) -> None:
    wave, lines = make.capture(1), make.spectrum(1)
    await bench.store.commit(Commit(make.T0, captures=(wave, lines)))
    await bench.store.commit(Commit(make.T0, captures=(lines,)))
    part = dataclasses.replace(make.part(1, of=7), form=make.FORM)
    await bench.store.commit(Commit(make.T0, parts=(part, make.part(1, of=7))))
    await bench.restart()
    found = await bench.reader.capture(lines.key)
    assert found is not None
    assert found.form == make.FORM
    assert all(np.array_equal(found.axes[axis], lines.axes[axis]) for axis in lines.axes)
    assert await bench.reader.captures(None, *EVER) == (wave.key,)
    assert await bench.reader.captures(None, *EVER, spectra=True) == (lines.key,)
    assert set(await bench.reader.captures(None, *EVER, spectra=None)) == {wave.key, lines.key}
    assert (await bench.store.known([wave.key, lines.key], [], [(part.key, 1)])) == Known(
        frozenset({wave.key, lines.key}), frozenset(), frozenset({(part.key, 1)})
    )
    assert [one.form for one in (await bench.store.load()).parts] == [make.FORM, None]
    whole = dataclasses.replace(make.spectrum(7), taken_at=part.taken_at, id=part.id)
    await bench.store.commit(Commit(make.T0, captures=(whole,)))
    assert [one.form for one in (await bench.store.load()).parts] == [None]


async def test_the_quarantine_is_bounded_and_drops_the_oldest(bench: Bench) -> None:
    await bench.store.commit(commit(quarantined=tuple(make.quarantined(k) for k in range(4))))
    await bench.store.commit(commit(quarantined=tuple(make.quarantined(k) for k in range(4, 8))))
    assert await bench.reader.quarantined(99) == tuple(make.quarantined(k) for k in (7, 6, 5, 4, 3))
    assert await bench.reader.quarantined(2) == (make.quarantined(7), make.quarantined(6))


async def test_what_was_published_never_goes_back(bench: Bench) -> None:
    await bench.store.commit(commit(events=tuple(make.started(k) for k in range(3))))
    await bench.store.mark_published(2)
    await bench.store.mark_published(1)
    await bench.store.commit(commit(counters={"a": 1}))
    await bench.restart()
    assert (await bench.store.load()).published_seq == 2


async def test_a_closed_store_answers_no_more_and_closes_twice(bench: Bench) -> None:
    await bench.store.close()
    await bench.store.close()
    for question in (bench.store.load(), bench.store.commit(commit()), bench.store.known([], []), bench.store.size_bytes()):
        with pytest.raises(StoreError, match="closed"):
            await question
