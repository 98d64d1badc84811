"""Doubts about what the gateway is to command of a sensor: `fs_hz`, `samples`, `axes` and `captures_per_percent`."""

from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, shown
from edgemon.settings.schema import PlantFile, SensorTable


def check_collection(file: PlantFile, sensor: SensorTable, path: KeyPath, report: Report) -> None:
    """Report a collection that is half said, cannot be, or leaves out what a point watches."""
    if (sensor.fs_hz is None) is not (sensor.samples is None):
        missing, given = ("fs_hz", "samples") if sensor.fs_hz is None else ("samples", "fs_hz")
        report.error((*path, missing), f"is missing beside {given}", "give both, or none: then the sensor is not commanded")
    for name in ("fs_hz", "samples", "captures_per_percent"):
        value = getattr(sensor, name)
        if value is not None and not value > 0:
            report.error((*path, name), f"must be above zero, is {value:g}", "remove it where it is not known")
            return
    if sensor.fs_hz is None or sensor.samples is None:
        if sensor.fs_hz is sensor.samples and (sensor.axes or sensor.captures_per_percent is not None):
            what = "axes" if sensor.axes else "captures_per_percent"
            report.warning((*path, what), "has no effect without fs_hz and samples", "give both to have the sensor commanded")
        return
    takes = sensor.samples / sensor.fs_hz
    if takes > sensor.interval_s > 0:
        what = f"a capture of {sensor.samples} samples takes {takes:.3g} s, longer than interval_s"
        report.error((*path, "samples"), what, "fewer samples, or a longer interval")
    _check_axes(file, sensor, path, report)


def _check_axes(file: PlantFile, sensor: SensorTable, path: KeyPath, report: Report) -> None:
    """Report axes that are nameless or named twice, and a point whose axis would no longer be measured."""
    if not sensor.axes:
        return
    if not all(axis.strip() for axis in sensor.axes) or len(set(sensor.axes)) < len(sensor.axes):
        report.error((*path, "axes"), "an axis is empty or named twice", 'each once, for example axes = ["x", "z"]')
    watched = {point.axis for machine in file.machine for point in machine.point if point.sensor == sensor.id}
    for axis in sorted(watched - set(sensor.axes)):
        hint = "name it too, or leave axes out: then it is those that points watch"
        report.error((*path, "axes"), f"a point watches axis {shown(axis)}, which is not among them", hint)
