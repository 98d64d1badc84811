"""The link is up, and nothing comes from any sensor: one call of the gateway's, none for every machine.

The instants follow by hand from the rule of `alarms/deafness.py`: a report is missed half an interval after it was due, each
miss counts two decades on a good link, six are asked for, and three sensors at least.
"""

import json
from dataclasses import replace

import pytest

from edgemon.daemon.work import Happened
from edgemon.model.command import Acknowledge
from edgemon.model.gateway_event import ClockStepped
from edgemon.model.ids import AlarmKey, MachineId, PointId, PointKey, SensorId
from edgemon.model.machine import GATEWAY, Plant, Point, Sensor
from edgemon.model.policy import AlarmPolicy
from tests.support.plants import gateway, plant, velocity_limit
from tests.support.rig import START, Rig, running

INTERVAL = 60.0
PATIENCE = 3 * INTERVAL
OWN = AlarmKey(GATEWAY.machine, GATEWAY.point, "monitoring")


def pumps(count: int, policy: AlarmPolicy | None = None) -> Plant:
    """Critical pumps, a sensor each."""
    one = plant()
    machines, sensors = [], {}
    for number in range(1, count + 1):
        machine, sensor = MachineId(f"hp-pump-{number}"), SensorId(f"s-{number:04}")
        key = PointKey(machine, PointId("pump-de-h"))
        point = Point(key, "pump-de-h", sensor, "x", (velocity_limit(),), PATIENCE)
        machines.append(replace(one.machines[0], id=machine, name=f"High-pressure pump {number}", points=(point,)))
        sensors[sensor] = Sensor(sensor, interval_s=INTERVAL)
    return replace(one, machines=tuple(machines), sensors=sensors, alarms=policy or AlarmPolicy())


async def report(rig: Rig, number: int, sim: bool = False) -> None:
    """Let one sensor report."""
    pack = [{"n": "x/velocity_rms", "u": "m/s", "v": 0.001}, *([{"n": "sim", "vb": True}] if sim else [])]
    await rig.send(json.dumps(pack).encode(), f"edgemon/v1/sensor/s-{number:04}/reading")


async def round_of(rig: Rig, count: int, every: float = 10.0) -> None:
    """Let all report, one after the other."""
    for number in range(1, count + 1):
        await report(rig, number)
        await rig.pass_time(every)


def own(rig: Rig) -> str:
    return next((one.alarm_state for one in rig.hub.gateway().alarms), "NORM")


def losses(rig: Rig) -> list[str]:
    """Give the state of every machine's loss of monitoring."""
    every = [point for machine in rig.hub.snapshot().machines for point in machine.points]
    return [next((one.alarm_state for one in point.alarms if one.level == "monitoring"), "NORM") for point in every]


def raised(rig: Rig) -> list[str]:
    return [one["alarm"] for one in rig.journal() if one.get("change") == "RAISED"]


async def test_one_call_says_why_and_ends_with_the_first_report() -> None:
    async with running(Rig(pumps(6))) as rig:
        await round_of(rig, 6)  # heard at 0, 10, ... 50; it is 60 now
        await rig.pass_time(58.0)  # 118: missed are s-0001 (at 90), s-0002, s-0003 (at 110): six decades, but 60 s must pass
        assert own(rig) == "UNACK", "nothing was heard since 50, and 118 - 50 is over 60 s"
        assert rig.hub.gateway().deaf_since == START + 50.0
        assert losses(rig) == ["DSUPR"] * 6
        (entry,) = [one for one in rig.journal() if one.get("change") == "RAISED"]
        assert entry["alarm"] == "gateway/gateway/monitoring"
        assert entry["reason"] == "no sensor is heard, though the link to the broker is up"
        (alarm,) = rig.hub.gateway().alarms
        assert alarm.response is not None
        assert "radio base" in alarm.response.action
        assert rig.hub.annunciation().horn
        await rig.pass_time(600.0)
        assert {point.quality for machine in rig.hub.snapshot().machines for point in machine.points} == {"stale"}
        assert (await rig.command(Acknowledge(OWN, 1))).done
        await report(rig, 4)
        await rig.pass_time(1.0)
        assert (own(rig), rig.hub.gateway().deaf_since) == ("NORM", None)
        assert losses(rig) == ["NORM"] * 6
        await round_of(rig, 6)
        await rig.pass_time(20.0)
        assert raised(rig) == ["gateway/gateway/monitoring"], "one announcement for all of it"


async def test_it_is_not_called_before_enough_was_missed() -> None:
    async with running(Rig(pumps(6, AlarmPolicy(gateway_delay_s=0.0)))) as rig:
        await round_of(rig, 6)
        await rig.pass_time(49.0)
        assert own(rig) == "NORM", "at 109 two are overdue"
        await rig.pass_time(2.0)
        assert own(rig) == "UNACK", "at 110 the third is"


async def test_one_sensor_that_still_reports_is_enough_to_hear_by() -> None:
    async with running(Rig(pumps(4))) as rig:
        await round_of(rig, 4)
        for _ in range(6):
            await report(rig, 2)
            await rig.pass_time(INTERVAL)
        assert own(rig) == "NORM"
        assert losses(rig) == ["UNACK", "NORM", "UNACK", "UNACK"], "those are the sensors' own"


