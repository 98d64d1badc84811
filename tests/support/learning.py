"""A rig with its learning beside the path, and a plant whose limits come from a severity class."""

import asyncio
import json
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Any

import pytest

from edgemon.daemon.learning import Learning
from edgemon.model.event import Event
from edgemon.model.limit import Zones
from edgemon.model.machine import Learning as LearningRules
from edgemon.model.machine import Plant
from tests.support.plants import plant
from tests.support.rig import READING, Rig, running

CAPTURES = 10
ZONES = Zones(2.8e-3, 4.5e-3, "ISO 20816-3:2022 group 2, rigid")
"""ISO 10816-3:2009 Table A.2, group 2, rigid: B/C 2.8, C/D 4.5 mm/s."""
SCATTER = (0.0, 0.02, -0.03, 0.01, -0.01, 0.03, -0.02)


def class_plant(captures: int = CAPTURES, zones: Zones | None = ZONES) -> Plant:
    """The pump of `plants.plant`, with its limits filled from ISO 20816-3."""
    one = plant()
    (machine,) = one.machines
    points = tuple(
        replace(point, limits=tuple(replace(limit, zones=zones) for limit in point.limits)) for point in machine.points
    )
    machine = replace(machine, points=points, learning=LearningRules(captures))
    return Plant(one.site, one.name, one.areas, (machine,), one.sensors)


def levels(t: float, velocity_mm_s: float, rpm: float | None = 2975.0, sim: bool = False) -> bytes:
    """One value of axis x, and the shaft speed before it, as a sensor without waveforms sends them (SenML, JSON)."""
    pack: list[dict[str, Any]] = [] if rpm is None else [{"n": "rpm", "u": "r/min", "v": rpm, "t": t}]
    pack.append({"n": "x/velocity_rms", "u": "mm/s", "v": velocity_mm_s, "t": t})
    return json.dumps([*pack, {"n": "sim", "vb": True, "t": t}] if sim else pack).encode()


async def send_steady(
    rig: Rig, count: int, begin: float, velocity_mm_s: float = 1.2, every_s: float = 20.0, **more: Any
) -> float:
    """Send values that scatter a little about one; give the time after the last."""
    t = begin
    for number in range(count):
        await rig.send(levels(t, velocity_mm_s + SCATTER[number % len(SCATTER)], **more), READING)
        t += every_s
        await rig.clock.advance(every_s)
    await settled(rig)
    return t


async def settled(rig: Rig) -> None:
    """Let the learning and the path come to rest."""
    for _ in range(20):
        await rig.settle()


@asynccontextmanager
async def learning(rig: Rig) -> AsyncIterator[Learning]:
    """Run a rig with its learning."""
    async with running(rig):
        one = Learning(
            rig.setting,
            rig.store,
            rig.clock,
            rig.path._executor,
            rig.path.command,
            lambda: rig.path.baselines,
            lambda: rig.path.setting,
        )

        def listen(events: Iterable[Event]) -> None:
            one.heard(events)

        rig.path.measured, rig.path.listener, rig.hub.learning = one.measured, listen, one
        task = asyncio.create_task(one.run())
        yield one
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task
