"""Doubts about bands that a sensor's resonance distorts."""

from collections.abc import Iterator

from edgemon.analysis.sensor import USABLE_ERROR, usable_hz
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, shown
from edgemon.settings.resolve import class_band
from edgemon.settings.schema import LevelTable, MachineTable, PlantFile, PointTable, SensorTable

UNCHECKED = "envelope"
"""Bands in which a resonance is sought, not shunned."""


def check_reach(file: PlantFile, sensor: SensorTable, path: KeyPath, report: Report) -> None:
    """Report the bands of a sensor's points that reach beyond what it measures within a tenth."""
    if sensor.resonance_hz is None:
        return
    reach = usable_hz(sensor.resonance_hz)
    beyond = [
        f"{words} to {high_hz:g} Hz"
        for machine in file.machine
        for point in machine.point
        if point.sensor == sensor.id
        for words, high_hz in _bands(machine, point)
        if high_hz > reach
    ]
    if beyond:
        what = f"with this resonance it reads up to {reach:.0f} Hz within {100.0 * USABLE_ERROR:.0f} %"
        listed = ", ".join(dict.fromkeys(beyond))
        report.warning(
            (*path, "resonance_hz"), f"{what}; beyond that reach: {listed}", "end these bands lower, or mount it stiffer"
        )


def _bands(machine: MachineTable, point: PointTable) -> Iterator[tuple[str, float]]:
    band = point.band
    yield "velocity", class_band(machine.rpm).high_hz if band is None or band.high_hz is None else band.high_hz
    tables: dict[str, LevelTable] = {table.name: table for table in (*machine.level, *point.level)}
    for table in tables.values():
        if table.quantity == UNCHECKED:
            continue
        if table.high_hz is not None:
            yield shown(table.name), table.high_hz
        elif table.high_order is not None and machine.rpm is not None:
            yield shown(table.name), table.high_order * machine.rpm / 60.0
