"""Masks and derived levels of the plant file: tables to specs."""

from collections.abc import Iterable

from edgemon.model.derived import DIFFERENCES, DerivedSpec, MaskSpec, Rule
from edgemon.model.ids import PointKey, is_identifier
from edgemon.model.level import LevelSpec
from edgemon.model.limit import low_name
from edgemon.model.machine import point_key
from edgemon.settings.choice import both_sides
from edgemon.settings.levels import DETECTORS, kinds_with, level_specs
from edgemon.settings.schema import DerivedTable, LimitTable, MachineTable, MaskTable, PointTable
from edgemon.units import Quantity, quantity_of, to_si

MASK_QUANTITIES = {
    "acceleration": Quantity.ACCELERATION,
    "velocity": Quantity.VELOCITY,
    "envelope": Quantity.ACCELERATION,
}


def own_specs(machine: MachineTable, point: PointTable | None = None) -> tuple[LevelSpec | MaskSpec | DerivedSpec, ...]:
    """Give all levels of the plant file's own at a point, or of its machine alone."""
    return (*level_specs(machine, point), *mask_specs(machine, point), *derived_specs(machine, point))


def written_specs(machine: MachineTable, point: PointTable | None = None) -> tuple[LevelSpec | MaskSpec | DerivedSpec, ...]:
    """Give those that somebody wrote: without the other names of levels that have limits on both sides."""
    return (*level_specs(machine, point), *mask_specs(machine, point), *_written(machine, point))


def mask_specs(machine: MachineTable, point: PointTable | None = None) -> tuple[MaskSpec, ...]:
    """Give the masks of a point, its own before its machine's of the same name; without a point, those of the machine."""
    tables = {table.name: table for table in (*machine.mask, *(() if point is None else point.mask))}
    return tuple(spec for table in tables.values() if (spec := _mask(table)) is not None)


def derived_specs(machine: MachineTable, point: PointTable | None = None) -> tuple[DerivedSpec, ...]:
    """Give the derived levels of a point likewise; and after them the other names of levels with limits on both sides."""
    every = kinds_with(written_specs(machine, point))
    low = (
        DerivedSpec(low_name(level), Rule.SAME, every[level], title=f"{every[level].title}, low")
        for level in both_sides(machine, point)
        if level in every
    )
    return (*_written(machine, point), *low)


def _written(machine: MachineTable, point: PointTable | None) -> tuple[DerivedSpec, ...]:
    tables = {table.name: table for table in (*machine.derived, *(() if point is None else point.derived))}
    kinds = kinds_with(level_specs(machine, point))
    specs = []
    for table in tables.values():
        if table.name and table.rule and table.of in kinds:
            above = reference_of(table, machine)
            specs.append(DerivedSpec(table.name, Rule(table.rule), kinds[table.of], table.over_s or 0.0, above, table.title))
    return tuple(specs)


def reference_of(table: DerivedTable, machine: MachineTable) -> PointKey | None:
    """Read `point` (of the same machine) or `machine/point`; None where it is neither."""
    name, _, rest = table.above.partition("/")
    names = (name, rest) if rest else (machine.id, name)
    return point_key(*names) if all(is_identifier(one) for one in names) else None


def differences_of(specs: Iterable[LevelSpec | MaskSpec | DerivedSpec]) -> set[str]:
    """Name the levels that are differences of temperatures: a kelvin, whatever the zero."""
    derived = [spec for spec in specs if isinstance(spec, DerivedSpec)]
    quantity = Quantity.TEMPERATURE
    return _with_low({spec.name for spec in derived if spec.of.quantity is quantity and spec.rule in DIFFERENCES})


def signed_of(specs: Iterable[LevelSpec | MaskSpec | DerivedSpec]) -> set[str]:
    """Name the levels that fall below zero where what they follow falls."""
    return _with_low({spec.name for spec in specs if isinstance(spec, DerivedSpec) and spec.rule in DIFFERENCES})


def _with_low(levels: set[str]) -> set[str]:
    return levels | set(map(low_name, levels))


def shown_unit(limit: LimitTable) -> LimitTable:
    """Write a difference of temperatures given in kelvin in degrees Celsius, which are as large."""
    return limit.model_copy(update={"unit": "Cel"}) if limit.unit == "K" else limit


def _mask(table: MaskTable) -> MaskSpec | None:
    """Make a spec; None where the table is not complete or not sound, which is said elsewhere."""
    in_orders = any(edge is not None for edge in (table.low_order, table.high_order, table.line_order))
    in_hz = (table.low_hz, table.high_hz, table.line_hz)
    low, high, width = (table.low_order, table.high_order, table.line_order) if in_orders else in_hz
    quantity = MASK_QUANTITIES.get(table.quantity)
    if quantity is None or low is None or high is None or width is None or not table.name or not fits(table):
        return None
    return MaskSpec(
        name=table.name,
        quantity=quantity,
        low=low,
        high=high,
        width=width,
        in_orders=in_orders,
        envelope=table.quantity == "envelope",
        detector=DETECTORS[table.detector],
        floor=0.0 if table.floor is None else to_si(table.floor, table.unit),
        given=tuple((line[0], to_si(line[1], table.unit)) for line in table.lines if len(line) == 2),
        title=table.title,
    )


def fits(table: MaskTable) -> bool:
    """Say whether the unit of a mask is one of its quantity."""
    try:
        return quantity_of(table.unit) is MASK_QUANTITIES.get(table.quantity)
    except KeyError:
        return False
