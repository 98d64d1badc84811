"""A rehearsal of what the path stored, or of the messages themselves, gives what the path itself did."""

import json
import random
from dataclasses import replace

from edgemon.alarms.rehearsal import run
from edgemon.cli.past import read_past
from edgemon.engine.past import Batch, measured
from edgemon.model.event import AlarmChanged
from edgemon.model.instant import EARLIEST, LATEST
from edgemon.model.level import Measurement
from edgemon.model.message import Message
from tests.support.captures import capture, parts
from tests.support.plants import DRIVE_END
from tests.support.rig import CAPTURE, READING, START, Rig, running


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


async def test_recorded_messages_are_measured_as_the_path_measures_them_whatever_comes() -> None:
    """Parts in any order, repeats, readings, an unknown sensor, rubbish: what is stored is what a rehearsal judges."""
    rng = random.Random(8)
    sent: list[tuple[str, bytes]] = []
    for number in range(12):
        at = START + 20 * number
        pieces = parts(at + 5, rng.uniform(0.5, 6.0), 3, f"long-{number}")
        rng.shuffle(pieces)
        reading = json.dumps([{"n": "temperature", "u": "Cel", "v": 40.0 + number, "t": at}]).encode()
        sent += [(CAPTURE, capture(at, rng.uniform(0.5, 6.0), rpm=2975.0)), (READING, reading)]
        sent += [(CAPTURE, piece) for piece in (pieces if number != 7 else pieces[:2])]  # a part of one never comes
        sent += [(CAPTURE, b"\xff"), (CAPTURE.replace("0001", "0099"), capture(at))]
        sent += rng.sample(sent, 2)
    async with running(Rig()) as rig:
        messages = []
        for topic, payload in sent:
            await rig.clock.advance(3.0)
            messages.append(Message(topic, payload, rig.clock.now()))
            await rig.send(payload, topic)
        await rig.pass_time(rig.gateway.borders.part_wait_s + 1.0, every=60.0)
        stored = [one for commit in rig.store.commits for one in commit.measurements]
        rejected = sum(len(commit.quarantined) for commit in rig.store.commits)
    batches = (Batch(tuple(messages[first : first + 5])) for first in range(0, len(messages), 5))
    found = list(measured(rig.setting, batches))

    def shown(measurements: list[Measurement]) -> list[str]:
        return sorted(repr(replace(one, received_at=0.0)) for one in measurements)

    assert len(stored) > 50
    assert shown([one for batch in found for one in batch.measurements]) == shown(stored)
    assert sum(len(batch.rejected) for batch in found) == rejected >= 24
