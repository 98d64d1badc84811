"""Limits over the past: the alarm logic itself, run over what was measured, with the limits in force and with others.

Nobody acknowledges in a rehearsal, so that what is counted is what the limits do, not what operators did. So a call is one by
its own severity: none is counted for an alert only because the alarm before it waits for an acknowledgement that never comes.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from edgemon.alarms import judge as alarms
from edgemon.alarms.priority import annunciates
from edgemon.alarms.rules import Rules
from edgemon.alarms.tally import BIN_S, DAY_S, FLOOD_ABOVE, binned, bins_of
from edgemon.model.alarm import MONITORING, AlarmState, PointState
from edgemon.model.event import AlarmChanged, Event
from edgemon.model.ids import MachineId, PointId, PointKey
from edgemon.model.instant import Duration, Instant
from edgemon.model.level import Measurement
from edgemon.model.limit import Limit, Severity
from edgemon.model.machine import Machine, Point

AGAIN_S = DAY_S
"""An alarm raised again within a day of having gone comes and goes: with a value every few minutes the three announcements
within a minute that chatter is usually told by do not occur. House choice."""
HORIZON_S = 30 * DAY_S
"""What was raised longer than so before a known event does not count as its warning; house choice."""
_RAISES = ("RAISED", "LEVEL_UP")


@dataclass(frozen=True, slots=True)
class Known:
    """Something that really happened to a machine, as the people of the plant know it."""

    at: Instant
    machine: MachineId
    name: str
    point: PointId | None = None


@dataclass(frozen=True, slots=True)
class Run:
    """What one set of limits made of the past of one point."""

    point: PointKey
    alerts: int
    alarms: int
    losses: int
    """Times at which monitoring was lost for longer than the point may be silent; not a matter of limits."""
    again: int
    """Raised again within a day of having gone."""
    watched_s: Duration
    alert_s: Duration
    """Time in alert or alarm."""
    alarm_s: Duration
    raised: tuple[tuple[Instant, Severity], ...]
    calls: tuple[Instant, ...]
    """When the operator was called; losses are left out."""


@dataclass(frozen=True, slots=True)
class Load:
    """What operators are asked for, in the bins in which alarm performance is counted."""

    calls: int
    per_day: float
    most_in_ten_minutes: int
    bins_above_ten: float
    """Share of ten-minute bins with more than ten calls, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Lead:
    """How early a known event was foretold; None where it was not."""

    known: Known
    alert_s: Duration | None
    alarm_s: Duration | None


@dataclass(frozen=True, slots=True)
class Change:
    """One limit that differs, and what it alone changes."""

    point: PointKey
    level: str
    before: Limit | None
    after: Limit | None
    alerts: int = 0
    alarms: int = 0
    """How many more (or fewer) are raised with this change alone."""


@dataclass(slots=True)
class _Tally:
    rules: Rules
    raised: list[tuple[Instant, Severity]] = field(default_factory=list)
    calls: list[Instant] = field(default_factory=list)
    cleared: dict[str, Instant] = field(default_factory=dict)
    losses: int = 0
    again: int = 0

    def take(self, events: Iterable[Event]) -> None:
        for event in events:
            if not isinstance(event, AlarmChanged):
                continue
            level = event.alarm.level
            if event.change == "CLEARED":
                self.cleared[level] = event.at
            elif event.change in _RAISES and level == MONITORING:
                self.losses += 1
            elif event.change in _RAISES:
                self.raised.append((event.at, event.severity))
                gone = self.cleared.get(level)
                self.again += event.change == "RAISED" and gone is not None and event.at - gone <= AGAIN_S
                if event.to_state is AlarmState.UNACK and annunciates(self.rules, level, event.severity):
                    self.calls.append(event.at)


