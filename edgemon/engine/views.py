"""What is remembered, as people and programs see it."""

from collections.abc import Iterable
from dataclasses import replace

from edgemon.alarms.summary import machine_view
from edgemon.engine.memory import Memory, Setting
from edgemon.model.alarm import PointState
from edgemon.model.event import DiagnosisMade
from edgemon.model.ids import MachineId
from edgemon.model.instant import Instant
from edgemon.model.machine import Machine, point_key
from edgemon.model.snapshot import AreaView, DiagnosisView, MachineView, NoteView, SensorView


def machines(
    setting: Setting, memory: Memory, now: Instant, which: Iterable[MachineId] | None = None
) -> tuple[MachineView, ...]:
    """Show all machines, or some, in the plant file's order."""
    wanted = setting.plant.machines if which is None else tuple(setting.plant.machine_of[machine] for machine in which)
    return tuple(_diagnosed(memory, machine_view(machine, setting.rules, _states(memory, machine), now)) for machine in wanted)


def _diagnosed(memory: Memory, machine: MachineView) -> MachineView:
    """Add the newest diagnosis of each point that has one."""
    made = [memory.diagnoses.get((point_key(machine.id, point.point), point.sim)) for point in machine.points]
    if not any(made):
        return machine
    points = (
        point if one is None else replace(point, diagnosis=diagnosis_view(one))
        for point, one in zip(machine.points, made, strict=True)
    )
    return replace(machine, points=tuple(points))


def diagnosis_view(made: DiagnosisMade) -> DiagnosisView:
    """Show a diagnosis."""
    found = made.diagnosis
    return DiagnosisView(made.at, found.verdict.value, found.findings, found.remarks, made.by)


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
