"""What a report needs, collected from the store and computed from its captures; reads only."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import assert_never

from edgemon import __version__
from edgemon.api.view import words
from edgemon.cli.evidence import capture_material, fit_capture, with_diagnosis
from edgemon.cli.prospects import baselines_of, watched, with_prospects
from edgemon.engine.baselines import Key, in_force
from edgemon.engine.memory import Setting
from edgemon.errors import EdgemonError
from edgemon.model.baseline import Baseline, BaselineApproved, BaselineProposed, BaselineRetired
from edgemon.model.collection import FastCollectionEnded, FastCollectionStarted
from edgemon.model.event import (
    AlarmChanged,
    AlarmsSilenced,
    CaptureIncomplete,
    CommandRefused,
    DiagnosisMade,
    Event,
    FirstOutMarked,
    MeasurementLate,
    MessageRejected,
    OnsetMoved,
    OutputsTested,
    QualityChanged,
    RunningChanged,
    SimulationNoted,
)
from edgemon.model.gateway_event import (
    ClockStepped,
    GatewayStarted,
    GatewayStopped,
    LinkChanged,
    SettingsChanged,
    StoreChanged,
    StoreMended,
)
from edgemon.model.ids import CaptureKey, PointKey, SensorId
from edgemon.model.instant import EARLIEST, LATEST, Instant, format_instant
from edgemon.model.machine import Machine, Point, Sensor
from edgemon.model.outlook import BaselineView
from edgemon.model.proof import ProofCarried, ProofEnded, ProofStarted
from edgemon.model.shift import LogWritten, ShiftTaken
from edgemon.model.signoff import PointSignedOff, SignOffWithdrawn
from edgemon.model.snapshot import TrendPoint
from edgemon.model.upstream import RetryOrdered
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


async def collect(reader: Reader, filed: Setting, request: Request, now: Instant, settings: str) -> Material:
    """Bring together what the store knows of one machine in one period.

    Parameters
    ----------
    reader : Reader
        The store, asked and never written.
    filed : Setting
        What the plant file says now; the limits that approved baselines lead to are added here.
    request : Request
        Machine, period, real or simulated data.
    now : Instant
        When the report is made.
    settings : str
        Fingerprint of the settings.

    Raises
    ------
    EdgemonError
        No data of this machine in the period, but of the other kind, real or simulated; says so.
    StoreError
        The store cannot be read.
    """
    filed, known = watched(filed, await reader.baselines(), request.machine, request.sim)
    setting = in_force(filed, known)
    plant, machine = setting.plant, setting.plant.machine_of[request.machine.id]
    request = replace(request, machine=machine)
    levels = {point.key: await _levels(reader, point, request) for point in machine.points}
    is_empty = not any(level.values for of_point in levels.values() for level in of_point)
    empty = await _nothing(reader, request) if is_empty else ""
    learnt = await baselines_of(reader, filed, setting, machine, known, request.sim)
    found = _Learnt(setting, levels, known, learnt)
    names = dict.fromkeys(point.sensor for point in machine.points)
    parts = [await _of_sensor(reader, request, found, name) for name in names]
    points = {one.point.key: one for _, of_sensor in parts for one in of_sensor}
    earlier, history, journal = await _history(reader, request)
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
        sensors=tuple(sensor for sensor, _ in parts),
        history=history,
        earlier=earlier,
        remarks=(*filter(None, (empty, await _left_out(reader, request))), *journal, *_remarks(machine, levels)),
    )


@dataclass(frozen=True, slots=True)
class _Learnt:
    """What is known of the machine before its captures are looked at."""

    setting: Setting
    levels: Mapping[PointKey, tuple[LevelMaterial, ...]]
    known: Mapping[Key, Baseline]
    baselines: Mapping[tuple[PointKey, str], BaselineView]


async def _of_sensor(
    reader: Reader, request: Request, found: _Learnt, name: SensorId
) -> tuple[SensorMaterial, list[PointMaterial]]:
    """Bring together what one sensor sent, and what the points it watches make of it."""
    plant, machine = found.setting.plant, request.machine
    watched_points = [point for point in machine.points if point.sensor == name]
    keys = await reader.captures(name, request.since, request.until, request.sim, MOST_CAPTURES)
    sent = keys or await reader.captures(name, request.since, request.until, request.sim, MOST_CAPTURES, spectra=True)
    newest, unfit = await fit_capture(reader, plant, machine, watched_points, sent)
    oldest, _ = await fit_capture(reader, plant, machine, watched_points, sent[::-1])
    heard = _taken_times(keys) or _times(level for point in watched_points for level in found.levels[point.key])
    sensor = await _sensor(reader, plant.sensors[name], request, len(keys), unfit, heard)
    if newest is not None:
        sensor = with_diagnosis(sensor, found.setting, watched_points, newest)
    points = []
    for point in watched_points:
        own = await with_prospects(reader, found.levels[point.key], machine, point, found.known, request.until, request.sim)
        own = tuple(replace(level, baseline=found.baselines.get((point.key, level.name))) for level in own)
        points.append(PointMaterial(point, own, capture_material(point, newest), capture_material(point, oldest)))
    return sensor, points


def _remarks(machine: Machine, levels: Mapping[PointKey, tuple[LevelMaterial, ...]]) -> Iterator[str]:
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
            found.append(LevelMaterial(name, limit, values, len(values) == MOST_VALUES, kind=point.kind_of(name)))
    return tuple(found)


async def _nothing(reader: Reader, request: Request) -> str:
    """Say when the machine was last heard where nothing is in the period; an error where only the other kind of data is."""
    machine = request.machine
    own = await _newest(reader, machine, request.sim)
    other = None if own is not None else await _newest(reader, machine, not request.sim)
    if own is not None:
        return f"No data in the period; the newest value in the store is of {format_instant(own)}."
    if other is None:
        return "Nothing was ever stored for this machine: does its sensor send, does the daemon run?"
    kind, there = ("simulated", "real") if request.sim else ("real", "simulated")
    advice = "leave out --sim" if request.sim else "add --sim for a report on simulated data"
    period = f"{format_instant(request.since)} to {format_instant(request.until)}"
    raise EdgemonError(
        f"no {kind} data of this machine from {period}",
        str(machine.id),
        f"the newest {there} value is of {format_instant(other)}; {advice}",
    )


async def _left_out(reader: Reader, request: Request) -> str:
    """Say that data of the other kind, real or simulated, was in the period; empty where none was."""
    other = await _newest(reader, request.machine, not request.sim, request.since, request.until)
    if other is None:
        return ""
    kind, advice = ("real", "without --sim") if request.sim else ("simulated", "with --sim")
    return f"There is {kind} data in the period too, the newest of {format_instant(other)}: left out; ask for it {advice}."


async def _newest(
    reader: Reader, machine: Machine, sim: bool, since: Instant = EARLIEST, until: Instant = LATEST
) -> Instant | None:
    found = [
        value.t
        for point in machine.points
        for name in dict.fromkeys((VELOCITY, *(limit.level for limit in point.limits)))
        for value in await reader.trend(point.key, name, since, until, sim, most=1)
    ]
    return max(found, default=None)


async def _sensor(
    reader: Reader, sensor: Sensor, request: Request, captures: int, unfit: tuple[str, ...], heard: tuple[Instant, ...]
) -> SensorMaterial:
    async def said(name: str) -> tuple[TrendPoint, ...]:
        return await reader.readings(sensor.id, name, request.since, request.until, request.sim, MOST_VALUES)

    return SensorMaterial(sensor, captures, unfit, await said("battery"), await said("rssi"), heard)


async def _history(reader: Reader, request: Request) -> tuple[tuple[Happening, ...], tuple[Happening, ...], tuple[str, ...]]:
    """Read the journal backwards to its beginning; what is said of the machine before and in the period, and remarks."""
    found: list[Happening] = []
    points = {point.key: point for point in request.machine.points}
    starts: list[GatewayStarted] = []
    before: int | None = None
    count = 0
    while count < MOST_ENTRIES:
        entries = await reader.journal(PAGE, before)
        count += len(entries)
        found += [Happening(entry.event, words(entry.event, points)) for entry in entries if concerns(entry.event, request)]
        starts += [entry.event for entry in entries if isinstance(entry.event, GatewayStarted)]
        if len(entries) < PAGE:
            break
        before = entries[-1].seq
    found = [one for one in reversed(found) if one.event.at <= request.until]
    earlier = tuple(one for one in found if one.event.at < request.since)
    remarks = (
        [f"The journal was read back {count} entries; older ones are not in this report."] if count >= MOST_ENTRIES else []
    )
    remarks += _settings_remarks(starts[::-1], request)
    return earlier, tuple(one for one in found if one.event.at >= request.since), tuple(remarks)


def _settings_remarks(starts: Sequence[GatewayStarted], request: Request) -> Iterator[str]:
    """Say where the gateway was started, and where with other settings, whose limits may have been others."""
    known = ""
    for start in starts:
        if known and start.plant != known and request.since <= start.at <= request.until:
            what = f"from {known} to {start.plant}"
            yield f"The settings changed at {format_instant(start.at)} ({what}); limits before may have been others than shown."
        known = start.plant
    count = sum(request.since <= start.at <= request.until for start in starts)
    if count > 1:
        yield f"The gateway was started {count} times in the period; while it is down, sensors' messages wait at the broker."


def concerns(event: Event, request: Request) -> bool:
    """Say whether an event is about the machine and about the kind of data asked for."""
    machine = request.machine
    match event:
        case AlarmChanged(alarm=alarm) | CommandRefused(alarm=alarm) | OnsetMoved(alarm=alarm) | ProofCarried(alarm=alarm):
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
        case FirstOutMarked(machine=of, sim=sim):
            return of == machine.id and sim is request.sim
        case SimulationNoted(machine=of):
            return request.sim and of == machine.id
        case LogWritten(machine=about):
            return about == machine.id
        case PointSignedOff(point=point) | SignOffWithdrawn(point=point):
            return point.machine == machine.id
        case FastCollectionStarted(machine=of) | FastCollectionEnded(machine=of):
            return of == machine.id
        case ProofStarted() | ProofEnded():
            return event.scope.machine in (None, machine.id) and event.scope.area in (None, machine.area)
        case AlarmsSilenced(alarms=silenced):
            return any(one.machine == machine.id and one.sim is request.sim for one in silenced)
        case (
            OutputsTested()
            | ShiftTaken()
            | MessageRejected()
            | GatewayStarted()
            | GatewayStopped()
            | LinkChanged()
            | ClockStepped()
            | SettingsChanged()
            | StoreChanged()
            | StoreMended()
            | RetryOrdered()
        ):
            return False
        case _:
            assert_never(event)
