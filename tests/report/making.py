"""Material for reports; the plant is the invented one of the demo. Spectra are made here, by numpy alone."""

import math
from dataclasses import replace

import numpy as np

from edgemon.model.alarm import AlarmState, Priority
from edgemon.model.event import AlarmChanged, Event, MeasurementLate, QualityChanged
from edgemon.model.finding import Conclusion, Diagnosis, Evidence, Fault, Finding
from edgemon.model.ids import AlarmKey, AreaId, CaptureId, CaptureKey, MachineId, PointId, PointKey, SensorId
from edgemon.model.instant import parse_instant
from edgemon.model.level import Band, Detector, Level
from edgemon.model.limit import Limit, Severity
from edgemon.model.machine import Bearing, Criticality, Machine, Point, Sensor
from edgemon.model.outlook import CrossingView, OutlookView
from edgemon.model.snapshot import TrendPoint
from edgemon.model.spectrum import Spectrum
from edgemon.report.port import (
    CaptureMaterial,
    Family,
    Happening,
    LevelMaterial,
    Marker,
    Material,
    PointMaterial,
    SensorMaterial,
)
from edgemon.units import Quantity

UNTIL = parse_instant("2026-03-02T06:30:00Z")
SINCE = UNTIL - 7 * 86_400.0
MACHINE = MachineId("hp-pump-1")
ORIGIN = "ISO 20816-3:2022 group 2, rigid: zone boundaries B/C and C/D"
VELOCITY = Limit("velocity_rms", Quantity.VELOCITY, "mm/s", 0.0028, 0.0045, 0.0001, origin=ORIGIN)
TEMPERATURE = Limit("temperature", Quantity.TEMPERATURE, "Cel", 90.0, 105.0, 1.0)
FS_HZ, COUNT, RPM = 6400.0, 2048, 2975.0


def point(name: str = "pump-de-h", title: str = "Pump DE horizontal") -> Point:
    return Point(
        PointKey(MACHINE, PointId(name)),
        title,
        SensorId("s-0009"),
        "x",
        (VELOCITY, TEMPERATURE),
        1800.0,
        bearing=Bearing(9, 0.00794, 0.03904, 0.0),
        direction="horizontal",
    )


def machine(*points: Point, name: str = "High-pressure pump 1") -> Machine:
    kind = "high-pressure pump"
    return Machine(
        MACHINE, name, AreaId("ro-hall"), points or (point(),), kind, 2975.0, 148.75, criticality=Criticality.CRITICAL
    )


def values(
    last: float, first: float | None = None, count: int = 100, end: float = UNTIL, unfit: int = 0
) -> tuple[TrendPoint, ...]:
    start = last if first is None else first
    steps = np.linspace(start, last, count)
    times = end - 300.0 * np.arange(count)[::-1]
    return tuple(TrendPoint(float(t), float(v), k >= unfit) for k, (t, v) in enumerate(zip(times, steps, strict=True)))


def capture(taken_at: float = UNTIL - 60.0, amplitude: float = 5.0) -> CaptureMaterial:
    t = np.arange(COUNT) / FS_HZ
    samples = (amplitude * np.sin(2 * math.pi * RPM / 60.0 * t) + np.sin(2 * math.pi * 800.0 * t)).astype(np.float32)
    lines = np.abs(np.fft.rfft(samples * np.hanning(COUNT))) * 2.0 * math.sqrt(2.0) / COUNT
    hz = np.arange(lines.size) * FS_HZ / COUNT
    velocity = np.divide(lines, 2 * math.pi * hz, out=np.zeros_like(lines), where=hz > 0)
    band = Band(10.0, 1000.0)
    return CaptureMaterial(
        CaptureKey(SensorId("s-0009"), CaptureId("c1"), taken_at),
        FS_HZ,
        samples,
        RPM,
        (Level("velocity_rms", 0.002, Quantity.VELOCITY, Detector.RMS, band),),
        Spectrum(velocity.astype(np.float32), FS_HZ / COUNT, Quantity.VELOCITY, 1.5),
        Spectrum(lines.astype(np.float32), FS_HZ / COUNT, Quantity.ACCELERATION, 1.5),
        Band(625.0, 2500.0),
        tuple(Marker(k * RPM / 60.0, f"{k}x", Family.SPEED) for k in range(1, 7)),
        (Marker(RPM / 60.0, "1x", Family.SPEED), Marker(177.7, "BPFO", Family.BEARING)),
    )


