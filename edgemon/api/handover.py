"""The handover page: pure text, made of the picture now and of the journal since the last takeover.

Source of the blocks: DOE-STD-1038-93 and HSE guidance on shift handover ask for status, limits and conditions in force with
their time limits, what changed, and what is out of service, in writing.
"""

import hashlib
from collections import Counter
from collections.abc import Iterable, Sequence

from edgemon.api.view import NO_POINTS, Points, words
from edgemon.model.baseline import BaselineApproved, BaselineRetired
from edgemon.model.event import AlarmChanged, Event, JournalEntry, RunningChanged
from edgemon.model.gateway_event import ClockStepped, GatewayStarted, LinkChanged, SettingsChanged, StoreChanged, StoreMended
from edgemon.model.instant import Instant, format_instant
from edgemon.model.shift import BlockView, HandoverView, LogWritten
from edgemon.model.snapshot import AlarmView, Snapshot

_GATEWAY = (GatewayStarted, SettingsChanged, LinkChanged, ClockStepped, StoreChanged, StoreMended)
_CHANGES = (BaselineApproved, BaselineRetired, *_GATEWAY)
LINES_MOST = 40
"""Lines of a block at most; the rest is counted."""
BIN_S = 600.0


def handover(
    snapshot: Snapshot, entries: Sequence[JournalEntry], since: Instant, taken_by: str, points: Points = NO_POINTS
) -> HandoverView:
    """Write the page.

    Parameters
    ----------
    snapshot : Snapshot
        Everything, now.
    entries : sequence of JournalEntry
        Journal since the last takeover, oldest first.
    since : Instant
        Of the last takeover.
    taken_by : str
        Who took over then.
    points : mapping of PointKey to Point
        Of the plant, for the titles of its own levels.
    """
    events = [entry.event for entry in entries]
    alarms = [one for machine in snapshot.machines for point in machine.points for one in point.alarms]
    alarms += snapshot.gateway.alarms
    blocks = (
        _block("Now", _now(snapshot)),
        _block("Standing alarms", map(_standing, _shown(alarms, hidden=False))),
        _block("Hidden alarms", map(_hidden, _shown(alarms, hidden=True))),
        _block("New since the takeover", _new(events, points)),
        _block("Blind spots", _blind(snapshot)),
        _block("Started and stopped", _texts(events, points, RunningChanged)),
        _block("Changes", _texts(events, points, *_CHANGES)),
        _block("Load", _load(events)),
        _block("Shift log", _texts(events, points, LogWritten)),
    )
    now = snapshot.gateway.now
    return HandoverView(since, now, taken_by, blocks, hashlib.sha256(_text(blocks).encode()).hexdigest())


def frozen(page: HandoverView) -> str:
    """Write the page as it is kept, and printed at 80 columns."""
    head = f"Handover {format_instant(page.since)} to {format_instant(page.now)}"
    return "\n".join((head, f"taken over last by {page.taken_by or 'nobody'}", "", _text(page.blocks)))


def _text(blocks: Iterable[BlockView]) -> str:
    return "\n".join(line for block in blocks for line in (block.title, *(f"  {line}" for line in block.lines)))


def _block(title: str, lines: Iterable[str]) -> BlockView:
    found = list(lines)
    more = [f"and {len(found) - LINES_MOST} more: see the journal"] if len(found) > LINES_MOST else []
    return BlockView(title, (*found[:LINES_MOST], *more) or ("none",))


