"""Levels of the plant file's own: tables to specs, and what a limit's level may stand for."""

from collections.abc import Iterable

from edgemon.model.derived import DerivedSpec, MaskSpec
from edgemon.model.level import LEVEL_KINDS, Detector, LevelKind, LevelSpec
from edgemon.settings.schema import LevelTable, MachineTable, PointTable
from edgemon.units import Quantity

ENVELOPE = "envelope"
"""A band of the spectrum of the demodulated acceleration."""
QUANTITIES = {
    "acceleration": Quantity.ACCELERATION,
    "velocity": Quantity.VELOCITY,
    "displacement": Quantity.DISPLACEMENT,
    ENVELOPE: Quantity.ACCELERATION,
}
DETECTORS = {"rms": Detector.RMS, "peak": Detector.PEAK, "peak-to-peak": Detector.PEAK_TO_PEAK}


def level_specs(machine: MachineTable, point: PointTable | None = None) -> tuple[LevelSpec, ...]:
    """Give the levels of a point, its own before its machine's of the same name; without a point, those of the machine."""
    tables = {table.name: table for table in (*machine.level, *(() if point is None else point.level))}
    return tuple(spec for table in tables.values() if (spec := _spec(table)) is not None)


def kinds_with(specs: Iterable[LevelSpec | MaskSpec | DerivedSpec]) -> dict[str, LevelKind]:
    """Give every level a limit may name, in the order in which people read them."""
    return LEVEL_KINDS | {spec.name: spec.kind for spec in specs}


def _spec(table: LevelTable) -> LevelSpec | None:
    """Make a spec; None where the table is not complete, which is said elsewhere."""
    in_orders = table.low_order is not None or table.high_order is not None
    low, high = (table.low_order, table.high_order) if in_orders else (table.low_hz, table.high_hz)
    quantity = QUANTITIES.get(table.quantity)
    if quantity is None or low is None or high is None or not table.name:
        return None
    return LevelSpec(
        table.name, quantity, DETECTORS[table.detector], low, high, in_orders, table.title, table.quantity == ENVELOPE
    )