@pytest.mark.parametrize(("count", "policy"), [(2, AlarmPolicy()), (5, AlarmPolicy(gateway_sensors=0))])
async def test_with_too_few_sensors_or_if_not_wanted_each_point_calls(count: int, policy: AlarmPolicy) -> None:
    async with running(Rig(pumps(count, policy))) as rig:
        await round_of(rig, count)
        await rig.pass_time(PATIENCE + 5.0)
        assert own(rig) == "NORM"
        assert losses(rig) == ["UNACK"] * count


async def test_two_sensors_may_be_enough_for_a_site() -> None:
    async with running(Rig(pumps(2, AlarmPolicy(gateway_sensors=2)))) as rig:
        await round_of(rig, 2)
        await rig.pass_time(PATIENCE + 5.0)
        assert (own(rig), losses(rig)) == ("UNACK", ["DSUPR", "DSUPR"])


async def test_however_long_the_delay_it_comes_before_the_points_call() -> None:
    async with running(Rig(pumps(5, AlarmPolicy(gateway_delay_s=3600.0)))) as rig:
        await round_of(rig, 5)
        await rig.pass_time(PATIENCE + 60.0)
        assert (own(rig), losses(rig)) == ("UNACK", ["DSUPR"] * 5)
        assert raised(rig) == ["gateway/gateway/monitoring"]


async def test_sensors_never_heard_do_not_make_the_gateway_deaf() -> None:
    async with running(Rig(pumps(6))) as rig:
        await rig.pass_time(PATIENCE + 30.0)
        assert (own(rig), losses(rig)) == ("NORM", ["UNACK"] * 6)


async def test_simulated_data_do_not_count_as_hearing() -> None:
    async with running(Rig(pumps(5))) as rig:
        await round_of(rig, 5)
        for _ in range(12):
            await report(rig, 1, sim=True)
            await rig.pass_time(10.0)
        assert own(rig) == "UNACK", "a replay beside it proves nothing about the radio"


async def test_a_gateway_of_simulated_data_is_deaf_without_them() -> None:
    async with running(Rig(pumps(5), gateway(simulated=True))) as rig:
        for number in range(1, 6):
            await report(rig, number, sim=True)
        await rig.pass_time(110.0)
        assert own(rig) == "UNACK"


async def test_a_restart_in_the_middle_neither_ends_it_nor_calls_again() -> None:
    rig = Rig(pumps(5))
    async with running(rig):
        await round_of(rig, 5)
        await rig.pass_time(100.0)
        assert own(rig) == "UNACK"
        assert (await rig.command(Acknowledge(OWN, 1))).done
    again = Rig(pumps(5), store=rig.store, now=rig.clock.now() + 20.0)
    async with running(again):
        assert (own(again), losses(again)) == ("ACKED", ["DSUPR"] * 5)
        await again.pass_time(400.0)
        assert (own(again), losses(again)) == ("ACKED", ["DSUPR"] * 5), "nothing was heard yet: it stands"
        assert again.hub.gateway().deaf_since is not None
        assert again.hub.gateway().alarms[0].occurrence == 1
        await report(again, 2)
        await again.pass_time(1.0)
        assert (own(again), losses(again)) == ("NORM", ["NORM"] * 5)


async def test_a_restart_before_it_was_called_begins_to_listen_anew() -> None:
    rig = Rig(pumps(5))
    async with running(rig):
        await round_of(rig, 5)
    again = Rig(pumps(5), store=rig.store, now=rig.clock.now() + 3600.0)
    async with running(again):
        await again.pass_time(85.0)
        assert own(again) == "NORM", "the hour was the gateway's own; nothing is overdue within an interval and a half"
        await again.pass_time(10.0)
        assert (own(again), losses(again)) == ("UNACK", ["DSUPR"] * 5)


async def test_a_link_that_comes_back_is_listened_to_first() -> None:
    async with running(Rig(pumps(5))) as rig:
        await round_of(rig, 5)
        rig.link.drop()
        await rig.pass_time(400.0)
        assert rig.hub.gateway().deaf_since is None, "without a link nobody listens"
        await rig.link.start()
        await rig.pass_time(80.0)
        assert own(rig) == "RTNUN", "the outage is over; nothing says yet that nothing comes"
        await rig.pass_time(15.0)
        assert (own(rig), losses(rig)) == ("UNACK", ["DSUPR"] * 5)
        assert rig.hub.gateway().alarms[0].occurrence == 2


async def test_a_link_lost_meanwhile_does_not_end_it() -> None:
    async with running(Rig(pumps(5))) as rig:
        await round_of(rig, 5)
        await rig.pass_time(100.0)
        rig.link.drop()
        await rig.pass_time(70.0)
        await rig.link.start()
        await rig.pass_time(5.0)
        assert (own(rig), losses(rig)) == ("UNACK", ["DSUPR"] * 5), "the link is back, and still nothing was heard"
        assert rig.hub.gateway().alarms[0].occurrence == 1


@pytest.mark.parametrize("step", [-86_400.0, 86_400.0])
async def test_a_clock_that_was_set_makes_nobody_deaf_and_does_not_hide_that_it_is(step: float) -> None:
    async with running(Rig(pumps(5))) as rig:
        await round_of(rig, 5)
        rig.clock.step(step)
        await rig.path.put(Happened(ClockStepped(rig.clock.now(), step)))
        await rig.pass_time(80.0)
        assert own(rig) == "NORM"
        await rig.pass_time(20.0)
        assert own(rig) == "UNACK"
