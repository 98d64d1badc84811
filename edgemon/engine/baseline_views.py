"""Baselines as people and programs see them, in the unit of the limit."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from edgemon.engine.baselines import Key, follow, kind_at
from edgemon.engine.memory import Setting
from edgemon.model.baseline import Baseline, BaselineLimits
from edgemon.model.limit import Limit, Side
from edgemon.model.outlook import BaselineView
from edgemon.units import from_si, interval_from_si


@dataclass(frozen=True, slots=True)
class Told:
    """How far the learning of a level is."""

    count: int
    note: str


def baseline_views(
    filed: Setting, setting: Setting, baselines: Mapping[Key, Baseline], learning: Mapping[Key, Told]
) -> tuple[BaselineView, ...]:
    """Show every baseline and everything that is being learnt, in the plant file's order.

    Parameters
    ----------
    filed, setting : Setting
        Of the plant file alone, and with the limits in force.
    """
    views = []
    for point in filed.plant.points.values():
        levels = dict.fromkeys(key[1:] for key in (*learning, *baselines) if key[0] == point.key)
        for level, sim in levels:
            if point.kind_of(level) is not None:
                key = (point.key, level, sim)
                views.append(_view(filed, setting, key, baselines.get(key), learning.get(key)))
    return tuple(views)


def _view(filed: Setting, setting: Setting, key: Key, known: Baseline | None, told: Told | None) -> BaselineView:
    point, level, sim = key
    kind = kind_at(filed, point, level)
    limit, now = filed.plant.points[point].limit_of(level), setting.plant.points[point].limit_of(level)
    unit = kind.unit if limit is None else limit.unit
    view = BaselineView(
        machine=str(point.machine),
        point=str(point.point),
        level=level,
        title=kind.title,
        unit=unit,
        state="learning",
        count=0 if told is None else told.count,
        wanted=filed.plant.machine_of[point.machine].learning.captures,
        alert=_shown(None if now is None else now.alert, unit),
        alarm=_shown(None if now is None else now.alarm, unit),
        note="" if told is None else told.note,
        sim=sim,
    )
    if known is None:
        return view
    with_history = replace(
        view, retired_by=known.retired_by, retired_at=known.retired_at, retired_because=known.retired_because
    )
    return with_history if told is not None else _known(with_history, known, limit, unit)


def _known(view: BaselineView, known: Baseline, limit: Limit | None, unit: str) -> BaselineView:
    found = follow(limit, known)
    if isinstance(found, BaselineLimits):
        follows, at_most = _shown(found.alert, unit), _shown(found.alarm_at_most, unit)
        change = round(interval_from_si(found.change, unit), 9)
        view = replace(view, alert_follows=follows, alarm_at_most=at_most, change=change, note=found.origin)
    else:
        view = replace(view, note=found)
    return replace(
        view,
        state=known.state.value,
        count=known.count,
        baseline=from_si(known.median, unit),
        mean=from_si(known.mean, unit),
        spread=interval_from_si(known.spread, unit),
        rpm=known.rpm,
        first_at=known.first_at,
        last_at=known.last_at,
        proposed_at=known.proposed_at,
        approved_by=known.approved_by,
        approved_at=known.approved_at,
        doubt=doubt_of(limit, known),
    )


def doubt_of(limit: Limit | None, known: Baseline) -> str:
    """Say why a baseline should not be the measure: it is beyond zone B, and stands for a machine that needs correction.

    Notes
    -----
    A baseline is taken of a machine that is new, overhauled or known to be good. Source: ISO 13373-1:2002 (from memory).
    """
    if limit is None or limit.zones is None or limit.side is Side.BELOW or known.mask:
        return ""
    zone = limit.zones.zone(known.median)
    return f"learnt in zone {zone}: see to the machine first, then learn it anew" if zone in ("C", "D") else ""


def _shown(value: float | None, unit: str) -> float | None:
    """Write a limit as people wrote it: the noise of the conversion forth and back is cut."""
    return None if value is None else round(from_si(value, unit), 9)
