"""Doubts about delays, of a limit or of a class of alarms."""

from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report
from edgemon.settings.schema import DelaysTable, EachTable


def check_delays(table: DelaysTable, path: KeyPath, report: Report) -> None:
    """Report delays that cannot be."""
    for name in ("on_delay", "off_delay"):
        readings, seconds = getattr(table, name), getattr(table, f"{name}_s")
        if readings is not None and seconds is not None:
            hint = f"{name} counts readings, {name}_s seconds: keep one"
            report.error((*path, f"{name}_s"), f"both {name} and {name}_s are given", hint)
        for key, value in _parts(name, readings).items():
            if value < 1.0 or value != int(value):
                report.error((*path, *key), f"must be a whole number of readings from 1, not {value:g}", "usually 2")
        for key, value in _parts(f"{name}_s", seconds).items():
            if value < 0.0:
                report.error((*path, *key), f"must not be below zero, not {value:g}", "seconds")


def _parts(name: str, delay: EachTable | float | None) -> dict[tuple[str, ...], float]:
    """Give the numbers of a delay with their keys; one number for both severities counts once."""
    if delay is None:
        return {}
    if isinstance(delay, int | float):
        return {(name,): float(delay)}
    if delay.alert == delay.alarm and delay.alert is not None:
        return {(name,): delay.alert}
    parts = {"alert": delay.alert, "alarm": delay.alarm}
    return {(name, key): value for key, value in parts.items() if value is not None}
