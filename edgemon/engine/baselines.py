"""Baselines: what is learnt, what people command, and the limits in force that follow; pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

from edgemon.engine import masks
from edgemon.engine.alike import alike, series_of
from edgemon.engine.memory import Setting, setting_of
from edgemon.errors import ParameterError
from edgemon.model.baseline import (
    Baseline,
    BaselineApproved,
    BaselineLimits,
    BaselineProposed,
    BaselineRetired,
    BaselineState,
    NoBaseline,
    Refusal,
)
from edgemon.model.command import ApproveBaseline, BaselineCommand, Person, ProposeBaseline, RetireBaseline, Role
from edgemon.model.derived import OF_BASELINE, DerivedSpec, MaskSpec
from edgemon.model.event import CommandRefused
from edgemon.model.ids import AlarmKey, PointKey
from edgemon.model.instant import Instant, format_instant
from edgemon.model.level import LevelKind
from edgemon.model.limit import Limit
from edgemon.model.machine import Machine, Plant, Point
from edgemon.model.snapshot import TrendPoint
from edgemon.trend import baseline as learning
from edgemon.units import Quantity, from_si

Key: TypeAlias = tuple[PointKey, str, bool]
"""Point, level, simulated."""
BaselineEvent: TypeAlias = BaselineProposed | BaselineApproved | BaselineRetired


@dataclass(frozen=True, slots=True)
class Learnt:
    """What one stretch of values teaches."""

    outcome: Baseline | Refusal
    count: int
    """Fit values in like conditions among them."""
    resume_at: Instant | None
    """Where to go on after an unsteady stretch: the time of its last value."""
    times: tuple[Instant, ...] = ()
    """Of the values a proposal rests on."""


def key_of(baseline: Baseline) -> Key:
    """Give what a baseline belongs to."""
    return baseline.point, baseline.level, baseline.sim


def learnable(point: Point) -> tuple[LevelKind, ...]:
    """Give the levels whose baseline is learnt without being asked: where a limit follows from it, or a level that has one."""
    of_limits = (limit.level for limit in point.limits if limit.zones is not None)
    of_derived = (spec.of.name for spec in point.derived if spec.rule in OF_BASELINE)
    of_masks = (spec.name for spec in point.masks if spec.is_learnt)
    kinds = map(point.kind_of, dict.fromkeys((*of_limits, *of_derived, *of_masks)))
    return tuple(kind for kind in kinds if kind is not None)


def mask_of(point: Point, level: str) -> MaskSpec | None:
    """Give the learnt mask that a level's name stands for, None where it is another level."""
    return next((spec for spec in point.masks if spec.name == level and spec.is_learnt), None)


def learn(
    machine: Machine,
    point: PointKey,
    kind: LevelKind,
    values: Sequence[TrendPoint],
    speeds: Sequence[TrendPoint],
    told: Sequence[TrendPoint],
    now: Instant,
    learnt_since: Instant | None,
    sim: bool,
    least: int | None = None,
) -> Learnt:
    """Learn a baseline from the first values in like conditions, or say why there is none.

    Parameters
    ----------
    values, speeds, told : sequences of TrendPoint
        As for `alike.series_of`.
    learnt_since : Instant, optional
        End of the last repair; values before it are not among those given.
    least : int, optional
        Values that do; by default as many as the plant file asks for.
    """
    found = alike(machine, kind.name, series_of(machine, kind.name, values, speeds, told))
    count, wanted = len(found.series), machine.learning.captures
    if count < (wanted if least is None else least):
        return Learnt(Refusal(NoBaseline.TOO_FEW, f"{count} of {wanted}"), count, None)
    outcome = learning.propose(point, kind.name, kind.quantity, found, now, captures=wanted, sim=sim)
    if isinstance(outcome, Baseline):
        times = tuple(found.series.t_s[: outcome.count].tolist())
        return Learnt(replace(outcome, learnt_since=learnt_since), count, None, times)
    return Learnt(outcome, count, float(found.series.t_s[min(count, wanted) - 1]))


