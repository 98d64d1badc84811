"""Fast collection through the path: the retained schedule of the sensor says what is wanted, whatever happens in between."""

import asyncio
import json
from typing import Any

import pytest

from edgemon.daemon.work import Happened
from edgemon.errors import StoreError, StoreFull
from edgemon.model.gateway_event import ClockStepped
from edgemon.model.machine import Plant
from edgemon.model.outgoing import Outgoing
from edgemon.model.snapshot import Outcome
from edgemon.mqtt.memory import MemoryBroker
from edgemon.store.memory import MemoryStore
from tests.engine.test_collection import ENGINEER, commanded, unused
from tests.support.rig import START, Rig, running

ROUTINE = {"interval_s": 300.0, "fs": 6400.0, "samples": 8192, "axes": ["x", "z"]}
# START is 2025-10-09T08:53:20Z by `date -u -d @1760000000`; ten minutes later
FAST = {**ROUTINE, "interval_s": 60.0, "until": "2025-10-09T09:03:20.000Z"}
TOPIC = "edgemon/v1/sensor/s-0001/schedule"


def bench(
    store: MemoryStore | None = None, now: float = START, broker: MemoryBroker | None = None, of_plant: Plant | None = None
) -> Rig:
    return Rig(of_plant=of_plant or commanded(), store=store, now=now, broker=broker)


def schedule(rig: Rig) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(rig.link.retained[TOPIC])
    return document


async def ready(rig: Rig) -> None:
    """What the daemon does whenever the link comes up."""
    rig.publisher.again(rig.setting.plant.machine_of)
    await rig.settle()


async def start(rig: Rig, duration_s: float = 600.0) -> Outcome:
    outcome = await rig.hub.start_collection("hp-pump-1/pump-de-h", 60.0, duration_s, "a rising bearing", ENGINEER)
    await rig.settle()
    return outcome


async def test_the_routine_is_published_and_comes_back_when_the_time_is_up() -> None:
    async with running(bench()) as rig:
        await ready(rig)
        assert schedule(rig) == ROUTINE
        outcome = await start(rig)
        assert outcome.done
        assert "8 more captures; about 0.16 % of the battery" in outcome.why  # 10 - 2; 8/50
        assert schedule(rig) == FAST
        sent = next(one for one in reversed(rig.link.published) if one.topic == TOPIC)
        assert sent.retain
        (shown,) = rig.hub.snapshot().sensors
        assert shown.collection is not None
        assert shown.collection.fast is not None
        await rig.pass_time(599.0, every=100.0)
        assert schedule(rig) == FAST
        await rig.pass_time(1.0)
        assert schedule(rig) == ROUTINE
        assert [kind for kind in rig.kinds() if "collection" in kind] == [
            "fast-collection-started",
            "fast-collection-ended",
        ]
        (begun,) = (one for one in rig.journal() if one["kind"] == "fast-collection-started")
        assert (begun["by"], begun["station"], begun["reason"]) == ("engineer on site", "control room", "a rising bearing")
        assert (begun["interval_s"], begun["routine_s"], begun["sensor"]) == (60.0, 300.0, "s-0001")


async def test_a_person_takes_it_back() -> None:
    async with running(bench()) as rig:
        await ready(rig)
        await start(rig)
        assert (await rig.hub.stop_collection("s-0001", "enough seen", ENGINEER)).done
        await rig.settle()
        assert schedule(rig) == ROUTINE
        again = await rig.hub.stop_collection("s-0001", "enough seen", ENGINEER)
        assert not again.done
        assert "no fast collection is on" in again.why


async def test_a_restart_in_the_middle_keeps_it_and_one_after_its_end_ends_it() -> None:
    async with running(bench()) as rig:
        await ready(rig)
        await start(rig)
    async with running(bench(MemoryStore(before=rig.store), START + 300.0)) as second:
        await ready(second)
        assert schedule(second) == FAST
        assert "collects faster already" in (await start(second)).why
    async with running(bench(MemoryStore(before=second.store), START + 900.0)) as third:
        await ready(third)
        assert schedule(third) == ROUTINE, "not even for the moment before the first tick"
        await third.pass_time(1.0)
        assert schedule(third) == ROUTINE
        assert "fast-collection-ended" in third.kinds()
        assert (await start(third)).done


