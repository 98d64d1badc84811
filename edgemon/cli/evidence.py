"""What follows from captures for a report: spectra, marked lines, diagnosis."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from edgemon.analysis.integrate import integrated
from edgemon.analysis.measure import MeasuredWithSpectra, Waveform, measure_with_spectra
from edgemon.analysis.received import measure_spectrum, velocity_spectrum
from edgemon.diagnosis.markers import MEASURED, expected, multiple_of
from edgemon.diagnosis.markers import Family as Kind
from edgemon.diagnosis.record import MachineFacts
from edgemon.engine.diagnose import diagnose_capture
from edgemon.engine.memory import Setting
from edgemon.engine.received import received
from edgemon.model.finding import Finding
from edgemon.model.ids import CaptureKey, PointKey
from edgemon.model.machine import Machine, Plant, Point
from edgemon.model.reading import Capture
from edgemon.report.port import CaptureMaterial, Family, Marker, SensorMaterial
from edgemon.store.port import Reader
from edgemon.units import Quantity

MOST_TRIED = 12
"""Captures looked at from either end of the period before giving up on a fit one."""
SPEED_ORDERS = 6
BEARING_ORDERS = 3


@dataclass(frozen=True, slots=True, eq=False)
class Taken:
    """A capture of a sensor that is fit at all its points, and what follows from it."""

    capture: Capture
    results: Mapping[PointKey, MeasuredWithSpectra]


async def fit_capture(
    reader: Reader, plant: Plant, machine: Machine, points: Sequence[Point], keys: Sequence[CaptureKey]
) -> tuple[Taken | None, tuple[str, ...]]:
    """Find the first capture that is fit at all its points and was taken while the machine ran; and why others were not.

    One at the machine's usual speed goes before one of a start or a stop; where there is none, the first fit one is taken.
    """
    unfit: list[str] = []
    other: tuple[Taken, tuple[str, ...]] | None = None
    standstill = machine.standstill_rpm or 0.0
    for key in keys[:MOST_TRIED]:
        capture = await reader.capture(key)
        if capture is None or (capture.rpm is not None and capture.rpm <= standstill):
            continue
        watched = [point for point in points if point.axis in capture.axes]
        results = _measured(plant, watched, capture)
        flaws = [remark for _, verdict, _, _ in results if not verdict.is_fit for remark in verdict.remarks or verdict.flaws]
        if watched and not flaws:
            taken = {point.key: result for point, result in zip(watched, results, strict=True)}
            if _is_usual(machine, capture):
                return Taken(capture, taken), tuple(unfit)
            other = other or (Taken(capture, taken), tuple(unfit))
        unfit += flaws
    return other or (None, tuple(unfit))


def _is_usual(machine: Machine, capture: Capture) -> bool:
    """Say whether a capture was taken at the usual speed, or nobody knows otherwise."""
    if machine.rpm is None or capture.rpm is None:
        return True
    return abs(capture.rpm - machine.rpm) <= machine.learning.speed_tolerance * machine.rpm


def _measured(plant: Plant, points: Sequence[Point], capture: Capture) -> list[MeasuredWithSpectra]:
    """Measure a waveform, or what the lines of a spectrum that a sensor sent can tell; as velocity, and without an envelope."""
    form = capture.form
    if form is None:
        return measure_with_spectra([_waveform(plant, point, capture) for point in points])
    sent = [received(capture, form, point, capture.rpm) for point in points]
    return [(*measure_spectrum(one), velocity_spectrum(one), None) for one in sent]


def _waveform(plant: Plant, point: Point, capture: Capture) -> Waveform:
    return Waveform(
        counts=capture.axes[point.axis],
        si_per_count=capture.si_per_count,
        fs_hz=capture.fs_hz,
        band=point.band,
        envelope_band=point.envelope_band,
        range_si=plant.sensors[point.sensor].range_si,
        missing=bool(capture.missing_parts),
    )


def capture_material(point: Point, taken: Taken | None) -> CaptureMaterial | None:
    """Give what the report shows of a capture at one point; None where there is none."""
    if taken is None or point.key not in taken.results:
        return None
    capture = taken.capture
    levels, _, spectrum, envelope = taken.results[point.key]
    samples, fs_hz, window = _samples(point, capture)
    as_velocity = spectrum is None or spectrum.quantity is Quantity.VELOCITY
    return CaptureMaterial(
        key=capture.key,
        fs_hz=fs_hz,
        samples=samples,
        window=window,
        rpm=capture.rpm,
        levels=levels,
        velocity=spectrum if as_velocity or spectrum is None else integrated(spectrum, point.band),
        envelope=envelope,
        envelope_band=next((level.band for level in levels if level.name == "envelope_rms"), None),
        markers=(*speed_markers(capture.rpm, SPEED_ORDERS), *bearing_markers(capture.rpm, point)),
        envelope_markers=(*speed_markers(capture.rpm, 1), *bearing_markers(capture.rpm, point)),
    )


def _samples(point: Point, capture: Capture) -> tuple[NDArray[np.float32], float, str]:
    """Give samples, sample rate and window of the spectra; of a spectrum that was sent no samples, and twice its reach."""
    if capture.form is not None:
        reach = received(capture, capture.form, point, None).reach
        return np.empty(0, np.float32), 2.0 * reach.high_hz, f"the sensor's {capture.form.window or 'unnamed'}"
    samples = capture.axes[point.axis] * np.float32(capture.si_per_count)
    return samples - samples.mean(dtype=np.float64).astype(np.float32), capture.fs_hz, "Hann"


def speed_markers(rpm: float | None, orders: int) -> tuple[Marker, ...]:
    """Mark running speed and its multiples; nothing where the speed is not known."""
    if not rpm:
        return ()
    return tuple(Marker(order * rpm / 60.0, f"{order}x", Family.SPEED) for order in range(1, orders + 1))


def bearing_markers(rpm: float | None, point: Point) -> tuple[Marker, ...]:
    """Mark the bearing's frequencies and their first multiples, by its geometry and without slip."""
    if not rpm or point.bearing is None:
        return ()
    turning = expected(MachineFacts(rpm / 60.0, (("", point.bearing),)), MEASURED)
    return tuple(
        Marker(k * one.hz, multiple_of(k, one), Family.BEARING)
        for one in turning
        if one.family is Kind.BEARING
        for k in range(1, 1 + (1 if one.name == "FTF" else BEARING_ORDERS))
    )


