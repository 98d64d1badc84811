"""Doubts about bands that the resonance of a sensor's mounting distorts."""

from collections.abc import Iterator

from edgemon.analysis.prepare import ENVELOPE_HIGH
from edgemon.analysis.registry import ENVELOPE_BAND, WHOLE_BAND
from edgemon.analysis.sensor import USABLE_ERROR, resonance_of, usable_hz
from edgemon.model.machine import Mounting
from edgemon.settings.lines import KeyPath
from edgemon.settings.problem import Report, shown
from edgemon.settings.resolve import class_band
from edgemon.settings.schema import LevelTable, MachineTable, PlantFile, PointTable, SensorTable

UNCHECKED = "envelope"
"""Levels of one's own in the spectrum of an envelope: their band is of rhythms, not of what is demodulated."""


def check_reach(file: PlantFile, sensor: SensorTable, path: KeyPath, report: Report) -> None:
    """Report the bands of a sensor's points that reach beyond what it measures within a tenth."""
    known = resonance_of(sensor.resonance_hz, Mounting(sensor.mounting) if sensor.mounting else None)
    if known is None:
        return
    reach = usable_hz(known[0])
    beyond = [
        f"{words} to {high_hz:g} Hz"
        for machine in file.machine
        for point in machine.point
        if point.sensor == sensor.id
        for words, high_hz in _bands(machine, point, sensor)
        if high_hz > reach
    ]
    if beyond:
        key = "mounting" if sensor.resonance_hz is None else "resonance_hz"
        what = f"with a resonance at {known[0]:g} Hz ({known[1]}) it reads up to {reach:.0f} Hz"
        what = f"{what} within {100.0 * USABLE_ERROR:.0f} %; beyond that reach: {', '.join(dict.fromkeys(beyond))}"
        hint = "end these bands lower, mount it stiffer" + (", or give its resonance_hz" if key == "mounting" else "")
        report.warning((*path, key), what, hint)


def _bands(machine: MachineTable, point: PointTable, sensor: SensorTable) -> Iterator[tuple[str, float]]:
    band = point.band
    yield "velocity", class_band(machine).high_hz if band is None or band.high_hz is None else band.high_hz
    tables: dict[str, LevelTable] = {table.name: table for table in (*machine.level, *point.level)}
    for table in tables.values():
        if table.quantity == UNCHECKED:
            continue
        if table.high_hz is not None:
            yield shown(table.name), table.high_hz
        elif table.high_order is not None and machine.rpm is not None:
            yield shown(table.name), table.high_order * machine.rpm / 60.0
    yield from _limited(machine, point, sensor)


def _limited(machine: MachineTable, point: PointTable, sensor: SensorTable) -> Iterator[tuple[str, float]]:
    """Give what ends with the record's sample rate, or in a band that rings: it matters where its size has a limit."""
    limited = {limit.level for limit in (*machine.limit, *point.limit)}
    demodulated = point.envelope_band
    for level in sorted(limited & set(ENVELOPE_BAND)):
        if demodulated is not None and demodulated.high_hz is not None:
            yield level, demodulated.high_hz
        elif sensor.fs_hz is not None:
            yield level, sensor.fs_hz / ENVELOPE_HIGH
    for level in sorted(limited & set(WHOLE_BAND)):
        if sensor.fs_hz is not None:
            yield level, sensor.fs_hz / 2.0
