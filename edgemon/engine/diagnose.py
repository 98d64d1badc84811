"""A stored capture and what the plant file knows of its machine, handed to the diagnosis; pure, and slow (tens of ms)."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from edgemon.analysis.bands import INTEGRATIONS
from edgemon.analysis.received import amplitudes, spectrum_of
from edgemon.analysis.sensor import resonance_of, usable_hz
from edgemon.diagnosis.diagnose import diagnose_machine
from edgemon.diagnosis.frequencies import belt_rate
from edgemon.diagnosis.record import Channel, Gear, MachineFacts, Record
from edgemon.diagnosis.standing import standing
from edgemon.engine.memory import Setting
from edgemon.model.alarm import MachineSpeed
from edgemon.model.baseline import Baseline, BaselineState
from edgemon.model.finding import Conclusion, Diagnosis
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant
from edgemon.model.machine import Machine, Point
from edgemon.model.reading import Capture
from edgemon.model.spectrum import LineForm
from edgemon.model.speed import SpeedOrigin
from edgemon.trend.baseline import CHANGE_OF_B

HANN_LINES: Final = 1.5
"""Noise bandwidth of a Hann window, in lines. Source: F. J. Harris, Proc. IEEE 66 (1978) 51-83."""


def diagnose_capture(
    setting: Setting,
    key: PointKey,
    capture: Capture,
    before: Sequence[Capture] = (),
    others: Sequence[Capture] = (),
    nearby: Sequence[tuple[Machine, Capture]] = (),
) -> Diagnosis:
    """Diagnose all axes of a capture together, for the point that asks, beside those of the machine's other points.

    Parameters
    ----------
    setting : Setting
        Plant and rules.
    key : PointKey
        The point whose alarm, or whose analyst, wants to know.
    capture : Capture
        A capture of the point's sensor.
    before : sequence of Capture
        Some of the same sensor from the time of an approved baseline: what gears and its mounting are compared with.
    others : sequence of Capture
        Of the machine's other sensors, taken at about the same time.
    nearby : sequence of (Machine, Capture)
        Of other machines in the same area, taken at about the same time: where a line may come from.

    Returns
    -------
    Diagnosis
        Hypotheses with their evidence, best first.
    """
    machine = setting.plant.machine_of[key.machine]
    if stands(machine, capture):
        return standing(_record(setting, machine, capture), machine.train.supply_hz)
    asked = [(_record(setting, machine, capture), facts_of(machine, capture))]
    waves = [one for one in before if one.form is None and capture.form is None and not stands(machine, one)]
    then = [(_no_longer(_record(setting, machine, one), asked[0][0]), facts_of(machine, one)) for one in waves]
    running = [one for one in others if not stands(machine, one)]
    beside = [(_record(setting, machine, one, str(one.sensor)), facts_of(machine, one)) for one in running]
    about = [(near.name, _record(setting, near, one), facts_of(near, one)) for near, one in nearby]
    found = diagnose_machine(asked, then, beside, about)
    distorted = _distorted(setting, capture, asked[0][0])
    return replace(found, remarks=(*found.remarks, distorted)) if distorted else found


def _no_longer(then: Record, now: Record) -> Record:
    """Cut a record of the baseline to the duration of the one it is for: what a diagnosis costs goes with that one alone."""
    most = math.ceil(now.samples.shape[1] * then.fs_hz / now.fs_hz)
    return replace(then, samples=then.samples[:, :most])


def _distorted(setting: Setting, capture: Capture, record: Record) -> str:
    """Say from where on the resonance of the mounting distorts what is diagnosed; empty where it does not, or is not known."""
    sensor = setting.plant.sensors[capture.sensor]
    known = resonance_of(sensor.resonance_hz, sensor.mounting)
    if known is None or usable_hz(known[0]) >= 0.5 * record.fs_hz:
        return ""
    text = f"resonance of the mounting at {known[0]:.0f} Hz ({known[1]})"
    return f"{text}: above {usable_hz(known[0]):.0f} Hz lines and envelopes tell of rhythms, not of sizes"


def stands(machine: Machine, capture: Capture) -> bool:
    """Say whether a capture tells of a machine that does not run: its speed is none, or that of a standstill."""
    return capture.rpm is not None and capture.rpm <= max(machine.standstill_rpm or 0.0, 0.0)


def at_speed_heard(capture: Capture, heard: MachineSpeed | None, fresh_s: float) -> Capture:
    """Give a capture without a speed of its own the one that its machine was heard to have, while that is fresh."""
    if capture.rpm is not None or heard is None or abs(capture.taken_at - heard.taken_at) > fresh_s:
        return capture
    return replace(capture, rpm=heard.rpm)


def _record(setting: Setting, machine: Machine, capture: Capture, prefix: str = "") -> Record:
    """Make a record of a capture, its channels named by the machine's points; with `prefix` where an axis is no point."""
    own = setting.plant.points_of_sensor[capture.sensor]
    points = {point.axis: point for point in own if point.key.machine == machine.id}
    made = _of_samples(capture, points) if capture.form is None else _of_lines(capture, capture.form, points)
    if not prefix:
        return made
    known = {str(point.key.point) for point in points.values()}
    named = (one if one.name in known else replace(one, name=f"{prefix} {one.name}") for one in made.channels)
    return replace(made, channels=tuple(named))


def baseline_time(baselines: Iterable[Baseline], key: PointKey, sim: bool) -> tuple[Instant, Instant] | None:
    """Give first and last time of the newest approved baseline of a point, whatever its level; None where there is none."""
    approved = [one for one in baselines if one.point == key and one.sim is sim and one.state is BaselineState.APPROVED]
    newest = max(approved, key=lambda one: one.last_at, default=None)
    return None if newest is None else (newest.first_at, newest.last_at)


def _of_samples(capture: Capture, points: Mapping[str, Point]) -> Record:
    axes = sorted(capture.axes)
    samples = np.stack([capture.axes[axis].astype(np.float64) for axis in axes]) * capture.si_per_count
    return Record(samples, capture.fs_hz, tuple(_channel(axis, points.get(axis)) for axis in axes))


def _of_lines(capture: Capture, form: LineForm, points: Mapping[str, Point]) -> Record:
    """Make a record of the lines of a spectrum, as acceleration under a Hann window."""
    axes = sorted(capture.axes)
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
        return Channel(f"axis {axis}")
    return Channel(str(point.key.point), point.direction, location=point.name, part=point.part, end=point.end)


def facts_of(machine: Machine, capture: Capture) -> MachineFacts:
    """Give what the plant file and the capture itself say of a machine, as seen from the capture's sensor."""
    rpm = machine.rpm if capture.rpm is None else capture.rpm or None
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
        rotor_bars=train.rotor_bars,
        sleeve_bearings=train.sleeve_bearings,
        speed_origin=_origin(machine, capture),
        planetary=train.planetary,
        change_m_s=_change(here),
    )


def _change(points: Sequence[Point]) -> float | None:
    """Give the significant change of velocity at a sensor's points; None where no class with zones says so."""
    limits = [limit for point in points if (limit := point.limit_of("velocity_rms")) is not None]
    return min((CHANGE_OF_B * limit.zones.upper_b for limit in limits if limit.zones is not None), default=None)


def _origin(machine: Machine, capture: Capture) -> SpeedOrigin:
    if capture.rpm is not None:
        return SpeedOrigin.MEASURED
    if machine.rpm is None:
        return SpeedOrigin.UNKNOWN
    return SpeedOrigin.FIXED if machine.fixed_speed else SpeedOrigin.NOMINAL
