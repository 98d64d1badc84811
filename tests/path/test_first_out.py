"""First-out through the path: marked, journalled, the same after a crash, over with the acknowledgement."""

from edgemon.model.command import Acknowledge
from edgemon.model.ids import AlarmKey
from tests.support.captures import capture
from tests.support.plants import AXIAL, DRIVE_END
from tests.support.rig import START, Rig, running

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
