"""Values to store; the plant is the invented one of the demo."""

import dataclasses

import numpy as np

from edgemon.model.alarm import (
    AlarmRecord,
    AlarmState,
    Arrival,
    Condition,
    Hiding,
    MachineSpeed,
    Pending,
    PointState,
    Priority,
    SensorState,
)
from edgemon.model.baseline import Baseline, BaselineState
from edgemon.model.event import AlarmChanged, Event
from edgemon.model.gateway_event import GatewayStarted
from edgemon.model.ids import AlarmKey, CaptureId, MachineId, PointId, PointKey, SensorId
from edgemon.model.level import Band, Detector, Level, Measurement
from edgemon.model.limit import Severity
from edgemon.model.message import Quarantined
from edgemon.model.quality import Flaw, Quality, Verdict
from edgemon.model.reading import Capture, CapturePart, Counts, Reading
from edgemon.model.spectrum import LineForm
from edgemon.units import Quantity

T0 = 1_800_000_000.25
SENSOR = SensorId("s-0001")
POINT = PointKey(MachineId("hp-pump-1"), PointId("motor-de-h"))
ALARM = AlarmKey(POINT.machine, POINT.point, "velocity_rms")


def counts(seed: int, samples: int = 64) -> Counts:
    return np.random.default_rng(seed).integers(-32768, 32767, samples, dtype=np.int16, endpoint=True)


def capture(
    number: int = 1,
    *,
    sensor: str = SENSOR,
    taken_at: float | None = None,
    samples: int = 64,
    sim: bool = False,
    missing_parts: tuple[int, ...] = (),
) -> Capture:
    taken_at = T0 + 300.0 * number if taken_at is None else taken_at
    axes = {axis: counts(10 * number + k, samples) for k, axis in enumerate("xyz")}
    return Capture(
        sensor=SensorId(sensor),
        id=CaptureId(f"c-{number}"),
        taken_at=taken_at,
        received_at=taken_at + 1.5,
        fs_hz=6400.0,
        unit="g",
        scale=0.000488,
        si_per_count=0.00478,
        axes=axes,
        rpm=2975.0,
        temperature_c=41.5,
        battery_pct=None,
        rssi_dbm=-71.0,
        sim=sim,
        missing_parts=missing_parts,
    )


FORM = LineForm(Quantity.VELOCITY, Detector.PEAK, 1.25, 0.0, 1.5, "hann", averages=8, is_float=True)


def spectrum(number: int = 1, *, sim: bool = False) -> Capture:
    return dataclasses.replace(capture(number, sim=sim), fs_hz=0.0, unit="mm/s", si_per_count=7e-4, form=FORM)


def part(number: int, count: int = 3, *, of: int = 1, sensor: str = SENSOR) -> CapturePart:
    return CapturePart(
        sensor=SensorId(sensor),
        id=CaptureId(f"c-{of}"),
        taken_at=T0 + 300.0 * of,
        received_at=T0 + 300.0 * of + number,
        fs_hz=6400.0,
        unit="mV",
        scale=0.1,
        si_per_count=0.0098,
        axes={"x": counts(number)},
        number=number,
        count=count,
        battery_pct=88.0,
    )


def measurement(
    value: float, *, taken_at: float = T0, point: PointKey = POINT, fit: bool = True, sim: bool = False
) -> Measurement:
    return Measurement(
        point=point,
        taken_at=taken_at,
        received_at=taken_at + 1.5,
        levels=(
            Level("velocity_rms", value, Quantity.VELOCITY, Detector.RMS, Band(10.0, 1000.0)),
            Level("temperature", 41.5, Quantity.TEMPERATURE, Detector.VALUE),
        ),
        verdict=Verdict() if fit else Verdict((Flaw.CLIPPED,), ("12 samples at the end of the range",)),
        sim=sim,
    )


def reading(value: float, *, name: str = "battery", axis: str = "", taken_at: float = T0, sim: bool = False) -> Reading:
    return Reading(SENSOR, name, axis, taken_at, taken_at + 1.0, value, Quantity.CHARGE, sim)


def quarantined(number: int) -> Quarantined:
    topic = f"edgemon/v1/sensor/s-{number:04d}/capture"
    return Quarantined(topic, b"\x00\xff" * number, 5000 + number, T0 + number, "truncated", f"message {number} ends early")


def raised(at: float = T0, value: float = 0.0046) -> AlarmChanged:
    return AlarmChanged(
        at=at,
        alarm=ALARM,
        change="RAISED",
        from_state=AlarmState.NORM,
        to_state=AlarmState.UNACK,
        severity=Severity.ALARM,
        occurrence=3,
        priority=Priority.HIGH,
        annunciates=True,
        value=value,
        limit=0.0045,
        unit="mm/s",
    )


def baseline(level: str = "velocity_rms", *, sim: bool = False, state: BaselineState = BaselineState.PROPOSED) -> Baseline:
    statistics = (20, T0, T0 + 60.0, 0.00125, 0.0012, 0.00005)
    return Baseline(POINT, level, Quantity.VELOCITY, *statistics, 2975.0, None, T0 + 61.0, state, sim=sim)


def started(number: int = 0) -> Event:
    return GatewayStarted(T0 + number, "0.1.0", f"plant {number}")


def point_state(value: float = 0.0031, *, point: PointKey = POINT, sim: bool = False) -> PointState:
    shelf = Hiding("operator", "waiting for the spare seal", T0, T0 + 3600.0, True, Severity.ALERT)
    pending = Condition(False, Pending(T0, 1))
    record = AlarmRecord(ALARM, AlarmState.SHLVD, Severity.ALERT, Severity.ALARM, 3, T0, T0 - 5.0, Condition(True), pending)
    return PointState(
        point=point,
        sim=sim,
        taken_at=T0,
        fit_at=T0,
        heard_at=T0 + 1.0,
        quality=Quality.GOOD,
        reasons=("clipped",),
        levels=(Level("velocity_rms", value, Quantity.VELOCITY, Detector.RMS, Band(10.0, 1000.0), "short"),),
        level_at={"velocity_rms": T0},
        alarms={"velocity_rms": record, "monitoring": AlarmRecord(ALARM, shelf=shelf, priority=Priority.MEDIUM)},
        running=True,
        rpm=2975.0,
        capture=CaptureId("c-1"),
        trend=(0.1, 0.2, 1.0 / 3.0),
    )


def sensor_state(battery_pct: float = 88.0, *, sensor: str = SENSOR, sim: bool = False) -> SensorState:
    arrivals = (Arrival("00ff00ff00ff00ff", T0, T0 - 0.1), Arrival("a" * 16, T0 + 1.0 / 3.0, T0))
    facts = SensorState(sensor, battery_pct, -71.0, None, T0, captures=5, late=1, clock_offset_s=0.1 + 0.2, sim=sim)
    return dataclasses.replace(facts, arrivals=arrivals)


def speed(rpm: float = 2975.0, *, sim: bool = False) -> MachineSpeed:
    return MachineSpeed(POINT.machine, rpm, T0, sim)
