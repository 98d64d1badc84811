"""What people and programs are shown of points and machines: values in the unit of the limit, worst level, worst point."""

from collections.abc import Collection, Iterable, Mapping

from edgemon.alarms import silence
from edgemon.alarms.judge import point_word
from edgemon.alarms.registry import title_of
from edgemon.alarms.rules import Label, Rules
from edgemon.alarms.suppress import shelved_severity
from edgemon.model.alarm import AlarmRecord, AlarmState, PointState
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant, format_instant
from edgemon.model.level import LEVEL_KINDS, Level
from edgemon.model.limit import Severity, Side
from edgemon.model.machine import Machine
from edgemon.model.quality import Quality
from edgemon.model.snapshot import AlarmView, HidingView, LevelView, MachineView, PointView, WorstView, worst_view
from edgemon.units import SI_UNIT, from_si, to_si

WORDS = ("not-running", "normal", "unknown", "alert", "alarm")
"""States of the contract, from the one that gives way to every other to the worst."""

_QUALITIES = (Quality.GOOD, Quality.STALE, Quality.BAD)
_CALLING = (AlarmState.UNACK, AlarmState.LATUN)
_GONE = (AlarmState.RTNUN, AlarmState.LATUN, AlarmState.LATAK)

States = PointState | Iterable[PointState]


def point_view(rules: Rules, state: States, now: Instant) -> PointView:
    """Show one point.

    Parameters
    ----------
    rules : Rules
        Of the point.
    state : PointState or iterable of PointState
        The real state, the simulated one, or both; none stands for a point never heard.
    now : Instant
        Time by which silence is judged.

    Notes
    -----
    Alarms of both states are listed. Everything else comes from the real state, unless only the simulated one has data, or the
    simulated one is fresh and says something worse of a point that really is in neither alert nor alarm; then `sim` is true.
    """
    states = (state,) if isinstance(state, PointState) else tuple(state)
    shown = _shown(rules, states, now)
    point = rules.point
    quality, reasons = silence.shown(rules, shown, now)
    unheard = _unheard(rules, shown, quality)
    return PointView(
        machine=str(rules.machine.id),
        point=str(point.key.point),
        name=point.name,
        sensor=str(point.sensor),
        axis=point.axis,
        direction=point.direction,
        state=point_word(rules, shown, now),
        quality=quality.value,
        reasons=reasons,
        t=shown.fit_at,
        levels=tuple(
            _level_view(rules, shown, level) for level in shown.levels if not _is_gone(rules, shown, level, now, unheard)
        ),
        alarms=tuple(alarm_view(rules, record) for each in states for record in each.alarms.values() if is_listed(record)),
        capture=None if shown.capture is None else str(shown.capture),
        rpm=shown.rpm,
        stale_after_s=point.stale_after_s,
        sim=shown.sim,
        trend=shown.trend,
        left_out={**unheard, **_left_out(rules, shown, now)},
        sends=point.sends.value,
    )


def _shown(rules: Rules, states: tuple[PointState, ...], now: Instant) -> PointState:
    if len(states) == 1:
        return states[0]
    real = next((state for state in states if not state.sim), None)
    simulated = next((state for state in states if state.sim), None)
    if simulated is None or (simulated.taken_at is None and real is not None):
        return real or PointState(point=rules.point.key)
    if real is None or real.taken_at is None:
        return simulated
    word = point_word(rules, real, now)
    worse = word not in ("alert", "alarm") and WORDS.index(point_word(rules, simulated, now)) > WORDS.index(word)
    return simulated if worse and simulated.quality is Quality.GOOD else real


def _unheard(rules: Rules, state: PointState, quality: Quality) -> dict[str, str]:
    """Name the levels with a limit of which nothing comes although the point is heard: nobody watches these."""
    if quality is not Quality.GOOD or state.fit_at is None:
        return {}
    found: dict[str, str] = {}
    for level in rules.limits:
        at = state.level_at.get(level)
        if rules.may_be_missing(level) or (at is not None and state.fit_at - at < rules.point.stale_after_s):
            continue
        found[level] = "never heard" if at is None else f"nothing heard since {format_instant(at)}"
    return found


