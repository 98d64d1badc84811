"""What must never happen: silence that reads as normal, rubbish that moves a state, a start that forgets."""

import json
from dataclasses import replace

import cbor2
import pytest

from edgemon.analysis.measure import Waveform, measure
from edgemon.model.command import Acknowledge
from edgemon.model.gateway import InputBorders
from edgemon.model.ids import AlarmKey, MachineId
from edgemon.store.memory import MemoryStore
from tests.support.captures import capture, tone_counts
from tests.support.plants import DRIVE_END, gateway, plant
from tests.support.rig import CAPTURE, READING, START, Rig, running

VELOCITY = AlarmKey(DRIVE_END.machine, DRIVE_END.point, "velocity_rms")


async def test_a_point_never_heard_is_unknown_and_soon_calls() -> None:
    async with running(Rig()) as rig:
        assert rig.published()["state"] == "unknown"
        assert rig.published()["quality"] == "stale"
        assert rig.published()["reasons"] == ["waiting-for-first-data"]
        await rig.pass_time(65.0, every=5.0)
        assert rig.published()["state"] == "unknown"
        (alarm,) = rig.published()["alarms"]
        assert (alarm["level"], alarm["alarm_state"]) == ("monitoring", "UNACK")
        assert rig.machine().unacknowledged


async def test_silence_after_normal_is_unknown() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 1.0))
        assert rig.published()["state"] == "normal"
        await rig.pass_time(65.0, every=5.0)
        assert (rig.published()["state"], rig.published()["quality"]) == ("unknown", "stale")
        assert rig.published("machine/hp-pump-1")["state"] == "unknown"


async def test_silence_never_clears_an_alarm() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0))
        await rig.pass_time(300.0, every=10.0)
        assert (rig.published()["state"], rig.published()["quality"]) == ("alarm", "stale")
        levels = {alarm["level"]: alarm["alarm_state"] for alarm in rig.published()["alarms"]}
        assert levels == {"velocity_rms": "UNACK", "monitoring": "UNACK"}


async def test_temperature_alone_does_not_speak_for_vibration() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 1.0))
        for _ in range(10):
            await rig.pass_time(10.0, every=10.0)
            t = rig.clock.now()
            await rig.send(json.dumps([{"n": "temperature", "u": "Cel", "v": 40.0, "t": t}]).encode(), READING)
        assert (rig.published()["state"], rig.published()["quality"]) == ("unknown", "stale")


async def test_temperature_from_the_start_does_not_make_a_point_normal() -> None:
    async with running(Rig()) as rig:
        await rig.send(json.dumps([{"n": "temperature", "u": "Cel", "v": 40.0, "t": START}]).encode(), READING)
        assert rig.published()["state"] == "unknown"


async def test_levels_from_a_sensor_without_waveforms_are_judged_alike() -> None:
    async with running(Rig()) as rig:
        pack = [{"n": "x/velocity_rms", "u": "m/s", "v": 0.0051, "t": START}, {"n": "battery", "u": "%EL", "v": 71}]
        await rig.send(json.dumps(pack).encode(), READING)
        assert rig.published()["state"] == "alarm"
        assert rig.published()["levels"]["velocity_rms"]["value"] == pytest.approx(5.1)
        assert rig.published("machine/hp-pump-1/pump-de-a")["state"] == "unknown"
        assert rig.hub.snapshot().sensors[0].battery_pct == 71


async def test_a_stopped_machine_forms_no_alarm_and_keeps_the_one_it_has() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0, rpm=0.0))
        assert rig.published()["state"] == "not-running"
        assert [alarm["alarm_state"] for alarm in rig.published()["alarms"]] == ["DSUPR"]
        await rig.send(capture(START + 20, 5.0, rpm=2975.0))
        assert rig.published()["state"] == "alarm"
        await rig.send(capture(START + 40, 0.05, rpm=0.0))
        assert [alarm["alarm_state"] for alarm in rig.published()["alarms"]] == ["UNACK"]
        assert rig.published()["state"] == "alarm"


HOSTILE = [
    (CAPTURE, b""),
    (CAPTURE, b"\xff" * 100),
    (CAPTURE, b"{"),
    (CAPTURE, json.dumps({"id": "x", "t": float("nan")}).encode()),
    (CAPTURE, cbor2.dumps({"id": "x", "t": START, "fs": -1, "u": "g", "scale": 1, "axes": {"x": b"12"}})),
    (CAPTURE, cbor2.dumps({"id": "\x1b]0;owned\x07", "t": START, "fs": 6400, "u": "g", "scale": 1e-3, "axes": {"x": b"1"}})),
    (READING, b"[" * 5000),
    (READING, json.dumps([{"n": "x/velocity_rms", "u": "furlong", "v": 1.0}]).encode()),
    (READING, json.dumps([{"n": "x/velocity_rms", "u": "m/s", "v": 1e400}]).encode()),
    ("edgemon/v1/sensor/nobody/capture", b"x"),
    ("edgemon/v1/sensor/../capture", b"x"),
    ("edgemon/v1/sensor/s-0001/\x1b[31mcapture", b"x"),
]


