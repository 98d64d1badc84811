"""A plant at work for days: each second some machines are measured, alarms rise, are acknowledged, shelved and end."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import count
from random import Random

from edgemon.model.snapshot import Change, MachineView, Snapshot
from tests.support import sites

LIFE = ("UNACK", "ACKED", "SHLVD", "RTNUN", "NORM", "OOSRV")
MEASURED_EACH_SECOND = 7
"""200 machines with a capture every half minute."""


class Plant:
    """Machines, and what the daemon says of them second by second; the same for the same seed."""

    def __init__(self, machines: int, seed: int = 1) -> None:
        self._chance = Random(seed)
        self.machines = [_calling(one) for one in sites.many(machines)]
        self.transitions = 0

    def snapshot(self) -> Snapshot:
        """Everything, at the beginning."""
        return sites.snapshot(self.machines, sim=False)

    def changes(self) -> Iterator[Change]:
        """One change a second: a few new values, an alarm that goes on in its life, now and then a lost link."""
        for second in count(1):
            now = sites.NOW + second
            moved = self._chance.sample(range(len(self.machines)), MEASURED_EACH_SECOND)
            for number in moved:
                self.machines[number] = self._measured(self.machines[number], now)
            self.machines[moved[0]] = self._gone_on(self.machines[moved[0]], now)
            shown = tuple(self.machines[number] for number in moved)
            stored = second % 1000 > 20
            state = sites.gateway(now, events=second, rejected=second // 100, store_ok=stored, sounding=second % 40 < 5)
            yield Change(state, shown, tuple(sites.sensor(one, one.points[0].sensor, now) for one in shown))

    def _measured(self, machine: MachineView, now: float) -> MachineView:
        if machine.worst is None:
            return replace(machine, t=now)
        value = machine.worst.value * (0.9 + 0.2 * self._chance.random())
        trend = (*machine.trend[1:], value / (machine.worst.alarm or 1.0))
        return replace(machine, t=now, worst=replace(machine.worst, value=value), trend=trend)

    def _gone_on(self, machine: MachineView, now: float) -> MachineView:
        """The alarms of a machine, each in the next state of its life."""
        self.transitions += 1
        points = tuple(
            replace(
                point,
                alarms=tuple(
                    replace(
                        one,
                        alarm_state=LIFE[(LIFE.index(one.alarm_state) + 1) % len(LIFE)],
                        occurrence=self.transitions,
                        raised_at=now,
                    )
                    for one in point.alarms
                ),
            )
            for point in machine.points
        )
        calls = any(one.alarm_state == "UNACK" for point in points for one in point.alarms)
        return replace(machine, points=points, unacknowledged=calls, state="alarm" if calls else "normal")


def _calling(machine: MachineView) -> MachineView:
    """The machine with an alarm to each first level."""
    points = tuple(
        replace(point, alarms=tuple(sites.alarm(machine, point, replace(one, state="alarm")) for one in point.levels[:1]))
        for point in machine.points
    )
    return replace(machine, points=points)
