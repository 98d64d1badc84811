"""The gateway's clock is set: nothing is stuck, nothing old reads as fresh, nobody is called for the step's sake."""

import json

import pytest

from edgemon.daemon.work import Happened
from edgemon.model.gateway_event import ClockStepped
from edgemon.store.memory import MemoryStore
from tests.support.captures import capture
from tests.support.rig import READING, START, Rig, running

HOUR = 3600.0


async def step(rig: Rig, by: float) -> None:
    """Set the clock, as the daemon's tick notices it within a second."""
    rig.clock.step(by)
    await rig.path.put(Happened(ClockStepped(rig.clock.now(), by)))
    await rig.settle()


def untimed(velocity_m_s: float) -> bytes:
    """A pack without a time of its own: that of its arrival counts."""
    return json.dumps([{"n": "x/velocity_rms", "u": "m/s", "v": velocity_m_s}]).encode()


async def test_set_back_an_hour_the_next_measurement_counts() -> None:
    async with running(Rig()) as rig:
        await rig.send(untimed(0.001), READING)
        assert rig.published()["state"] == "normal"
        await step(rig, -HOUR)
        await rig.pass_time(20.0, every=10.0)
        await rig.send(untimed(0.005), READING)
        assert rig.published()["state"] == "alarm"
        assert rig.published()["t"] == "2025-10-09T07:53:40.000Z"
        assert rig.hub.gateway().late == 0


async def test_set_back_while_the_sensors_clock_is_right() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 1.0))
        await step(rig, -HOUR)
        await rig.pass_time(20.0, every=10.0)
        await rig.send(capture(START + 20, 5.0))  # an hour ahead of the gateway: the time of arrival counts
        assert rig.published()["state"] == "alarm"


async def test_set_back_an_hour_silence_is_noticed_as_ever() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 1.0))
        await step(rig, -HOUR)
        await rig.pass_time(65.0, every=5.0)
        assert (rig.published()["state"], rig.published()["quality"]) == ("unknown", "stale")


async def test_set_back_an_alarm_stays_and_clears_with_the_next_value() -> None:
    async with running(Rig()) as rig:
        await rig.send(untimed(0.005), READING)
        (before,) = rig.published()["alarms"]
        await step(rig, -HOUR)
        (after,) = rig.published()["alarms"]
        assert (after["alarm_state"], after["severity"]) == (before["alarm_state"], "alarm") == ("UNACK", "alarm")
        await rig.pass_time(20.0, every=10.0)
        await rig.send(untimed(0.001), READING)
        assert rig.published()["state"] == "normal"


async def test_set_back_the_speed_heard_next_counts() -> None:
    async with running(Rig()) as rig:
        await rig.send(json.dumps([{"n": "rpm", "u": "1/min", "v": 2975.0}]).encode(), READING)
        await step(rig, -HOUR)
        await rig.pass_time(20.0, every=10.0)
        await rig.send(json.dumps([{"n": "rpm", "u": "1/min", "v": 0.0}]).encode(), READING)
        await rig.send(untimed(0.0001), READING)
        assert rig.published()["state"] == "not-running"


@pytest.mark.parametrize("by", [HOUR, 30 * 86_400.0])
async def test_set_forward_no_point_is_called_lost_before_it_had_time(by: float) -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 1.0))
        await step(rig, by)
        assert (rig.published()["state"], rig.published()["reasons"]) == ("unknown", ["waiting-for-first-data"])
        await rig.pass_time(20.0, every=10.0)
        assert rig.published()["alarms"] == []
        await rig.send(untimed(0.001), READING)
        assert (rig.published()["state"], rig.published()["quality"]) == ("normal", "good")


async def test_a_gateway_that_starts_with_an_earlier_clock_judges_all_the_same() -> None:
    first = Rig()
    async with running(first):
        await first.send(untimed(0.001), READING)
    second = Rig(store=MemoryStore(before=first.store), broker=first.link.broker, now=START - 30 * 86_400.0)
    async with running(second):
        await second.pass_time(20.0, every=10.0)
        await second.send(untimed(0.005), READING)
        assert second.published()["state"] == "alarm"
