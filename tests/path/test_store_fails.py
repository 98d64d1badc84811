"""The store fails: watching goes on, nothing is acknowledged, and afterwards everything is there once.

What is compared with is the same traffic on a store that never fails: states, journal of alarms, captures, trends, counters.
"""

import asyncio
import json
from dataclasses import replace
from functools import partial
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from edgemon.daemon.unrepeated import Unrepeated
from edgemon.daemon.watching import EPOCH
from edgemon.daemon.work import End, Happened
from edgemon.decode.topics import subscriptions
from edgemon.errors import StoreCorrupt, StoreError
from edgemon.model.alarm import PointState
from edgemon.model.command import Acknowledge, ApproveBaseline, Shelve, Silence
from edgemon.model.event import AlarmChanged
from edgemon.model.gateway_event import GatewayStopped, LinkChanged, StoreChanged
from edgemon.model.ids import AlarmKey, PointId
from edgemon.model.machine import GATEWAY
from edgemon.mqtt.memory import MemoryLink
from tests.support.captures import capture, parts, tone_counts
from tests.support.failing import FailingStore
from tests.support.plants import DRIVE_END, PUMP
from tests.support.rig import CAPTURE, OPERATOR, READING, START, Rig, running

ALARM = AlarmKey(*DRIVE_END, "velocity_rms")
STORAGE = AlarmKey(*GATEWAY, "storage")


def failing_rig(**more: Any) -> tuple[Rig, FailingStore]:
    store = FailingStore()
    return Rig(store=store, **more), store


def unacknowledged(rig: Rig) -> int:
    return len(rig.link.broker.unacknowledged("memory"))


async def test_people_are_told_of_an_alarm_while_nothing_is_kept_and_the_broker_keeps_it() -> None:
    rig, store = failing_rig()
    async with running(rig):
        await rig.send(capture(START, 1.0))
        store.is_dead = True
        await rig.pass_time(5.0)
        await rig.send(capture(START + 5, 5.0))
        assert rig.published()["state"] == "alarm"
        assert rig.hub.annunciation().horn
        assert unacknowledged(rig) == 1
        gateway = rig.hub.gateway()
        assert (gateway.store_ok, gateway.store_keeps) == (False, "nothing")
        assert gateway.store_since is not None
        assert "Input/output error" in gateway.store_detail
        assert gateway.captures == 1, "only what is stored is counted as stored"
        store.is_dead = False
        await rig.pass_time(3.0)
        await rig.work()
        assert unacknowledged(rig) == 0
        assert (rig.hub.gateway().store_ok, rig.hub.gateway().captures, rig.hub.gateway().late) == (True, 2, 0)
        assert rig.published()["alarms"][0]["alarm_state"] == "UNACK"


async def test_journal_and_states_are_written_while_only_captures_find_no_space() -> None:
    rig, store = failing_rig()
    async with running(rig):
        await rig.send(capture(START, 1.0))
        store.is_full = True
        await rig.send(capture(START + 5, 5.0))
        assert rig.hub.gateway().store_keeps == "journal and alarm states"
        assert [one["change"] for one in rig.journal() if one["kind"] == "alarm-changed"] == ["RAISED"]
        assert (await rig.command(Acknowledge(ALARM, 1))).why == ""
        assert unacknowledged(rig) == 1
    again = Rig(store=FailingStore(before=store), broker=rig.link.broker, now=rig.clock.now() + 1.0)
    async with running(again):
        await again.work()
        assert again.published()["alarms"][0]["alarm_state"] == "ACKED", "a restart in between forgets nothing"
        assert again.hub.gateway().late == 0, "what was judged before is stored, and not judged again"
        assert len(await again.store.captures(None, START - 1, START + 100)) == 2
        assert [one["change"] for one in again.journal() if one["kind"] == "alarm-changed"] == ["RAISED", "ACK"]


async def test_late_entries_have_their_own_times_and_a_note_follows_them() -> None:
    rig, store = failing_rig()
    async with running(rig):
        store.is_dead = True
        await rig.send(capture(START + 1, 5.0))
        await rig.pass_time(30.0)
        assert not any(one["kind"] == "alarm-changed" for one in rig.journal())
        store.is_dead = False
        await rig.pass_time(2.0)
        entries = await rig.store.journal(100, after=0)
        raised = next(one for one in entries if isinstance(one.event, AlarmChanged))
        assert raised.event.at == START + 1
        assert raised.recorded_at > START + 30
        failed, works = (one for one in entries if isinstance(one.event, StoreChanged))
        assert isinstance(failed.event, StoreChanged)
        assert isinstance(works.event, StoreChanged)
        assert failed.event.keeps == "nothing"
        assert works.event.since == failed.event.at
        assert works.event.late == works.seq - 2, "all but the start, and this one"