def follow(limit: Limit | None, baseline: Baseline) -> BaselineLimits | str:
    """Give the limits that follow from a baseline, or say why none do.

    Notes
    -----
    The alert is at most the alarm limit, which may be the plant file's own. Source: ISO 10816-3:2009 5.4.1, see
    `edgemon.trend.baseline.limits_of`.
    """
    if baseline.mask:
        unit = "" if "x speed" in baseline.grid else " Hz"
        return f"a mask of {baseline.grid}{unit}: the values are the ratios of each capture to the mask of the others"
    if limit is None:
        return "no limit follows: none is set for this level"
    if limit.zones is None:
        return f"no limit follows: the rule needs zone boundaries, and the alert limit comes from: {limit.origin}"
    zones = limit.zones
    found = learning.limits_of(max(0.0, baseline.median), zones.upper_b, zones.upper_c, zones.edition)
    if limit.alarm is not None and found.alert > limit.alarm:
        return replace(found, alert=limit.alarm, is_capped=True, origin=f"{found.origin}, at most the alarm limit")
    return found


def in_force(filed: Setting, baselines: Mapping[Key, Baseline]) -> Setting:
    """Give the setting with the limits that approved baselines lead to, made of the setting of the plant file.

    Notes
    -----
    Only what was learnt from the kind of data that the gateway watches counts; a baseline whose point, level or class the plant
    file no longer has changes nothing.
    """
    approved = {
        key: one
        for key, one in baselines.items()
        if one.state is BaselineState.APPROVED and one.sim is filed.gateway.simulated and key[0] in filed.plant.points
    }
    if not approved:
        return filed
    touched = {key[0].machine for key in approved}
    machines = tuple(_machine(one, approved, filed) if one.id in touched else one for one in filed.plant.machines)
    plant = filed.plant
    return setting_of(Plant(plant.site, plant.name, plant.areas, machines, plant.sensors, plant.alarms), filed.gateway)


def _machine(machine: Machine, approved: Mapping[Key, Baseline], filed: Setting) -> Machine:
    sim = filed.gateway.simulated

    def limit_of(point: Point, limit: Limit) -> Limit:
        baseline = approved.get((point.key, limit.level, sim))
        return limit if baseline is None else with_baseline(limit, baseline)

    tolerance = machine.learning.speed_tolerance

    def derived_of(point: Point, spec: DerivedSpec) -> DerivedSpec:
        known = approved.get((point.key, spec.of.name, sim)) if spec.rule in OF_BASELINE else None
        return spec if known is None else replace(spec, baseline=known, rpm_tolerance=tolerance)

    points = tuple(
        replace(
            point,
            limits=tuple(limit_of(point, limit) for limit in point.limits),
            masks=tuple(masks.in_force(spec, approved.get((point.key, spec.name, sim)), tolerance) for spec in point.masks),
            derived=tuple(derived_of(point, spec) for spec in point.derived),
        )
        for point in machine.points
    )
    return replace(machine, points=points)


def with_baseline(limit: Limit, baseline: Baseline) -> Limit:
    """Give a limit as an approved baseline leaves it: the alert moves and says why, the alarm stays."""
    found = follow(limit, baseline)
    if isinstance(found, str) or limit.zones is None:
        return limit
    by, day = baseline.approved_by, "" if baseline.approved_at is None else f" on {format_instant(baseline.approved_at)[:10]}"
    value = f"{from_si(baseline.median, limit.unit):#.3g}".rstrip(".")
    rule = found.origin if found.is_capped else found.origin.partition(", at most")[0]
    origin = f"baseline {value} {limit.unit} approved by {by}{day}: {rule}; alarm: {_alarm_origin(limit)}"
    return replace(limit, alert=found.alert, origin=origin)


def _alarm_origin(limit: Limit) -> str:
    if limit.zones is not None and limit.alarm == limit.zones.upper_c:
        return "zone boundary C/D"
    return "plant file" if limit.alarm is not None else "none"


