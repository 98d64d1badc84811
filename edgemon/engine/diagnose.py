"""A stored capture and what the plant file knows of its machine, handed to the diagnosis; pure, and slow (tens of ms)."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from edgemon.analysis.bands import INTEGRATIONS
from edgemon.analysis.received import amplitudes, spectrum_of
from edgemon.diagnosis.diagnose import diagnose
from edgemon.diagnosis.frequencies import belt_rate
from edgemon.diagnosis.record import Channel, Gear, MachineFacts, Record
from edgemon.engine.memory import Setting
from edgemon.model.finding import Conclusion, Diagnosis
from edgemon.model.ids import PointKey
from edgemon.model.machine import Machine, Point
from edgemon.model.reading import Capture
from edgemon.model.spectrum import LineForm

HANN_LINES: Final = 1.5
"""Noise bandwidth of a Hann window, in lines. Source: F. J. Harris, Proc. IEEE 66 (1978) 51-83."""


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
    if capture.form is not None:
        return diagnose(_of_lines(capture, capture.form, axes, points), facts_of(machine, capture))
    samples = np.stack([capture.axes[axis].astype(np.float64) for axis in axes]) * capture.si_per_count
    channels = tuple(_channel(axis, points.get(axis)) for axis in axes)
    return diagnose(Record(samples, capture.fs_hz, channels), facts_of(machine, capture))


def _of_lines(capture: Capture, form: LineForm, axes: list[str], points: Mapping[str, Point]) -> Record:
    """Make a record of the lines of a spectrum, as acceleration under a Hann window."""
    whole = [spectrum_of(amplitudes(capture.axes[axis], form, capture.si_per_count), form) for axis in axes]
    hz = form.line_hz * np.arange(whole[0].amplitude.size)
    times = (2.0 * np.pi * hz) ** INTEGRATIONS[form.quantity]
    lines = np.stack([one.amplitude.astype(np.float64) for one in whole]) * times
    lines *= np.sqrt(HANN_LINES / form.noise_bandwidth_lines)
    channels = tuple(_channel(axis, points.get(axis)) for axis in axes)
    return Record(np.empty((len(axes), 0)), 2.0 * float(hz[-1]), channels, lines=lines)


def levels_only(sensor: str) -> Diagnosis:
    """Say of a point whose sensor sends no more than levels that no cause can be told."""
    why = f"sensor {sensor} sends levels only: no waveform and no spectrum, so no cause can be told"
    return Diagnosis(Conclusion.CANNOT_TELL, (), remarks=(why,))


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
