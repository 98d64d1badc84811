"""A spectrum that a sensor sent, for the points that its axes watch."""

from edgemon.analysis.received import Received, amplitudes, measure_spectrum
from edgemon.analysis.sensor import said_of_sensor
from edgemon.engine.speeds import Speeds, with_speed
from edgemon.model.level import Level
from edgemon.model.machine import Plant, Point
from edgemon.model.quality import Verdict
from edgemon.model.reading import Capture
from edgemon.model.spectrum import LineForm


def received(capture: Capture, form: LineForm, point: Point, rpm: float | None) -> Received:
    """Give the lines of a point's axis, with what is wanted of them."""
    return Received(
        amplitude=amplitudes(capture.axes[point.axis], form, capture.si_per_count),
        form=form,
        band=point.band,
        bands=point.levels,
        masks=point.masks,
        rpm=rpm,
        missing=bool(capture.missing_parts),
        needed=frozenset(limit.level for limit in point.limits),
    )


def measured(plant: Plant, capture: Capture, speeds: Speeds) -> list[tuple[Point, tuple[Level, ...], Verdict]]:
    """Measure every point that an axis of a spectrum watches; nothing of a waveform."""
    form = capture.form
    if form is None:
        return []
    watched = [point for point in plant.points_of_sensor.get(capture.sensor, ()) if point.axis in capture.axes]
    found = []
    for point in watched:
        speed = speeds.of(point)
        levels, verdict = measure_spectrum(received(capture, form, point, speed.rpm))
        levels = said_of_sensor(levels, plant.sensors[capture.sensor], point.levels)
        found.append((point, with_speed(point, levels, speed), verdict))
    return found
