"""The data path between memory doors, on a clock that tests drive."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from concurrent.futures import Executor, Future
from contextlib import asynccontextmanager
from typing import Any

from edgemon.clock import ManualClock
from edgemon.daemon.collecting import published
from edgemon.daemon.hub import Hub
from edgemon.daemon.path import DataPath
from edgemon.daemon.publisher import Publisher
from edgemon.daemon.remembering import Carried
from edgemon.daemon.work import Tick
from edgemon.decode.topics import subscriptions
from edgemon.engine.memory import setting_of
from edgemon.model.command import Command, Person, Role
from edgemon.model.gateway import Gateway
from edgemon.model.machine import Plant
from edgemon.model.snapshot import MachineView, Outcome, PointView
from edgemon.mqtt.memory import MemoryBroker, MemoryLink
from edgemon.mqtt.wire import machine_states
from edgemon.store.memory import MemoryStore
from tests.support.plants import gateway, plant

START = 1_760_000_000.0
OPERATOR = Person("operator on shift", Role.OPERATOR, "control room")
CAPTURE = "edgemon/v1/sensor/s-0001/capture"
READING = "edgemon/v1/sensor/s-0001/reading"


class Inline(Executor):
    """Runs at once, in the caller's thread."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> "Future[Any]":
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except BaseException as error:
            future.set_exception(error)
        return future


class Rig:
    """One daemon's inside."""

    def __init__(
        self,
        of_plant: Plant | None = None,
        of_gateway: Gateway | None = None,
        store: MemoryStore | None = None,
        broker: MemoryBroker | None = None,
        now: float = START,
    ) -> None:
        self.clock = ManualClock(now)
        self.store = store or MemoryStore()
        self.gateway = of_gateway or gateway()
        setting = setting_of(of_plant or plant(), self.gateway)
        self.link = MemoryLink(self.clock, subscriptions(self.gateway.root), broker)
        self.hub = Hub(setting, self.store, self.link, self.clock)
        root, site = self.gateway.root, setting.plant.site
        self.publisher = Publisher(
            self.link,
            self.store,
            self.store,
            self.clock,
            root,
            site,
            lambda machine: (
                *machine_states(root, site, self.hub.machine(machine)),
                *published(root, self.path.setting, self.hub.memory, machine, self.clock.now()),
            ),
        )
        self.setting = setting
        self.path = DataPath(setting, self.store, self.link, self.clock, Inline(), self.publisher, self.hub)
        self.hub.collects = self.path.command

    async def send(self, payload: bytes, topic: str = CAPTURE) -> None:
        """Let a sensor publish, and the path work it off."""
        self.link.inject(topic, payload)
        await self.work()

    async def work(self, at_most: int = 32) -> None:
        """Work off what the link holds."""
        while self.link.status.waiting:
            await self.path.put(await self.link.receive(at_most))
        await self.settle()

    async def pass_time(self, seconds: float, every: float = 1.0) -> None:
        """Let time pass in ticks."""
        left = seconds
        while left > 0:
            await self.clock.advance(min(every, left))
            left -= every
            await self.path.put(Tick())
            await self.settle()

    async def command(self, order: Command) -> Outcome:
        """Command as an operator."""
        return await self.path.command(order, OPERATOR)

    async def settle(self) -> None:
        """Wait until the path and the publisher have nothing left to do."""
        for _ in range(30):
            await asyncio.sleep(0)
        while (not self.path.is_idle or (self.publisher.waiting and self.link.status.up)) and self.store.failing is None:
            await asyncio.sleep(0)

    def machine(self) -> MachineView:
        """Show the pump."""
        return self.hub.snapshot().machines[0]

    def point(self, name: str = "pump-de-h") -> PointView:
        """Show one of its points."""
        return next(point for point in self.machine().points if point.point == name)

    def published(self, suffix: str = "machine/hp-pump-1/pump-de-h") -> dict[str, Any]:
        """Give the retained document."""
        document: dict[str, Any] = json.loads(self.link.retained[f"edgemon/v1/site/saltmarsh/{suffix}"])
        return document

    def journal(self) -> list[dict[str, Any]]:
        """Give the journal as it was published."""
        return [json.loads(one.payload) for one in self.link.published if one.topic.endswith("/event")]

    def kinds(self) -> list[str]:
        """Give the kinds of what was journalled."""
        return [entry["kind"] for entry in self.journal()]


@asynccontextmanager
async def running(rig: Rig, carried: Carried | None = None) -> AsyncIterator[Rig]:
    """Run a rig's tasks; leaving is what a crash is: nothing is said, nothing is flushed."""
    await rig.path.begin("test", carried)
    await rig.link.start()
    tasks = [asyncio.create_task(rig.path.run()), asyncio.create_task(rig.publisher.run())]
    try:
        await rig.settle()
        yield rig
    finally:
        for task in tasks:
            task.cancel()
        results = await asyncio.gather(*tasks, return_exceptions=True)
        rig.link.drop()
        for result in results:
            if isinstance(result, Exception):
                raise result