def run(rules: Rules, past: Sequence[Measurement]) -> Run:
    """Judge the past of one point.

    Parameters
    ----------
    rules : Rules
        With the limits to be tried.
    past : sequence of Measurement
        Oldest first.
    """
    key = rules.point.key
    sim = past[0].sim if past else False
    state = PointState(key, sim)
    tally, spent = _Tally(rules), {Severity.ALERT: 0.0, Severity.ALARM: 0.0}
    before: Instant | None = None
    for measurement in past:
        at = measurement.taken_at
        state = _silent_until(rules, state, at, tally)
        if before is not None:
            worst = _severity(state)
            for severity in spent:
                spent[severity] += (at - before) if worst >= severity else 0.0
        state, events = alarms.judge(rules, state, measurement, at)
        tally.take(events)
        before = at
    counted = Counter(severity for _, severity in tally.raised)
    return Run(
        point=key,
        alerts=counted[Severity.ALERT],
        alarms=counted[Severity.ALARM],
        losses=tally.losses,
        again=tally.again,
        watched_s=past[-1].taken_at - past[0].taken_at if past else 0.0,
        alert_s=spent[Severity.ALERT],
        alarm_s=spent[Severity.ALARM],
        raised=tuple(tally.raised),
        calls=tuple(tally.calls),
    )


def _silent_until(rules: Rules, state: PointState, at: Instant, tally: _Tally) -> PointState:
    """Let time pass up to the next measurement; silence and start-ups end by themselves."""
    while state.alarms and (due := alarms.next_due(rules, state)) is not None and due < at:
        after, events = alarms.tick(rules, state, due)
        tally.take(events)
        if after is state:
            break
        state = after
    return state


def _severity(state: PointState) -> Severity:
    found = (record.severity for level, record in state.alarms.items() if level != MONITORING)
    return max(found, default=Severity.NORMAL)


def load(runs: Iterable[Run], since: Instant, until: Instant) -> Load:
    """Sum up what operators are asked for at all points together."""
    calls = [at for one in runs for at in one.calls]
    counts = binned(calls, BIN_S)
    bins = bins_of(since, max(until, since + BIN_S), BIN_S)
    above = sum(count > FLOOD_ABOVE for count in counts.values())
    per_day = len(calls) * DAY_S / max(until - since, BIN_S)
    return Load(len(calls), per_day, max(counts.values(), default=0), above / len(bins))


def leads(runs: Iterable[Run], known: Iterable[Known]) -> tuple[Lead, ...]:
    """Say how early each known event was foretold: by the first alert, and the first alarm, of the days before it."""
    found = list(runs)
    return tuple(Lead(one, _lead(found, one, Severity.ALERT), _lead(found, one, Severity.ALARM)) for one in known)


def _lead(runs: Iterable[Run], known: Known, severity: Severity) -> Duration | None:
    warned = [
        at
        for one in runs
        if one.point.machine == known.machine and known.point in (None, one.point.point)
        for at, raised in one.raised
        if raised >= severity and known.at - HORIZON_S <= at <= known.at
    ]
    return known.at - min(warned) if warned else None


def changes(current: Machine, candidate: Machine) -> tuple[Change, ...]:
    """List the limits of a machine that differ."""
    after_of = {point.key: point for point in candidate.points}
    found = []
    for point in current.points:
        after = after_of.get(point.key)
        if after is None:
            continue
        names = dict.fromkeys(limit.level for limit in (*point.limits, *after.limits))
        pairs = ((name, point.limit_of(name), after.limit_of(name)) for name in names)
        found += [Change(point.key, name, before, limit) for name, before, limit in pairs if not _same(before, limit)]
    return tuple(found)


def _same(before: Limit | None, after: Limit | None) -> bool:
    """Compare what a limit does; where it comes from makes no difference."""
    return before == after or (before is not None and after is not None and replace(before, origin=after.origin) == after)


def alone(rules: Rules, change: Change, past: Sequence[Measurement], current: Run) -> Change:
    """Say what one change does by itself, beside the run with the limits in force."""
    others = tuple(limit for limit in rules.point.limits if limit.level != change.level)
    point: Point = replace(rules.point, limits=others if change.after is None else (*others, change.after))
    tried = run(replace(rules, point=point), past)
    return replace(change, alerts=tried.alerts - current.alerts, alarms=tried.alarms - current.alarms)


def weightiest(found: Iterable[Change]) -> tuple[Change, ...]:
    """Order changes by how much each alone changes what is raised, alarms before alerts."""
    return tuple(sorted(found, key=lambda one: (-abs(one.alarms), -abs(one.alerts), one.point, one.level)))


def by_point(past: Iterable[Measurement]) -> Mapping[PointKey, list[Measurement]]:
    """Sort measurements by point and time."""
    found: dict[PointKey, list[Measurement]] = {}
    for measurement in sorted(past, key=lambda one: one.taken_at):
        found.setdefault(measurement.point, []).append(measurement)
    return found