async def test_a_store_that_fails_for_a_while_is_an_alarm_of_the_gateways_own_and_hides_nothing() -> None:
    rig, store = failing_rig()
    async with running(rig):
        await rig.send(capture(START, 1.0))
        store.is_dead = True
        await rig.send(capture(START + 1, 1.0))
        await rig.pass_time(50.0)
        assert rig.hub.gateway().alarms == ()
        await rig.pass_time(15.0)
        (own,) = rig.hub.gateway().alarms
        assert (own.id, own.title, own.priority, own.alarm_state) == (
            "gateway/gateway/storage", "loss of storage", "high", "UNACK"
        )  # fmt: skip
        lost = [one.alarm_state for one in rig.point().alarms if one.level == "monitoring"]
        assert lost == ["UNACK"], "a silent point is called lost as ever: the gateway hears"
        done = await rig.command(Acknowledge(STORAGE, 1))
        assert done.done
        assert "memory" in done.why
        assert not (await rig.command(Shelve(STORAGE, 60.0, "later"))).done
        store.is_dead = False
        await rig.pass_time(3.0)
        assert rig.hub.gateway().alarms == ()
        changes = [one["change"] for one in rig.journal() if one["kind"] == "alarm-changed" and one["level"] == "storage"]
        assert changes == ["RAISED", "ACK", "CLEARED"]


async def test_what_people_do_meanwhile_is_done_said_to_be_in_memory_and_journalled_later() -> None:
    rig, store = failing_rig()
    async with running(rig):
        store.is_dead = True
        await rig.send(capture(START, 5.0))
        silenced = await rig.path.command(Silence(), OPERATOR)
        assert silenced.done
        assert "kept in memory only" in silenced.why
        acknowledged = await rig.command(Acknowledge(ALARM, 1))
        assert acknowledged.done
        with pytest.raises(Exception, match="limits are not changed while the store fails"):
            await rig.path.command(ApproveBaseline(DRIVE_END, "velocity_rms", False, "looks good", None), OPERATOR)
        store.is_dead = False
        await rig.pass_time(2.0)
        kinds = [one["kind"] for one in rig.journal() if one.get("by")]
        assert kinds == ["alarms-silenced", "alarm-changed"]
        assert rig.published()["alarms"][0]["alarm_state"] == "ACKED"


async def test_what_both_connections_hear_is_judged_once_and_stored_once() -> None:
    rig, store = failing_rig()
    watch = MemoryLink(rig.clock, subscriptions(rig.gateway.root), rig.link.broker, client_id="watch")
    async with running(rig):
        store.is_dead = True
        await rig.send(capture(START, 1.0))
        await watch.start()
        for number in range(1, 6):
            await rig.clock.advance(5.0)
            now = rig.clock.now()
            rig.link.inject(CAPTURE, capture(now, 5.0))
            pack = [{"bt": now, "n": "battery", "u": "%EL", "v": 88.0 - number}, {"n": "rssi", "u": "dBm", "v": -60.0}]
            rig.link.inject(READING, json.dumps(pack).encode())
            heard = [replace(one, epoch=EPOCH) for one in await watch.receive(32)]
            await rig.path.put(heard)
            await rig.work()
        assert unacknowledged(rig) == 11
        sensor = next(one for one in rig.hub.snapshot().sensors if one.id == "s-0001")
        assert (sensor.captures, sensor.repeats) == (6, 0)
        store.is_dead = False
        await rig.pass_time(3.0)
        await rig.work()
        gateway = rig.hub.gateway()
        assert (gateway.captures, gateway.readings, gateway.late, unacknowledged(rig)) == (6, 10, 0, 0)
        changes = [one["change"] for one in rig.journal() if one["kind"] == "alarm-changed" and one["level"] == "velocity_rms"]
        assert changes == ["RAISED"]