def with_diagnosis(sensor: SensorMaterial, setting: Setting, points: Sequence[Point], taken: Taken) -> SensorMaterial:
    """Diagnose a capture; points are named as people call them in all that is said, and axes without one by their sensor."""
    found = diagnose_capture(setting, points[0].key, taken.capture)
    names = {str(point.key.point): point.name for point in points}
    names |= {f"axis {axis}": f"axis {axis} of sensor {sensor.sensor.id}" for axis in taken.capture.axes}
    named = replace(
        found,
        findings=tuple(_named(finding, names) for finding in found.findings),
        remarks=tuple(renamed(remark, names) for remark in found.remarks),
    )
    return replace(sensor, diagnosis=named, diagnosed_at=taken.capture.taken_at)


def _named(finding: Finding, names: Mapping[str, str]) -> Finding:
    bearing, comma, rest = finding.detail.partition(",")
    detail = f"bearing of {names[bearing]}{comma}{rest}" if bearing in names else finding.detail
    told = tuple(replace(one, text=renamed(one.text, names)) for one in finding.evidence)
    return replace(finding, channel=names.get(finding.channel, finding.channel), detail=detail, evidence=told)


def renamed(text: str, names: Mapping[str, str]) -> str:
    """Write names for ids where those stand as words of their own."""
    ids = "|".join(re.escape(one) for one in sorted(names, key=len, reverse=True))
    return re.sub(rf"(?<![\w/-])(?:{ids})(?![\w/-])", lambda found: names[found.group()], text)
