"""What is remembered, as people and programs see it."""

from collections.abc import Iterable

from edgemon.alarms.summary import machine_view
from edgemon.engine.memory import Memory, Setting
from edgemon.model.alarm import PointState
from edgemon.model.ids import MachineId
from edgemon.model.instant import Instant
from edgemon.model.machine import Machine
from edgemon.model.snapshot import AreaView, MachineView, NoteView, SensorView


def machines(
    setting: Setting, memory: Memory, now: Instant, which: Iterable[MachineId] | None = None
) -> tuple[MachineView, ...]:
    """Show all machines, or some, in the plant file's order."""
    wanted = setting.plant.machines if which is None else tuple(setting.plant.machine_of[machine] for machine in which)
    return tuple(machine_view(machine, setting.rules, _states(memory, machine), now) for machine in wanted)


def _states(memory: Memory, machine: Machine) -> list[PointState]:
    tracks = ((point.key, sim) for point in machine.points for sim in (False, True))
    return [memory.points[track] for track in tracks if track in memory.points]


def areas(setting: Setting) -> tuple[AreaView, ...]:
    """Show the areas in the plant file's order."""
    return tuple(AreaView(area.id, area.name) for area in setting.plant.areas)


def sensors(setting: Setting, memory: Memory) -> tuple[SensorView, ...]:
    """Show every sensor the plant file names, heard or not."""
    views = []
    for sensor in setting.plant.sensors:
        points = setting.plant.points_of_sensor.get(sensor, ())
        state = memory.sensors.get(sensor)
        views.append(
            SensorView(
                id=sensor,
                machine=points[0].key.machine if points else "",
                battery_pct=state.battery_pct if state else None,
                rssi_dbm=state.rssi_dbm if state else None,
                temperature_c=state.temperature_c if state else None,
                heard_at=state.heard_at if state else None,
                captures=state.captures if state else 0,
                repeats=state.repeats if state else 0,
                late=state.late if state else 0,
                unfit=state.unfit if state else 0,
            )
        )
    return tuple(views)


def notes(memory: Memory) -> tuple[NoteView, ...]:
    """Show what is being simulated, the newest last."""
    return tuple(NoteView(note.taken_at, note.title, note.text, note.machine) for note in memory.notes)
