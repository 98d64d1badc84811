"""Records whose limit the plant file no longer has, or has on the other side: they are closed, for they are about nothing now.

A level's name says nothing of the side: where a level gets limits on both sides, the name that the low one had is the upper
one's (`model.limit.low_name`), and the other way round. What people decided about one side (shelved, out of service,
acknowledged) must not hide the other: its record begins afresh. So does that of a low limit under its new name: who hid the
old one may hide it again, and the journal says what happened.
"""

from dataclasses import replace

from edgemon.alarms.rules import Rules
from edgemon.alarms.state import closed, new_record
from edgemon.model.alarm import MONITORING, AlarmRecord, AlarmState, PointState
from edgemon.model.event import AlarmChanged
from edgemon.model.instant import Instant
from edgemon.model.limit import BELOW, Side, low_name

NO_LIMIT = "no limit is set any more"
OTHER_SIDE = "its limit is on the other side now"


def close(rules: Rules, state: PointState, now: Instant) -> tuple[PointState, tuple[AlarmChanged, ...]]:
    """Close what is about no limit any more, and forget what a point no longer has; what has another limit now begins afresh.

    The count of occurrences goes on under the name, so that none is ever taken for another: a late acknowledgement of the old
    side never means the new one.
    """
    state = _forget(rules, state)
    orphans = {level: record for level, record in state.alarms.items() if level != MONITORING and not _has_limit(rules, record)}
    if not orphans:
        return state, ()
    alarms = {level: _afresh(rules, record, now) if level in orphans else record for level, record in state.alarms.items()}
    events = tuple(closed(one, now, _why(rules, one)) for one in orphans.values() if one.state is not AlarmState.NORM)
    return replace(state, alarms=alarms), events


def _forget(rules: Rules, state: PointState) -> PointState:
    """Forget the newest values of levels that the plant file no longer has, and flaws of what has no limit any more."""
    gone = {level.name for level in state.levels if rules.point.kind_of(level.name) is None}
    flawed = tuple(level for level in state.flawed if level in rules.limits)
    if not gone and flawed == state.flawed:
        return state
    levels = tuple(level for level in state.levels if level.name not in gone)
    level_at = {level: at for level, at in state.level_at.items() if level not in gone}
    return replace(state, levels=levels, level_at=level_at, flawed=flawed)


def _afresh(rules: Rules, record: AlarmRecord, now: Instant) -> AlarmRecord:
    return replace(new_record(rules, record.key.level, record.key.sim, now), occurrence=record.occurrence)


def _has_limit(rules: Rules, record: AlarmRecord) -> bool:
    limit = rules.limits.get(record.key.level)
    return limit is not None and limit.side is record.side


def _why(rules: Rules, record: AlarmRecord) -> str:
    level = record.key.level
    if record.side is Side.BELOW:
        for name in (low_name(level), level.removesuffix(BELOW)):
            limit = rules.limits.get(name)
            if name != level and limit is not None and limit.side is Side.BELOW:
                return f"its limit is watched as {name} now"
    return OTHER_SIDE if level in rules.limits else NO_LIMIT
