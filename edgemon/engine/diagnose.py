"""A stored capture and what the plant file knows of its machine, handed to the diagnosis; pure, and slow (tens of ms)."""

import numpy as np

from edgemon.diagnosis.diagnose import diagnose
from edgemon.diagnosis.frequencies import belt_rate
from edgemon.diagnosis.record import Channel, Gear, MachineFacts, Record
from edgemon.engine.memory import Setting
from edgemon.model.finding import Diagnosis
from edgemon.model.ids import PointKey
from edgemon.model.machine import Machine, Point
from edgemon.model.reading import Capture


def diagnose_capture(setting: Setting, key: PointKey, capture: Capture) -> Diagnosis:
    """Diagnose all axes of a capture together, for the point that asks.

    Parameters
    ----------
    setting : Setting
        Plant and rules.
    key : PointKey
        The point whose alarm, or whose analyst, wants to know.
    capture : Capture
        A capture of the point's sensor.

    Returns
    -------
    Diagnosis
        Hypotheses with their evidence, best first.
    """
    machine = setting.plant.machine_of[key.machine]
    points = {point.axis: point for point in setting.plant.points_of_sensor[capture.sensor] if point.key.machine == key.machine}
    axes = sorted(capture.axes)
    samples = np.stack([capture.axes[axis].astype(np.float64) for axis in axes]) * capture.si_per_count
    channels = tuple(_channel(axis, points.get(axis)) for axis in axes)
    return diagnose(Record(samples, capture.fs_hz, channels), facts_of(machine, capture))


def _channel(axis: str, point: Point | None) -> Channel:
    if point is None:
        return Channel(axis)
    return Channel(str(point.key.point), point.direction, location=point.name)


def facts_of(machine: Machine, capture: Capture) -> MachineFacts:
    """Give what the plant file and the capture itself say of a machine, as seen from the capture's sensor."""
    rpm = machine.rpm if capture.rpm is None else capture.rpm
    train = machine.train
    here = [point for point in machine.points if point.sensor == capture.sensor]
    distinct = {point.bearing: str(point.key.point) for point in reversed(here) if point.bearing is not None}
    return MachineFacts(
        speed_hz=None if rpm is None else rpm / 60.0,
        bearings=tuple((name, bearing) for bearing, name in distinct.items()),
        gears=tuple(Gear(gear.teeth, gear.driven_teeth, gear.order) for gear in train.gears),
        blades=train.blades,
        belt_hz=None if train.belt is None or not rpm else belt_rate(train.belt.sheave_m, train.belt.length_m, rpm / 60.0),
        supply_hz=train.supply_hz,
        poles=train.poles,
        sleeve_bearings=train.sleeve_bearings,
    )