async def test_what_no_broker_delivers_again_is_kept_in_memory_judged_once_and_stored_afterwards() -> None:
    rig, store = failing_rig()
    watch = MemoryLink(rig.clock, subscriptions(rig.gateway.root), rig.link.broker, client_id="watch")
    async with running(rig):
        await rig.send(capture(START, 1.0))
        store.is_dead = True
        await watch.start()
        for number in range(1, 6):
            await rig.clock.advance(5.0)
            rig.link.inject(CAPTURE, capture(rig.clock.now(), 5.0), qos=0)
            rig.link.inject(READING, json.dumps([{"n": "battery", "u": "%EL", "v": 88.0 - number}]).encode(), qos=0)
            await rig.work()
            await rig.path.put([replace(one, epoch=EPOCH) for one in await watch.receive(32)])
            await rig.work()
        rig.link.inject(CAPTURE, b"\xff rubbish", qos=0)
        await rig.work()
        assert (rig.published()["state"], rig.hub.gateway().captures, unacknowledged(rig)) == ("alarm", 1, 0)
        store.is_dead = False
        await rig.pass_time(3.0)
        gateway = rig.hub.gateway()
        assert (gateway.captures, gateway.readings, gateway.rejected, gateway.late) == (6, 5, 1, 0)
        assert len(await store.captures(None, START - 1, START + 100)) == 6
        changes = [one["change"] for one in rig.journal() if one["kind"] == "alarm-changed" and one["level"] == "velocity_rms"]
        assert changes == ["RAISED"]
        (works,) = (one for one in rig.journal() if one["kind"] == "store-changed" and one.get("since"))
        assert "11 messages with QoS 0, which no broker repeats, were kept" in works["detail"]


async def test_what_no_broker_delivers_again_is_handed_on_to_the_next_run() -> None:
    rig, store = failing_rig()
    async with running(rig):
        await rig.send(capture(START, 1.0))
        store.is_dead = True
        rig.link.inject(CAPTURE, capture(START + 5, 5.0), qos=0)
        await rig.work()
        carried = rig.path.carried
    after = Rig(store=FailingStore(before=store), broker=rig.link.broker, now=rig.clock.now() + 1.0)
    async with running(after, carried):
        await after.pass_time(2.0)
        assert (after.hub.gateway().captures, after.hub.gateway().late, after.point().state) == (2, 0, "alarm")
        told = (one for one in after.journal() if one["kind"] == "alarm-changed" and one["level"] == "velocity_rms")
        assert [one["change"] for one in told] == ["RAISED"]
        assert any("1 messages with QoS 0" in one["detail"] for one in after.journal() if one["kind"] == "store-changed")


async def test_a_crash_while_nothing_is_kept_loses_no_alarm_and_doubles_none() -> None:
    rig, store = failing_rig()
    async with running(rig):
        await rig.send(capture(START, 1.0))
        store.is_dead = True
        for number in range(1, 6):
            await rig.clock.advance(5.0)
            await rig.send(capture(START + 5.0 * number, 5.0 if number < 4 else 1.0))
        assert unacknowledged(rig) == 5
    again = Rig(store=FailingStore(before=store), broker=rig.link.broker, now=rig.clock.now() + 1.0)
    async with running(again):
        await again.work()
        assert [one["change"] for one in again.journal() if one["kind"] == "alarm-changed"] == ["RAISED", "CLEARED"]
        assert (again.hub.gateway().captures, again.hub.gateway().late) == (6, 0)
        assert unacknowledged(again) == 0


async def test_a_damaged_store_is_told_to_whoever_can_mend_it_and_the_memory_is_handed_on() -> None:
    rig, store = failing_rig()
    async with running(rig):
        await rig.send(capture(START, 1.0))
        store.failing = StoreCorrupt("malformed", "edgemon.sqlite")
        await rig.send(capture(START + 1, 5.0))
        assert rig.path.damaged.is_set()
        assert rig.published()["state"] == "alarm"
        carried = rig.path.carried
        assert [event.change for event in carried.events if isinstance(event, AlarmChanged)] == ["RAISED"]
    mended = Rig(store=FailingStore(), broker=rig.link.broker, now=rig.clock.now() + 1.0)
    async with running(mended, carried):
        await mended.work()
        saved = await mended.store.load()
        assert {one.point for one in saved.points} >= {DRIVE_END}
        assert mended.point().state == "alarm"
        assert (mended.hub.gateway().captures, mended.hub.gateway().late) == (2, 0)
        changes = [one.event for one in await mended.store.journal(100, after=0) if isinstance(one.event, AlarmChanged)]
        assert len(changes) == 1, "written once, though the message came again"


