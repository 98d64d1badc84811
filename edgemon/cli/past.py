"""The recorded past for a rehearsal: measurements put together from the store's trends, and what really happened."""

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from edgemon.alarms.rehearsal import Known, by_point
from edgemon.errors import SettingsError
from edgemon.model.ids import MachineId, PointId, PointKey
from edgemon.model.instant import Instant, parse_instant
from edgemon.model.level import Level, Measurement
from edgemon.model.machine import Machine, Plant, Point
from edgemon.model.quality import Flaw, Verdict
from edgemon.store.port import Reader

VALUES_MOST = 1_000_000
"""Values of one level read at most: nine years at one in five minutes."""
_UNFIT = Verdict((Flaw.IMPLAUSIBLE,), ("not fit when it was measured",))


async def read_past(
    reader: Reader, machines: Iterable[Machine], points: Mapping[PointKey, Point], since: Instant, until: Instant, sim: bool
) -> Mapping[PointKey, list[Measurement]]:
    """Read everything the limits of these machines, or their standstill rules, look at; oldest first, by point.

    A level that follows from another one is not read but what it follows from, for `engine.past.followed`.

    Raises
    ------
    StoreError
        The store cannot be read.
    """
    wanted: dict[PointKey, tuple[Point, set[str]]] = {}
    for machine in machines:
        for point in machine.points:
            for key, level in _levels(machine, point):
                if key in points:
                    wanted.setdefault(key, (point if key == point.key else points[key], set()))[1].add(level)
    found = [await _point(reader, point, levels, since, until, sim) for point, levels in wanted.values()]
    return by_point(one for of_point in found for one in of_point)


def _levels(machine: Machine, point: Point) -> Iterator[tuple[PointKey, str]]:
    """Give the levels that the limits of a point rest on, and of which point each is."""
    specs = {spec.name: spec for spec in point.derived}
    if machine.standstill is not None:
        yield point.key, machine.standstill.level
    for limit in point.limits:
        spec = specs.get(limit.level)
        yield point.key, limit.level if spec is None else spec.of.name
        if spec is not None and spec.reference is not None:
            yield spec.reference, spec.of.name


async def _point(
    reader: Reader, point: Point, levels: Iterable[str], since: Instant, until: Instant, sim: bool
) -> list[Measurement]:
    values: dict[Instant, list[Level]] = {}
    unfit: set[Instant] = set()
    for name in sorted(levels):
        kind = point.kind_of(name)
        if kind is None:
            continue
        for one in await reader.trend(point.key, name, since, until, sim, VALUES_MOST):
            values.setdefault(one.t, []).append(Level(name, one.value, kind.quantity, kind.detector))
            if not one.fit:
                unfit.add(one.t)
    speeds = {one.t: 60.0 * one.value for one in await reader.trend(point.key, "rpm", since, until, sim, VALUES_MOST)}
    return [
        Measurement(point.key, at, at, tuple(found), _UNFIT if at in unfit else Verdict(), rpm=speeds.get(at), sim=sim)
        for at, found in values.items()
    ]


def known_events(path: Path, plant: Plant) -> tuple[Known, ...]:
    """Read what really happened: `[[event]]` tables with machine, t, name and perhaps point.

    Raises
    ------
    SettingsError
        The file cannot be read or something in it is wrong; says which event.
    """
    try:
        tables = tomllib.loads(path.read_text("utf-8")).get("event", [])
    except (OSError, ValueError) as error:
        raise SettingsError(f"cannot be read: {error}", str(path), "TOML with [[event]] tables") from error
    if not isinstance(tables, list) or not all(isinstance(one, dict) for one in tables):
        raise SettingsError("event is not a list of tables", str(path), "write [[event]]")
    return tuple(_event(table, f"{path}: event {number}", plant) for number, table in enumerate(tables, 1))


def _event(table: dict[str, Any], where: str, plant: Plant) -> Known:
    unknown = sorted(set(table) - {"machine", "point", "t", "name"})
    if unknown:
        raise SettingsError(f"unknown key {unknown[0]}", where, "machine, point, t, name")
    machine, point, name = str(table.get("machine", "")), table.get("point"), table.get("name", "")
    if machine not in plant.machine_of:
        raise SettingsError(f"the plant file has no machine {machine!r}", where, "machine = its id in plant.toml")
    if point is not None and PointKey(MachineId(machine), PointId(point)) not in plant.points:
        raise SettingsError(f"{machine} has no point {point!r}", where, "leave point out, or take its id of plant.toml")
    return Known(_time(table.get("t"), where), MachineId(machine), str(name), None if point is None else PointId(point))


def _time(value: object, where: str) -> Instant:
    if isinstance(value, datetime) and value.tzinfo is not None:
        return value.timestamp()
    try:
        return parse_instant(str(value))
    except ValueError as error:
        raise SettingsError(f"t is not a time: {value!r}", where, "t = 2026-11-25T06:00:00Z") from error
