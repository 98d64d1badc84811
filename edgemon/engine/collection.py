"""Timed fast collection: begun and taken back by an engineer, ended by time; then the routine schedule is in force again."""

from collections.abc import Mapping
from dataclasses import replace

from edgemon.engine.draft import Draft, Judgement, draft_of, judgement_of
from edgemon.engine.memory import Memory, Setting
from edgemon.engine.proof import CLOCK_WAS_SET, NO_REASON, TIME_IS_UP
from edgemon.errors import ParameterError
from edgemon.model.collection import (
    CollectionView,
    FastCollectionEnded,
    FastCollectionStarted,
    FastCommand,
    FastView,
    StartFast,
    check,
    cost_of,
    how_to_command,
    on_already,
)
from edgemon.model.command import Person
from edgemon.model.ids import MachineId, SensorId
from edgemon.model.instant import Instant
from edgemon.model.machine import Plant, Sensor, point_key

PLANT_FILE = "the plant file no longer lets it"


def obey(setting: Setting, memory: Memory, order: FastCommand, person: Person, now: Instant) -> Judgement:
    """Begin a fast collection, or take back the one that is on.

    Raises
    ------
    ParameterError
        It cannot be done, and why.
    """
    if not order.reason.strip():
        raise ParameterError(NO_REASON, "reason")
    sensor = sensor_of(setting.plant, order.target)
    draft, on = draft_of(setting, memory, now), memory.fast.get(sensor.id)
    if isinstance(order, StartFast):
        if on is not None:
            raise on_already(sensor.id, on.until, on.by)
        started = _started(setting.plant, sensor, order, person, now)
        draft.events.append(started)
        _show(draft, sensor.id)
        return judgement_of(draft, replace(memory, fast={**memory.fast, sensor.id: started}))
    if on is None:
        raise ParameterError(f"no fast collection is on at sensor {sensor.id}")
    return judgement_of(draft, replace(memory, fast=_without(draft, memory.fast, on, order.reason.strip(), person)))


def sensor_of(plant: Plant, target: str) -> Sensor:
    """Give the sensor that is named, by itself or by a point (`machine/point`) it watches.

    Raises
    ------
    ParameterError
        There is none such, or it watches no point.
    """
    machine, is_point, name = target.partition("/")
    if is_point:
        point = plant.points.get(point_key(machine, name))
        if point is None:
            raise ParameterError(f"no such point: {target}", "point")
        return plant.sensors[point.sensor]
    sensor = plant.sensors.get(SensorId(target))
    if sensor is None:
        raise ParameterError(f"no such sensor: {target}", "sensor", "name a sensor, or a point as MACHINE/POINT")
    if sensor.id not in plant.points_of_sensor:
        raise ParameterError(f"no point uses sensor {target}", "sensor")
    return sensor


def _started(plant: Plant, sensor: Sensor, order: StartFast, person: Person, now: Instant) -> FastCollectionStarted:
    collects = sensor.collects
    if collects is None:
        what = f"sensor {sensor.id} is not commanded: plant.toml does not say what it collects"
        raise ParameterError(what, "sensor", how_to_command(sensor.id))
    check(sensor.interval_s, collects.takes_s, order.interval_s, order.duration_s)
    cost = cost_of(sensor.interval_s, order.interval_s, order.duration_s, collects.captures_per_percent)
    who, machine = (person.name, person.station, order.reason.strip()), plant.points_of_sensor[sensor.id][0].key.machine
    until, paid = now + order.duration_s, (cost.captures, cost.battery_pct)
    return FastCollectionStarted(now, until, sensor.id, machine, order.interval_s, sensor.interval_s, *paid, *who)


def passed(draft: Draft, fast: Mapping[SensorId, FastCollectionStarted]) -> Mapping[SensorId, FastCollectionStarted]:
    """Let time do its work: end what is over, what a clock set back would prolong, and what the plant file no longer allows."""
    for one in tuple(fast.values()):
        if draft.now < one.at:
            fast = _without(draft, fast, one, CLOCK_WAS_SET)
        elif draft.now >= one.until:
            fast = _without(draft, fast, one, TIME_IS_UP)
        elif not _may_go_on(draft.setting.plant, one):
            fast = _without(draft, fast, one, PLANT_FILE)
    return fast


def _may_go_on(plant: Plant, one: FastCollectionStarted) -> bool:
    """Say whether the plant file as it is now would allow it, too."""
    sensor = plant.sensors.get(one.sensor)
    if sensor is None or sensor.collects is None or one.sensor not in plant.points_of_sensor:
        return False
    return sensor.collects.takes_s <= one.interval_s < sensor.interval_s


def end_all(draft: Draft, fast: Mapping[SensorId, FastCollectionStarted], why: str) -> None:
    """End every fast collection."""
    for one in fast.values():
        _without(draft, fast, one, why)


def _without(
    draft: Draft,
    fast: Mapping[SensorId, FastCollectionStarted],
    one: FastCollectionStarted,
    why: str,
    person: Person | None = None,
) -> Mapping[SensorId, FastCollectionStarted]:
    by, station = ("", "") if person is None else (person.name, person.station)
    is_commanded = one.sensor in commanded(draft.setting.plant)
    draft.events.append(FastCollectionEnded(draft.now, one.sensor, one.machine, why, by, station, is_commanded))
    _show(draft, one.sensor)
    return {sensor: other for sensor, other in fast.items() if sensor != one.sensor}


def commanded(plant: Plant) -> tuple[SensorId, ...]:
    """Give the sensors that have a schedule: those that a point uses and whose collection the plant file says."""
    return tuple(sensor for sensor in plant.points_of_sensor if plant.sensors[sensor].collects is not None)


def _show(draft: Draft, sensor: SensorId) -> None:
    """Have what is published of the sensor's points looked at anew: its schedule goes with them."""
    points = {point.key for point in draft.setting.plant.points_of_sensor.get(sensor, ())}
    draft.moved.update(track for track in draft.points if track[0] in points)


def collection_view(sensor: Sensor, on: FastCollectionStarted | None) -> CollectionView | None:
    """Show what is commanded of a sensor; None where nothing is."""
    one = sensor.collects
    if one is None:
        return None
    fast = None if on is None else FastView(on.at, on.until, on.interval_s, on.by, on.reason)
    return CollectionView(sensor.interval_s, one.fs_hz, one.samples, one.axes, one.captures_per_percent, fast)


def schedules(setting: Setting, memory: Memory, machine: MachineId, now: Instant) -> dict[SensorId, CollectionView]:
    """Give what is commanded of each sensor of a machine now; a fast collection that is over is not shown any more.

    Neither is one that would begin only in the future, because the clock was set back, or one that the plant file rules out.
    """
    points = setting.plant.machine_of[machine].points
    found = {}
    for sensor in dict.fromkeys(point.sensor for point in points):
        on = memory.fast.get(sensor)
        holds = on is not None and on.at <= now < on.until and _may_go_on(setting.plant, on)
        view = collection_view(setting.plant.sensors[sensor], on if holds else None)
        if view is not None:
            found[sensor] = view
    return found
