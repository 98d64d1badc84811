"""What a report needs, collected from the store and computed from its captures; reads only."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import assert_never

from edgemon import __version__
from edgemon.api.view import words
from edgemon.cli.evidence import capture_material, fit_capture, with_diagnosis, with_forecasts
from edgemon.engine.memory import Setting
from edgemon.errors import EdgemonError
from edgemon.model.event import (
    AlarmChanged,
    BaselineApproved,
    BaselineProposed,
    BaselineRetired,
    CaptureIncomplete,
    ClockStepped,
    CommandRefused,
    DiagnosisMade,
    Event,
    GatewayStarted,
    GatewayStopped,
    LinkChanged,
    MeasurementLate,
    MessageRejected,
    QualityChanged,
    RunningChanged,
    SimulationNoted,
)
from edgemon.model.ids import CaptureKey, PointKey
from edgemon.model.instant import EARLIEST, LATEST, Instant, format_instant
from edgemon.model.machine import Machine, Point, Sensor
from edgemon.model.snapshot import TrendPoint
from edgemon.report.port import (
    Happening,
    LevelMaterial,
    Material,
    PointMaterial,
    SensorMaterial,
)
from edgemon.store.port import Reader

VELOCITY = "velocity_rms"
MOST_VALUES = 20_000
"""Values of one level: two months at one in five minutes."""
MOST_CAPTURES = 20_000
PAGE = 2000
MOST_ENTRIES = 200_000
"""Journal entries read backwards at most."""


@dataclass(frozen=True, slots=True)
class Request:
    """Which report is wanted."""

    machine: Machine
    since: Instant
    until: Instant
    sim: bool


async def collect(reader: Reader, setting: Setting, request: Request, now: Instant, settings: str) -> Material:
    """Bring together what the store knows of one machine in one period.

    Parameters
    ----------
    reader : Reader
        The store, asked and never written.
    setting : Setting
        What the plant file says now, with the limits that approved baselines lead to.
    request : Request
        Machine, period, real or simulated data.
    now : Instant
        When the report is made.
    settings : str
        Fingerprint of the settings.

    Raises
    ------
    EdgemonError
        No data of this machine in the period; says what there is instead.
    StoreError
        The store cannot be read.
    """
    machine, plant = request.machine, setting.plant
    levels = {point.key: await _levels(reader, point, request) for point in machine.points}
    if not any(level.values for of_point in levels.values() for level in of_point):
        raise await _nothing(reader, request)
    sensors: list[SensorMaterial] = []
    points: dict[PointKey, PointMaterial] = {}
    for name in dict.fromkeys(point.sensor for point in machine.points):
        watched = [point for point in machine.points if point.sensor == name]
        keys = await reader.captures(name, request.since, request.until, request.sim, MOST_CAPTURES)
        newest, unfit = await fit_capture(reader, plant, machine, watched, keys)
        oldest, _ = await fit_capture(reader, plant, machine, watched, keys[::-1])
        heard = _taken_times(keys) or _times(level for point in watched for level in levels[point.key])
        sensor = await _sensor(reader, plant.sensors[name], request, len(keys), unfit, heard)
        sensors.append(sensor if newest is None else with_diagnosis(sensor, setting, watched, newest))
        speeds = await reader.readings(name, "rpm", request.since, request.until, request.sim, MOST_VALUES)
        for point in watched:
            own = tuple(with_forecasts(level, machine, speeds, request.until) for level in levels[point.key])
            points[point.key] = PointMaterial(point, own, capture_material(point, newest), capture_material(point, oldest))
    earlier, history, is_cut = await _history(reader, request)
    return Material(
        site=plant.name,
        area=next((area.name for area in plant.areas if area.id == machine.area), str(machine.area)),
        machine=machine,
        since=request.since,
        until=request.until,
        made_at=now,
        sim=request.sim,
        version=__version__,
        settings=settings,
        points=tuple(points[point.key] for point in machine.points),
        sensors=tuple(sensors),
        history=history,
        earlier=earlier,
        remarks=tuple(_remarks(machine, levels, is_cut)),
    )


def _remarks(machine: Machine, levels: Mapping[PointKey, tuple[LevelMaterial, ...]], is_cut: bool) -> Iterator[str]:
    if is_cut:
        yield f"The journal was read back {MOST_ENTRIES} entries; older ones are not in this report."
    for point in machine.points:
        if any(level.is_cut for level in levels[point.key]):
            yield f"{point.name}: only the newest {MOST_VALUES} values of the period are used."


def _taken_times(keys: Iterable[CaptureKey]) -> tuple[Instant, ...]:
    return tuple(sorted(key.taken_at for key in keys))


def _times(levels: Iterable[LevelMaterial]) -> tuple[Instant, ...]:
    return tuple(sorted({value.t for level in levels for value in level.values}))


async def _levels(reader: Reader, point: Point, request: Request) -> tuple[LevelMaterial, ...]:
    """Read the levels that have a limit, and velocity r.m.s. where there is any."""
    names = dict.fromkeys((VELOCITY, *(limit.level for limit in point.limits)))
    found = []
    for name in names:
        limit = point.limit_of(name)
        values = await reader.trend(point.key, name, request.since, request.until, request.sim, MOST_VALUES)
        if values or limit is not None:
            found.append(LevelMaterial(name, limit, values, len(values) == MOST_VALUES))
    return tuple(found)


async def _nothing(reader: Reader, request: Request) -> EdgemonError:
    """Make the error that says what there is where nothing is in the period."""
    period = f"{format_instant(request.since)} to {format_instant(request.until)}"
    kind = "simulated" if request.sim else "real"
    what = f"no {kind} data of this machine from {period}"
    for sim in (request.sim, not request.sim):
        newest = [
            value.t
            for point in request.machine.points
            for name in dict.fromkeys((VELOCITY, *(limit.level for limit in point.limits)))
            for value in await reader.trend(point.key, name, EARLIEST, LATEST, sim, most=1)
        ]
        if newest:
            last = f"the newest {'simulated' if sim else 'real'} value is of {format_instant(max(newest))}"
            hint = f"{last}: choose --since and --until" if sim is request.sim else last
            hint += "; add --sim for a report on simulated data" if sim and not request.sim else ""
            hint += "; leave out --sim" if request.sim and not sim else ""
            return EdgemonError(what, str(request.machine.id), hint)
    return EdgemonError(
        what, str(request.machine.id), "nothing was ever stored for it: does its sensor send, does the daemon run?"
    )


async def _sensor(
    reader: Reader, sensor: Sensor, request: Request, captures: int, unfit: tuple[str, ...], heard: tuple[Instant, ...]
) -> SensorMaterial:
    async def said(name: str) -> tuple[TrendPoint, ...]:
        return await reader.readings(sensor.id, name, request.since, request.until, request.sim, MOST_VALUES)

    return SensorMaterial(sensor, captures, unfit, await said("battery"), await said("rssi"), heard)


async def _history(reader: Reader, request: Request) -> tuple[tuple[Happening, ...], tuple[Happening, ...], bool]:
    """Read the journal backwards to its beginning; give what is said of the machine before and in the period."""
    found: list[Happening] = []
    before: int | None = None
    count = 0
    while count < MOST_ENTRIES:
        entries = await reader.journal(PAGE, before)
        count += len(entries)
        found += [Happening(entry.event, words(entry.event)) for entry in entries if concerns(entry.event, request)]
        if len(entries) < PAGE:
            break
        before = entries[-1].seq
    found = [one for one in reversed(found) if one.event.at <= request.until]
    earlier = tuple(one for one in found if one.event.at < request.since)
    return earlier, tuple(one for one in found if one.event.at >= request.since), count >= MOST_ENTRIES


def concerns(event: Event, request: Request) -> bool:
    """Say whether an event is about the machine and about the kind of data asked for."""
    machine = request.machine
    match event:
        case AlarmChanged(alarm=alarm) | CommandRefused(alarm=alarm):
            return alarm.machine == machine.id and alarm.sim is request.sim
        case (
            QualityChanged(point=point, sim=sim) | RunningChanged(point=point, sim=sim) | MeasurementLate(point=point, sim=sim)
        ):
            return point.machine == machine.id and sim is request.sim
        case CaptureIncomplete(sensor=sensor, sim=sim):
            return sim is request.sim and any(point.sensor == sensor for point in machine.points)
        case DiagnosisMade(point=point, sim=sim):
            return point.machine == machine.id and sim is request.sim
        case BaselineProposed(baseline=one) | BaselineApproved(baseline=one) | BaselineRetired(baseline=one):
            return one.point.machine == machine.id and one.sim is request.sim
        case SimulationNoted(machine=of):
            return request.sim and of == machine.id
        case MessageRejected() | GatewayStarted() | GatewayStopped() | LinkChanged() | ClockStepped():
            return False
        case _:
            assert_never(event)