def _now(snapshot: Snapshot) -> list[str]:
    states = Counter(machine.state for machine in snapshot.machines)
    order = ("alarm", "alert", "unknown", "not-running", "normal")
    counted = ", ".join(f"{states[state]} {state.replace('-', ' ')}" for state in order if states[state])
    gateway = snapshot.gateway
    links = ", ".join(f"{link.name} {'up' if link.up else 'DOWN'}" for link in gateway.links)
    store = "stores" if gateway.store_ok else f"DOES NOT STORE: {gateway.store_detail}"
    behind = gateway.oldest_unsent is not None and gateway.now - gateway.oldest_unsent > BIN_S
    waiting = f", entries have waited to be published since {format_instant(gateway.oldest_unsent or 0.0)}" if behind else ""
    upstream = [
        f"{one.name} has been behind since {format_instant(one.oldest_unsent or 0.0)}, {one.waiting} wait"
        for one in gateway.upstreams
        if one.behind_s(gateway.now)
    ]
    simulated = sum(machine.sim for machine in snapshot.machines)
    machines = f"{len(snapshot.machines)} machine{'s' if len(snapshot.machines) != 1 else ''}: {counted}"
    deaf = [] if gateway.deaf_since is None else [f"NO SENSOR HEARD since {format_instant(gateway.deaf_since)}"]
    said = [machines, *deaf, f"gateway {store}; {links}{waiting}", *upstream]
    return said + ([f"{simulated} machines show simulated data"] if simulated else [])


def _shown(alarms: Iterable[AlarmView], *, hidden: bool) -> list[AlarmView]:
    chosen = [one for one in alarms if (one.alarm_state in ("SHLVD", "OOSRV")) is hidden and one.alarm_state != "DSUPR"]
    return sorted(chosen, key=lambda one: (one.severity != "alarm", one.raised_at))


def _standing(alarm: AlarmView) -> str:
    unnoticed = "NOT ACKNOWLEDGED" if alarm.annunciates else "for the analyst"
    acknowledged = {"ACKED": "acknowledged", "LATAK": "latched, acknowledged"}.get(alarm.alarm_state, unnoticed)
    return f"{alarm.severity} since {format_instant(alarm.raised_at)}, {acknowledged}: {_named(alarm)}"


def _hidden(alarm: AlarmView) -> str:
    how = alarm.hidden
    if how is None:
        return _named(alarm)
    until = f"until {format_instant(how.until)}" if how.until is not None else "without an end"
    return f"{how.way.replace('-', ' ')} {until} by {how.by}: {_named(alarm)}: {how.reason}"


def _named(alarm: AlarmView) -> str:
    simulated = " [simulated]" if alarm.sim else ""
    return f"{alarm.machine_name}, {alarm.point_name}, {alarm.title}{simulated}"


def _new(events: Iterable[Event], points: Points) -> list[str]:
    kinds = ("RAISED", "LEVEL_UP", "REALARM")
    raised = [one for one in events if isinstance(one, AlarmChanged) and one.change in kinds]
    return [f"{format_instant(one.at)} {words(one, points)}" for one in raised]


def _blind(snapshot: Snapshot) -> list[str]:
    points = [
        f"{machine.name}, {point.name}: {', '.join(point.reasons).replace('-', ' ') or point.quality}"
        for machine in snapshot.machines
        for point in machine.points
        if point.quality != "good"
    ]
    sensors = [
        f"sensor {one.id}: {one.status.replace('-', ' ')}: {'; '.join(one.causes)}"
        for one in snapshot.sensors
        if one.status not in ("good", "function-check")
    ]
    return points + sensors


def _texts(events: Iterable[Event], points: Points, *kinds: type[Event]) -> list[str]:
    return [f"{format_instant(one.at)} {words(one, points)}" for one in events if isinstance(one, kinds)]


def _load(events: Iterable[Event]) -> list[str]:
    calls = [one for one in events if isinstance(one, AlarmChanged) and one.annunciates and one.to_state == "UNACK"]
    if not calls:
        return ["no alarm called"]
    worst = max(Counter(int(one.at // BIN_S) for one in calls).values())
    by_alarm = Counter(f"{one.alarm.machine}/{one.alarm.point} {one.alarm.level}" for one in calls)
    most = ", ".join(f"{name} ({count})" for name, count in by_alarm.most_common(3))
    return [f"{len(calls)} call{'' if len(calls) == 1 else 's'}, at most {worst} in ten minutes; most from {most}"]
