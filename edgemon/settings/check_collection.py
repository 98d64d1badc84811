"""Doubts about what the gateway is to command of a sensor: `fs_hz`, `samples`, `axes` and `captures_per_percent`."""

from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report
from edgemon.settings.schema import SensorTable


def check_collection(sensor: SensorTable, path: KeyPath, report: Report) -> None:
    """Report a collection that is half said or cannot be."""
    if (sensor.fs_hz is None) is not (sensor.samples is None):
        missing, given = ("fs_hz", "samples") if sensor.fs_hz is None else ("samples", "fs_hz")
        report.error((*path, missing), f"is missing beside {given}", "give both, or none: then the sensor is not commanded")
    for name in ("fs_hz", "samples", "captures_per_percent"):
        value = getattr(sensor, name)
        if value is not None and not value > 0:
            report.error((*path, name), f"must be above zero, is {value:g}", "remove it where it is not known")
    if sensor.fs_hz is None and sensor.samples is None and (sensor.axes or sensor.captures_per_percent is not None):
        what = "axes" if sensor.axes else "captures_per_percent"
        report.warning((*path, what), "has no effect without fs_hz and samples", "give both to have the sensor commanded")
    if sensor.fs_hz and sensor.samples and sensor.fs_hz > 0 and sensor.samples / sensor.fs_hz > sensor.interval_s > 0:
        takes = sensor.samples / sensor.fs_hz
        what = f"a capture of {sensor.samples} samples takes {takes:.3g} s, longer than interval_s"
        report.error((*path, "samples"), what, "fewer samples, or a longer interval")