@pytest.mark.parametrize("fault", [StoreError("read-only", "edgemon.sqlite"), StoreCorrupt("malformed", "edgemon.sqlite")])
async def test_what_a_run_had_to_count_as_lost_the_next_one_tells_in_journal_and_log(
    fault: StoreError, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr("edgemon.daemon.path.Unrepeated", partial(Unrepeated, most=2))
    monkeypatch.setattr("edgemon.daemon.storing.EVENTS_MOST", 3)
    rig, store = failing_rig()
    async with running(rig):
        store.failing = fault
        for number in range(5):
            await rig.clock.advance(1.0)
            rig.link.inject(READING, json.dumps([{"n": "battery", "u": "%EL", "v": 88.0 - number}]).encode(), qos=0)
            await rig.path.put(await rig.link.receive(1))
        for number in range(4):
            await rig.path.put(Happened(LinkChanged(START + number, "broker", bool(number % 2))))
        await rig.path.put(End(GatewayStopped(START + 5, "the store is damaged")))
        while not rig.path.carried.events or not isinstance(rig.path.carried.events[-1], GatewayStopped):
            await asyncio.sleep(0)
        carried = rig.path.carried
    # told of the failure, four times of the link, and of the end: six entries, and room for three
    assert (len(carried.events), carried.dropped, len(carried.messages), carried.lost) == (3, 3, 2, 3)
    assert carried.left == "6 journal entries, 5 messages with QoS 0"
    after = Rig(store=FailingStore(), broker=rig.link.broker, now=rig.clock.now() + 1.0)
    with caplog.at_level("INFO", "edgemon"):
        async with running(after, carried):
            await after.pass_time(2.0)
            (works,) = (one for one in after.journal() if one["kind"] == "store-changed" and one.get("since"))
            assert (after.path.carried.dropped, after.path.carried.lost) == (0, 0), "told once"
    lost = (
        "what was not acknowledged is delivered again by the broker; 3 journal entries were too many to be kept; "
        "2 messages with QoS 0, which no broker repeats, were kept and are stored now; "
        "3 more did not fit into memory and are not stored"
    )
    assert (works["detail"], works["late"]) == (lost, 3)
    assert caplog.text.count(lost) == 1
    assert after.hub.gateway().readings == 2


async def test_an_end_while_nothing_is_kept_comes_at_once() -> None:
    rig, store = failing_rig()
    await rig.path.begin("test")
    store.is_dead = True
    await rig.path.put(End(GatewayStopped(START, "told to stop")))
    async with asyncio.timeout(5.0):
        await rig.path.run()


Step = tuple[str, Any]
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("capture"), st.sampled_from([0.5, 1.0, 3.5, 5.0, 9.0])),
        st.tuples(st.just("parts"), st.sampled_from([1.0, 3.5, 5.0])),
        st.tuples(st.just("reading"), st.sampled_from([0.001, 0.0035, 0.006])),
        st.tuples(st.just("untimed"), st.sampled_from([0.001, 0.0035, 0.006])),
        st.tuples(st.just("again"), st.integers(0, 5)),
        st.tuples(st.just("rubbish"), st.just(0)),
        st.tuples(st.just("wait"), st.sampled_from([1.0, 7.0, 40.0])),
        st.tuples(st.just("acknowledge"), st.just(0)),
        st.tuples(st.just("stuck"), st.sampled_from([1.0, 5.0])),
    ),
    min_size=4,
    max_size=25,
)


REPEATED_WITHIN_S = 10.0  # half of the sensor's interval, see edgemon/engine/arrivals.py
"""Without a time of its own, the same said again much later is a new message; delivered again much later, it is the same."""


