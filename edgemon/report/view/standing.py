"""What the machine's condition comes to at the end of the period: from alarm records in force, newest values and findings."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import IntEnum

from edgemon.model.alarm import MONITORING, AlarmState
from edgemon.model.event import AlarmChanged, RunningChanged
from edgemon.model.finding import SUPPORTED, Conclusion, Finding
from edgemon.model.ids import AlarmKey
from edgemon.model.instant import Instant
from edgemon.model.limit import Limit, Severity, ratio
from edgemon.model.outlook import BaselineView, CrossingView, OutlookView
from edgemon.model.snapshot import TrendPoint
from edgemon.report.port import Happening, LevelMaterial, Material, PointMaterial
from edgemon.report.view.occurrences import Occurrence, period_occurrences
from edgemon.units import from_si

_IN_FORCE = frozenset({AlarmState.UNACK, AlarmState.ACKED})
_HIDDEN = frozenset({AlarmState.SHLVD, AlarmState.DSUPR, AlarmState.OOSRV, AlarmState.LATUN, AlarmState.LATAK})


class Standing(IntEnum):
    """What it comes to, mildest first."""

    NORMAL = 0
    NOT_RUNNING = 1
    WATCH = 2
    """Within its limits, but something was found, is coming, came and went unseen, or is not as it was."""
    UNKNOWN = 3
    ALERT = 4
    ALARM = 5


@dataclass(frozen=True, slots=True)
class Newest:
    """The newest fit value of a level with its limit."""

    point: PointMaterial
    level: LevelMaterial
    limit: Limit
    value: TrendPoint
    ratio: float
    """How near to the alarm limit, as `model.limit.ratio_line` has it."""
    severity: Severity
    """By this value alone."""


@dataclass(frozen=True, slots=True)
class Coming:
    """A limit that a level will cross if it goes on as it does."""

    point: PointMaterial
    outlook: OutlookView
    crossing: CrossingView


@dataclass(frozen=True, slots=True)
class Changed:
    """A level that lies significantly off its approved baseline, in the unit of its limit."""

    point: PointMaterial
    outlook: OutlookView
    baseline: BaselineView
    by: float


@dataclass(frozen=True, slots=True)
class Assessment:
    """The standing and what it rests on."""

    standing: Standing
    worst: Newest | None
    """The level nearest to, or furthest beyond, its alarm limit."""
    newest: tuple[Newest, ...]
    """All, highest ratio first."""
    in_force: tuple[AlarmChanged, ...]
    """Newest change of each alarm record that is active at the end of the period, without loss of monitoring."""
    hidden: tuple[AlarmChanged, ...]
    """Of records that are shelved, suppressed, out of service or latched: what they say needs a person's eye."""
    unwatched: tuple[AlarmChanged, ...]
    silent: tuple[PointMaterial, ...]
    """Points whose newest fit value is older than they may be."""
    findings: tuple[Finding, ...]
    forecasts: tuple[Coming, ...]
    """Limits that will be crossed if it goes on, earliest first."""
    returned: tuple[Occurrence, ...]
    """Alerts and alarms that came and went within the period, without loss of monitoring."""
    changed: tuple[Changed, ...]
    is_running: bool | None


def assess(material: Material) -> Assessment:
    """Bring together what the period ended with."""
    records = newest_changes((*material.earlier, *material.history)).values()
    active = tuple(change for change in records if change.to_state in _IN_FORCE)
    newest = tuple(sorted(_newest(material.points), key=lambda one: -one.ratio))
    silent = tuple(point for point in material.points if _is_silent(point, material.until))
    findings = tuple(
        finding
        for sensor in material.sensors
        if sensor.diagnosis is not None and sensor.diagnosis.verdict is Conclusion.FAULT
        for finding in sensor.diagnosis.findings
        if finding.confidence >= SUPPORTED
    )
    forecasts = tuple(
        Coming(point, level.outlook, crossing)
        for point in material.points
        for level in point.levels
        if level.outlook is not None
        for crossing in level.outlook.forecasts
        if not crossing.reason
    )
    in_force = tuple(change for change in active if change.alarm.level != MONITORING)
    running = is_running(material)
    returned = tuple(
        one
        for one in period_occurrences(material)
        if one.returned_at is not None and one.severity is not Severity.NORMAL and one.alarm.level != MONITORING
    )
    changed = tuple(_changed(material.points))
    is_noted = bool(findings or forecasts or changed) or any(one.acknowledged_at is None for one in returned)
    return Assessment(
        standing=_standing(in_force, newest, silent, is_noted, running),
        worst=newest[0] if newest else None,
        newest=newest,
        in_force=in_force,
        hidden=tuple(change for change in records if change.to_state in _HIDDEN),
        unwatched=tuple(change for change in active if change.alarm.level == MONITORING),
        silent=silent,
        findings=tuple(sorted(findings, key=lambda finding: -finding.confidence)),
        forecasts=tuple(sorted(forecasts, key=lambda coming: coming.crossing.earliest or 0.0)),
        returned=returned,
        changed=changed,
        is_running=running,
    )


def newest_changes(history: Iterable[Happening]) -> dict[AlarmKey, AlarmChanged]:
    """Give the newest change of each alarm record."""
    return {one.event.alarm: one.event for one in history if isinstance(one.event, AlarmChanged)}


def nearness(limit: Limit, value: float) -> float:
    """Say how near a value of the house's unit is to the alarm limit, 1 at the limit; 0 where there is no scale."""
    alert, alarm = (None if one is None else from_si(one, limit.unit) for one in (limit.alert, limit.alarm))
    return ratio(from_si(value, limit.unit), alert, alarm, limit.side) or 0.0


def is_running(material: Material) -> bool | None:
    """Say whether the machine ran at its newest measurement of speed; None where no speed was measured."""
    both = (*material.earlier, *material.history)
    changes = [one.event for one in both if isinstance(one.event, RunningChanged)]
    if changes:
        return max(changes, key=lambda change: change.at).running
    return True if any(point.capture is not None and point.capture.rpm for point in material.points) else None


def _newest(points: Iterable[PointMaterial]) -> Iterator[Newest]:
    for point in points:
        for level in point.levels:
            value = next((value for value in reversed(level.values) if value.fit), None)
            if level.limit is not None and value is not None:
                near, severity = nearness(level.limit, value.value), level.limit.severity_of(value.value)
                yield Newest(point, level, level.limit, value, near, severity)


def _changed(points: Iterable[PointMaterial]) -> Iterator[Changed]:
    for point in points:
        for level in point.levels:
            if level.baseline is not None and level.outlook is not None:
                by = level.baseline.changed_by(level.outlook.value)
                if by is not None:
                    yield Changed(point, level.outlook, level.baseline, by)


def _is_silent(point: PointMaterial, until: Instant) -> bool:
    fit = [value.t for level in point.levels for value in level.values if value.fit]
    return not fit or until - max(fit) > point.point.stale_after_s


def _standing(
    in_force: tuple[AlarmChanged, ...],
    newest: tuple[Newest, ...],
    silent: tuple[PointMaterial, ...],
    is_noted: bool,
    running: bool | None,
) -> Standing:
    severity = max((change.severity for change in in_force), default=Severity.NORMAL)
    severity = max([severity, *(one.severity for one in newest)])
    if severity is not Severity.NORMAL:
        return Standing.ALARM if severity is Severity.ALARM else Standing.ALERT
    if silent:
        return Standing.UNKNOWN
    if running is False:
        return Standing.NOT_RUNNING
    return Standing.WATCH if is_noted else Standing.NORMAL