def _is_gone(rules: Rules, state: PointState, level: Level, now: Instant, unheard: Collection[str]) -> bool:
    """Say whether a level has been missing for so long that its last value speaks for nothing; an alarm stays in sight."""
    record = state.alarms.get(level.name)
    if level.name in unheard:
        return record is None or record.severity is Severity.NORMAL
    if not rules.may_be_missing(level.name):
        return False
    newest = state.level_at.get(level.name, now)
    return newest != state.fit_at and now - newest >= rules.point.stale_after_s


def _left_out(rules: Rules, state: PointState, now: Instant) -> dict[str, str]:
    """Say what is left out and why, but for what the sensor sent as a reading in time: a spectrum with a peak beside it."""
    if not state.left_out:
        return {}
    stale_s = rules.point.stale_after_s
    sent = {name for name, at in state.level_at.items() if name in LEVEL_KINDS and now - at < stale_s}
    return {name: why for name, why in state.left_out.items() if name not in sent}


def _label(rules: Rules, level: Level) -> Label:
    """Give what is the same of every view of a level; made once, for it takes longer than the rest."""
    found = rules.labels.get(level.name)
    if found is None or found.quantity is not level.quantity or found.band is not level.band:
        found = rules.labels[level.name] = _made_label(rules, level)
    return found


def _made_label(rules: Rules, level: Level) -> Label:
    limit, kind = rules.limits.get(level.name), rules.point.kind_of(level.name)
    usual = SI_UNIT[level.quantity] if kind is None or kind.quantity is not level.quantity else kind.unit
    unit = usual if limit is None else limit.unit
    return Label(
        level.quantity,
        level.band,
        "" if level.band is None else str(level.band),
        title_of(level.name) if kind is None else kind.title,
        unit,
        None if limit is None else _in_unit(limit.alert, unit),
        None if limit is None else _in_unit(limit.alarm, unit),
        "" if limit is None else limit.origin,
        Side.ABOVE if limit is None else limit.side,
    )


def _level_view(rules: Rules, state: PointState, level: Level) -> LevelView:
    record, label = state.alarms.get(level.name), _label(rules, level)
    return LevelView(
        name=level.name,
        title=label.title,
        value=from_si(level.value, label.unit),
        unit=label.unit,
        state=(Severity.NORMAL if record is None else record.severity).word,
        alert=label.alert,
        alarm=label.alarm,
        at=state.level_at.get(level.name, 0.0),
        origin=label.origin,
        band=label.band_text,
        remark=level.remark,
        speed=level.speed,
        side=label.side,
    )


def _in_unit(value: float | None, unit: str) -> float | None:
    """Write a limit as people wrote it: the noise of the conversion forth and back is cut."""
    return None if value is None else round(from_si(value, unit), 9)


def is_listed(record: AlarmRecord) -> bool:
    """Say whether a record is not plainly normal."""
    return record.state is not AlarmState.NORM


def alarm_view(rules: Rules, record: AlarmRecord) -> AlarmView:
    """Show one record; a severity that is gone is shown as the highest it had, for that is what waits for a person."""
    key, level = record.key, record.key.level
    limit = rules.limits.get(level)
    severity = record.peak_severity if record.state in _GONE else record.severity
    unit = "" if limit is None else limit.unit
    return AlarmView(
        id=str(key),
        machine=str(key.machine),
        machine_name=rules.machine.name,
        point=str(key.point),
        point_name=rules.point.name,
        area=str(rules.machine.area),
        level=level,
        title=title_of(level) if (kind := rules.point.kind_of(level)) is None else kind.title,
        severity=severity.word,
        alarm_state=record.state.value,
        occurrence=record.occurrence,
        since=record.since,
        raised_at=record.raised_at,
        priority=record.priority.value,
        annunciates=record.annunciates,
        value=None if record.value is None or limit is None else from_si(record.value, unit),
        limit=None if limit is None else _in_unit(limit.of(max(severity, record.peak_severity)), unit),
        unit=unit,
        origin="" if limit is None else limit.origin,
        side=Side.ABOVE if limit is None else limit.side,
        sim=key.sim,
        hidden=_hiding_view(record),
        max_shelve_s=rules.shelf_s(level, shelved_severity(rules, record)),
        response=rules.point.responses.get((level, max(severity, record.peak_severity))),
        silenced_at=record.silenced_at,
        first_out="" if record.first_out is None else "first" if record.first_out.sure else "first (uncertain)",
    )