class Traffic:
    """The same messages, whatever the store does."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, bytes]] = []
        self._untimed: dict[bytes, float] = {}

    async def do(self, rig: Rig, step: Step) -> None:
        what, value = step
        now = rig.clock.now()
        match what:
            case "capture":
                await self._send(rig, CAPTURE, capture(now, value))
            case "stuck":
                await self._send(rig, CAPTURE, capture(now, counts=tone_counts(value), axial_mm_s=0.5))
            case "parts":
                for part in parts(now, value, 3, f"p-{now:.0f}"):
                    await self._send(rig, CAPTURE, part)
            case "part":  # the last of them comes after the crash
                *some, last = parts(now, value, 3, f"p-{now:.0f}")
                for part in some:
                    await self._send(rig, CAPTURE, part)
                rig.link.drop()
                rig.link.inject(CAPTURE, last)
            case "reading":
                pack = [{"bn": "", "bt": now, "n": "x/velocity_rms", "u": "m/s", "v": value}]
                await self._send(rig, READING, json.dumps(pack).encode())
            case "untimed":  # that of its arrival counts; no two of them alike
                pack = [{"n": "z/velocity_rms", "u": "m/s", "v": value + 1e-7 * len(self.sent)}]
                payload = json.dumps(pack).encode()
                self._untimed[payload] = now
                await self._send(rig, READING, payload)
            case "again":
                if self.sent:
                    topic, payload = self.sent[-1 - value % len(self.sent)]
                    if now - self._untimed.get(payload, now) < REPEATED_WITHIN_S:  # later it is another one, or the broker says
                        await rig.send(payload, topic)
            case "rubbish":
                await rig.send(b"\xff rubbish", CAPTURE)
            case "acknowledge":
                for record in [one for point in rig.machine().points for one in point.alarms if one.alarm_state == "UNACK"]:
                    await rig.command(
                        Acknowledge(AlarmKey(*DRIVE_END._replace(point=PointId(record.point)), record.level), record.occurrence)
                    )
        await rig.pass_time(value if what == "wait" else 1.0)

    async def _send(self, rig: Rig, topic: str, payload: bytes) -> None:
        self.sent.append((topic, payload))
        await rig.send(payload, topic)


def states_of(store: FailingStore) -> dict[Any, PointState]:
    return {key: state for key, state in store._points.items() if key[0] != GATEWAY}


async def outcome(rig: Rig, store: FailingStore) -> dict[str, Any]:
    journal = await store.journal(10_000, after=0)
    alarms = [one.event for one in journal if isinstance(one.event, AlarmChanged) and one.event.alarm.machine == PUMP]
    gateway = rig.hub.gateway()
    return {
        "states": states_of(store),
        "shown": [(point.state, point.quality, point.alarms) for point in rig.machine().points],
        "alarms": alarms,
        "captures": sorted(await store.captures(None, START - 1, START + 1e6)),
        "trend": await store.trend(DRIVE_END, "velocity_rms", START - 1, START + 1e6),
        "quarantined": len(await store.quarantined(1000)),
        "counters": (gateway.captures, gateway.readings, gateway.rejected, gateway.late),
        "sensors": [replace(one, repeats=0, unkept_since=None) for one in (await store.load()).sensors],
        "open": gateway.open_captures,
    }


async def _run(steps: list[Step], begin: int, length: int, way: str) -> dict[str, Any]:
    rig, store = failing_rig()
    traffic = Traffic()
    async with running(rig):
        for number, step in enumerate(steps):
            if way and number in (begin, begin + length):
                setattr(store, way, number == begin)
            await traffic.do(rig, step)
        store.is_full = store.is_dead = False
        await rig.pass_time(130.0)  # every wait for the next trial is over by then
        await rig.work()
        assert unacknowledged(rig) == 0
        return await outcome(rig, store)


@settings(max_examples=15, deadline=None)
@given(steps=STEPS, begin=st.integers(0, 20), length=st.integers(1, 20), way=st.sampled_from(["is_full", "is_dead"]))
async def test_afterwards_everything_is_as_if_the_store_had_never_failed(
    steps: list[Step], begin: int, length: int, way: str
) -> None:
    undisturbed, disturbed = await _run(steps, begin, length, ""), await _run(steps, begin, length, way)
    for name in undisturbed:
        assert disturbed[name] == undisturbed[name], name


async def _crashed(steps: list[Step], begin: int, way: str) -> dict[str, Any]:
    """Let the store fail from a step on, and the daemon die at the end; the next one finds a store that works."""
    rig, store = failing_rig()
    traffic = Traffic()
    async with running(rig):
        for number, step in enumerate(steps):
            if way and number == begin:
                setattr(store, way, True)
            await traffic.do(rig, step)
    after = FailingStore(before=store)
    again = Rig(store=after, broker=rig.link.broker, now=rig.clock.now() + 1.0)
    async with running(again):
        await again.work()
        for _ in range(3):
            await traffic.do(again, ("capture", 1.0))
        assert unacknowledged(again) == 0
        found = await outcome(again, after)
    changes = [(one.at, one.change, one.severity) for one in found["alarms"] if one.alarm.level == "velocity_rms"]
    values = [(one.t, one.value) for one in found["trend"]]  # that one repeated the one before is forgotten by a crash
    same = {name: found[name] for name in ("captures", "quarantined", "counters", "open")}
    return same | {"changes": changes, "values": values}


FORGOTTEN = ("acknowledge", "stuck", "wait", "rubbish", "untimed")
"""What a crash forgets, or moves to the time at which it comes again."""
CRASHES = STEPS.map(lambda steps: [step for step in steps if step[0] not in FORGOTTEN])


@settings(max_examples=15, deadline=None)
@given(steps=CRASHES, begin=st.integers(0, 12), way=st.sampled_from(["is_full", "is_dead"]), part=st.booleans())
async def test_a_crash_at_any_step_of_it_loses_no_alarm_and_doubles_none(
    steps: list[Step], begin: int, way: str, part: bool
) -> None:
    if part:
        steps = [*steps, ("part", 9.0)]
    undisturbed, disturbed = await _crashed(steps, begin, ""), await _crashed(steps, begin, way)
    for name in undisturbed:
        assert disturbed[name] == undisturbed[name], name
