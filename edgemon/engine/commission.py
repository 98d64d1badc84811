"""What stands between a point and being trusted: a check each, from the plant file, what is remembered, and what was proven.

Only real data counts: on a gateway of a real plant a simulated capture fulfils nothing here but the proof of the alarm.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from edgemon.alarms.health import BATTERY_LOW_PCT
from edgemon.alarms.rules import Rules
from edgemon.alarms.silence import shown
from edgemon.engine.memory import Memory, Setting
from edgemon.engine.signoff import sign_view
from edgemon.model.alarm import PointState, SensorState
from edgemon.model.baseline import BaselineState
from edgemon.model.commission import HEARD, CheckView, CommissionRow, Stand
from edgemon.model.health import WEAK_RSSI_DBM
from edgemon.model.ids import PointKey
from edgemon.model.instant import Instant, format_instant
from edgemon.model.limit import Limit, Severity
from edgemon.model.proof import ProofRow
from edgemon.model.quality import Quality
from edgemon.model.upstream import UpstreamView

SIMULATED = "simulated data only"
SEVERITIES = (Severity.ALERT, Severity.ALARM)
_NAMED = 3
"""Things named in one check at most."""
_STANDS = list(Stand)


@dataclass(frozen=True, slots=True)
class Known:
    """What is known beside the memory."""

    now: Instant
    proofs: Mapping[PointKey, ProofRow]
    upstreams: Sequence[UpstreamView] = ()
    first_at: Mapping[PointKey, Instant] = field(default_factory=dict)
    """Time of the earliest real value stored of a point."""


@dataclass(frozen=True, slots=True)
class _Subject:
    """All that the checks of one point look at."""

    setting: Setting
    memory: Memory
    rules: Rules
    state: PointState | None
    """Of real data."""
    sensor: SensorState | None
    known: Known


def commission(setting: Setting, memory: Memory, known: Known) -> tuple[CommissionRow, ...]:
    """Check every point.

    Parameters
    ----------
    setting : Setting
        With the limits in force.
    memory : Memory
        What is remembered.
    known : Known
        What the journal, the store and the upstreams tell.
    """
    return tuple(
        _row(_subject(setting, memory, rules, known))
        for machine in setting.plant.machines
        for rules in (setting.rules[point.key] for point in machine.points)
    )


def _subject(setting: Setting, memory: Memory, rules: Rules, known: Known) -> _Subject:
    state = memory.points.get((rules.point.key, False))
    return _Subject(setting, memory, rules, state, memory.sensors.get(rules.point.sensor), known)


def _row(one: _Subject) -> CommissionRow:
    point, machine = one.rules.point, one.rules.machine
    checks = sorted((check(one) for check in CHECKS), key=lambda check: _STANDS.index(check.stand))
    sign = sign_view(one.memory.signs.get(point.key))
    named = machine.id, machine.name, machine.area, point.key.point, point.name
    return CommissionRow(*named, tuple(checks), point.sensor, point.axis, sign)


def _found(name: str, is_done: bool, words: str) -> CheckView:
    return CheckView(name, Stand.DONE if is_done else Stand.OPEN, words)


def _is_heard(one: _Subject) -> bool:
    return one.state is not None and one.state.taken_at is not None


def _unheard(one: _Subject) -> str:
    simulated = one.memory.points.get((one.rules.point.key, True))
    return SIMULATED if simulated is not None and simulated.taken_at is not None else "never"


def _heard(one: _Subject) -> CheckView:
    name, state = HEARD, one.state
    if state is None or state.taken_at is None:
        return _found(name, False, f"{one.rules.point.sensor}: {_unheard(one)}")
    first = one.known.first_at.get(one.rules.point.key)
    since = "" if first is None else f" since {format_instant(first)}"
    return _found(name, True, f"{one.rules.point.sensor}{since}")


def _quality(one: _Subject) -> CheckView:
    name = "data quality"
    if one.state is None or not _is_heard(one):
        return _found(name, False, "no data yet")
    quality, reasons = shown(one.rules, one.state, one.known.now)
    return _found(name, quality is Quality.GOOD, f"{quality.value}{': ' if reasons else ''}{', '.join(reasons)}")


def _sent(one: _Subject) -> CheckView:
    """Say whether every level with a limit came, of the axis and in units that could be read."""
    name, point = "levels sent", one.rules.point
    sender = f"{point.sensor} axis {point.axis}" if point.axis else str(point.sensor)
    if one.state is None or not _is_heard(one):
        return _found(name, False, f"nothing of {sender} yet")
    lacks = [level for level in one.rules.limits if level not in one.state.level_at]
    said = f"{sender}: all {len(one.rules.limits)} levels with a limit" if one.rules.limits else sender
    return _found(name, not lacks, f"{sender} never sent {_some(lacks)}" if lacks else said)


def _link(one: _Subject) -> CheckView:
    name, sensor = "signal", one.sensor
    if sensor is None or sensor.real_rssi_dbm is None or not _is_heard(one):
        return _found(name, False, "not told")
    margin = sensor.real_rssi_dbm - WEAK_RSSI_DBM
    side = "above" if margin >= 0.0 else "below"
    return _found(name, margin >= 0.0, f"{sensor.real_rssi_dbm:.0f} dBm, {abs(margin):.0f} dB {side} weak")


def _battery(one: _Subject) -> CheckView:
    name, sensor = "battery", one.sensor
    if sensor is None or sensor.real_battery_pct is None or not _is_heard(one):
        return _found(name, False, "not told")
    return _found(name, sensor.real_battery_pct > BATTERY_LOW_PCT, f"{sensor.real_battery_pct:.0f} %")


def _limits(one: _Subject) -> CheckView:
    limits = one.rules.limits.values()
    sources = [f"{limit.level} from {limit.origin}" for limit in limits if any(map(_set(limit), SEVERITIES))]
    return _found("limits set", bool(sources), _some(sources) if sources else "none")


def _set(limit: Limit) -> Callable[[Severity], bool]:
    return lambda severity: limit.of(severity) is not None


def _responses(one: _Subject) -> CheckView:
    name, responses = "response text", one.rules.point.responses
    wanted = [(level, severity) for level, limit in one.rules.limits.items() for severity in filter(_set(limit), SEVERITIES)]
    lacks = [f"{level} {severity.word}" for level, severity in wanted if not _tells(one, level, severity)]
    if not wanted:
        return _found(name, False, "no limit it could belong to")
    return _found(name, not lacks, f"none for {_some(lacks)}" if lacks else f"{len(responses)} alarms")


def _tells(one: _Subject, level: str, severity: Severity) -> bool:
    response = one.rules.point.responses.get((level, severity))
    return response is not None and bool(response.action.strip())


def _baseline(one: _Subject) -> CheckView:
    name, key, sim = "baseline", one.rules.point.key, one.setting.gateway.simulated
    wanted = [level for level, limit in one.rules.limits.items() if limit.zones is not None]
    if not wanted:
        return CheckView(name, Stand.NOT_NEEDED, "no limit follows from one")
    found = {level: one.memory.baselines.get((key, level, sim)) for level in wanted}
    lacks = [
        f"{level} {'is being learnt' if known is None else known.state.value}"
        for level, known in found.items()
        if known is None or known.state is not BaselineState.APPROVED
    ]
    people = {known.approved_by for known in found.values() if known is not None}
    return _found(name, not lacks, _some(lacks) if lacks else f"approved by {_some(sorted(people))}")


def _speed(one: _Subject) -> CheckView:
    name, nominal = "speed", one.rules.machine.rpm
    heard = one.memory.speeds.get((one.rules.machine.id, False))
    rpm = heard.rpm if heard is not None else None if one.state is None else one.state.rpm
    if rpm is not None:
        return _found(name, True, f"{rpm:.0f} r/min, measured")
    return _found(name, nominal is not None, "not known" if nominal is None else f"{nominal:.0f} r/min, from the plant file")


def _bearing(one: _Subject) -> CheckView:
    name, bearing = "bearing", one.rules.point.bearing
    if bearing is not None:
        return _found(name, True, f"{bearing.rolling_elements} rolling elements")
    if one.rules.machine.train.sleeve_bearings:
        return CheckView(name, Stand.NOT_NEEDED, "sleeve bearings")
    return _found(name, False, "geometry not given")


def _proven(one: _Subject) -> CheckView:
    name, row = "alarm proven", one.known.proofs.get(one.rules.point.key)
    if row is None or row.shown is None or row.lacks or row.proven_at is None:
        return _found(name, False, _some(row.lacks) if row is not None else "never tried")
    return _found(name, True, f"{format_instant(row.proven_at)} {row.shown.people}")


def _upstream(one: _Subject) -> CheckView:
    name, state = "upstream", one.state
    if not one.known.upstreams:
        return CheckView(name, Stand.NOT_NEEDED, "none is set up")
    if state is None or state.taken_at is None:
        return _found(name, False, "nothing to send yet")
    lacks = [
        f"{link.name} {'has not got it' if link.up else 'is away'}"
        for link in one.known.upstreams
        if link.waiting and (link.oldest_unsent is None or link.oldest_unsent <= state.taken_at)
    ]
    return _found(
        name, not lacks, _some(lacks) if lacks else f"delivered to {_some([link.name for link in one.known.upstreams])}"
    )


def _some(names: Iterable[str]) -> str:
    every = list(names)
    return ", ".join(every[:_NAMED]) + (f" and {len(every) - _NAMED} more" if len(every) > _NAMED else "")


CHECKS: tuple[Callable[[_Subject], CheckView], ...] = (
    _heard,
    _quality,
    _sent,
    _link,
    _battery,
    _limits,
    _responses,
    _baseline,
    _speed,
    _bearing,
    _proven,
    _upstream,
)
"""In the order in which they are taken up at a plant."""