def _hiding_view(record: AlarmRecord) -> HidingView | None:
    """Show what hides a record; of several, the one that counts. Source: order of precedence, common practice."""
    for way, hiding in (
        ("out-of-service", record.out_of_service),
        ("suppressed", record.suppression),
        ("shelved", record.shelf),
    ):
        if hiding is not None:
            return HidingView(way, hiding.by, hiding.reason, hiding.since, hiding.until)
    return None


def machine_view(
    machine: Machine, rules_by_point: Mapping[PointKey, Rules], states: Iterable[PointState], now: Instant
) -> MachineView:
    """Show one machine: its state is its worst point's.

    Parameters
    ----------
    machine : Machine
        With its points.
    rules_by_point : mapping of PointKey to Rules
        At least those of the machine's points.
    states : iterable of PointState
        Real and simulated; those of other machines are passed over.
    now : Instant
        Time by which silence is judged.
    """
    by_point: dict[PointKey, list[PointState]] = {}
    for state in states:
        by_point.setdefault(state.point, []).append(state)
    keys = [point.key for point in machine.points]
    points = tuple(point_view(rules_by_point[key], by_point.get(key, ()), now) for key in keys)
    return join_points(machine, rules_by_point, points)


def join_points(machine: Machine, rules_by_point: Mapping[PointKey, Rules], points: tuple[PointView, ...]) -> MachineView:
    """Make the view of a machine of the views of its points, in the machine's order."""
    word = max((point.state for point in points), key=WORDS.index, default="unknown")
    quality = max((Quality(point.quality) for point in points), key=_QUALITIES.index, default=Quality.STALE)
    worst, trend = _worst(machine, rules_by_point, points)
    speeds = [point.rpm for point in sorted(points, key=lambda point: point.t or 0.0) if point.rpm is not None]
    return MachineView(
        id=str(machine.id),
        name=machine.name,
        area=str(machine.area),
        kind=machine.kind,
        criticality=machine.criticality.value,
        rpm=speeds[-1] if speeds else None,
        state=word,
        quality=quality.value,
        reasons=tuple(dict.fromkeys(reason for point in points for reason in point.reasons)),
        t=max((point.t for point in points if point.t is not None), default=None),
        worst=worst,
        unacknowledged=any(calls(alarm) for point in points for alarm in point.alarms),
        trend=trend,
        sim=any(point.sim for point in points),
        points=points,
    )


def calls(alarm: AlarmView) -> bool:
    """Say whether an alarm still calls the operator; one that came and went waits for its acknowledgement, but calls nobody."""
    return alarm.annunciates and alarm.alarm_state in _CALLING


def _worst(
    machine: Machine, rules_by_point: Mapping[PointKey, Rules], points: tuple[PointView, ...]
) -> tuple[WorstView | None, tuple[float, ...]]:
    """Give the level with the largest ratio, and the trend of its point."""
    worst: WorstView | None = None
    trend: tuple[float, ...] = ()
    for point, view in zip(machine.points, points, strict=True):
        rules = rules_by_point[point.key]
        for level in view.levels:
            ratio = rules.ratio(level.name, to_si(level.value, level.unit)) if level.name in rules.limits else None
            if ratio is None or (worst is not None and ratio <= worst.ratio):
                continue
            worst = worst_view(view.point, level, ratio)
            trend = view.trend
    return worst, trend
