"""Which shaft speed the levels of a capture are computed with: measured, else estimated from the capture itself, else none."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from edgemon.analysis.speed import estimate_speed
from edgemon.engine.memory import Memory, Setting
from edgemon.model.ids import MachineId
from edgemon.model.level import Level
from edgemon.model.machine import Point
from edgemon.model.reading import Capture


class LevelSpeed(NamedTuple):
    """A speed, and what a reader must know of it: empty where it was measured."""

    rpm: float | None
    remark: str = ""


class Speeds:
    """Speeds for the points of one capture; an estimate is made once for each machine, and only where a level needs it."""

    def __init__(self, setting: Setting, memory: Memory, capture: Capture) -> None:
        self._plant = setting.plant
        self._memory = memory
        self._capture = capture
        self._estimates: dict[MachineId, LevelSpeed] = {}

    def of(self, point: Point) -> LevelSpeed:
        """Give the speed sent with the capture, else the machine's newest while it is fresh, else an estimate.

        Notes
        -----
        The nominal speed is only where the estimate is sought. A machine that is known to stand gets none: what is heard
        there is its neighbour.
        """
        capture, machine = self._capture, point.key.machine
        if capture.rpm is not None:
            return LevelSpeed(capture.rpm)
        heard = self._memory.speeds.get((machine, capture.sim))
        if heard is not None and abs(capture.taken_at - heard.taken_at) <= point.stale_after_s:
            return LevelSpeed(heard.rpm)
        state = self._memory.points.get((point.key, capture.sim))
        if not any(spec.in_orders for spec in point.levels) or (state is not None and state.running is False):
            return LevelSpeed(None)
        if machine not in self._estimates:
            self._estimates[machine] = self._estimate(machine)
        return self._estimates[machine]

    def _estimate(self, machine_id: MachineId) -> LevelSpeed:
        machine, capture = self._plant.machine_of[machine_id], self._capture
        own = {point.axis for point in self._plant.points_of_sensor[capture.sensor] if point.key.machine == machine_id}
        if capture.form is not None:
            return LevelSpeed(None)
        rows = [counts for axis, counts in sorted(capture.axes.items()) if axis in own]
        if machine.rpm is None or capture.missing_parts or not rows or min(row.size for row in rows) < 2:
            return LevelSpeed(None)
        size = min(row.size for row in rows)
        samples = np.stack([row[:size].astype(np.float64) for row in rows])
        found = estimate_speed(samples, capture.fs_hz, machine.rpm, supply_hz=machine.train.supply_hz)
        if found is None:
            return LevelSpeed(None)
        said = f"speed {found.rpm:.0f} r/min estimated from the capture ({found.method}; confidence {found.confidence:.2f})"
        return LevelSpeed(found.rpm, said)


def remarked(point: Point, levels: tuple[Level, ...], remark: str) -> tuple[Level, ...]:
    """Say of every level in orders what a reader must know of the speed it was computed with."""
    if not remark:
        return levels
    in_orders = {spec.name for spec in point.levels if spec.in_orders}
    return tuple(
        replace(level, remark="; ".join(filter(None, (level.remark, remark)))) if level.name in in_orders else level
        for level in levels
    )