async def test_rubbish_is_counted_kept_told_once_per_cause_and_moves_nothing() -> None:
    async with running(Rig(of_gateway=gateway(borders=InputBorders(rejection_interval_s=600.0)))) as rig:
        await rig.send(capture(START, 5.0))
        before = rig.published()
        for _ in range(3):
            for topic, payload in HOSTILE:
                for delivery_topic in [topic] if "+" not in topic else []:
                    rig.link.inject(delivery_topic, payload)
        await rig.work()
        assert rig.published() == before
        heard = rig.hub.gateway().messages - 1
        assert rig.hub.gateway().rejected == heard
        assert heard >= 30
        assert rig.link.broker.unacknowledged("memory") == []
        told = [entry for entry in rig.journal() if entry["kind"] == "message-rejected"]
        assert len(told) == len({entry["cause"] for entry in told})
        kept = await rig.store.quarantined(1000)
        assert len(kept) == heard
        text = json.dumps(rig.journal()) + "".join(one.topic + one.detail for one in kept)
        assert "\x1b" not in text
        await rig.pass_time(700.0, every=100.0)
        later = [entry for entry in rig.journal() if entry["kind"] == "message-rejected"]
        assert sum(entry["count"] for entry in later) == heard


async def test_a_message_that_breaks_our_own_code_does_not_block_the_queue(monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks_on_loud(waveforms: list[Waveform]) -> object:
        if any(abs(waveform.counts).max() > 300 for waveform in waveforms):
            raise ZeroDivisionError
        return measure(waveforms)

    monkeypatch.setattr("edgemon.engine.analyse.measure", breaks_on_loud)
    async with running(Rig()) as rig:
        for index, velocity in enumerate((1.0, 9.0, 1.5)):
            rig.link.inject(CAPTURE, capture(START + index * 20, velocity))
        await rig.work()
        assert rig.hub.gateway().captures == 2
        assert rig.hub.gateway().rejected == 1
        (kept,) = await rig.store.quarantined(10)
        assert kept.head == capture(START + 20, 9.0)
        assert rig.link.broker.unacknowledged("memory") == []
        assert rig.published()["levels"]["velocity_rms"]["value"] == pytest.approx(1.5, rel=0.02)


async def test_a_start_after_a_crash_carries_on_with_states_delays_and_counters() -> None:
    first = Rig(plant(readings=3))
    async with running(first):
        await first.send(capture(START, 2.0))
        await first.send(capture(START + 20, 5.0))
        await first.send(capture(START + 40, 5.0))
        assert first.published()["state"] == "normal"
    second = Rig(plant(readings=3), store=MemoryStore(before=first.store), broker=first.link.broker, now=START + 45)
    async with running(second):
        assert second.published()["state"] == "normal"
        assert second.hub.gateway().captures == 3
        await second.send(capture(START + 60, 5.0))
        assert second.published()["state"] == "alarm"  # the third reading in a row, the first two before the crash
        occurrence = second.point().alarms[0].occurrence
        assert (await second.command(Acknowledge(VELOCITY, occurrence))).done
    third = Rig(plant(readings=3), store=MemoryStore(before=second.store), broker=first.link.broker, now=START + 65)
    async with running(third):
        assert [alarm["alarm_state"] for alarm in third.published()["alarms"]] == ["ACKED"]
        await third.send(capture(START + 60, 5.0))
        assert third.hub.gateway().repeats == 1


async def test_journal_entries_are_published_once_each_in_order_over_a_crash() -> None:
    first = Rig()
    async with running(first):
        await first.send(capture(START, 5.0))
    second = Rig(store=MemoryStore(before=first.store), broker=first.link.broker, now=START + 5)
    async with running(second):
        await second.send(capture(START + 20, 1.0))
        sequence = [entry["seq"] for entry in second.journal()]
    assert sequence == sorted(set(sequence))
    assert sequence == list(range(1, len(sequence) + 1))


async def test_states_are_published_after_the_link_was_down() -> None:
    async with running(Rig()) as rig:
        rig.link.drop()
        rig.link.restore()
        await rig.send(capture(START, 5.0))
        rig.link.drop()
        await rig.path.put([])
        await rig.settle()
        rig.link.restore()
        await rig.clock.advance(1.0)
        await rig.settle()
        assert rig.published()["state"] == "alarm"


async def test_counts_of_a_capture_are_stored_to_the_last_bit() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 3.0, capture_id="exact"))
        key = (await rig.store.captures(None, START - 1, START + 1))[0]
        stored = await rig.store.capture(key)
        assert stored is not None
        assert stored.axes["x"].tolist() == tone_counts(3.0, phase=0.3 + START % 7).tolist()


async def test_what_the_plant_file_no_longer_has_is_cleared_from_the_broker() -> None:
    first = Rig()
    async with running(first):
        await first.send(capture(START, 5.0))
    points = [topic for topic in first.link.retained if topic.endswith("/pump-de-a")]
    assert len(points) == 1
    (machine,) = first.setting.plant.machines
    kept = replace(machine, points=machine.points[:1])
    second = Rig(replace(plant(), machines=(kept,)), store=MemoryStore(before=first.store), broker=first.link.broker)
    async with running(second):
        second.publisher.again(second.setting.plant.machine_of)  # as after every connection
        await second.settle()
        assert second.published()["state"] == "alarm"
        assert not second.link.retained.get(points[0])
    other = replace(machine, id=MachineId("hp-pump-2"), points=())
    third = Rig(replace(plant(), machines=(other,)), store=MemoryStore(before=second.store), broker=first.link.broker)
    async with running(third):
        third.publisher.again(third.setting.plant.machine_of)
        await third.settle()
        left = [topic for topic, payload in third.link.retained.items() if payload and "/machine/hp-pump-1" in topic]
        assert left == []