def changed(
    change: str, to: AlarmState, severity: Severity, at: float, level: str = "velocity_rms", name: str = "pump-de-h"
) -> Happening:
    event = AlarmChanged(
        at,
        AlarmKey(MACHINE, PointId(name), level),
        change,
        AlarmState.NORM,
        to,
        severity,
        1,
        Priority.HIGH,
        True,
        0.0046,
        0.0045,
        "mm/s",
    )
    return happening(event, f"hp-pump-1/{name} {level}: {severity.word} {change.lower()}")


def happening(event: Event, text: str) -> Happening:
    return Happening(event, text)


def late() -> Happening:
    return happening(
        MeasurementLate(SINCE + 9.0, PointKey(MACHINE, PointId("pump-de-h")), None, SINCE + 20.0, Severity.NORMAL), "late"
    )


def stale() -> Happening:
    return happening(QualityChanged(SINCE + 50.0, PointKey(MACHINE, PointId("pump-de-h")), "stale", ("no-data",)), "stale")


def sensor(**more: object) -> SensorMaterial:
    heard = tuple(one.t for one in values(1.0))
    told = SensorMaterial(
        Sensor(SensorId("s-0009"), 300.0), 100, (), (TrendPoint(UNTIL, 87.0, True),), (TrendPoint(UNTIL, -61.0, True),), heard
    )
    return replace(told, **more)  # type: ignore[arg-type]


def finding(confidence: float = 0.87) -> Finding:
    evidence = Evidence("line of the outer race", 177.7, 3.584, 0.0012, "m/s", 21.0, (1, 2), ())
    return Finding(
        Fault.OUTER_RACE,
        confidence,
        "Pump DE horizontal",
        (evidence,),
        "BPFO family",
        "a source",
        (Fault.LOOSENESS,),
        ("grease it",),
    )


def diagnosis(*findings: Finding) -> Diagnosis:
    verdict = Conclusion.FAULT if findings else Conclusion.NO_FAULT_FOUND
    return Diagnosis(verdict, findings, 49.6, "measured", ("no gears are known",))


def outlook(*forecasts: CrossingView) -> OutlookView:
    day = 86_400.0
    coming = CrossingView("alarm", 4.5, UNTIL + 3 * day, UNTIL + 5 * day, UNTIL + 9 * day, 0.9, "linear", "", "rises")
    of = ("hp-pump-1", "pump-de-h", "velocity_rms", "velocity r.m.s.", "mm/s", UNTIL, 100, {"unfit": 3}, 2975.0, None, 2.7)
    return OutlookView(*of, None, None, forecasts or (coming,), False)


def material(last: float = 0.0020, first: float | None = None, **more: object) -> Material:
    one = point()
    level = LevelMaterial("velocity_rms", VELOCITY, values(last, first))
    warm = LevelMaterial("temperature", TEMPERATURE, values(61.0))
    of_point = PointMaterial(one, (level, warm), capture(), capture(SINCE + 60.0, 2.0))
    made = Material(
        site="Saltmarsh Desalination Works",
        area="RO hall",
        machine=machine(one),
        since=SINCE,
        until=UNTIL,
        made_at=UNTIL + 30.0,
        sim=False,
        version="0.1.0",
        settings="abc123",
        points=(of_point,),
        sensors=(sensor(),),
    )
    return replace(made, **more)  # type: ignore[arg-type]
