"""Which shaft speed the levels of a capture are computed with: measured, else fixed, else estimated from the capture."""

import numpy as np

from edgemon.analysis.speed import estimate_speed
from edgemon.engine.memory import Memory, Setting
from edgemon.model.ids import MachineId
from edgemon.model.level import Level
from edgemon.model.machine import Point
from edgemon.model.reading import Capture
from edgemon.model.speed import Speed, SpeedOrigin


class Speeds:
    """Speeds for the points of one capture; an estimate is made once for each machine, and only where a level needs it."""

    def __init__(self, setting: Setting, memory: Memory, capture: Capture) -> None:
        self._plant = setting.plant
        self._memory = memory
        self._capture = capture
        self._estimates: dict[MachineId, Speed] = {}

    def of(self, point: Point) -> Speed:
        """Give the speed sent with the capture, else the machine's newest while it is fresh, else its fixed one or an estimate.

        Notes
        -----
        The nominal speed of a machine whose speed may vary is only where the estimate is sought. A machine that is known to
        stand gets none: what is heard there is its neighbour.
        """
        capture, machine = self._capture, point.key.machine
        if capture.rpm is not None:
            return Speed(capture.rpm, SpeedOrigin.MEASURED)
        heard = self._memory.speeds.get((machine, capture.sim))
        if heard is not None and abs(capture.taken_at - heard.taken_at) <= point.stale_after_s:
            return Speed(heard.rpm, SpeedOrigin.MEASURED)
        state = self._memory.points.get((point.key, capture.sim))
        if not any(spec.in_orders for spec in point.levels) or (state is not None and state.running is False):
            return Speed()
        known = self._plant.machine_of[machine]
        if known.fixed_speed and known.rpm is not None:
            return Speed(known.rpm, SpeedOrigin.FIXED, None, f"speed {known.rpm:.0f} r/min fixed by the plant file")
        if machine not in self._estimates:
            self._estimates[machine] = self._estimate(machine)
        return self._estimates[machine]

    def _estimate(self, machine_id: MachineId) -> Speed:
        machine, capture = self._plant.machine_of[machine_id], self._capture
        own = {point.axis for point in self._plant.points_of_sensor[capture.sensor] if point.key.machine == machine_id}
        if capture.form is not None:
            return Speed()
        rows = [counts for axis, counts in sorted(capture.axes.items()) if axis in own]
        if machine.rpm is None or capture.missing_parts or not rows or min(row.size for row in rows) < 2:
            return Speed()
        size = min(row.size for row in rows)
        samples = np.stack([row[:size].astype(np.float64) for row in rows])
        found = estimate_speed(samples, capture.fs_hz, machine.rpm, supply_hz=machine.train.supply_hz)
        if found is None:
            return Speed()
        said = f"speed {found.rpm:.0f} r/min estimated from the capture ({found.method}; confidence {found.confidence:.2f})"
        return Speed(found.rpm, SpeedOrigin.ESTIMATED, found.confidence, said)


def with_speed(point: Point, levels: tuple[Level, ...], speed: Speed) -> tuple[Level, ...]:
    """Let every level in orders say which speed it was computed with, and what a reader must know of that."""
    in_orders = {spec.name for spec in point.levels if spec.in_orders}
    if speed.rpm is None or not in_orders:
        return levels
    return tuple(
        level._replace(speed=speed, remark="; ".join(filter(None, (level.remark, speed.text))))
        if level.name in in_orders
        else level
        for level in levels
    )
