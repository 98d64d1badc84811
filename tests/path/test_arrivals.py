"""Messages without a usable time of their own, delivered again after a crash between commit and acknowledgement.

At-least-once delivery: MQTT 5.0, section 4.3.2; a message not acknowledged comes again after the next connection (4.4).
"""

import json
from collections.abc import Sequence
from dataclasses import replace

import pytest

from edgemon.model.ids import CaptureId, CaptureKey
from edgemon.model.machine import Plant
from edgemon.mqtt.port import Delivery
from edgemon.store.memory import MemoryStore
from tests.support.captures import capture, parts
from tests.support.plants import SENSOR, plant
from tests.support.rig import READING, START, Rig, running

EVER = (START - 1e6, START + 1e6)
LATER = 4000.0
"""Seconds from the crash to the restart; longer than any window."""


def clockless() -> Plant:
    made = plant(readings=2)
    return replace(made, sensors={SENSOR: replace(made.sensors[SENSOR], clock=False)})


def battery(percent: float, **more: float) -> bytes:
    return json.dumps([{"n": "battery", "u": "%EL", "v": percent, **more}]).encode()


def lose_acknowledgements(rig: Rig, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let a crash come after the commit and before the acknowledgement."""

    def nothing(deliveries: Sequence[Delivery]) -> None:
        """Acknowledge nothing."""

    monkeypatch.setattr(rig.link, "acknowledge", nothing)


async def crash_and_come_back(monkeypatch: pytest.MonkeyPatch, of_plant: Plant, *sent: tuple[bytes, str], after: float) -> Rig:
    first = Rig(of_plant)
    async with running(first):
        lose_acknowledgements(first, monkeypatch)
        for payload, topic in sent:
            await first.send(payload, topic)
            await first.clock.advance(1.0)
        assert len(first.link.broker.unacknowledged("memory")) == len(sent)
    second = Rig(of_plant, store=MemoryStore(before=first.store), broker=first.link.broker, now=START + after)
    async with running(second):
        await second.work()
        assert second.link.broker.unacknowledged("memory") == []
    return second


CAPTURE = "edgemon/v1/sensor/s-0001/capture"


@pytest.mark.parametrize("after", [3.0, LATER])
async def test_a_capture_without_a_clock_is_stored_once(monkeypatch: pytest.MonkeyPatch, after: float) -> None:
    rig = await crash_and_come_back(monkeypatch, clockless(), (capture(START, 5.0), CAPTURE), after=after)
    (key,) = await rig.store.captures(None, *EVER)
    assert key.taken_at == START
    assert (rig.hub.gateway().captures, rig.hub.gateway().repeats) == (1, 1)
    # a second reading beyond the limit would have raised it
    assert not any("velocity_rms" in alarm.id for alarm in rig.point().alarms)


async def test_a_time_ahead_that_has_come_by_the_second_delivery_is_stored_once(monkeypatch: pytest.MonkeyPatch) -> None:
    ahead = capture(START + 3600.0, 5.0)
    rig = await crash_and_come_back(monkeypatch, plant(readings=2), (ahead, CAPTURE), after=LATER)
    assert [key.taken_at for key in await rig.store.captures(None, *EVER)] == [START]


async def test_parts_without_a_clock_make_one_capture(monkeypatch: pytest.MonkeyPatch) -> None:
    sent = [(piece, CAPTURE) for piece in parts(START, 2.0, 3)]
    rig = await crash_and_come_back(monkeypatch, clockless(), *sent, after=LATER)
    (key,) = await rig.store.captures(None, *EVER)
    assert key.taken_at == START
    assert rig.hub.gateway().repeats == 3
    assert (await rig.store.load()).parts == ()


async def test_parts_waiting_without_a_clock_are_made_whole_after_the_crash(monkeypatch: pytest.MonkeyPatch) -> None:
    pieces = parts(START, 2.0, 3)
    rig = await crash_and_come_back(monkeypatch, clockless(), *((piece, CAPTURE) for piece in pieces[:2]), after=5.0)
    assert len((await rig.store.load()).parts) == 2
    third = Rig(clockless(), store=MemoryStore(before=rig.store), broker=rig.link.broker, now=START + 9)
    async with running(third):
        await third.send(pieces[2])
    (key,) = await third.store.captures(None, *EVER)
    assert key == CaptureKey(SENSOR, CaptureId("long"), START)


@pytest.mark.parametrize("more", [{}, {"t": -5.0}, {"t": START + 3600.0}])
async def test_readings_without_a_time_are_stored_once(monkeypatch: pytest.MonkeyPatch, more: dict[str, float]) -> None:
    sent = battery(88.0, **more)
    rig = await crash_and_come_back(monkeypatch, plant(), (sent, READING), after=LATER)
    stored = await rig.store.readings(SENSOR, "battery", *EVER)
    assert [(one.t, one.value) for one in stored] == [(START - 5.0 if more.get("t") == -5.0 else START, 88.0)]


async def test_a_broker_that_does_not_say_dup_is_recognised_for_half_an_interval_and_equal_values_count_after_it() -> None:
    async with running(Rig(clockless())) as rig:  # interval 20 s
        for _ in range(6):
            await rig.send(battery(88.0), READING)
            await rig.clock.advance(5.0)
        times = [one.t - START for one in await rig.store.readings(SENSOR, "battery", *EVER)]
        assert times == [0.0, 10.0, 20.0]
        assert rig.hub.gateway().repeats == 3


async def test_repeats_in_one_batch_are_one() -> None:
    pieces = parts(START, 2.0, 2)
    async with running(Rig(clockless())) as rig:
        await rig.send(pieces[0])
        await rig.clock.advance(1.0)
        for payload in (pieces[1], pieces[1], pieces[0]):
            rig.link.inject(CAPTURE, payload)
        rig.link.inject(READING, battery(80.0))
        rig.link.inject(READING, battery(80.0))
        await rig.work()
        assert len(await rig.store.captures(None, *EVER)) == 1
        assert len(await rig.store.readings(SENSOR, "battery", *EVER)) == 1
        assert (await rig.store.load()).parts == ()
        assert rig.hub.gateway().repeats == 3


async def test_what_is_remembered_is_bounded_and_nothing_of_sensors_with_a_clock() -> None:
    async with running(Rig(clockless())) as rig:
        for percent in range(100):
            await rig.send(battery(float(percent)), READING)
            await rig.clock.advance(1.0)
        (state,) = (await rig.store.load()).sensors
        assert len(state.arrivals) == 64
        assert state.arrivals[-1].received_at == START + 99.0
    async with running(Rig()) as rig:
        await rig.send(capture(START - 1.0, 1.0))
        (state,) = (await rig.store.load()).sensors
        assert state.arrivals == ()