async def test_while_the_broker_is_away_it_waits_and_is_published_when_it_is_back() -> None:
    async with running(bench()) as rig:
        await ready(rig)
        rig.link.drop()
        assert (await start(rig)).done
        assert schedule(rig) == ROUTINE
        await rig.link.start()
        await rig.pass_time(2.0)
        await rig.settle()
        assert schedule(rig) == FAST


async def test_a_clock_that_was_set_ends_it() -> None:
    async with running(bench()) as rig:
        await ready(rig)
        await start(rig)
        await rig.path.put(Happened(ClockStepped(START, 3600.0)))
        await rig.settle()
        assert schedule(rig) == ROUTINE
        assert "fast-collection-ended" in rig.kinds()


@pytest.mark.parametrize("other", [commanded(None), unused(commanded())])
async def test_a_sensor_that_is_not_commanded_any_more_has_its_schedule_withdrawn_once(other: Plant) -> None:
    async with running(bench()) as rig:
        await ready(rig)
        await start(rig)
    broker = rig.link.broker
    async with running(bench(MemoryStore(before=rig.store), START + 60.0, broker, other)) as second:
        await ready(second)
        await second.pass_time(1.0)
        assert TOPIC not in broker.retained
        (ended,) = (one for one in second.journal() if one["kind"] == "fast-collection-ended")
        assert ended["is_commanded"] is False
        another = Outgoing(TOPIC, b"{}", retain=True)
        broker.publish(another)
        await ready(second)
        assert broker.retained[TOPIC] == another, "another gateway commands the sensor now"
    async with running(bench(MemoryStore(before=second.store), START + 120.0, broker, other)) as third:
        await ready(third)
        assert broker.retained[TOPIC] == another
        assert [one.payload for one in broker.published if one.topic == TOPIC].count(b"") == 1


async def test_a_schedule_is_withdrawn_however_late_the_broker_takes_it() -> None:
    async with running(bench()) as rig:
        await ready(rig)
    broker = rig.link.broker
    async with running(bench(MemoryStore(before=rig.store), START + 60.0, broker, commanded(None))) as second:
        second.link.refuse_publish = "not authorised"
        await ready(second)
        assert TOPIC in broker.retained
    async with running(bench(MemoryStore(before=second.store), START + 120.0, broker, commanded(None))) as third:
        third.link.drop()
        await ready(third)
        assert TOPIC in broker.retained
        await third.link.start()
        await third.pass_time(2.0)
        await ready(third)
        assert TOPIC not in broker.retained
    async with running(bench(MemoryStore(before=third.store), START + 180.0, broker)) as fourth:
        await ready(fourth)
        assert schedule(fourth) == ROUTINE


async def test_a_schedule_that_was_never_ours_is_left_alone() -> None:
    broker, theirs = MemoryBroker(), Outgoing(TOPIC, b"{}", retain=True)
    broker.publish(theirs)
    async with running(bench(broker=broker, of_plant=commanded(None))) as rig:
        await ready(rig)
    async with running(bench(MemoryStore(before=rig.store), START + 60.0, broker, commanded(None))) as second:
        await ready(second)
    assert [one for one in broker.published if one.topic == TOPIC] == [theirs]


async def test_what_is_expected_of_the_sensor_stays_its_routine() -> None:
    async with running(bench()) as rig:
        before = rig.path.setting.plant.sensors, rig.path.setting.rules
        await start(rig)
        assert (rig.path.setting.plant.sensors, rig.path.setting.rules) == before
        (sensor,) = rig.path.setting.plant.sensors.values()
        assert sensor.interval_s == 300.0


async def test_none_is_begun_that_a_restart_would_forget() -> None:
    async with running(bench()) as rig:
        rig.store.failing = StoreFull("no space left")
        await rig.path.put(Happened(ClockStepped(START, 0.0)))
        for _ in range(50):
            await asyncio.sleep(0)
        with pytest.raises(StoreError, match="no fast collection is begun while the store fails"):
            await asyncio.wait_for(rig.hub.start_collection("s-0001", 60.0, 600.0, "why", ENGINEER), 5.0)
