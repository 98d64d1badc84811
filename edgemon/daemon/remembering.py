"""What the last run left behind, as the memory of this one."""

from edgemon.decode.assemble import restore
from edgemon.engine.baselines import key_of
from edgemon.engine.memory import Memory, Setting
from edgemon.model.ids import MachineId, PointId
from edgemon.model.machine import GATEWAY
from edgemon.store.port import Saved


def memory_of(setting: Setting, saved: Saved) -> Memory:
    """Take up what was saved, as far as the plant file still knows of it; the states of points are taken up by the judge."""
    newest_last = sorted(saved.sensors, key=lambda state: state.heard_at or 0.0)  # one memory of both, real and simulated
    sensors = {state.sensor: state for state in newest_last}
    return Memory(
        points={},
        sensors={sensor: sensors[sensor] for sensor in setting.plant.sensors if sensor in sensors},
        speeds={(speed.machine, speed.sim): speed for speed in saved.speeds},
        assembly=restore(saved.parts, setting.gateway.borders),
        counters=dict(saved.counters),
        diagnoses={(made.point, made.sim): made for made in saved.diagnoses if made.point in setting.rules},
        baselines={key_of(one): one for one in saved.baselines},
    )


def gone(setting: Setting, saved: Saved) -> set[tuple[MachineId, PointId | None]]:
    """Give the points (and machines, without a point) that had a state once and that the plant file no longer has."""
    points = {state.point for state in saved.points} - setting.rules.keys() - {GATEWAY}
    machines = {key.machine for key in points} - setting.plant.machine_of.keys()
    return {(key.machine, key.point) for key in points} | {(machine, None) for machine in machines}
