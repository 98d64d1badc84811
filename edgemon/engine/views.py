"""What is remembered, as people and programs see it."""

from collections.abc import Iterable
from dataclasses import replace

from edgemon.alarms.health import health
from edgemon.alarms.parent import RULES, responses
from edgemon.alarms.summary import alarm_view, calls, is_listed, machine_view
from edgemon.engine.collection import collection_view
from edgemon.engine.memory import Memory, Setting
from edgemon.engine.parent import TRACK
from edgemon.engine.proof import hears
from edgemon.model.alarm import PointState, SensorState
from edgemon.model.event import DiagnosisMade
from edgemon.model.ids import AlarmKey, MachineId, SensorId
from edgemon.model.instant import Instant
from edgemon.model.limit import Severity
from edgemon.model.machine import Machine, point_key
from edgemon.model.snapshot import AlarmView, AreaView, DiagnosisView, MachineView, NoteView, SensorView


def machines(
    setting: Setting, memory: Memory, now: Instant, which: Iterable[MachineId] | None = None
) -> tuple[MachineView, ...]:
    """Show all machines, or some, in the plant file's order."""
    wanted = setting.plant.machines if which is None else tuple(setting.plant.machine_of[machine] for machine in which)
    shown = (machine_view(machine, setting.rules, _states(memory, machine), now) for machine in wanted)
    return tuple(_diagnosed(memory, _called(setting, memory, machine, now)) for machine in shown)


def _called(setting: Setting, memory: Memory, machine: MachineView, now: Instant) -> MachineView:
    """Have simulated alarms call nobody where simulated data is not what the gateway is there for, but in a proof."""
    if setting.gateway.simulated or not any(alarm.sim for point in machine.points for alarm in point.alarms):
        return machine

    def seen(alarm: AlarmView) -> AlarmView:
        key = AlarmKey(*point_key(alarm.machine, alarm.point), alarm.level, alarm.sim)
        if not alarm.sim:
            return alarm
        is_heard = hears(setting, memory, key, now)
        return replace(alarm, annunciates=alarm.annunciates and is_heard, proof=is_heard)

    points = tuple(replace(point, alarms=tuple(map(seen, point.alarms))) for point in machine.points)
    unacknowledged = any(calls(alarm) for point in points for alarm in point.alarms)
    return replace(machine, points=points, unacknowledged=unacknowledged)


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


def sensors(setting: Setting, memory: Memory, now: Instant, which: Iterable[SensorId] | None = None) -> tuple[SensorView, ...]:
    """Show every sensor the plant file names, heard or not; or some of them."""
    wanted = setting.plant.sensors if which is None else which
    return tuple(_sensor(setting, memory, sensor, now) for sensor in wanted)


def _sensor(setting: Setting, memory: Memory, sensor: SensorId, now: Instant) -> SensorView:
    points = setting.plant.points_of_sensor.get(sensor, ())
    state = memory.sensors.get(sensor)
    sim = state.sim if state is not None else setting.gateway.simulated
    tracks = [(setting.rules[point.key], memory.points.get((point.key, sim))) for point in points]
    watched = [(rules, point) for rules, point in tracks if point is not None]
    found = health(setting.plant.sensors[sensor], state, watched, now)
    shown = state or SensorState(sensor)
    return SensorView(
        id=sensor,
        machine=points[0].key.machine if points else "",
        battery_pct=shown.battery_pct,
        rssi_dbm=shown.rssi_dbm,
        temperature_c=shown.temperature_c,
        heard_at=shown.heard_at,
        captures=shown.captures,
        repeats=shown.repeats,
        late=shown.late,
        unfit=shown.unfit,
        status=found.status.value,
        causes=found.causes,
        completeness=found.completeness,
        battery_days=found.battery_days,
        clock_offset_s=shown.clock_offset_s,
        collection=collection_view(setting.plant.sensors[sensor], memory.fast.get(sensor)),
    )


def own_alarms(memory: Memory) -> tuple[AlarmView, ...]:
    """Show the gateway's own alarm, while it is not plainly normal."""
    state = memory.points.get(TRACK)
    if state is None:
        return ()
    told = responses(state)
    views = (alarm_view(RULES, record) for record in state.alarms.values() if is_listed(record))
    return tuple(replace(view, response=told.get((view.level, Severity.ALARM))) for view in views)


def notes(memory: Memory) -> tuple[NoteView, ...]:
    """Show what is being simulated, the newest last."""
    return tuple(NoteView(note.taken_at, note.title, note.text, note.machine) for note in memory.notes)
