"""A rehearsal of what the path stored gives what the path itself did."""

import random

from edgemon.alarms.rehearsal import run
from edgemon.cli.past import read_past
from edgemon.model.event import AlarmChanged
from edgemon.model.instant import EARLIEST, LATEST
from tests.support.captures import capture
from tests.support.plants import DRIVE_END
from tests.support.rig import START, Rig, running


async def test_the_same_limits_raise_the_same_at_the_same_times() -> None:
    rng = random.Random(5)
    async with running(Rig()) as rig:
        for number in range(60):
            await rig.clock.advance(20.0)
            await rig.send(capture(START + 20 * number, rng.uniform(0.5, 6.0)))
        events = [entry.event for entry in await rig.store.journal(10_000)]
        told = [one for one in events if isinstance(one, AlarmChanged) and one.change in ("RAISED", "LEVEL_UP")]
        raised = sorted((one.at, one.severity) for one in told if one.alarm.point == DRIVE_END.point)
        past = await read_past(rig.store, rig.setting.plant.machines, rig.setting.plant.points, EARLIEST, LATEST, False)
        found = run(rig.setting.rules[DRIVE_END], past[DRIVE_END])
    assert len(raised) > 10
    assert sorted(found.raised) == raised
