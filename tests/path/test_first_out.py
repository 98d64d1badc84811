"""First-out through the path: marked, journalled, the same after a crash, over with the acknowledgement."""

import json
from typing import Any

from edgemon.api.view import words
from edgemon.model.command import Acknowledge
from edgemon.model.event import FirstOutMarked, OnsetMoved
from edgemon.model.ids import AlarmKey
from tests.support.captures import capture
from tests.support.plants import AXIAL, DRIVE_END
from tests.support.rig import READING, START, Rig, running

LEVEL = "velocity_rms"


def shown(rig: Rig) -> dict[str, str]:
    alarms = (alarm for point in rig.machine().points for alarm in point.alarms)
    return {alarm.point: alarm.first_out for alarm in alarms if alarm.level == LEVEL}


async def test_the_first_of_two_points_is_marked_until_both_are_acknowledged() -> None:
    first = Rig()
    async with running(first):
        await first.send(capture(START, 5.0, axial_mm_s=1.0))
        await first.pass_time(20.0, every=10.0)
        await first.send(capture(START + 20.0, 5.0, axial_mm_s=5.0))
        assert shown(first) == {"pump-de-h": "first", "pump-de-a": ""}
        assert first.kinds().count("first-out-marked") == 1
        assert (await first.command(Acknowledge(AlarmKey(*DRIVE_END, LEVEL), 1))).done
        assert shown(first) == {"pump-de-h": "first", "pump-de-a": ""}
    second = Rig(store=first.store, now=START + 21.0)
    async with running(second):
        assert shown(second) == {"pump-de-h": "first", "pump-de-a": ""}
        assert (await second.command(Acknowledge(AlarmKey(*AXIAL, LEVEL), 1))).done
        await second.settle()
        assert shown(second) == {"pump-de-h": "", "pump-de-a": ""}
        ended = [entry for entry in second.journal() if entry["kind"] == "first-out-marked"]
        assert ended[-1]["alarms"] == []


async def test_two_points_of_one_capture_cannot_be_told_apart() -> None:
    async with running(Rig()) as rig:
        await rig.send(capture(START, 5.0, axial_mm_s=5.0))
        assert shown(rig) == {"pump-de-h": "first (uncertain)", "pump-de-a": "first (uncertain)"}


def values(axis: str, *told: tuple[float, float]) -> bytes:
    """A pack as a sensor that stores and forwards sends it: mm/s at seconds after the start."""
    return json.dumps([{"n": f"{axis}/velocity_rms", "u": "mm/s", "v": value, "t": START + t} for t, value in told]).encode()


def told(rig: Rig, kind: str) -> list[dict[str, Any]]:
    return [entry for entry in rig.journal() if entry["kind"] == kind]


X, Z = (f"hp-pump-1/{name}/{LEVEL}" for name in ("pump-de-h", "pump-de-a"))


async def test_stored_values_that_come_late_move_the_mark_to_the_point_that_came_first() -> None:
    # by hand: x goes beyond at 30 s; z, by what it delivers at once, at 40 s, by what it had stored at 10 s, before that normal
    first = Rig()
    async with running(first):
        await first.send(values("x", (0.0, 1.0)), READING)
        await first.send(values("z", (0.0, 1.0)), READING)
        await first.pass_time(45.0, every=15.0)
        await first.send(values("x", (30.0, 5.0)), READING)
        await first.send(values("z", (40.0, 5.0)), READING)
        assert shown(first) == {"pump-de-h": "first", "pump-de-a": ""}
        await first.send(values("z", (20.0, 5.0)), READING)
        assert shown(first) == {"pump-de-h": "", "pump-de-a": "first"}
        await first.send(values("z", (10.0, 5.0)), READING)
        (_, moved) = told(first, "first-out-marked")
        assert (moved["alarms"], moved["before"]) == ([Z], [X])
        corrected = told(first, "onset-moved")
        assert [(entry["alarm"], entry["value"], entry["limit"]) for entry in corrected] == [(Z, 5.0, 4.5)] * 2
        assert [entry["told_at"] > entry["t"] for entry in corrected] == [True, True]
        assert all(entry["change"] == "RAISED" for entry in told(first, "alarm-changed")), "no state changed by it"
        text = [words(entry.event) for entry in await first.store.journal(50) if isinstance(entry.event, OnsetMoved)]
        assert "a late measurement tells" in text[0]
    second = Rig(store=first.store, now=START + 46.0)
    async with running(second):
        assert shown(second) == {"pump-de-h": "", "pump-de-a": "first"}
        for key in (DRIVE_END, AXIAL):
            assert (await second.command(Acknowledge(AlarmKey(*key, LEVEL), 1))).done
        await second.send(values("x", (5.0, 5.0)), READING)
        assert shown(second) == {"pump-de-h": "", "pump-de-a": ""}, "the group is over: the journal alone is put right"
        assert [entry["alarm"] for entry in told(second, "onset-moved")] == [X]
        assert told(second, "first-out-marked")[-1]["alarms"] == []


async def test_an_alarm_that_arrives_after_the_group_is_acknowledged_tells_that_it_began_before() -> None:
    async with running(Rig()) as rig:
        await rig.send(values("x", (0.0, 1.0)), READING)
        await rig.send(values("z", (0.0, 1.0)), READING)
        await rig.pass_time(45.0, every=15.0)
        await rig.send(values("x", (30.0, 5.0)), READING)
        assert (await rig.command(Acknowledge(AlarmKey(*DRIVE_END, LEVEL), 1))).done
        await rig.send(values("z", (10.0, 5.0), (20.0, 5.0)), READING)
        newest = told(rig, "first-out-marked")[-1]
        assert (newest["alarms"], newest["before"]) == ([Z], [X])
        event = next(entry.event for entry in await rig.store.journal(50) if isinstance(entry.event, FirstOutMarked))
        assert words(event).endswith(f"{Z}, which began before {X}")
