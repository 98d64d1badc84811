"""The part of the daemon's site that is told to begin and end fast collection, and what is published of a machine."""

from collections.abc import Awaitable, Callable

from edgemon.daemon.outcomes import STARTING, answered
from edgemon.engine.collection import commanded, schedules
from edgemon.engine.memory import Memory, Setting
from edgemon.model.collection import FastCommand, StartFast, StopFast
from edgemon.model.command import Person
from edgemon.model.ids import MachineId
from edgemon.model.instant import Duration, Instant
from edgemon.model.outgoing import Outgoing
from edgemon.model.snapshot import Outcome
from edgemon.mqtt.wire import schedule, schedule_topic


class FastDoor:
    """Hands on to the owner of the states, once there is one."""

    collects: Callable[[FastCommand, Person], Awaitable[Outcome]] | None = None
    """Set by whoever owns the states."""

    async def start_collection(
        self, target: str, interval_s: Duration, duration_s: Duration, reason: str, person: Person
    ) -> Outcome:
        """Begin a fast collection."""
        return await self._ordered(StartFast(target, interval_s, duration_s, reason), person)

    async def stop_collection(self, target: str, reason: str, person: Person) -> Outcome:
        """Take a fast collection back."""
        return await self._ordered(StopFast(target, reason), person)

    async def _ordered(self, order: FastCommand, person: Person) -> Outcome:
        if self.collects is None:
            return STARTING
        return await answered(self.collects(order, person))


def topics(setting: Setting) -> frozenset[str]:
    """Give the topics of the schedules that are published."""
    return frozenset(schedule_topic(setting.gateway.root, sensor) for sensor in commanded(setting.plant))


def published(root: str, setting: Setting, memory: Memory, machine: MachineId, now: Instant) -> tuple[Outgoing, ...]:
    """Give the retained schedules of a machine's sensors."""
    return tuple(schedule(root, sensor, view) for sensor, view in schedules(setting, memory, machine, now).items())