def obey(
    filed: Setting, baselines: Mapping[Key, Baseline], order: BaselineCommand, person: Person, now: Instant
) -> BaselineEvent | CommandRefused:
    """Let a person's command act on a baseline; a refused one changes nothing.

    Parameters
    ----------
    filed : Setting
        Of the plant file, without the limits that baselines lead to.

    Raises
    ------
    ParameterError
        No such point or level.
    """
    key = key_of(order.baseline) if isinstance(order, ProposeBaseline) else (order.point, order.level, order.sim)
    limit, unit = _limit_and_unit(filed, key)
    current = baselines.get(key)
    why = _obstacle(current, order, person, key[2] is filed.gateway.simulated)
    if why:
        point, level, sim = key
        alarm = AlarmKey(point.machine, point.point, level, sim)
        return CommandRefused(now, alarm, type(order).__name__, why, person.name, person.station)
    said = (person.name, person.station, order.reason.strip())
    if isinstance(order, ProposeBaseline):
        return BaselineProposed(now, order.baseline, unit, *_consequence(filed, limit, order.baseline), *said)
    assert current is not None
    if isinstance(order, ApproveBaseline):
        approved = learning.approve(current, person.name, now)
        return BaselineApproved(now, approved, unit, *_consequence(filed, limit, approved), *said)
    retired = learning.retire(current, person.name, now, order.reason)
    note = "" if limit is None or current.state is BaselineState.PROPOSED else limit.origin
    alert = None if limit is None or current.state is BaselineState.PROPOSED else limit.alert
    return BaselineRetired(now, retired, unit, alert, note, *said)


def _obstacle(current: Baseline | None, order: BaselineCommand, person: Person, is_watched: bool) -> str:
    if person.role is not Role.ENGINEER:
        return f"not permitted to the role {person.role.value}: a baseline takes an engineer"
    if not order.reason.strip():
        return "a reason is due: say why, in a few words"
    if not is_watched:
        return "baselines belong to the kind of data that the gateway watches, real or simulated"
    state = None if current is None else current.state
    match order:
        case ProposeBaseline(baseline=one):
            if state is BaselineState.APPROVED:
                return "an approved baseline is in force; retire it first"
            if state is BaselineState.PROPOSED and not person.name:
                return "proposed already"
            retired_at = None if current is None else current.retired_at
            if retired_at is not None and one.first_at < retired_at:
                return "the baseline before was retired meanwhile"
            return ""
        case _ if not person.name.strip():
            return "nobody is named"
        case ApproveBaseline(proposed_at=proposed_at):
            if current is None or state is not BaselineState.PROPOSED:
                return "no baseline is proposed" if state is not BaselineState.APPROVED else "approved already"
            is_other = proposed_at is not None and abs(proposed_at - current.proposed_at) > 1e-3
            return "another one was proposed meanwhile; look again" if is_other else ""
        case RetireBaseline():
            return "" if state in (BaselineState.PROPOSED, BaselineState.APPROVED) else "there is no baseline to retire"


def _consequence(filed: Setting, limit: Limit | None, baseline: Baseline) -> tuple[float | None, str]:
    found = follow(limit, baseline)
    note = found if isinstance(found, str) else found.origin
    derived = filed.plant.points[baseline.point].derived
    users = [spec.name for spec in derived if spec.rule in OF_BASELINE and spec.of.name == baseline.level]
    measure = f"; the measure of {', '.join(users)}" if users else ""
    return None if isinstance(found, str) else found.alert, note + measure


def _limit_and_unit(filed: Setting, key: Key) -> tuple[Limit | None, str]:
    kind = kind_at(filed, key[0], key[1])
    limit = filed.plant.points[key[0]].limit_of(key[1])
    return limit, kind.unit if limit is None else limit.unit


def kind_at(setting: Setting, point: PointKey, level: str) -> LevelKind:
    """Say what a level's name stands for at a point.

    Raises
    ------
    ParameterError
        No such point or level.
    """
    known = setting.plant.points.get(point)
    kind = None if known is None else known.kind_of(level)
    if kind is None:
        raise ParameterError("no such point" if known is None else f"no such level: {level}", str(point))
    return kind


def has_baseline(kind: LevelKind) -> bool:
    """Say whether a level can have a baseline: a temperature's zero is a convention, so its spread says nothing."""
    return kind.quantity is not Quantity.TEMPERATURE
